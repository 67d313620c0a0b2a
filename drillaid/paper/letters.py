"""How wide words are in the two standard fonts that every PDF reader has.

Advance widths of Helvetica and Helvetica-Bold in 1/1000 em for the characters from blank to
tilde, as the fonts' metrics files give them (from memory; a test holds them against what a
PDF library draws). Others are taken for 0.556 em.
"""

from __future__ import annotations

_PLAIN = (
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556,
    556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, 1015, 667, 667, 722, 722, 667,
    611, 778, 722, 278, 500, 667, 556, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667,
    667, 611, 278, 278, 278, 469, 556, 333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500,
    222, 833, 556, 556, 556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
)  # fmt: skip
_BOLD = (
    278, 333, 474, 556, 556, 889, 722, 238, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556,
    556, 556, 556, 556, 556, 556, 556, 333, 333, 584, 584, 584, 611, 975, 722, 722, 722, 722, 667,
    611, 778, 722, 278, 556, 722, 611, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667,
    667, 611, 333, 278, 333, 584, 556, 333, 556, 611, 556, 611, 556, 333, 611, 611, 278, 278, 556,
    278, 889, 611, 611, 611, 611, 389, 556, 333, 611, 556, 778, 556, 556, 500, 389, 280, 389, 584,
)  # fmt: skip
_OTHER = 556
# What the fonts' encoding lacks, in words that it has.
_INSTEAD = str.maketrans({
    "✓": "+", "✗": "x", "▲": "!", "☐": "-", "≥": ">=", "≤": "<=", "→": "->", "−": "-",
    "\u202f": " ", "\u2009": " ",
})  # fmt: skip


def encodable(text: str) -> str:
    """With signs the fonts have; what is left over becomes "?"."""
    return text.translate(_INSTEAD).encode("cp1252", "replace").decode("cp1252")


def width_mm(text: str, size_mm: float, *, bold: bool = False) -> float:
    """Of one line."""
    table = _BOLD if bold else _PLAIN
    total = 0
    for character in encodable(text):
        code = ord(character) - 32
        total += table[code] if 0 <= code < len(table) else _OTHER
    return total / 1000 * size_mm


def wrapped(text: str, room_mm: float, size_mm: float, *, bold: bool = False) -> list[str]:
    """Lines no wider than room_mm; a word wider than that is broken."""
    lines, now = [], ""
    for word in text.split():
        trial = f"{now} {word}" if now else word
        if width_mm(trial, size_mm, bold=bold) <= room_mm:
            now = trial
            continue
        if now:
            lines.append(now)
        while width_mm(word, size_mm, bold=bold) > room_mm and len(word) > 1:
            fit = len(word) - 1
            while fit > 1 and width_mm(word[:fit], size_mm, bold=bold) > room_mm:
                fit -= 1
            lines.append(word[:fit])
            word = word[fit:]
        now = word
    return [*lines, now] if now else lines
