"""Pictures a technician takes while making a rig, on a simulated bench with a known truth."""

from __future__ import annotations

import numpy as np

from calibration.pattern import Pattern
from calibration.practice import sheet_of
from calibration.rig_draft import RigDraft, read_draft
from drillaid.simulation.bench import Light, Optics, SimulatedBench
from drillaid.simulation.prints import Print, marks_in_corners
from drillaid.simulation.rigs import nominal_rig

PATTERN = Pattern(18, 10, 6.0)
OPTIONS = ["--squares", "18x10", "--square-mm", "6"]
LENS_SIGMA = (0.35, 0.35, 0.3, 0.3, 3e-4, 5e-4, 3e-5, 3e-5, 3e-4)


def shop(seed: int = 1, *, size=(1920, 1080), tilt_rad=0.06, marks: int = 4) -> SimulatedBench:
    """An empty bench with marks about its corners; `bench.rig` is the truth."""
    mm_per_px = 0.06 * 1920 / size[0]
    rig = nominal_rig(*size, mm_per_px, tilt_rad=tilt_rad, tilt_direction_rad=seed, seed=seed)
    return SimulatedBench(
        None, rig, light=Light(), optics=Optics(), sheet="grey", clutter=3,
        prints=marks_in_corners(rig, marks, seed=seed), seed=seed,
    )  # fmt: skip


def sheet(middle_mm=(0.0, 0.0), turn_rad=0.0, height_mm=0.0, pattern=PATTERN, mirrored=False):
    """The pattern lying on the bench."""
    drawn = sheet_of(pattern, 3.0)
    return Print(drawn.mirrored() if mirrored else drawn, middle_mm, turn_rad, height_mm)


def with_sheet(bench: SimulatedBench, *lying: Print) -> np.ndarray:
    """The picture with these sheets under the marks; the bench is as before afterwards."""
    before = bench.prints
    bench.lay(*lying, *before)
    image = bench.render()
    bench.lay(*before)
    return image


def lens_only(path, rig, sigma=None) -> RigDraft:
    """A rig file that has come as far as the lens."""
    values = {
        "width": rig.width, "height": rig.height,
        "matrix": rig.matrix, "distortion": rig.distortion,
    }  # fmt: skip
    if sigma is not None:
        values["sigma"] = list(sigma)
    read_draft(path).with_section("camera", values).save()
    return read_draft(path)
