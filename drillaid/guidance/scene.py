"""What is drawn over the picture: where things are on the screen, ready worked out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.design.model import Design
from drillaid.guidance.aim import Settings
from drillaid.guidance.guidance import Guidance
from drillaid.guidance.progress import Progress
from drillaid.guidance.view import View
from drillaid.registration.result import Registration

LEFT, DONE, SKIPPED, TARGET = "left", "done", "skipped", "target"


@dataclass(frozen=True, eq=False)
class Scene:
    """All in screen px of `view`; None and empty where it is not known in this picture.

    spindle: (2,) where the bit comes down; target: (2,) the hole to bring there
    holes: (N, 2) by hole number - 1; states: (N,) of the names above
    tolerance, doubt: radii about the spindle and the target: how near is near enough, and
      where the target truly is, `Settings.sigmas` of its expected error
    bit, land: radii of the target's hole and copper
    push_mm: how far to push, mm to the hand's right and away from it
    turn_rad: how the board lies against its drawing (`design.picture`), clockwise
    """

    view: View
    spindle: np.ndarray | None
    target: np.ndarray | None
    holes: np.ndarray
    states: tuple[str, ...]
    tolerance: float
    doubt: float | None
    bit: float | None
    land: float | None
    push_mm: tuple[float, float] | None = None
    turn_rad: float | None = None

    @property
    def off(self) -> np.ndarray | None:
        """(2,) from the target to the spindle: the way to push, as the hand sees it."""
        if self.target is None or self.spindle is None:
            return None
        return self.spindle - self.target


def states_of(progress: Progress, count: int, target: int | None = None) -> tuple[str, ...]:
    """State of each of `count` holes; target: the number of the one to do now."""
    skipped = set(progress.holes_skipped())
    states = [LEFT] * count
    for number in range(1, count + 1):
        if number in skipped:
            states[number - 1] = SKIPPED
        elif progress.hole_is_done(number):
            states[number - 1] = DONE
    if target is not None:
        states[target - 1] = TARGET
    return tuple(states)


def scene_of(
    view: View, spindle_px, design: Design, settings: Settings, guidance: Guidance | None,
    registration: Registration | None, progress: Progress, quarter_turns: int = 0,
) -> Scene:  # fmt: skip
    """spindle_px: (2,) as photographed, or None where nobody knows it

    quarter_turns: of the picture against the hand, where no rig file says how it lies
    """
    hole = None if guidance is None else guidance.hole
    states = states_of(progress, len(design.holes), hole)
    spindle = None if spindle_px is None else view(spindle_px)[0]
    place = None if registration is None else registration.placement
    fresh = place is not None and (guidance is None or guidance.matrix is not None)
    holes = view(place.pixels) if fresh else np.zeros((0, 2))
    target = doubt = bit = land = None
    if hole is not None and fresh:
        target = holes[hole - 1]
        if guidance.expected_error_mm is not None and np.isfinite(guidance.expected_error_mm):
            doubt = settings.sigmas * guidance.expected_error_mm * view.px_per_mm
        bit = guidance.target.bit_mm / 2 * view.px_per_mm
        if hole <= len(design.lands) and design.lands[hole - 1] is not None:
            land = min(design.lands[hole - 1].size_mm) / 2 * view.px_per_mm
    return Scene(
        view, spindle, target, holes, states, settings.tolerance_mm * view.px_per_mm,
        doubt, bit, land, _push_mm(guidance, place, quarter_turns),
        turn_of(holes, design.xy_mm),
    )  # fmt: skip


def _push_mm(guidance: Guidance | None, place, quarter_turns: int) -> tuple[float, float] | None:
    """The offset on the hand's axes: the bench's own, or those of the turned picture."""
    if guidance is None or guidance.off_mm is None:
        return None
    if place is None or place.on_bench:
        return guidance.off_mm
    angle = quarter_turns * np.pi / 2
    c, s = round(np.cos(angle)), round(np.sin(angle))
    x, y = guidance.off_mm
    return c * x - s * y, s * x + c * y


def turn_of(holes: np.ndarray, xy_mm: np.ndarray) -> float | None:
    """Turn of the board as seen against its drawing, rad clockwise; None where it is not seen.

    holes: (N, 2) screen px; xy_mm: (N, 2) design. The drawing has y up and, for a face seen
    from below, x to the left; which of the two it is shows in the handedness.
    """
    if len(holes) != len(xy_mm) or len(holes) < 3 or not np.isfinite(holes).all():
        return None
    spread = xy_mm - xy_mm.mean(axis=0)
    linear, _, rank, _ = np.linalg.lstsq(spread, holes - holes.mean(axis=0), rcond=None)
    if rank < 2:
        return None
    seen = linear.T
    side = -1.0 if np.linalg.det(seen) > 0 else 1.0
    turned = seen @ np.diag([side, -1.0])
    return float(np.arctan2(turned[1, 0] - turned[0, 1], turned[0, 0] + turned[1, 1]))
