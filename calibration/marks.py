"""The coded marks of a ChArUco sheet in a picture, and whether they are this sheet's marks."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from calibration.pattern import DICTIONARY, Pattern
from drillaid.geometry import Homography

# Longer side of the picture that marks are looked for in; smaller marks need the whole.
LOOK_PX = 1600
# A neighbour may lie this far from where a mark's own corners put it, in its sides.
STRAY = 0.6


@dataclass(frozen=True, eq=False)
class Marks:
    """ids: (M,); px: (M, 4, 2), upper left first and clockwise as printed"""

    ids: np.ndarray
    px: np.ndarray

    def __len__(self) -> int:
        return len(self.ids)

    def only(self, rows) -> Marks:
        return Marks(self.ids[rows], self.px[rows])


@lru_cache(maxsize=16)
def _detector(count: int) -> cv2.aruco.ArucoDetector:
    """For the first `count` marks: comparing with all thousand takes ten times as long."""
    settings = cv2.aruco.DetectorParameters()
    settings.minMarkerPerimeterRate = 0.015
    settings.adaptiveThreshWinSizeMin, settings.adaptiveThreshWinSizeMax = 9, 29
    settings.adaptiveThreshWinSizeStep = 20
    settings.perspectiveRemovePixelPerCell = 3
    every = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    marks = cv2.aruco.Dictionary(every.bytesList[:count], every.markerSize, every.maxCorrectionBits)
    return cv2.aruco.ArucoDetector(marks, settings)


def find_marks(grey: np.ndarray, pattern: Pattern, look_px: int = LOOK_PX) -> Marks:
    """All marks the pattern uses in a picture made smaller to look_px on its longer side."""
    scale = min(1.0, look_px / max(grey.shape))
    if scale < 1:
        grey = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    corners, ids, _ = _detector(len(mark_corners_mm(pattern))).detectMarkers(grey)
    if ids is None or not len(ids):
        return Marks(np.zeros(0, int), np.zeros((0, 4, 2)))
    px = np.asarray(corners, float).reshape(-1, 4, 2)
    ids = ids.ravel()
    # The same number twice: at least one is a mistake, and none says which.
    once = np.isin(
        ids, [i for i, n in zip(*np.unique(ids, return_counts=True), strict=True) if n == 1]
    )
    return Marks(ids[once], ((px + 0.5) / scale - 0.5)[once])


@lru_cache(maxsize=16)
def mark_corners_mm(pattern: Pattern) -> np.ndarray:
    """(M, 4, 2) pattern mm, row by row, in the order of the ids."""
    return np.array([np.asarray(c)[:, :2] for c in pattern.board.getObjPoints()], float)


def agreeing(marks: Marks, pattern: Pattern) -> np.ndarray:
    """(M,) bool: whose neighbours of this pattern lie where they should.

    Each mark's own four corners say, through their homography, where the middle of
    each of its nearest printed marks must be. A mark agrees if one neighbour at
    least is seen there and no fewer than are seen elsewhere. A sheet of other
    counts has other neighbours, so none of its marks agree but along its rows.
    """
    corners = mark_corners_mm(pattern)
    known = marks.ids < len(corners)
    good = np.zeros(len(marks), bool)
    if known.sum() < 2:
        return good
    middles = corners.mean(axis=1)
    seen = {
        int(i): px.mean(axis=0)
        for i, px in zip(marks.ids, marks.px, strict=True)
        if i < len(corners)
    }
    for row in np.flatnonzero(known):
        here = int(marks.ids[row])
        off = np.abs(middles - middles[here])
        near = np.flatnonzero((off.max(axis=1) < 2.2 * pattern.square_mm) & (off.sum(axis=1) > 0))
        near = [int(i) for i in near if int(i) in seen]
        if not near:
            continue
        told = _homography(corners[here], marks.px[row])(middles[near])
        stray = np.hypot(*(told - [seen[i] for i in near]).T)
        side = np.sqrt(abs(cv2.contourArea(marks.px[row].astype(np.float32))))
        right = int((stray < STRAY * side).sum())
        good[row] = right >= 1 and 2 * right >= len(near)
    return good


def guessed_corners(
    marks: Marks, pattern: Pattern
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Where the marks put the inner corners beside them, and the pattern's axes there.

    Returns (ids (K,) into pattern.corners_mm, px (K, 2), px per mm along x (K, 2),
    along y (K, 2)), means over the marks that touch a corner.
    """
    corners = mark_corners_mm(pattern)
    count = len(pattern.corners_mm)
    total, number = np.zeros((count, 3, 2)), np.zeros(count)
    for mark, px in zip(marks.ids, marks.px, strict=True):
        off = np.abs(pattern.corners_mm - corners[mark].mean(axis=0)).max(axis=1)
        near = np.flatnonzero(off < 0.6 * pattern.square_mm)
        h = _homography(corners[mark], px)
        place, slope = h(pattern.corners_mm[near]), h.jacobian(pattern.corners_mm[near])
        total[near] += np.stack([place, slope[:, :, 0], slope[:, :, 1]], axis=1)
        number[near] += 1
    ids = np.flatnonzero((number > 0) & np.isfinite(total).all(axis=(1, 2)))
    mean = total[ids] / number[ids, None, None]
    return ids, mean[:, 0], mean[:, 1], mean[:, 2]


def _homography(mm: np.ndarray, px: np.ndarray) -> Homography:
    matrix = cv2.getPerspectiveTransform(mm.astype(np.float32), px.astype(np.float32))
    return Homography.scaled_for(matrix, mm)
