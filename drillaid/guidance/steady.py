"""Whether the target has been held under the spindle, and whether that still counts."""

from __future__ import annotations

from drillaid.guidance.aim import CANNOT_VOUCH, ON, Aim, Settings


class Steady:
    """Fed with the aims of fresh pictures of ONE target, in the order of their times."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self.reset()

    def reset(self) -> None:
        """Another target, another bit, a pause: nothing seen before counts any more."""
        self._since: float | None = None
        self._frames = 0
        self._last: float | None = None
        self._moved: float | None = None
        self._aim_on: Aim | None = None
        self._last_on = 0.0
        self.on = False

    @property
    def holding(self) -> bool:
        return self._since is not None

    def see(self, aim: Aim, time_s: float) -> None:
        s = self._settings
        if self._last is not None and time_s - self._last > s.stale_s:
            self._let_go()
        self._last = time_s
        if aim.verdict(part=1.0 if self.holding else s.enter) != ON:
            self._let_go()
            unclear = aim.verdict() == CANNOT_VOUCH and aim.distance_mm <= s.tolerance_mm
            if self._aim_on is not None and self._moved is None and not unclear:
                self._moved = time_s
            return
        if self._since is None:
            self._since = time_s
        self._frames += 1
        if self._frames >= s.steady_frames and time_s - self._since >= s.steady_s:
            self.on = True
        if self.on:
            self._aim_on, self._last_on, self._moved = aim, time_s, None

    def hide(self) -> None:
        """The board is not seen now."""
        self._let_go()

    def counts(self, now_s: float) -> Aim | None:
        """The last aim on target if a confirmation at now_s still counts, else None."""
        if self._aim_on is None:
            return None
        if self._moved is not None:
            return self._aim_on if now_s - self._moved <= self._settings.moved_grace_s else None
        hidden = now_s - self._last_on
        return self._aim_on if hidden <= self._settings.hidden_grace_s else None

    @property
    def last_on(self) -> Aim | None:
        """The last aim on target, however long ago; None where it never was."""
        return self._aim_on

    def _let_go(self) -> None:
        self._since, self._frames, self.on = None, 0, False
