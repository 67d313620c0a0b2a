"""What the ear is told: a beat that homes in on the target, and a short sound for each event.

Pure mapping; making it heard is the window's work. The nearer, the quicker and the higher:
both run along the logarithm of the distance, so that the last tenth of a millimetre is
heard as well as the first ten. Figures are our own choice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from drillaid.guidance import guidance as g
from drillaid.guidance.guidance import Guidance

FAR_MM, NEAR_MM = 30.0, 0.1
SLOW_S, QUICK_S = 0.95, 0.11  # from one beat to the next
LOW_HZ, HIGH_HZ = 300.0, 900.0
DOUBTFUL_HZ = 190.0  # the place is not vouched for: below all others, whatever the distance

FOUND, LOST, ON_TARGET, DRILLED, REFUSED = "found", "lost", "on_target", "drilled", "refused"
CUES = (FOUND, LOST, ON_TARGET, DRILLED, REFUSED)
_CUE_OF = {
    "registered": FOUND,
    "lost": LOST,
    "camera_lost": LOST,
    "rig_moved": LOST,
    "on_target": ON_TARGET,
    "hole_done": DRILLED,
    "stop_done": DRILLED,
    "refused": REFUSED,
}
# The most telling of those that fall together is heard, the others are not.
_RANK = (REFUSED, LOST, DRILLED, ON_TARGET, FOUND)


@dataclass(frozen=True)
class Beat:
    """gap_s: from the start of one beat to the next; pitch_hz: of each"""

    gap_s: float
    pitch_hz: float


def beat_of(guidance: Guidance) -> Beat | None:
    """None for silence: on target (its own sound has said so), paused, lost, another bit."""
    distance = guidance.distance_mm
    if guidance.state not in (g.MOVE, g.HOLD, g.UNSURE) or distance is None:
        return None
    nearness = nearness_of(distance)
    gap = SLOW_S * (QUICK_S / SLOW_S) ** nearness
    pitch = LOW_HZ * (HIGH_HZ / LOW_HZ) ** nearness
    return Beat(gap, DOUBTFUL_HZ if guidance.state == g.UNSURE else pitch)


def nearness_of(distance_mm: float) -> float:
    """0 at FAR_MM and beyond, 1 at NEAR_MM and within, along the logarithm between."""
    if not distance_mm > NEAR_MM:
        return 1.0
    if not distance_mm < FAR_MM:
        return 0.0
    return math.log(FAR_MM / distance_mm) / math.log(FAR_MM / NEAR_MM)


def cue_of(guidances) -> str | None:
    """The one sound for what these moments brought about, or None."""
    heard = {_CUE_OF.get(event.event) for each in guidances for event in each.events}
    return next((cue for cue in _RANK if cue in heard), None)
