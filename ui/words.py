"""Text for people: ready for translation, numbers as the user's country writes them."""

from __future__ import annotations

import re
from datetime import datetime

from PyQt6.QtCore import QCoreApplication, QDateTime, QLocale


def tr(text: str, **values) -> str:
    """The text in the user's language, its {names} filled in afterwards."""
    told = QCoreApplication.translate("drillaid", text)
    return told.format(**values) if values else told


def number(value: float, digits: int = 2) -> str:
    """1.25 or 1,25, as the locale has it."""
    return QLocale().toString(float(value), "f", digits)


def mm(value: float, digits: int = 2) -> str:
    """With its unit."""
    return f"{number(value, digits)} mm"


def bit(value_mm: float) -> str:
    """A bit's size, without needless zeros: 0.8 mm, 1 mm, 1.25 mm."""
    text = f"{value_mm:.2f}".rstrip("0").rstrip(".")
    digits = len(text.split(".")[1]) if "." in text else 0
    return mm(value_mm, digits)


def unbroken(text: str) -> str:
    """A number and its unit stay on one line."""
    return re.sub(r"(\d) (mm|%)", "\\1\u00a0\\2", text)


def duration(seconds: float) -> str:
    """Rounded as people say it."""
    minutes = round(seconds / 60)
    if seconds < 90:
        return tr("{n} s", n=max(5, 5 * round(seconds / 5)))
    if minutes < 90:
        return tr("{n} min", n=minutes)
    return tr("{h} h {m} min", h=minutes // 60, m=minutes % 60)


def sizes(text: str) -> tuple[float, ...]:
    """Numbers as people list them: "0.8, 1.0", "0,8 1,0" or "0,8; 1,0". ValueError for others.

    A comma with a blank or nothing but commas about it parts two numbers; else, where the
    user's country writes decimals with it, or other signs part the numbers, it is a decimal sign.
    """
    text = text.strip()
    parted = re.search(r";|\s", text) is not None
    comma_is_point = "." not in text and (parted or QLocale().decimalPoint() == ",")
    words = re.split(r"[;\s]+|,\s+|,$" if comma_is_point else r"[;,\s]+", text)
    return tuple(float(word.replace(",", ".")) for word in words if word)


def size_list(sizes_mm) -> str:
    """So that `sizes` reads them again: 0.8; 1; 1.25."""
    return "; ".join(bit(size).removesuffix(" mm") for size in sizes_mm)


def day(when: datetime) -> str:
    """A day and a time of day, as the locale has it."""
    moment = QDateTime.fromSecsSinceEpoch(int(when.timestamp()))
    return QLocale().toString(moment, QLocale.FormatType.ShortFormat)
