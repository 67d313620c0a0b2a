"""Is the pattern there, but out of shape? Then something bends the light, or the print.

Under rippled water, behind a warped cover or after a transfer that slipped, the copper's
edges are there, each a little beside its place, neighbours together.
No single placement fits, many small ones do. Seen at the best placement found, the
offsets of the edges are explained cell by cell; copper that is not there at all
gains far less by that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.registration.copper import some
from drillaid.registration.refined import Refined
from drillaid.vision.contours import EdgeModel, read_edges

EDGES = 1500
REACH_MM, NEAR_MM = 0.9, 0.12
CELL_MM, FEWEST = 5.0, 8  # edges that tell a cell's shift
ASIDE_MM = 2.1  # where the pattern is not
LEAST_SHARE, LEAST_GAIN, LEAST_MM = 0.5, 0.3, 0.08


@dataclass(frozen=True)
class Bend:
    """Shares of the edges in view within 0.12 mm of their place.

    stiff: at one linear placement; loose: with a shift for each cell;
    chance: loose, where the pattern is not
    rms_mm: of the cells' shifts against a linear placement
    """

    stiff: float
    loose: float
    chance: float
    rms_mm: float

    @property
    def plain(self) -> bool:
        return (
            self.loose >= LEAST_SHARE
            and self.loose - self.chance >= LEAST_GAIN
            and self.rms_mm >= LEAST_MM
        )


def bend_of(r: Refined) -> Bend | None:
    """How far the best placement's pattern is out of shape; None where too little is in view."""
    edges = some(r.edges, EDGES)
    here = _read(r, edges)
    if here is None:
        return None
    loose, stiff, cells = _cellwise(*here)
    if len(cells) < 4:
        return None
    chances = []
    for turn in (0.3, 2.4, 4.5):
        aside = ASIDE_MM * np.array([np.cos(turn), np.sin(turn)])
        there = _read(r, EdgeModel(edges.xy + aside, edges.normal))
        if there is not None:
            chances.append(_cellwise(*there)[0])
    shift = cells[:, 2:] - np.median(cells[:, 2:], axis=0)
    rms = float(np.sqrt(np.mean(np.sum(shift**2, axis=1))))
    return Bend(stiff, loose, float(np.mean(chances)) if chances else 1.0, rms)


def _read(r: Refined, edges: EdgeModel):
    """(xy (K, 2), normal (K, 2), off (K,) mm, clear (K,)) of the edges in view, or None."""
    px = r.to_px(edges.xy)
    width, height = r.eye.size_px
    with np.errstate(invalid="ignore"):
        seen = ((px > 8) & (px < [width - 9, height - 9])).all(axis=1)
    if seen.sum() < 60:
        return None
    part = edges.only(seen)
    got = read_edges(
        r.eye.grey, r.to_px, part, REACH_MM, noise=r.eye.noise, px_per_unit=r.px_per_mm
    )
    # Bare to copper is dark to bright on one board and the other way on another.
    sign = np.sign(np.sum(np.sign(got.step[got.clear])))
    clear = got.clear & (np.sign(got.step) == sign)
    return part.xy, part.normal, got.off, clear


def _cellwise(xy, normal, off, clear):
    """(share explained by cells, share explained by one linear placement, rows (x, y, dx, dy))."""
    middle = xy.mean(axis=0)
    terms = np.column_stack([np.ones(len(xy)), xy - middle])
    linear = np.hstack([normal[:, :1] * terms, normal[:, 1:] * terms])
    whole = _robust(linear[clear], off[clear], ridge=1e-3)
    left = off - linear @ whole
    stiff = float((clear & (np.abs(left) < NEAR_MM)).mean())
    explained = np.zeros(len(xy), dtype=bool)
    key = np.floor(xy / CELL_MM).astype(np.int64)
    cells = []
    for cell in np.unique(key, axis=0):
        near = (key == cell).all(axis=1)
        told = near & clear
        if told.sum() < FEWEST:
            explained |= told & (np.abs(left) < NEAR_MM)
            continue
        # Held near the linear placement where edges of one direction leave the other open.
        shift = _robust(normal[told], left[told], ridge=0.5)
        fits = np.abs(left[told] - normal[told] @ shift) < NEAR_MM
        explained[np.nonzero(told)[0][fits]] = True
        if fits.mean() > 0.5:
            cells.append((*((cell + 0.5) * CELL_MM), *shift))
    return float(explained.mean()), stiff, np.array(cells).reshape(-1, 4)


def _robust(rows, values, ridge: float) -> np.ndarray:
    """Least squares under Cauchy weights that narrow; ridge: of each unknown, in edges."""
    weight = np.ones(len(values))
    x = np.zeros(rows.shape[1])
    for scale in (0.4, 0.25, 0.15, 0.1, 0.1):
        normal = rows.T @ (rows * weight[:, None]) + ridge * np.eye(rows.shape[1])
        x = np.linalg.solve(normal, rows.T @ (values * weight))
        weight = 1 / (1 + ((values - rows @ x) / scale) ** 2)
    return x
