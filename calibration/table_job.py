"""One calibration of a table from connecting to a safe end, and what it says of it."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import numpy as np

from calibration.rig_draft import RigDraft
from calibration.table_axes import AXES
from calibration.table_tour import Tour, Toured
from drillaid.table.controller import finish
from drillaid.table.machine import Machine, Safe


@dataclass(frozen=True, eq=False)
class TableJob:
    """toured: what was measured; safe: how the machine was left."""

    toured: Toured
    safe: Safe

    def to_json(self) -> dict:
        """What `calibrate table --json` prints, apart from the file."""
        t = self.toured
        return {
            "status": "measured",
            **t.axes.to_json(),
            "area_mm": list(t.area_mm),
            "camera_scatter_mm": t.still_mm,
            "runs_done_again": len(t.lost_mm),
            "lost_mm": list(t.lost_mm),
            "drift_mm": t.drift_mm.tolist(),
            "lost_mm_per_stop": t.lost_mm_per_stop,
            "departs": DEPARTS,
            "safe": {"held": self.safe.held, "spindle_off": self.safe.spindle_off,
                     "z_up": self.safe.z_up},
        }  # fmt: skip

    def rows(self) -> tuple[tuple[str, str, str], ...]:
        """(what, of x, of y) with one sigma where there is one."""
        axes = self.toured.axes

        def both(text) -> tuple[str, str]:
            return text(0), text(1)

        return (
            ("moves, mm for each mm sent",
             *both(lambda k: f"{axes.scale[k]:.4f} ± {axes.matrix_sigma[0, k]:.4f}")),
            ("loses on turning back, mm",
             *both(lambda k: f"{axes.backlash_mm[k]:.3f} ± {axes.backlash_sigma_mm[k]:.3f}")),
            ("repeats from one side within, mm",
             *both(lambda k: f"{axes.accuracy[k].repeatability_up_mm:.3f}")),
            ("repeats from both sides within, mm",
             *both(lambda k: f"{axes.accuracy[k].repeatability_mm:.3f}")),
        )  # fmt: skip

    def sentences(self) -> tuple[str, ...]:
        """What is not of one axis."""
        axes, t = self.toured.axes, self.toured
        mirrored = ", mirrored" if axes.mirrored else ""
        again = f"{len(t.lost_mm)} done again, " if t.lost_mm else ""
        told = [
            f"y is {axes.skew_deg:+.2f} ± {axes.skew_sigma_deg:.2f} degrees from square to x; x is "
            f"turned {axes.turn_deg:.2f} degrees against the bench{mirrored}",
            f"{axes.stops} stops, {again}back at the first place it was off by "
            f"{np.hypot(*t.drift_mm):.3f} mm; the camera alone scatters by {t.still_mm:.4f} mm",
        ]
        if t.lost_mm_per_stop:
            told.append(
                "CAUTION: it loses steps now and then. Lower speed and acceleration, look for "
                "binding and loose couplings; table drill corrects what it sees, a file of table "
                "gcode cannot."
            )
        return tuple(told)

    def text(self) -> str:
        """For a person."""
        axes = self.toured.axes
        lines = []
        for k, name in enumerate(AXES):
            a = axes.accuracy[k]
            lines.append(
                f"{name}: moves {axes.scale[k]:.4f} ± {axes.matrix_sigma[0, k]:.4f} mm for each mm "
                f"sent, loses {axes.backlash_mm[k]:.3f} ± {axes.backlash_sigma_mm[k]:.3f} mm on "
                f"turning back; repeats within {a.repeatability_up_mm:.3f} mm from one side, "
                f"{a.repeatability_mm:.3f} mm from both (four sigmas, ISO 230-2)"
            )
        lines += self.sentences()
        return "\n".join(lines)


DEPARTS = (
    "measured by the camera, whose scatter counts in, in the scale of the rig's bench plane, over "
    "a short way; A, E and M are of what is left with the matrix measured here"
)


def measuring(machine: Machine, tour: Tour):
    """Connects and tours, a little at each step: `Toured`. Whoever drives it makes the machine
    safe, however it ends."""
    yield from machine.connect()
    return (yield from tour.run())


def measure(machine: Machine, tour: Tour) -> TableJob:
    """To the end, and leaves the machine safe however it ends."""
    safe = None
    try:
        toured = finish(measuring(machine, tour))
    finally:
        safe = machine.make_safe()
        if not (safe.held and safe.spindle_off):
            tour.tell(safe.message)
    return TableJob(toured, safe)


def stored(draft: RigDraft, job: TableJob, table: dict) -> RigDraft:
    """The draft with what was measured in [table]; table: its keys as used for the tour."""
    sign = -1.0 if table.get("arrangement", "board") == "spindle" else 1.0
    section = job.toured.axes.section(sign)
    return draft.with_section(
        "table",
        {
            **table,
            **section,
            "lost_mm_per_stop": round(job.toured.lost_mm_per_stop, 5),
            "area_mm": [round(float(v), 3) for v in job.toured.area_mm],
            "date": datetime.date.today().isoformat(),
        },
    )
