"""Is it still the board, though most of it is hidden?

A hand hides patches as a whole and leaves others as they were; a wrong place agrees
a little everywhere. So patches are asked, not edges: with p1 the share of edges that
agree on a patch in view and p0 by accident, a patch of n edges of which k agree
speaks for the board by ln(1 - v + v (p1/p0)^k ((1 - p1)/(1 - p0))^(n - k)), v being
the share of patches in view that explains the picture best.
"""

from __future__ import annotations

import numpy as np

from drillaid.geometry import Affine
from drillaid.registration.edging import AGREE_MM
from drillaid.vision.contours import read_edges

PATCH_MM, FEWEST = 5.0, 3  # edges that make a patch worth asking
ALIKE = 3.0  # so many neighbouring edges say one thing
ENOUGH, AHEAD = 10.0, 2.0  # ln; and so many times what places beside it reach
LEAST_VIEW = 0.15  # of the patches
REACH_MM = 0.2


def still_there(image, to_px, px_per_mm: float, learnt, place: Affine) -> bool:
    """Do the patches in view speak for the board at `place`, and for none beside it?

    to_px: plane -> pixels; learnt: `following.Learnt`
    """
    here, view = _support(image, to_px, px_per_mm, learnt, place)
    if here < ENOUGH or view < LEAST_VIEW:
        return False
    rng = np.random.default_rng(3)
    for _ in range(6):
        angle, length = rng.uniform(0, 2 * np.pi), rng.uniform(1.2, 5.0)
        step = Affine.from_parts(offset=length * np.array([np.cos(angle), np.sin(angle)]))
        if AHEAD * _support(image, to_px, px_per_mm, learnt, place @ step)[0] > here:
            return False
    return True


def _support(image, to_px, px_per_mm: float, learnt, place: Affine) -> tuple[float, float]:
    """(ln likelihood ratio, share of patches in view)."""
    model = learnt.model
    got = read_edges(
        image, lambda xy: to_px(place(xy)), model, REACH_MM, noise=learnt.noise,
        px_per_unit=px_per_mm, weights=learnt.weights,
    )  # fmt: skip
    agree = got.clear & (np.abs(got.off) < AGREE_MM)
    cell = np.floor(model.xy / PATCH_MM).astype(np.int64)
    _, group = np.unique(cell[:, 0] * 100_003 + cell[:, 1], return_inverse=True)
    group = group.ravel()
    count = np.bincount(group)
    seen = np.bincount(group, weights=agree)[count >= FEWEST]
    count = count[count >= FEWEST]
    p1, p0 = float(np.clip(learnt.share, 0.7, 0.95)), float(np.clip(learnt.chance, 0.1, 0.6))
    ratio = (seen * np.log(p1 / p0) + (count - seen) * np.log((1 - p1) / (1 - p0))) / ALIKE
    views = np.linspace(0.0, 0.95, 20)
    total = np.log(1 - views[:, None] + views[:, None] * np.exp(ratio)).sum(axis=1)
    best = int(total.argmax())
    return float(total[best]), float(views[best])
