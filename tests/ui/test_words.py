from __future__ import annotations

import pytest
from PyQt6.QtCore import QLocale

from ui import words


@pytest.fixture
def german():
    before = QLocale()
    QLocale.setDefault(QLocale(QLocale.Language.German, QLocale.Country.Germany))
    yield
    QLocale.setDefault(before)


def test_numbers_are_as_the_country_writes_them(german):
    assert words.mm(1.25) == "1,25 mm"
    assert words.bit(0.8) == "0,8 mm"


@pytest.mark.parametrize(("mm", "told"), [(0.8, "0.8 mm"), (1.0, "1 mm"), (1.25, "1.25 mm")])
def test_bits_have_no_needless_zeros(mm, told):
    assert words.bit(mm) == told


@pytest.mark.parametrize(
    ("seconds", "told"), [(12, "10 s"), (61, "60 s"), (600, "10 min"), (6000, "1 h 40 min")]
)
def test_durations_are_rounded_as_people_say_them(seconds, told):
    assert words.duration(seconds) == told
