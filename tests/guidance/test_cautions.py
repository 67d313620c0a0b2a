from __future__ import annotations

import pytest

from drillaid.guidance.cautions import CAUTION, NOTICE, WARNING, at_bit_change, before_work


def test_everything_that_must_be_said_is_said_before_work():
    said = " ".join(c.text.lower() for c in before_work())
    for word in (
        *("eye protection", "dust", "extract", "damp", "never blow", "gloves", "sleeves"),
        *("hair", "clamp", "fingers", "shatter", "manual", "local rules", "person in charge"),
        "does not stop the drill",
    ):
        assert word in said, word


@pytest.mark.parametrize("bit_mm", [0.3, 0.8, 1.0, 3.2])
def test_short_graded_and_sourced(bit_mm):
    for caution in before_work() + at_bit_change(bit_mm):
        assert caution.severity in (WARNING, CAUTION, NOTICE)
        assert len(caution.text) <= 120 and caution.text.endswith(".")
        assert caution.source
    assert len(at_bit_change(bit_mm)) <= 3


def test_a_caution_at_the_bit_change_names_the_bit():
    assert any("0.8 mm" in c.text for c in at_bit_change(0.8))
