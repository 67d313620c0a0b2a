"""Paper: sizes against their standards, and what is no paper."""

from __future__ import annotations

import pytest

from calibration.sheet.paper import PAPERS_MM, paper_mm
from drillaid.errors import UsageError


@pytest.mark.parametrize("number", [2, 3, 4, 5, 6])
def test_a_sizes(number):
    """ISO 216: A0 is 841 x 1189 mm; each next is the last one halved, whole mm rounded down."""
    short, long = 841, 1189
    for _ in range(number):
        short, long = long // 2, short
    assert PAPERS_MM[f"A{number}"] == (short, long)


def test_inch_sizes():
    """ANSI/ASME Y14.1 sizes A and B are Letter and Tabloid; Legal is 8.5 x 14 inches."""
    for name, inches in {"Letter": (8.5, 11), "Legal": (8.5, 14), "Tabloid": (11, 17)}.items():
        assert PAPERS_MM[name] == pytest.approx([25.4 * side for side in inches])


def test_named_paper_lies_unless_told():
    assert paper_mm("A4") == paper_mm(" a4 ") == (297, 210)
    assert paper_mm("letter", upright=True) == (215.9, 279.4)
    assert paper_mm("100x160") == (100, 160) == paper_mm("100 X 160.0 mm")


@pytest.mark.parametrize("text", ["A9", "", "297", "0x10", "10x10", "5000x10", "ax4", "-100x100"])
def test_no_paper(text):
    with pytest.raises(UsageError, match="--paper"):
        paper_mm(text)
