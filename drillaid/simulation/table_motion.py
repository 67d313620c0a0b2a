"""The mechanics of a home-made table: steps, acceleration, backlash, skew, scale, lost steps.

Nothing here knows of lines and replies; the figures are plausible, not measured.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class Mechanics:
    """skew_deg: the y axis is turned by so much against a right angle with x; turn_deg: both
    against the bench's; scale: true mm for each mm sent, x and y; lost_chance: of losing
    lost_mm (at most) on one axis in one motion
    limits_mm: x, y, z; homing ends at home_mm. step_mm: of the motors
    """

    backlash_mm: tuple[float, float] = (0.0, 0.0)
    skew_deg: float = 0.0
    turn_deg: float = 0.0
    scale: tuple[float, float] = (1.0, 1.0)
    lost_chance: float = 0.0
    lost_mm: float = 0.06
    home_sigma_mm: float = 0.01
    step_mm: float = 0.005
    speed_mm_s: tuple[float, float, float] = (25.0, 25.0, 10.0)
    acceleration_mm_s2: tuple[float, float, float] = (200.0, 200.0, 100.0)
    limits_mm: tuple[tuple[float, float], ...] = ((0.0, 100.0), (0.0, 80.0), (-30.0, 0.0))
    home_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    surface_z_mm: float = -20.0

    @property
    def matrix(self) -> np.ndarray:
        """Bench mm for each mm the motors turn out, (2, 2)."""
        along = math.radians(self.turn_deg), math.radians(self.turn_deg + 90.0 + self.skew_deg)
        return np.array([[math.cos(a) for a in along], [math.sin(a) for a in along]]) * self.scale


@dataclass
class Segment:
    """One straight motion: start and end (3,), mm; trapezoid of speed along it."""

    start: np.ndarray
    end: np.ndarray
    begun_s: float
    speed: float
    acceleration: float
    rapid: bool = True

    def __post_init__(self) -> None:
        self.length = s = float(np.linalg.norm(self.end - self.start))
        v, a = self.speed, self.acceleration
        self.lasts_s = 2 * math.sqrt(s / a) if s < v * v / a else s / v + v / a

    @property
    def over_s(self) -> float:
        return self.begun_s + self.lasts_s

    def at(self, time_s: float) -> np.ndarray:
        s, _ = self._run(time_s)
        return self.start + (self.end - self.start) * (s / self.length if self.length else 1.0)

    def _run(self, time_s: float) -> tuple[float, float]:
        """(way, speed) so far."""
        t, total = max(time_s - self.begun_s, 0.0), self.lasts_s
        if t >= total:
            return self.length, 0.0
        a = self.acceleration
        ramp = min(self.speed / a, total / 2)
        if t < ramp:
            return a * t * t / 2, a * t
        if t > total - ramp:
            left = total - t
            return self.length - a * left * left / 2, a * left
        return a * ramp * ramp / 2 + a * ramp * (t - ramp), a * ramp

    def braked(self, time_s: float) -> Segment:
        """The same motion, braking from time_s on: where and when it then stands still."""
        s, v = self._run(time_s)
        stop = min(self.length, s + v * v / (2 * self.acceleration))
        here = self.at(time_s)
        unit = (self.end - self.start) / max(self.length, 1e-12)
        return Segment(here, self.start + unit * stop, time_s, max(v, 1e-6), self.acceleration)


@dataclass
class Axes:
    """What motors and screws really do. commanded: (3,), where the controller believes it is."""

    mechanics: Mechanics
    seed: int = 0
    stuck: set[int] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng([self.seed, 21])
        # where it was left when switched off: anywhere, and the controller does not know
        low, high = np.array(self.mechanics.limits_mm).T
        self.commanded = low + (high - low) * [0.4, 0.4, 1.0]
        self.lost = np.zeros(3)
        self._carriage = (self.commanded - self.lost)[:2].copy()

    def follow(self, commanded: np.ndarray) -> None:
        """The motors go straight on to there; the carriage hangs back by half the backlash."""
        wanted = np.round(np.asarray(commanded) / self.mechanics.step_mm) * self.mechanics.step_mm
        for axis in self.stuck:
            self.lost[axis] += wanted[axis] - self.commanded[axis]
        self.commanded = wanted
        motor = self.motor[:2]
        half = np.array(self.mechanics.backlash_mm) / 2
        self._carriage = np.clip(self._carriage, motor - half, motor + half)

    def maybe_lose_steps(self, way: np.ndarray) -> None:
        if self.rng.random() < self.mechanics.lost_chance:
            axis = int(self.rng.integers(2))
            if way[axis]:
                self.lost[axis] += float(np.sign(way[axis])) * self.rng.uniform(
                    0.2 * self.mechanics.lost_mm, self.mechanics.lost_mm
                )

    def find_home(self) -> None:
        """At the switches: the controller knows again where it is, as well as a switch does."""
        self.lost = np.append(self.rng.normal(0, self.mechanics.home_sigma_mm, 2), 0.0)
        self.follow(np.array(self.mechanics.home_mm))

    @property
    def motor(self) -> np.ndarray:
        """(3,), where the motors truly are."""
        return self.commanded - self.lost

    @property
    def bench_mm(self) -> np.ndarray:
        """(2,), how far the moving part has truly come from the table's zero, bench axes."""
        return self.mechanics.matrix @ self._carriage

    @property
    def z(self) -> float:
        return float(self.motor[2])
