"""What one board needs before anything moves: design, bits, drilling order, settings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from drillaid.design.bits import BitChoice, assign_bits, bit_warnings, checked_bits
from drillaid.design.model import Design
from drillaid.design.parts import Part, find_parts
from drillaid.design.read import read_design
from drillaid.guidance.aim import Settings
from drillaid.guidance.order import Order, plan_order
from drillaid.guidance.work import Work


@dataclass(frozen=True, eq=False)
class Job:
    """One design made ready for drilling. face, thickness_mm: as the commands take them.

    choices: the bit of each hole; warnings: of the design and of its bits, sentences
    bits_mm: at hand
    """

    paths: tuple[str, ...]
    design: Design
    face: str
    thickness_mm: float
    choices: tuple[BitChoice, ...]
    parts: tuple[Part, ...]
    order: Order
    work: Work
    settings: Settings
    warnings: tuple[str, ...]
    bits_mm: tuple[float, ...] = ()

    @property
    def name(self) -> str:
        return self.design.name

    @cached_property
    def far_pair(self) -> tuple[int, int]:
        """The numbers of two holes as far apart as any: their pads settle how a board lies."""
        xy = self.design.xy_mm
        first = int(np.argmax(np.hypot(*(xy - xy.mean(axis=0)).T)))
        return first + 1, int(np.argmax(np.hypot(*(xy - xy[first]).T))) + 1

    @property
    def bit_counts(self) -> tuple[tuple[float, int], ...]:
        """(bit, number of holes), in the order of drilling."""
        bits = [choice.bit_mm for choice in self.choices]
        return tuple((bit, bits.count(bit)) for bit in self.work.bits_mm)


def prepare(
    paths: Sequence[str | Path], *, face: str, thickness_mm: float, bits_mm: Sequence[float],
    tolerance_mm: float,
) -> Job:  # fmt: skip
    """Reads and plans. Raises DesignError and InputError."""
    bits = checked_bits(bits_mm)
    design = read_design([str(path) for path in paths], face=face)
    choices = assign_bits(design, bits)
    order = plan_order(design, [choice.bit_mm for choice in choices])
    return Job(
        tuple(map(str, paths)), design, face, thickness_mm, tuple(choices),
        tuple(find_parts(design)), order, Work.of(design, order),
        Settings(tolerance_mm=tolerance_mm), (*design.warnings, *bit_warnings(design, choices)),
        bits,
    )  # fmt: skip


def board_details(job: Job, camera: str, rig_path: str = "") -> dict:
    """What is kept with a board besides its work, so that it can be gone on with and checked."""
    return {
        "face": job.face,
        "thickness_mm": job.thickness_mm,
        "tolerance_mm": job.settings.tolerance_mm,
        "bits_at_hand_mm": list(job.bits_mm),
        "paths": [str(Path(path).resolve()) for path in job.paths],
        "camera": camera,
        "rig_path": rig_path,
    }
