"""Photographs of a drawn sheet with known corners, for the tests of calibration."""

from __future__ import annotations

import numpy as np

from calibration.pattern import Pattern
from calibration.practice import pose_over, sheet_of
from drillaid.simulation.optics import Optics
from drillaid.simulation.rigs import nominal_rig
from drillaid.simulation.sheet import SheetCamera

SMALL = Pattern(12, 9, 5.0)  # fills a picture of 960 x 540 quickly
PLAIN = Pattern(9, 6, 7.0, coded=False)


def camera_over(pattern=SMALL, *, size=(960, 540), seed=3, mirrored=False, **options):
    """A simulated camera over the pattern; options go to SheetCamera."""
    sheet = sheet_of(pattern)
    options.setdefault("optics", Optics(noise=2.0))
    rig = nominal_rig(*size, seed=seed)
    return SheetCamera(rig, sheet.mirrored() if mirrored else sheet, seed=seed, **options)


def photograph(pattern=SMALL, turn=(0.15, -0.25, 0.1), *, middle=None, distance_mm=65.0, **options):
    """(picture, true pixels as a function of pattern mm)."""
    camera = camera_over(pattern, **options)
    middle = np.array(pattern.size_mm) / 2 if middle is None else middle
    pose = pose_over(middle, distance_mm, turn)
    posed = camera.posed(*pose)

    def true_px(mm):
        return posed.project(np.column_stack([mm, np.zeros(len(mm))]))

    return camera.picture(*pose), true_px
