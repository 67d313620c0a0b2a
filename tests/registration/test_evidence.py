from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from drillaid.registration.evidence import APART, COPPER_ENOUGH, Evidence, strongest, told_apart

chances = st.floats(0.005, 0.45)


@given(st.integers(1, 300), st.data(), chances)
def test_one_more_that_agrees_never_speaks_against(n, data, chance):
    k = data.draw(st.integers(0, n - 1))
    assert Evidence(k + 1, n, chance).support(0.8) > Evidence(k, n, chance).support(0.8)


@given(st.integers(1, 300), st.data(), chances)
def test_a_hole_in_view_that_shows_nothing_speaks_against(n, data, chance):
    k = data.draw(st.integers(0, n))
    assert Evidence(k, n + 1, chance).support(0.8) < Evidence(k, n, chance).support(0.8)


@given(st.integers(10, 300), st.data())
def test_the_likelier_by_chance_the_less_it_says(n, data):
    k = data.draw(st.integers(int(0.6 * n), n))
    low, high = Evidence(k, n, 0.05), Evidence(k, n, 0.3)
    assert high.support() < low.support()


@given(st.integers(0, 600), st.data())
def test_what_chance_explains_never_convinces(n, data):
    k = data.draw(st.integers(0, n))
    chance = data.draw(st.floats(0.05, 0.6))
    assume(k <= chance * n)
    assert not Evidence(k, n, chance).convincing


@pytest.mark.parametrize(
    ("agreeing", "in_view", "chance", "wanted"),
    [
        (40, 50, 0.1, True),
        (300, 500, 0.1, True),  # 40 % unseen
        (7, 7, 0.01, False),  # too few, however complete
        (20, 60, 0.05, False),  # a third: what is missing speaks
        (27, 60, 0.02, False),
        (12, 16, 0.5, False),  # half of it would do so by accident
        (0, 0, 0.1, False),
    ],
)
def test_verdicts(agreeing, in_view, chance, wanted):
    assert bool(Evidence(agreeing, in_view, chance).convincing) is wanted


def test_the_ratio_is_that_of_the_formula():
    # 8 of 10, chance 0.1: 8 ln(0.8 / 0.1) + 2 ln(0.2 / 0.9), worked out by hand.
    assert Evidence(8, 10, 0.1).support() == pytest.approx(13.6274, abs=1e-4)


