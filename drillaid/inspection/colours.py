"""What untouched copper and bare laminate look like at every pad of this board.

Both are learnt from the picture: about each land from where copper, or laminate,
must be whatever was drilled; then over the whole board, smoothly, since light falls
unevenly; then at each pad again, from its own pixels that are like what the board
promises there. A pad that is covered, or that came off, keeps the board's promise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

ROUNDS = 6
LEAST_PIXELS = 12


@dataclass(frozen=True, eq=False)
class PadColours:
    """Of N pads: copper and laminate (N, 3) BGR; texture (N,), how far a pixel of
    copper is from its pad's colour, rms over the three, the median of them; step (N,), between
    the two colours; promise (N, 3), the copper that the rest of the board lets expect there
    """

    copper: np.ndarray
    laminate: np.ndarray
    texture: np.ndarray
    step: np.ndarray
    promise: np.ndarray


def learn_colours(places_mm, copper_samples, laminate_samples) -> PadColours:
    """places_mm: (N, 2); samples: for each pad (M, 3) pixels, of its ring and beside it;
    either may be empty."""
    where = _basis(np.asarray(places_mm))
    copper, own_copper = _over_board(where, copper_samples)
    if copper is None:
        copper = np.full((len(where), 3), 110.0)
    laminate, _ = _over_board(where, laminate_samples)
    if laminate is None:
        laminate = copper.copy()
    spread = _spread(own_copper - copper)
    local, texture = copper.copy(), np.full(len(where), 12.0)
    for i, sample in enumerate(copper_samples):
        if len(sample) < LEAST_PIXELS:
            continue
        middle = _mode(sample, copper[i], max(2.5 * spread, 15.0))
        if middle is None:
            continue
        local[i] = middle
        off = np.sqrt(((sample - middle) ** 2).mean(axis=1))
        texture[i] = np.median(off)
    usual = float(np.median(texture))
    texture = np.clip(texture, max(0.7 * usual, 2.0), max(1.6 * usual, 4.0))
    step = np.linalg.norm(local - laminate, axis=1)
    return PadColours(local, laminate, texture, step, copper)


def _basis(places) -> np.ndarray:
    """Constant, slopes and curvature over the board, for as many as the pads can decide."""
    middle, size = places.mean(axis=0), np.maximum(np.ptp(places, axis=0), 1.0)
    x, y = ((places - middle) / size).T
    one = np.ones_like(x)
    if len(places) < 12:
        return one[:, None]
    return np.column_stack([one, x, y, x * x, x * y, y * y])


def _over_board(where: np.ndarray, samples) -> tuple[np.ndarray | None, np.ndarray | None]:
    """Smooth colour at every pad (N, 3) and each pad's own median (NaN where unknown)."""
    own = np.full((len(where), 3), np.nan)
    for i, sample in enumerate(samples):
        if len(sample) >= LEAST_PIXELS:
            own[i] = np.median(sample, axis=0)
    known = np.isfinite(own[:, 0])
    if known.sum() < 1:
        return None, own
    middle = np.median(own[known], axis=0)
    smooth = np.tile(middle, (len(where), 1))
    if known.sum() < 12:
        return smooth, own
    weight = np.ones(known.sum())
    for _ in range(ROUNDS):
        matrix = where[known].T * weight @ where[known] + np.diag([1e-6, *[0.3] * 5])
        slope = np.linalg.solve(matrix, where[known].T * weight @ (own[known] - middle))
        smooth = middle + where @ slope
        off = np.linalg.norm(own[known] - smooth[known], axis=1)
        weight = 1 / (1 + (off / max(2 * np.median(off), 3.0)) ** 2)
    return smooth, own


def _spread(off) -> float:
    off = off[np.isfinite(off[:, 0])]
    return float(np.median(np.linalg.norm(off, axis=1))) if len(off) else 12.0


def _mode(sample: np.ndarray, start: np.ndarray, width: float) -> np.ndarray | None:
    """The mean of the pixels about as far from a colour as copper varies, followed home."""
    middle = start
    for _ in range(ROUNDS):
        off = ((sample - middle) ** 2).sum(axis=1)
        weight = np.exp(-0.5 * off / width**2)
        if weight.sum() < 0.1 * len(sample):
            return None
        middle = weight @ sample / weight.sum()
    return middle


def strangeness(images: np.ndarray, copper: np.ndarray, texture: np.ndarray) -> np.ndarray:
    """How unlike its pad's copper each pixel is: 0 … 1, (N, S, S).

    A half where it is off by four times what copper's pixels are, in each colour.
    """
    off = ((images - copper[:, None, None].astype(np.float32)) ** 2).mean(axis=3)
    unit = (4.0 * texture.astype(np.float32)[:, None, None]) ** 2
    return off / (off + unit)
