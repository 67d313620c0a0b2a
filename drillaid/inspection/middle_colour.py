"""Is a pad's middle of the same colour as its copper? Then nothing was drilled there.

Rims are looked for in brightness, and a hole may be as bright as its copper: green resist
beside the brown of a spoil board. Colour alone, whatever the light, tells the two apart, so
a pad whose middle is of another colour is not called untouched.
"""

from __future__ import annotations

import numpy as np

from drillaid.design.model import Design
from drillaid.inspection.patch import Board
from drillaid.vision.sampling import sample

# Chromaticity (B, G, R over their sum), by how far the two differ. On ten simulated benches
# without marks untouched pads differed by 0.045 at most, and holes that the networks missed by
# 0.04 to 0.18, nearly all by more than 0.1.
APART = 0.1
STEP_MM = 0.06
MARK_MM, INNER, OUTER = 0.3, 0.6, 0.86  # of a mark at the most; of the bit's radius
BESIDE_MM, WITHIN_MM = 0.12, 0.08  # of the bit's edge, and of the land's
LEAST = 8  # pixels of each
DARK = 20.0  # sum of the three below which there is no colour


def middles_apart(picture: np.ndarray, design: Design, board: Board, bits_mm) -> np.ndarray:
    """(N,) how far the colour of a pad's middle is from that of its ring; 0 where one of the
    two is not to be seen.

    picture: uint8 (H, W, 3) BGR, as photographed; the middle: between a mark, if there is
    one, and where the bit would have cut
    """
    apart = np.zeros(len(design.holes))
    axis = np.arange(-1.6, 1.6 + 1e-9, STEP_MM)
    grid = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    away = np.hypot(*grid.T)
    for i, (land, bit) in enumerate(zip(design.lands, bits_mm, strict=True)):
        if land is None:
            continue
        radius = bit / 2
        inner = away > max(MARK_MM, INNER * radius)
        middle = grid[inner & (away < max(OUTER * radius, MARK_MM + STEP_MM)) & (away < radius)]
        ring = grid[(away > radius + BESIDE_MM) & (away < min(land.size_mm) / 2 - WITHIN_MM)]
        if min(len(middle), len(ring)) < LEAST:
            continue
        at = design.xy_mm[i] + np.concatenate([middle, ring])
        px = board.to_pixels(board.design_to_plane(at))
        height, width = picture.shape[:2]
        if not ((px > 1) & (px < [width - 2, height - 2])).all():
            continue
        values = sample(picture, px).astype(np.float64)
        parts = np.median(values[: len(middle)], axis=0), np.median(values[len(middle) :], axis=0)
        first, second = (colour / max(colour.sum(), DARK) for colour in parts)
        apart[i] = float(np.linalg.norm(first - second))
    return apart