@given(st.integers(20, 300), st.data(), chances)
def test_a_twin_is_not_told_apart(n, data, chance):
    k = data.draw(st.integers(n // 2, n))
    best = Evidence(k, n, chance)
    assert not told_apart(best, best)
    assert not told_apart(best, Evidence(k + 1, n + 1, chance))


def test_far_fewer_pads_are_told_apart():
    best = Evidence(45, 50, 0.1)
    assert told_apart(best, Evidence(25, 50, 0.1))
    assert not told_apart(best, Evidence(44, 50, 0.1))
    gap = best.support(best.share) - Evidence(40, 50, 0.1).support(best.share)
    assert told_apart(best, Evidence(40, 50, 0.1)) == (gap >= APART)


def test_the_most_telling_tolerance_is_taken():
    loose, tight = Evidence(40, 50, 0.3, 0.22), Evidence(38, 50, 0.05, 0.1)
    assert strongest([loose, tight]) is tight
    assert strongest([loose, Evidence(10, 50, 0.05, 0.1)]) is loose


def test_a_frame_that_agrees_is_not_enough():
    """A pour's border is the same on every board of one size."""
    assert Evidence(40, 50, 0.15, telling=0.7).convincing
    assert not Evidence(40, 50, 0.15, telling=0.4).convincing


def test_where_edges_are_everywhere_nearly_all_of_known_copper_must_be_there():
    blotchy = {"level": 0.13, "telling": 1.0, "enough": 20.0, "most_chance": 0.6}
    assert Evidence(57, 57, 0.4, **blotchy).convincing
    # The more is there, the more chance is allowed.
    assert Evidence(49, 57, 0.4, **blotchy).convincing
    assert not Evidence(49, 57, 0.55, **blotchy).convincing
    assert not Evidence(45, 57, 0.36, **blotchy).convincing
    assert Evidence(45, 57, 0.34, **blotchy).convincing
    assert not Evidence(57, 57, 0.7, **blotchy).convincing
    # Rims about holes are not believed there at all.
    assert not Evidence(57, 57, 0.4).convincing


def test_luck_beside_a_placement_does_not_set_it_apart():
    """The same holes agree: one chance counted lower is no reason to believe the one."""
    best = Evidence(28, 28, 0.009, 0.3)
    assert not told_apart(best, Evidence(28, 28, 0.036, 0.3))
    assert told_apart(best, Evidence(20, 28, 0.009, 0.3))


@pytest.mark.parametrize(
    ("agreeing", "in_view", "chance", "telling", "convinces"),
    [
        (120, 250, 0.23, 0.48, True),  # a large board half under hands and glare
        (120, 250, 0.23, 0.30, False),  # what agrees are long straight edges
        (60, 250, 0.20, 0.24, False),  # the most a wrong place ever showed
        (30, 50, 0.23, 0.64, True),  # a small one, most of it telling
        (21, 33, 0.31, 0.67, False),  # the best of the wrong ones
        (20, 33, 0.15, 0.34, False),
    ],
)
def test_known_copper_convinces_by_what_tells(agreeing, in_view, chance, telling, convinces):
    """Figures met on simulated benches; the same counts of rims convince by the stricter rule."""
    copper = Evidence(agreeing, in_view, chance, 0.13, telling, 20.0, 0.6, known=True)
    assert copper.convincing is convinces
    if agreeing / in_view < 0.5:
        assert not Evidence(agreeing, in_view, chance, 0.4, telling).convincing


@pytest.mark.parametrize(
    ("agreeing", "in_view", "chance", "telling", "voices", "convinces"),
    [
        (26, 38, 0.14, 0.64, 2.7, False),  # a solid pour turned by half a turn: its frame
        (26, 38, 0.10, 0.68, 2.7, False),  # and the right way round, which nothing tells
        (34, 58, 0.30, 0.59, 47.4, True),  # tracks, half of them under fingers and burnt out
        (26, 36, 0.31, 0.72, 33.0, False),  # two rows of pads and little else, half turned
    ],
)
def test_a_frame_tells_nothing_however_well_it_is_seen(
    agreeing, in_view, chance, telling, voices, convinces
):
    """Figures met on simulated benches."""
    copper = Evidence(
        agreeing, in_view, chance, 0.13, telling, 20.0, 0.6, known=True, voices=voices
    )
    assert copper.convincing is convinces


def test_what_tells_is_weighed_by_the_same_formula():
    # 8 of 10 telling voices, chance 0.1: as above, by hand.
    copper = Evidence(30, 40, 0.1, telling=0.8, known=True, voices=10.0)
    assert copper.telling_support == pytest.approx(13.6274, abs=1e-4)
    assert Evidence(8, 10, 0.1, telling=0.8).telling_support == pytest.approx(13.6274, abs=1e-4)


def test_one_place_alone_needs_less_and_not_nothing():
    """The share may be lower where no other place is nearly as good; never below a third."""
    seen = Evidence(42, 94, 0.16, telling=0.4, known=True, enough=20.0)
    alone = replace(seen, alone=True)
    assert not seen.convincing and alone.convincing
    assert not replace(alone, agreeing=30, telling=0.32).convincing  # 32 % of the stretches
    assert not replace(alone, telling=0.1).convincing  # a frame


def test_where_few_lands_agree_the_stretches_alone_do_not_convince():
    """With a lens fitted as well a strip's end was taken for another: 0.72 of the stretches, 0.44
    of the lands."""
    strip = Evidence(26, 36, 0.12, known=True, enough=COPPER_ENOUGH)
    assert strip.convincing
    assert not replace(strip, lands=0.44).convincing
    assert replace(strip, lands=0.6).convincing  # a hand may lie over two fifths
