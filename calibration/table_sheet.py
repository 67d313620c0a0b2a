"""The printed test board as what the camera follows: its place on the bench, picture by picture."""

from __future__ import annotations

import math

import numpy as np

from calibration.pattern import Pattern
from calibration.views import NoPattern, PatternView, find_pattern
from drillaid.geometry import Affine, Homography
from drillaid.registration.result import NOT_FOUND, REGISTERED, Placement, Registration
from drillaid.rig.rig import Rig


class SheetFinder:
    """As `guidance.finder.BoardFinder`, for the test board lying on the part that moves.

    height_mm: of its printed face over the bench. Pattern mm -> bench mm is fitted as an
    affine map, so that paper stretched by the printer does no harm.
    """

    def __init__(self, rig: Rig, pattern: Pattern, height_mm: float) -> None:
        self._rig, self._pattern, self._height = rig, pattern, height_mm

    def look(self, image: np.ndarray) -> Registration:
        view = find_pattern(image, self._pattern)
        if isinstance(view, NoPattern):
            return Registration(NOT_FOUND, view.reason)
        placement = self._place(view)
        if placement is None:
            return Registration(NOT_FOUND, "the test board is not flat, or another one is meant")
        return Registration(
            REGISTERED, f"{len(view)} corners of the test board are seen.", placement,
            len(view), len(view), len(self._pattern.corners_mm),
        )  # fmt: skip

    def _place(self, view: PatternView) -> Placement | None:
        bench = self._rig.to_bench(view.corners_px, self._height)
        good = np.isfinite(bench).all(axis=1)
        if good.sum() < 6:
            return None
        weight = 1 / view.sigma_px[good]
        middle = view.corners_mm[good].mean(axis=0)
        columns = np.column_stack([view.corners_mm[good] - middle, np.ones(good.sum())])
        solution, *_ = np.linalg.lstsq(
            columns * weight[:, None], bench[good] * weight[:, None], rcond=None
        )
        linear = solution[:2].T
        if abs(np.linalg.det(linear)) < 0.5:
            return None
        matrix = Affine(np.column_stack([linear, solution[2] - linear @ middle]))
        left = bench[good] - columns @ solution
        rms = float(np.sqrt((left**2).sum(axis=1).mean()))
        points = self._pattern.corners_mm
        leverage = _leverage(columns, np.column_stack([points - middle, np.ones(len(points))]))
        to_px = self._rig.plane(self._height) @ Homography.of(matrix)
        seen = np.zeros(len(points), bool)
        seen[view.ids] = True
        return Placement(
            "affine", to_px, matrix, self._rig.to_pixels(matrix(points), self._height),
            matrix(points), rms * leverage, seen, rms, self._rig.px_per_mm(self._height),
        )  # fmt: skip


def _leverage(columns: np.ndarray, at: np.ndarray) -> np.ndarray:
    """One sigma of the fitted place in units of that of a single point."""
    inverse = np.linalg.pinv(columns.T @ columns)
    return np.sqrt(np.einsum("ni,ij,nj->n", at, inverse, at))


def middle_of(pattern: Pattern, radius: float = 2.0) -> np.ndarray:
    """(4, 2), pattern mm: the part that must stay in view; the rest of a coded board may leave
    the picture. radius: in squares. A plain chessboard must stay whole."""
    width, height = pattern.size_mm
    if not pattern.coded:
        return np.array([(0, 0), (width, 0), (width, height), (0, height)], dtype=np.float64)
    reach = min(radius * pattern.square_mm, math.hypot(width, height))
    return np.array([width, height]) / 2 + reach * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
