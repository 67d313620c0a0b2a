"""The table as a small state machine that cannot be asked for anything unsafe.

    OFFLINE --connect--> UNHOMED --home--> UP --plunge--> DOWN --(retracts)--> UP
                                           UP --lever---> LEVER --lever_up---> UP
                                           UP --hands---> HANDS --hands_off--> UP
    any --make_safe--> STOPPED --home--> UP      (OFFLINE where the port is gone)

Invariants, held against the log of the simulated table by random walks:
  1. No XY motion unless Z is known to be up. (Homing is the controller's own: Z first.)
  2. No plunge unless this hole was seen within tolerance in a picture newer than the
     last XY motion, and with the spindle turning.
  3. The spindle is off, as far as it can be switched, whenever a person is asked to touch.
  4. Soft limits hold for every motion line.
  5. After connecting, an alarm, a restart or a fault nothing moves but homing (and the way
     to the place of looking, which belongs to it) until the board was registered again.
  6. At most one line is outstanding.
What is asked for against them is refused by UnsafeNow, and nothing is sent.
"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from drillaid.errors import DeviceError, PortError, PortLost, UnsafeNow
from drillaid.table import dialect as d
from drillaid.table.controller import Controller, Steps, finish
from drillaid.table.strokes import Stroke

FRESH_S = 3.0  # a sighting older than this says nothing, even if nothing was moved
HOLD_S = 3.0  # for a hold to come to rest
HEAR_S = 0.1  # for what may have come unheard
BELIEVED_MM = 0.5
CLEAR_MM = 0.3  # above the board's face the bit holds nothing any more
UP_MM = 0.05  # Z is up from this much below the safe height


class State(Enum):
    """Where the machine is in its day; see the head of this module."""

    OFFLINE = "offline"
    UNHOMED = "not homed"
    UP = "up"
    DOWN = "down"
    LEVER = "lever"
    HANDS = "hands"
    STOPPED = "stopped"


@dataclass(frozen=True)
class Sighting:
    """A hole seen under the spindle. time_s: the picture's, by the clock of the machine."""

    hole: int
    time_s: float
    distance_mm: float
    tolerance_mm: float

    @property
    def within(self) -> bool:
        return self.distance_mm <= self.tolerance_mm  # False for NaN


@dataclass(frozen=True)
class Safe:
    """What `make_safe` reached. held: motion stopped; spindle_off, z_up: False also where
    nobody knows; message: for the person, with what is left to do by hand."""

    held: bool
    spindle_off: bool
    z_up: bool
    message: str


