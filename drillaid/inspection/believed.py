"""What to believe of holes measured with errors, given how holes on this board scatter at all.

Each measured place carries its own error on top of the hand's scatter. A part meets the
true holes, which lie nearer to their common pattern than the measured ones; asked of the
measured places, the narrowest of many fits would nearly always look worse than it is. So
each residual is drawn in by s² / (s² + e²), s the scatter of the board, e the error: the
mean of a normal prior and a normal measurement (empirical Bayes; Efron and Morris, Journal
of the American Statistical Association 70, 1975, 311-319, from memory). No place is drawn
further than its own error, so that a hole which really wandered keeps its distance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drillaid.design.model import Design
from drillaid.inspection.result import DRILLED, HoleFinding

ENOUGH = 8  # holes for a pattern of six unknowns; below, the measurements stand as they are
ENOUGH_OF_A_SIZE = 5
LEAST_SHARE = 0.1  # a scatter estimated from few holes is never believed to be none


@dataclass(frozen=True)
class Believed:
    """centre_mm: in the axes of `HoleFinding.place_mm`; errors: one sigma, of a distance"""

    centre_mm: tuple[float, float]
    centre_error_mm: float
    diameter_mm: float
    diameter_error_mm: float


def believed_holes(findings: Sequence[HoleFinding], design: Design) -> dict[int, Believed]:
    """The drilled holes by number."""
    drilled = [f for f in findings if f.state == DRILLED]
    if not drilled:
        return {}
    rows = {hole.number: i for i, hole in enumerate(design.holes)}
    at = np.array([rows[f.hole] for f in drilled])
    places, errors = _places(
        design.xy_mm[at],
        np.array([f.place_mm for f in drilled]),
        np.array([f.centre_error_mm for f in drilled]) / 2**0.5,
    )
    sizes, size_errors = _sizes(
        np.round([f.asked_mm for f in drilled], 3),
        np.array([f.diameter_mm for f in drilled]),
        np.array([f.diameter_error_mm for f in drilled]),
    )
    return {
        f.hole: Believed(
            tuple(map(float, places[k])), float(errors[k] * 2**0.5),
            float(sizes[k]), float(size_errors[k]),
        )
        for k, f in enumerate(drilled)
    }  # fmt: skip


def _places(design_xy, places, errors) -> tuple[np.ndarray, np.ndarray]:
    """errors: sigma by axis"""
    ones = np.column_stack([design_xy, np.ones(len(design_xy))])
    if len(places) < ENOUGH or np.linalg.matrix_rank(ones, tol=1e-3) < 3:
        return places, errors
    pattern = ones @ np.linalg.lstsq(ones, places, rcond=None)[0]
    off, share = _drawn_in(places - pattern, errors, unknowns=6)
    return pattern + off, errors * np.sqrt(share)


def _sizes(asked, diameters, errors) -> tuple[np.ndarray, np.ndarray]:
    sizes, size_errors = diameters.copy(), errors.copy()
    for size in np.unique(asked):
        same = asked == size
        if same.sum() < ENOUGH_OF_A_SIZE:
            continue
        usual = float(np.median(diameters[same]))
        off, share = _drawn_in((diameters[same] - usual)[:, None], errors[same], unknowns=1)
        sizes[same] = usual + off[:, 0]
        size_errors[same] = errors[same] * np.sqrt(share)
    return sizes, size_errors


def _drawn_in(off, errors, *, unknowns: int) -> tuple[np.ndarray, np.ndarray]:
    """(residuals drawn in (N, k), share of each error's variance that is left (N,))"""
    scatter = (off**2).sum() / (off.size - unknowns) - float((errors**2).mean())
    scatter = max(scatter, 0.0)
    with np.errstate(invalid="ignore"):
        share = np.clip(np.nan_to_num(scatter / (scatter + errors**2), nan=1.0), LEAST_SHARE, 1.0)
    pull = (1 - share[:, None]) * off
    length = np.sqrt((pull**2).sum(axis=1))
    pull *= np.minimum(1.0, errors / np.maximum(length, 1e-12))[:, None]
    return off - pull, share
