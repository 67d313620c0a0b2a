"""What one pad and the rim found on it look like, as numbers for the network that judges them.

No single sign tells a hole full of copper-coloured dust from an etched mark, or a finger the
colour of copper from a pad. Together they do: what is seen all round the rim, what the rays
make of it, whether the land's own edge is where the design has it, and whether the copper
here is like that of the rest of the board. All colours are differences from this pad's own
copper in units of how this board's copper varies.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from drillaid.design.model import Land
from drillaid.inspection.colours import PadColours
from drillaid.inspection.patch import Stack
from drillaid.inspection.posterior import GROWN, Circles
from drillaid.inspection.rays import BINS, LEAST_TEXTURE, RAYS, WHOLE
from drillaid.inspection.state import Look

DEPTHS_MM = np.arange(-0.32, 0.33, 0.08)  # bounds of belts along the land's edge
CLEAR_MM = 0.10  # of the rim, where the land's edge is looked at
LEAST_PIXELS = 4


def pad_traits(
    stack: Stack, colours: PadColours, pads, bit_radius_mm: float, circles: Circles,
    looks: list[Look], features: np.ndarray, log_odds: np.ndarray, lands: Sequence[Land | None],
) -> np.ndarray:  # fmt: skip
    """float32 (N, F), one row for each patch of the stack.

    pads: (N,) which of the board's pads each shows; lands: of each; features, log_odds: of the rays from the
    circles' middles, as `ray_features` and `Network.log_odds` give them
    """
    odds = np.exp(log_odds)
    near = odds[..., :BINS].max(axis=2)
    off = np.hypot(*circles.xy_mm.T)
    wider = circles.radius_mm - GROWN * bit_radius_mm
    rays = np.column_stack([
        odds.mean(axis=1), np.quantile(near, [0.1, 0.5], axis=1).T, circles.support,
        circles.score / (RAYS + 2.0), np.tanh(wider / 0.02), np.tanh(wider / 0.12),
        np.tanh(off / 0.5), np.full(len(pads), bit_radius_mm),
    ])  # fmt: skip
    seen = np.array([
        (k.copper, k.bare, k.edge, k.inside, k.within, np.tanh(k.apart / 10)) for k in looks
    ]).reshape(len(pads), -1)  # fmt: skip
    # of the features: how blurred, how far copper and laminate differ, and what all rays share.
    # In a pour, or without a land, no edge of copper is to be expected
    promised = np.array([(land is not None, land is not None and land.in_pour) for land in lands])
    texture = np.maximum(colours.texture[pads], LEAST_TEXTURE)
    astray = (colours.copper[pads] - colours.promise[pads]) / (6.0 * texture[:, None])
    own = np.array([
        _of_patch(stack, i, colours, pads[i], texture[i], circles) for i in range(len(pads))
    ]).reshape(len(pads), -1)  # fmt: skip
    return np.column_stack(
        [features[:, 0, -WHOLE - 2 :], rays, seen, promised, np.tanh(astray), own]
    ).astype(np.float32)  # fmt: skip


def _of_patch(stack: Stack, i: int, colours: PadColours, pad: int, texture: float, circles):
    """Belts along the land's edge (strangeness, likeness to laminate), the inside of the circle
    and the ring about it (colour, unevenness)."""
    axes = stack.axes_mm()
    x, y = circles.xy_mm[i]
    away = np.hypot(axes[0] - x, axes[1] - y)
    inside, depth, radius = stack.inside[i], stack.depth_mm[i], circles.radius_mm[i]
    off = stack.images[i] - colours.copper[pad].astype(np.float32)
    power = (off**2).mean(axis=2)
    strange = power / (power + (4.0 * texture) ** 2)
    lean = colours.laminate[pad] - colours.copper[pad]
    bare = np.clip((off @ lean.astype(np.float32)) / max(float(lean @ lean), 100.0), -1, 2)
    clear = inside & (away > radius + CLEAR_MM)
    belt = np.digitize(depth, DEPTHS_MM)
    values: list[float] = []
    for k in range(1, len(DEPTHS_MM)):
        here = clear & (belt == k)
        full = here.sum() >= LEAST_PIXELS
        values += [float(strange[here].mean()), float(bare[here].mean())] if full else [0.0, 0.0]
    for here in (away < 0.8 * radius, (away > 1.12 * radius) & (away < 1.12 * radius + 0.15)):
        pixels = off[here & inside]
        if len(pixels) < LEAST_PIXELS:
            values += [0.0] * 4
            continue
        mean = pixels.mean(axis=0)
        values += [*np.tanh(mean / (6.0 * texture)), float(np.tanh(pixels.std(axis=0).mean() / (3 * texture)))]
    return values
