from __future__ import annotations

import pytest

from ui.look.colours import THEMES, contrast
from ui.look.style import sheet

TEXT = [("ink", "ground"), ("ink", "raised"), ("quiet", "ground"), ("quiet", "raised"),
        ("on_key", "key"), ("on_good", "good"), ("on_wait", "wait"), ("on_bad", "bad")]  # fmt: skip
GRAPHICS = [(role, on) for role in ("key", "good", "wait", "bad", "line")
            for on in ("ground", "raised")]  # fmt: skip


@pytest.mark.parametrize(("a", "b", "ratio"), [
    ("#000000", "#FFFFFF", 21.0), ("#E69F00", "#FFFFFF", 2.25), ("#0072B2", "#FFFFFF", 5.19),
    ("#56B4E9", "#000000", 9.10), ("#D55E00", "#000000", 5.43),
])  # fmt: skip
def test_contrast_is_that_of_wcag(a, b, ratio):
    """Ratios of the Okabe-Ito colours on white and black, worked out by WCAG's formula."""
    assert contrast(a, b) == pytest.approx(ratio, abs=0.006)


@pytest.mark.parametrize("theme", THEMES.values(), ids=lambda t: t.name)
def test_text_and_graphics_stand_out(theme):
    """WCAG 2.2: 1.4.3 asks 4.5:1 of text, 1.4.11 3:1 of graphics."""
    for a, b in TEXT:
        assert contrast(getattr(theme, a), getattr(theme, b)) >= 4.5, (a, b)
    for a, b in GRAPHICS:
        assert contrast(getattr(theme, a), getattr(theme, b)) >= 3.0, (a, b)


def test_the_sheet_follows_the_size_of_type():
    theme = THEMES["dark"]
    assert sheet(theme, 1.0) != sheet(theme, 1.5)
