"""An operator's hand that pushes the board, seeing nothing but what guidance tells it.

It reacts late, is limited in speed, sticks before it slips, trembles and
drifts. Figures are plausible, not measured: reaction 0.2 s, physiological tremor
8–12 Hz (common knowledge, no source).
"""

from __future__ import annotations

import math
from collections import deque

import numpy as np


class Hand:
    """reaction_s: from seeing to moving; gain_per_s: share of the offset closed per second;
    speed_mm_s: the fastest push; tremor_mm: amplitude; drift_mm_s: sigma of slow creep;
    stick_mm: pushes shorter than this do not overcome friction.
    """

    def __init__(
        self,
        seed: int,
        *,
        reaction_s: float = 0.2,
        gain_per_s: float = 2.2,
        speed_mm_s: float = 30.0,
        tremor_mm: float = 0.02,
        drift_mm_s: float = 0.05,
        stick_mm: float = 0.015,
        turn_rad_per_mm: float = 0.0006,
    ):
        if gain_per_s * reaction_s > 1.2:
            raise ValueError("gain_per_s * reaction_s above 1.2: this hand would swing for ever")
        self._rng = np.random.default_rng([seed, 7])
        self.reaction_s, self.gain_per_s, self.speed_mm_s = reaction_s, gain_per_s, speed_mm_s
        self.tremor_mm, self.drift_mm_s, self.stick_mm = tremor_mm, drift_mm_s, stick_mm
        self.turn_rad_per_mm = turn_rad_per_mm
        self._time_s = 0.0
        self._seen: deque[tuple[float, np.ndarray | None]] = deque()
        self._acting_on: np.ndarray | None = None
        self._held = np.zeros(2)
        self._creep = np.zeros(2)
        self._spin = 0.0
        self._hertz = self._rng.uniform(8, 12, 2)
        self._phase = self._rng.uniform(0, 2 * math.pi, 2)
        self._trembled = self._tremor()

    def _tremor(self) -> np.ndarray:
        beat = 0.75 + 0.25 * math.sin(2 * math.pi * 0.7 * self._time_s)
        return (
            self.tremor_mm * beat * np.sin(2 * math.pi * self._hertz * self._time_s + self._phase)
        )

    def step(self, off_mm, dt_s: float) -> tuple[float, float, float]:
        """(dx, dy, dtheta): how the board moves in the next dt_s, bench mm and rad.

        off_mm: (dx, dy) still to go as guidance shows it now, bench axes; None: nothing shown
        """
        if not dt_s > 0:
            raise ValueError(f"dt_s must be positive, not {dt_s}")
        now = None if off_mm is None else np.asarray(off_mm, float).reshape(2)
        self._seen.append((self._time_s, now))
        while self._seen and self._seen[0][0] <= self._time_s - self.reaction_s + 1e-9:
            self._acting_on = self._seen.popleft()[1]
        self._time_s += dt_s
        push = self._push(dt_s)
        self._phase += self._rng.normal(0, 0.8 * math.sqrt(dt_s), 2)
        tremor = self._tremor()
        relax = math.exp(-dt_s / 1.5)
        kick = math.sqrt(1 - relax * relax)
        self._creep = relax * self._creep + kick * self.drift_mm_s * self._rng.standard_normal(2)
        self._spin = relax * self._spin + kick * float(self._rng.standard_normal())
        move = push + (tremor - self._trembled) + self._creep * dt_s
        self._trembled = tremor
        turn = self.turn_rad_per_mm * self._spin * (float(np.hypot(*push)) + 0.3 * dt_s)
        return float(move[0]), float(move[1]), float(turn)

    def _push(self, dt_s: float) -> np.ndarray:
        """What leaves the fingers: proportional, limited, and nothing until friction gives way."""
        if self._acting_on is None:
            self._held[:] = 0
            return np.zeros(2)
        velocity = self.gain_per_s * self._acting_on
        speed = float(np.hypot(*velocity))
        if speed > self.speed_mm_s:
            velocity *= self.speed_mm_s / speed
        aimed = self._held + velocity * dt_s * (1 + 0.15 * self._rng.standard_normal())
        if np.hypot(*aimed) < self.stick_mm:
            self._held = aimed
            return np.zeros(2)
        self._held = np.zeros(2)
        return aimed
