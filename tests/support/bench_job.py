"""A small board, its work and pictures of it with the target wherever a test wants it."""

from __future__ import annotations

import numpy as np

from drillaid.design.model import Design, Hole
from drillaid.geometry import Affine
from drillaid.guidance.events import BitFitted, RegistrationView
from drillaid.guidance.order import Order, Run
from drillaid.guidance.session import Session
from drillaid.guidance.work import Work

SPINDLE = (120.0, 80.0)


def work_of(*runs: tuple[float, int], slot_in_last: bool = False) -> Work:
    """Runs of (bit, number of holes), 2.54 mm apart in a row for each bit."""
    holes, order, number = [], [], 0
    for row, (bit, count) in enumerate(runs):
        numbers = []
        for k in range(count):
            number += 1
            slot = (2.54 * k + 1.7, 7.62 * row) if slot_in_last and row == len(runs) - 1 else None
            holes.append(Hole(number, 2.54 * k, 7.62 * row, bit, slot_to_mm=slot))
            numbers.append(number)
        order.append(Run(bit, tuple(numbers), 0.0))
    return Work.of(Design("test", tuple(holes)), Order(tuple(order), 0.0))


class Job:
    """A session with a clock and a hand: pictures 25 ms apart put the target where told."""

    def __init__(self, work: Work, session: Session | None = None, error_mm: float = 0.03) -> None:
        self.work = work
        self.session = session or Session(work, SPINDLE)
        self.error_mm = error_mm
        self.t, self.frame = 100.0, 0
        self.events = []

    def keep(self, guidance):
        self.events += guidance.events
        return guidance

    def view(self, *, off=(0.0, 0.0), row=None, error_mm=None) -> RegistrationView:
        """A picture in which the stop of that row (None: the target) is `off` from the spindle."""
        row = self.session.progress.target if row is None else row
        turned = Affine.from_parts(rotation_rad=0.3, mirrored=True)
        place = turned(self.work.xy_mm[[row or 0]])[0]
        offset = np.array(SPINDLE) - np.array(off) - place
        matrix = Affine(np.column_stack([turned.linear, offset]))
        holes = max(stop.hole for stop in self.work.stops)
        errors = np.full(holes, self.error_mm if error_mm is None else error_mm)
        return RegistrationView(self.frame, self.t, matrix, errors)

    def see(self, *, frames=1, **where):
        for _ in range(frames):
            self.t += 0.025
            self.frame += 1
            guidance = self.keep(self.session.step(self.view(**where)))
        return guidance

    def see_nothing(self, frames=1):
        for _ in range(frames):
            self.t += 0.025
            self.frame += 1
            view = RegistrationView(self.frame, self.t, reason="too few pads")
            guidance = self.keep(self.session.step(view))
        return guidance

    def act(self, action, wait_s=0.1):
        self.t += wait_s
        return self.keep(self.session.act(action, self.t))

    def fit(self, bit_mm):
        return self.act(BitFitted(bit_mm))

    def hold(self, **where):
        """Long enough to be steady."""
        return self.see(frames=14, **where)

    def names(self) -> list[str]:
        return [event.event for event in self.events if event.event != "frame"]
