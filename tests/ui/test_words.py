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


@pytest.mark.parametrize(
    "text", ["0.8, 1.0,1.3", "0.8; 1.0; 1.3", "0.8 1.0 1.3", "0,8; 1,0; 1,3", "0,8 1,0 1,3"]
)
def test_sizes_are_read_as_people_list_them(text):
    assert words.sizes(text) == (0.8, 1.0, 1.3)


def test_a_comma_alone_is_what_the_country_makes_of_it(german):
    assert words.sizes("0,8") == (0.8,)
    assert words.sizes(words.size_list((0.8, 1.0, 1.25))) == (0.8, 1.0, 1.25)
    with pytest.raises(ValueError):
        words.sizes("eight")


def test_a_number_keeps_its_unit_beside_it():
    said = "18 of 20 agree (90 %). Holes are known to 0.004 mm."
    assert words.unbroken(said) == "18 of 20 agree (90\u00a0%). Holes are known to 0.004\u00a0mm."
