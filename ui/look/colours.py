"""Two sets of colours, dark and light.

The hues are those of Okabe & Ito, "Color Universal Design" (2002, rev. 2008), which
people with any common kind of colour vision tell apart; darkened for the light set where
text needs 4.5:1 and graphics 3:1 (WCAG 2.2, 1.4.3 and 1.4.11). No meaning rests on them
alone: each has its sign and its word.
"""

from __future__ import annotations

from dataclasses import dataclass

from PyQt6.QtGui import QColor


@dataclass(frozen=True)
class Colours:
    """ground, raised: surfaces; ink, quiet: text on both; line: borders of controls
    key: what can be pressed and what is aimed at; on_key: text upon it
    good, wait, bad: signs and bands, told apart by shape as well; on_good … text upon them
    """

    name: str
    ground: str
    raised: str
    ink: str
    quiet: str
    line: str
    key: str
    on_key: str
    good: str
    on_good: str
    wait: str
    on_wait: str
    bad: str
    on_bad: str

    def colour(self, role: str) -> QColor:
        return QColor(getattr(self, role))


DARK = Colours(
    "dark", ground="#0F1317", raised="#1B2228", ink="#F5F7F8", quiet="#B4BEC6", line="#75828C",
    key="#56B4E9", on_key="#000000", good="#00B485", on_good="#000000", wait="#E69F00",
    on_wait="#000000", bad="#F07A2B", on_bad="#000000",
)  # fmt: skip
LIGHT = Colours(
    "light", ground="#FFFFFF", raised="#EEF1F3", ink="#12171B", quiet="#47525B", line="#6C7882",
    key="#0072B2", on_key="#FFFFFF", good="#006E50", on_good="#FFFFFF", wait="#8A5A00",
    on_wait="#FFFFFF", bad="#B34700", on_bad="#FFFFFF",
)  # fmt: skip
THEMES = {theme.name: theme for theme in (DARK, LIGHT)}

# Over the camera's picture, whatever it shows: bright lines with dark edges.
OVER_LINE, OVER_EDGE = "#F0E442", "#000000"


def contrast(a: str, b: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2, definition of contrast ratio)."""

    def luminance(name: str) -> float:
        parts = [channel / 255 for channel in QColor(name).getRgb()[:3]]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)
