"""Cautions for people: short, before work starts and at each bit change, never as noise.

The words WARNING, CAUTION and NOTICE grade what can happen as ANSI Z535.4 does
(WARNING: could end in death or serious injury; CAUTION: in minor or moderate
injury; NOTICE: not about injury). What each rests on stands in `source`; no
caution here replaces the machine's manual, local rules or the person in charge.
"""

from __future__ import annotations

from dataclasses import dataclass

WARNING, CAUTION, NOTICE = "WARNING", "CAUTION", "NOTICE"


@dataclass(frozen=True)
class Caution:
    """severity: WARNING, CAUTION or NOTICE; source: what it rests on, for DEVELOPERS.md."""

    severity: str
    text: str
    source: str

    def __str__(self) -> str:
        return f"{self.severity}: {self.text}"


_IN_CHARGE = Caution(
    NOTICE,
    "The machine's manual, local rules and the person in charge come before anything said here.",
    "our own rule",
)
_STOP = Caution(
    WARNING,
    "Stopping this program does not stop the drill: keep its own switch within reach.",
    "our own rule: a program's stop is no emergency stop",
)
_EYES = Caution(
    WARNING,
    "Wear eye protection: carbide bits shatter.",
    "Eye protection with power tools: OSHA eTool as quoted by others. That carbide bits break "
    "from hand wobble: a tool maker's page",
)
_GLOVES = Caution(
    WARNING,
    "No gloves, loose sleeves or jewellery near the turning spindle; tie long hair back.",
    "OSHA 29 CFR 1910.212 and OSHA 3170-02R (2007) as summarised by a safety publisher; "
    "HSE HSG129 and PM83 (para. 29: nearly half of all drilling machine accidents are "
    "entangled gloves) as quoted by others",
)
_CLAMP = Caution(
    WARNING,
    "Hold the board with a clamp or jig, keep fingers out of the bit's way.",
    "OSHA 3170-02R (2007) as summarised by a safety publisher",
)
_DUST = Caution(
    CAUTION,
    "Glass-fibre dust irritates eyes, skin and lungs: extract it or wipe it up damp, "
    "never blow it away.",
    "OSHA chemical sampling page CH_242120 (NIOSH limit 3 fibres/cm3, 5 mg/m3 total; "
    "irritates eyes, skin, nose, throat); extract or wipe damp: common practice, no source",
)
_SWITCH_OFF = Caution(
    WARNING,
    "Switch the drill off and let it stop before you touch chuck or bit.",
    "common practice, no source",
)
_CHUCK_KEY = Caution(
    WARNING,
    "Take the chuck key out before you switch on.",
    "common practice, no source",
)


def before_work() -> tuple[Caution, ...]:
    """To be shown once for each start of the program, before the first hole."""
    return _IN_CHARGE, _EYES, _GLOVES, _CLAMP, _DUST, _STOP


def at_bit_change(bit_mm: float) -> tuple[Caution, ...]:
    """To be shown with each request for another bit."""
    if bit_mm <= 1.0:
        brittle = Caution(
            WARNING,
            f"A {bit_mm:g} mm bit breaks easily: eye protection on, feed it straight and gently.",
            _EYES.source,
        )
        return _SWITCH_OFF, _CHUCK_KEY, brittle
    return _SWITCH_OFF, _CHUCK_KEY
