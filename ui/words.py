"""Text for people: ready for translation, numbers as the user's country writes them."""

from __future__ import annotations

from PyQt6.QtCore import QCoreApplication, QLocale


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


def duration(seconds: float) -> str:
    """Rounded as people say it."""
    minutes = round(seconds / 60)
    if seconds < 90:
        return tr("{n} s", n=max(5, 5 * round(seconds / 5)))
    if minutes < 90:
        return tr("{n} min", n=minutes)
    return tr("{h} h {m} min", h=minutes // 60, m=minutes % 60)