class Machine:
    """needs_board: False for calibration and jogging, which move without a registered board.
    clock: of the camera's frames, seconds; the time of each XY motion is taken by it.

    moved_s: the end of the last XY motion; clear_s: since when the bit is out of the last hole
    """

    def __init__(self, controller: Controller, clock, *, needs_board: bool = True) -> None:
        self.controller, self.setup = controller, controller.setup
        self._clock, self._needs_board = clock, needs_board
        self.state = State.OFFLINE
        self.registered = False
        self.moved_s = -np.inf
        self.hands_near = False  # outlives a stop: nobody knows where the hands are
        self.clear_s = -np.inf
        self._sighting: Sighting | None = None

    @property
    def xy_mm(self) -> np.ndarray:
        """(2,), table. UnsafeNow where it is not known."""
        place = self.controller.position_mm
        if place is None:
            raise UnsafeNow("Where the table stands is not known; home it.")
        return np.array(place[:2])

    # --- getting ready ------------------------------------------------------------

    def connect(self) -> Steps:
        self._need("connect", State.OFFLINE)
        yield from self.controller.connect()
        self.state = State.UNHOMED

    def home(self) -> Steps:
        """The homing cycle, then to the place from which the board is looked for."""
        self._need("home", State.UNHOMED, State.STOPPED, State.UP)
        if self.hands_near:
            raise UnsafeNow("A person was asked to touch and has not said that it is over.")
        self._forget_board()
        self.state = State.UNHOMED
        yield from self.controller.home()
        if not self.setup.lever:
            yield from self.controller.move(z=self.setup.safe_z_mm)
        self.state = State.UP
        yield from self._go(*self.setup.view_mm)

    def board_registered(self) -> None:
        """A picture taken since the last homing shows where the board lies."""
        self._need("register", State.UP)
        self.registered = True

    def board_lost(self) -> None:
        self._forget_board()

    # --- moving -------------------------------------------------------------------

    def travel(self, x: float, y: float) -> Steps:
        """Rapid, at the safe height."""
        self._need("travel", State.UP)
        if self._needs_board and not self.registered:
            raise UnsafeNow("Nothing moves before the board has been found again.")
        yield from self._go(x, y)

    def _go(self, x: float, y: float) -> Steps:
        self.setup.check(x, y, None)
        self._check_up()
        self._sighting = None
        try:
            yield from self.controller.move(x=x, y=y)
        finally:
            self.moved_s = self._clock()

    def seen(self, sighting: Sighting) -> None:
        """A picture showed this hole; counted only if it is newer than the last motion."""
        self._need("look", State.UP)
        newer = sighting.time_s > self.moved_s
        self._sighting = sighting if newer and sighting.within else None

    def may_plunge(self, hole: int) -> str | None:
        """Why not, or None."""
        s = self._sighting
        if s is None or s.hole != hole:
            return f"hole {hole} was not seen within tolerance since the last motion"
        if not 0 <= self._clock() - s.time_s <= FRESH_S:
            return f"hole {hole} was seen too long ago"
        if not self.registered:
            return "the board has to be found again"
        if self.setup.switched and self.controller.spinning is not True:
            return "the spindle does not turn"
        return None

    def plunge(self, hole: int, strokes: Sequence[Stroke]) -> Steps:
        """Z only, by the controller: down and up by `strokes`, ending at the safe height."""
        self._need("plunge", State.UP)
        if self.setup.lever:
            raise UnsafeNow("This table's Z is moved by a person.")
        if (why := self.may_plunge(hole)) is not None:
            raise UnsafeNow(f"No plunge: {why}.")
        for stroke in strokes:
            self.setup.check(None, None, stroke.z_mm)
        self._check_up()
        self.state = State.DOWN
        for stroke in strokes:
            yield from self.controller.move(z=stroke.z_mm, feed_mm_min=stroke.feed_mm_min)
        self.clear_s = np.inf
        for _ in self.controller.move(z=self.setup.safe_z_mm):
            self._note_clear()
            yield
        self._check_up()
        self._note_clear()
        self.state = State.UP
        self._sighting = None

    def _note_clear(self) -> None:
        place = self.controller.position_mm
        if self.clear_s == np.inf and place[2] >= self.setup.surface_z_mm + CLEAR_MM:
            self.clear_s = self._clock()

    def lever(self, hole: int) -> None:
        """A person may pull the lever now; nothing moves until `lever_up`."""
        self._need("pull the lever", State.UP)
        if not self.setup.lever:
            raise UnsafeNow("This table's Z is moved by the controller.")
        if (why := self.may_plunge(hole)) is not None:
            raise UnsafeNow(f"Do not pull the lever: {why}.")
        self.state = State.LEVER

    def lever_up(self) -> None:
        """The person says that the lever is up again."""
        self._need("go on", State.LEVER)
        self.clear_s = self._clock()
        self.state = State.UP
        self._sighting = None

    def spin(self, on: bool) -> Steps:
        """The spindle's relay; with time to come up to speed. Without a relay: nothing."""
        if not self.setup.switched:
            return
        if on:
            self._need("start the spindle", State.UP)
        if self.controller.spinning is not on:
            yield from self.controller.spin(on)
            if on:
                yield from self.controller.wait(self.setup.spin_up_s)

    def hands(self) -> Steps:
        """Spindle off and Z up, then a person may touch board and bit until `hands_off`."""
        self._need("ask a person to touch", State.UP)
        self._sighting = None
        yield from self.spin(False)
        self._check_up()
        self.state, self.hands_near = State.HANDS, True

    def hands_off(self) -> None:
        """The person says that nobody's hands are near any more. After a stop, too."""
        self.hands_near = False
        if self.state is not State.STOPPED:
            self._need("go on", State.HANDS)
            self.state = State.UP

    # --- stopping -----------------------------------------------------------------

    def make_safe(self) -> Safe:
        """Hold, spindle off, Z up if that can still be commanded. Never raises a DeviceError;
        takes some seconds at most beyond the way of Z. For faults, stops and `finally`."""
        self._forget_board()
        if self.state is State.OFFLINE:
            return Safe(True, not self.setup.switched, False, "The table was not connected.")
        by_hand = self.state in (State.LEVER, State.HANDS)
        try:
            held = self._halt()
            off = self._spindle_off()
            up = self._raise_z()
        except PortError as error:
            self.controller.forget()
            gone = isinstance(error, PortLost)
            self.state = State.OFFLINE if gone else State.STOPPED
            return Safe(False, False, False, _told(False, False, False, self.setup.lever))
        self.state = State.STOPPED
        up = up or (self.setup.lever and not by_hand)
        return Safe(held, off, up, _told(held, off, up, self.setup.lever))

    def _halt(self) -> bool:
        c = self.controller
        if not c.may_move and c.state == d.RESTING:
            c.drain(HEAR_S)
            c.owes_nothing()
            return True
        ends = [place for place in (c.position_mm, c.target_mm) if place is not None]
        c.urgent("hold")
        held = c.drain(HOLD_S, (d.HELD, d.RESTING))
        homed = c.homed and held and _between(c.position_mm, ends)
        place = c.position_mm
        c.urgent("reset")  # what is held would go on one day
        c.drain(max(c.dialect.greeting_s, 0.2), (d.GREETING,))
        c.owes_nothing()
        c.homed = homed and c.state != d.ALARMED
        with contextlib.suppress(DeviceError):
            finish(c.begin_again())
            finish(c.status())
            c.homed = c.homed and _between(c.position_mm, [place])
            c.may_move = c.state != d.RESTING
        return held

    def _spindle_off(self) -> bool:
        if not self.setup.switched:
            return True
        for _ in range(2):  # one garbled answer must not leave it turning
            with contextlib.suppress(DeviceError):
                self.controller.owes_nothing()
                finish(self.controller.spin(False))
                return True
        return False

    def _raise_z(self) -> bool:
        c = self.controller
        if self.setup.lever or not c.homed:
            return False
        for _ in range(2):
            with contextlib.suppress(DeviceError):
                c.owes_nothing()
                if c.homed and not self._is_up():
                    finish(c.move(z=self.setup.safe_z_mm))
                return c.homed and self._is_up()
        return False

    # --- what is known ------------------------------------------------------------

    def _need(self, what: str, *states: State) -> None:
        if self.state not in states:
            raise UnsafeNow(f"The table cannot {what} now: it is {self.state.value}.")

    def _is_up(self) -> bool:
        place = self.controller.position_mm
        return place is not None and place[2] >= self.setup.safe_z_mm - UP_MM

    def _check_up(self) -> None:
        if not self.setup.lever and not self._is_up():
            raise UnsafeNow("Z is not known to be up; home the table.")

    def _forget_board(self) -> None:
        self.registered = False
        self._sighting = None


def _between(place, ends: list) -> bool:
    """A controller that began anew without a word counts from elsewhere: believed is only a
    place between those where it was and where it was going."""
    if place is None or not ends:
        return False
    low, high = np.min(ends, axis=0) - BELIEVED_MM, np.max(ends, axis=0) + BELIEVED_MM
    return bool(((low <= place) & (place <= high)).all())


def _told(held: bool, off: bool, up: bool, lever: bool) -> str:
    """What was reached, and what the person has to do."""
    if held and off and up:
        return "The table stands still, the spindle is off, the bit is up."
    parts = ["The table stands still." if held else "The table may still move."]
    if not off:
        parts.append("The spindle may still turn: switch it off at its own switch.")
    if not up:
        parts.append("Raise the lever." if lever else "The bit may be down: raise it by hand.")
    if not (held and off):
        parts.insert(0, "Press the emergency stop.")
    return " ".join(parts)
