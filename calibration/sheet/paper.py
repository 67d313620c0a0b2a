"""Paper sizes by name or in mm."""

from __future__ import annotations

import re

from drillaid.errors import UsageError

# Upright, mm. A sizes: ISO 216. Letter, Legal and Tabloid: 8.5 x 11, 8.5 x 14, 11 x 17 inches.
PAPERS_MM = {
    "A2": (420.0, 594.0),
    "A3": (297.0, 420.0),
    "A4": (210.0, 297.0),
    "A5": (148.0, 210.0),
    "A6": (105.0, 148.0),
    "Letter": (215.9, 279.4),
    "Legal": (215.9, 355.6),
    "Tabloid": (279.4, 431.8),
}
LIMITS_MM = (40.0, 1200.0)


def paper_mm(text: str, *, upright: bool = False) -> tuple[float, float]:
    """Width and height of "A4", "letter" or "160x100"; a named paper lies unless upright.

    A size in mm is taken as it is written. Raises UsageError.
    """
    for name, size in PAPERS_MM.items():
        if name.lower() == text.strip().lower():
            return size if upright else size[::-1]
    number = r"(\d+(?:\.\d+)?)"
    match = re.fullmatch(rf"\s*{number}\s*[xX×]\s*{number}\s*(?:mm)?\s*", text)
    if not match:
        raise UsageError(
            f"--paper {text} is no paper known here",
            remedy=f"take one of {', '.join(PAPERS_MM)}, or width x height in mm such as 160x100",
        )
    size = float(match.group(1)), float(match.group(2))
    if not all(LIMITS_MM[0] <= side <= LIMITS_MM[1] for side in size):
        raise UsageError(
            f"--paper {text}: each side must be {LIMITS_MM[0]:g} to {LIMITS_MM[1]:g} mm"
        )
    return size
