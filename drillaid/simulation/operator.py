"""A simulated operator at the simulated bench: does what guidance says, and knows nothing else.

Pushes the board by the offset guidance shows, pulls the lever when guidance says
drill, changes bits when asked to. What happens to the board meanwhile (a bit that
wanders, a board that is pulled aside) is the bench's and the scenario's doing.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from drillaid.guidance import guidance as g
from drillaid.guidance.events import BitFitted, Confirm, Skip
from drillaid.simulation.bench import SimulatedBench
from drillaid.simulation.hand import Hand

if TYPE_CHECKING:
    from drillaid.guidance.live import LiveGuidance
    from drillaid.simulation.mishaps import KnockedArm

PATIENCE = 60  # pictures for one hole, or without a board, before the operator gives it up


def brisk_hand(seed: int, fps: float) -> Hand:
    """A practised hand: goes most of the way between two looks, then corrects.

    No faster than 18 mm/s. With few pictures a second it moves, looks, and moves again, as people do
    who take their eyes off the screen; pushes miss by 15 % of their length.
    """
    return Hand(seed, reaction_s=0.0, gain_per_s=0.92 * fps, speed_mm_s=18.0)


class Operator:
    """knock: what happens to the camera's arm meanwhile, or None
    slips: hole number -> (dx, dy) mm by which the board is pulled as that bit goes in

    drilled: holes for which the lever was pulled, in order; felt: those at which
    the board was pulled aside; given_up: why the operator walked away, or None.
    """

    def __init__(
        self,
        bench: SimulatedBench,
        hand: Hand,
        *,
        slips: Mapping[int, tuple[float, float]] | None = None,
        knock: KnockedArm | None = None,
    ) -> None:
        self.bench, self.hand, self.knock = bench, hand, knock
        self.slips = dict(slips or {})
        self.drilled: list[int] = []
        self.felt: list[int] = []
        self.given_up: str | None = None
        self._shown = None
        self._time_s: float | None = None
        self._waited_for: tuple[str, int | None] | None = None
        self._waited = 0

    def before_frame(self, time_s: float) -> None:
        """The hand's work since the last picture; for `SimulatedCamera.before_frame`."""
        passed = None if self._time_s is None else time_s - self._time_s
        self._time_s = time_s
        if passed is not None and passed > 0:
            self.bench.move(*self.hand.step(self._shown, passed))

    def follow(self, live: LiveGuidance, guidance: g.Guidance) -> g.Guidance:
        """Does what is asked for; the guidance after that."""
        if guidance.state == g.CHANGE_BIT:
            guidance = live.act(BitFitted(guidance.bit_change.bit_mm))
        elif guidance.state == g.ON_TARGET:
            guidance = self._drill(live, guidance)
        if self.knock is not None:
            self.knock.happen(guidance)
        guidance = self._lose_patience(live, guidance)
        self._shown = guidance.off_mm
        return guidance

    def _drill(self, live: LiveGuidance, guidance: g.Guidance) -> g.Guidance:
        dx, dy = self.slips.get(guidance.hole, (0.0, 0.0))
        if dx or dy:
            self.felt.append(guidance.hole)
        self.bench.move(dx, dy)
        self.bench.drill(guidance.bit_mm)
        self.bench.move(-dx, -dy)
        self.drilled.append(guidance.hole)
        return live.act(Confirm())

    def _lose_patience(self, live: LiveGuidance, guidance: g.Guidance) -> g.Guidance:
        lost = guidance.state in (g.LOST, g.UNTRUE)
        waits_for = ("the board" if lost else "the hole", guidance.hole)
        self._waited = self._waited + 1 if waits_for == self._waited_for else 0
        self._waited_for = waits_for
        if self._waited < PATIENCE:
            return guidance
        self._waited = 0
        if lost:
            self.given_up = guidance.message
            return guidance
        return live.act(Skip())
