"""One look at a drilled board: found, measured, judged."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from drillaid.guidance.job import Job
from drillaid.inspection.measure import measure_holes
from drillaid.inspection.result import Inspection
from drillaid.inspection.summary import conclude
from drillaid.registration.register import register_picture
from drillaid.registration.result import Registration
from drillaid.rig.pictures import check_size
from drillaid.rig.rig import Rig


@dataclass(frozen=True, eq=False)
class Check:
    """picture: uint8 BGR, as it was photographed; inspection: None where the board was not found."""

    job: Job
    picture: np.ndarray
    rig: Rig | None
    registration: Registration
    inspection: Inspection | None

    @property
    def bits_mm(self) -> list[float]:
        """The bit meant for each hole."""
        return [choice.bit_mm for choice in self.job.choices]

    @property
    def message(self) -> str:
        """One sentence: what was measured, or why the board was not found."""
        return (self.inspection or self.registration).message


def check_board(job: Job, picture: np.ndarray, rig: Rig | None) -> Check:
    """Raises InputError where the picture does not suit the rig."""
    if rig is not None:
        check_size(rig, picture)
    registration = register_picture(
        picture, job.design, rig=rig, face=job.face, thickness_mm=job.thickness_mm
    )
    if not registration.ok:
        return Check(job, picture, rig, registration, None)
    start = time.perf_counter()
    findings = measure_holes(
        picture, job.design, registration.placement, rig, face=job.face,
        thickness_mm=job.thickness_mm, bits_mm=[choice.bit_mm for choice in job.choices],
    )  # fmt: skip
    seconds = {"measure": time.perf_counter() - start}
    inspection = conclude(
        findings, job.parts, job.design, true_scale=rig is not None, seconds=seconds,
        bits_mm=job.bits_mm or None,
    )
    return Check(job, picture, rig, registration, inspection)
