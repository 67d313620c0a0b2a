"""Measuring the table from the window: what is asked for, and one measuring under way."""

from __future__ import annotations

import time
from dataclasses import dataclass

from calibration.table_job import TableJob, measuring
from calibration.table_tour import Tour
from drillaid.table import job as j
from drillaid.table.machine import Machine
from ui.words import tr

MEASURING = "measuring"  # beside the states of a job


@dataclass(frozen=True)
class Measure:
    """sheet: the camera follows the printed test board, its face height_mm over the bench,
    instead of the board that is to be drilled."""

    port: str
    sheet: bool = False
    height_mm: float = 0.0


@dataclass(frozen=True, eq=False)
class Accept:
    """The person has seen the figures and wants them kept."""

    measured: TableJob


class Measuring:
    """sheet: the printed test board is followed; view: what to show; measured: the result, None until it is over and the table safe."""

    def __init__(self, machine: Machine, *, sheet: bool = False) -> None:
        self._machine, self.sheet = machine, sheet
        self.tour: Tour | None = None
        self.measured: TableJob | None = None
        self.view: j.JobView | None = None
        self.tell(tr("Connecting with the table."))

    def tell(self, sentence: str) -> None:
        self.view = j.JobView(MEASURING, sentence, time.monotonic())

    @property
    def runs(self) -> tuple[int, int]:
        """(done, all), of both axes."""
        return (0, 1) if self.tour is None else self.tour.runs

    def steps(self):
        """Machine and result are left as they are if it fails: whoever drives it makes safe."""
        toured = yield from measuring(self._machine, self.tour)
        self.measured = TableJob(toured, self._machine.make_safe())
