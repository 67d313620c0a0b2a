"""The reference marks stuck on the drill's table: which there are, and how to know one.

Coded squares that tell whether the camera still sees the table as it did when the rig was
made. They come from another dictionary than the test board's (`calibration.pattern`), and
from its far end, so that neither is taken for the other, nor for marks printed elsewhere.
"""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np

DICTIONARY = cv2.aruco.DICT_6X6_250
FIRST_ID = 230
COUNT = 12  # on one printed page; three are needed, four or more are better
SIDE_MM = 12.0  # of the black square
MODULES = 8  # along a side: six of code and a black rim
RIM_MM = 2 * SIDE_MM / MODULES  # white about it, without which it is not found

IDS = tuple(range(FIRST_ID, FIRST_ID + COUNT))


@cache
def dictionary() -> cv2.aruco.Dictionary:
    """The image library's dictionary. Of what it finds only `IDS` are ours."""
    return cv2.aruco.getPredefinedDictionary(DICTIONARY)


def number_of(identity: int) -> int | None:
    """The number printed beside the mark, 1 to COUNT; None for a mark that is not ours."""
    return identity - FIRST_ID + 1 if identity in IDS else None


def black_modules(number: int) -> np.ndarray:
    """(MODULES, MODULES) bool, row by row from the upper left: the mark's picture.

    number: 1 to COUNT; anything else is misuse.
    """
    if not 1 <= number <= COUNT:
        raise ValueError(f"marks are numbered 1 to {COUNT}, not {number}")
    picture = cv2.aruco.generateImageMarker(dictionary(), FIRST_ID + number - 1, MODULES)
    return picture < 128


def corners_mm() -> np.ndarray:
    """(4, 2) corners of a mark about its middle, x right, y down, as the image library orders.

    Upper left, upper right, lower right, lower left, in the mark's own upright position.
    """
    half = SIDE_MM / 2
    return np.array([(-half, -half), (half, -half), (half, half), (-half, half)])
