"""The calibration pattern as a sheet for the simulated camera: practice without hardware."""

from __future__ import annotations

import cv2
import numpy as np

from calibration.pattern import Pattern
from drillaid.simulation.sheet import Sheet

# Of a square; a mark (0.7 squares, 7 modules) then stands on the same grid of cells.
CELLS = 20


def sheet_of(pattern: Pattern, margin_mm: float = 12.0) -> Sheet:
    """The printed pattern, exact to the cell; sheet mm are pattern mm."""
    size = pattern.columns * CELLS, pattern.rows * CELLS
    if pattern.coded:
        white = pattern.board.generateImage(size, None, 0, 1) > 127
    else:
        odd = np.add.outer(np.arange(pattern.rows), np.arange(pattern.columns)) % 2 == 1
        white = np.kron(odd, np.ones((CELLS, CELLS), bool))
    return Sheet(white, pattern.square_mm / CELLS, margin_mm)


def pose_over(pattern_xy_mm, distance_mm: float, turn=(0.0, 0.0, 0.0)):
    """(rotation_vector, translation_mm) that put a sheet point on the camera's axis.

    distance_mm: from the camera to that point; turn: Rodrigues, rad, sheet -> camera
    """
    vector = np.asarray(turn, float)
    middle = cv2.Rodrigues(vector)[0] @ np.array([*pattern_xy_mm, 0.0])
    return vector, np.array([0.0, 0.0, distance_mm]) - middle
