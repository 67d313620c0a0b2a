from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from drillaid.inspection.learning import (
    Drilled,
    bit_trends,
    by_board,
    common_offset,
    drift_sentence,
    hotelling,
    rises,
)


def drawn(rng, boards, holes, offset=(0.0, 0.0), scatter=0.06, shared=0.02, outliers=0.0):
    """Holes with a common offset, an error each board shares, and scatter; sigmas by distance."""
    out = []
    for b in range(boards):
        board_error = rng.normal(0, shared / 2**0.5, 2)
        for h in range(holes):
            off = np.add(offset, board_error) + rng.normal(0, scatter / 2**0.5, 2)
            if rng.random() < outliers:
                off = off + rng.normal(0, 0.6, 2)
            out.append(Drilled(b, h, 1000.0 * b + h, 0.8, tuple(off), 0.01, shared))
    return out


def test_hotelling_by_a_published_example():
    """Johnson and Wichern, example 5.1: x = (6, 9), (10, 6), (8, 3) against (9, 5): T² = 7/9.

    The test of R's DescTools prints for it T.2 = 0.19444 (our T² / 4, that is F) on 2 and 1
    degrees and p = 0.8485, as a public question about it shows (pullrequest.ru/11280177).
    """
    x = np.array([(6, 9), (10, 6), (8, 3)], dtype=float) - (9, 5)
    t_squared, chance = hotelling(x.mean(axis=0), np.cov(x.T) / 3, 2)
    assert t_squared == pytest.approx(7 / 9)
    assert chance == pytest.approx(0.8485, abs=5e-5)


def test_hotelling_of_one_number_is_students_t():
    x = np.array([0.3, 0.1, 0.4, -0.1, 0.25])
    t_squared, chance = hotelling([x.mean()], [[x.var(ddof=1) / 5]], 4)
    t = stats.ttest_1samp(x, 0)
    assert t_squared == pytest.approx(t.statistic**2)
    assert chance == pytest.approx(t.pvalue)


def test_the_trend_test_by_a_published_example():
    """Worked by hand at mathcs.holycross.edu/~little/Montserrat/MannKendallByHand.txt:
    S = 54, Z = 2.9058, p = 0.0018."""
    values = [12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7]
    s, chance = rises(values)
    assert s == 54
    assert chance == pytest.approx(0.0018, abs=5e-5)
    assert chance == pytest.approx(stats.norm.sf(2.9058), abs=2e-6)


@pytest.mark.parametrize(("boards", "holes"), [(1, 60), (2, 30), (6, 40)])
def test_a_true_offset_is_found_with_its_sigma(boards, holes):
    rng = np.random.default_rng(boards)
    truth, found, stated = np.array([0.08, -0.05]), [], []
    for _ in range(80):
        offset = common_offset(drawn(rng, boards, holes, truth, outliers=0.03))
        found.append(offset.off_mm)
        stated.append(offset.sigma_mm)
        assert offset.systematic or boards == 1
    real = np.sqrt(((np.array(found) - truth) ** 2).sum(axis=1).mean())
    assert real == pytest.approx(np.sqrt(np.mean(np.square(stated))), rel=0.25)


@pytest.mark.parametrize(("boards", "holes"), [(1, 25), (2, 30), (4, 30), (12, 30)])
def test_mere_scatter_is_called_scatter(boards, holes):
    """False alarms stay rare although all holes of a board share an error."""
    rng = np.random.default_rng(7)
    alarms = [
        common_offset(drawn(rng, boards, holes, shared=0.03, outliers=0.02)).chance < 0.01
        for _ in range(300)
    ]
    assert np.mean(alarms) <= 0.03  # 1 % is meant; 300 draws know it to 0.6 %


def test_boards_that_differ_more_than_they_say_are_believed_less():
    rng = np.random.default_rng(8)
    alarms = 0
    for _ in range(150):
        holes = drawn(rng, 8, 30, shared=0.10)
        holes = [Drilled(d.board, d.hole, d.at_s, d.bit_mm, d.off_mm, 0.01, 0.01) for d in holes]
        alarms += common_offset(holes).chance < 0.01
    assert alarms <= 9


def test_one_wandered_hole_does_not_move_the_mean():
    rng = np.random.default_rng(9)
    holes = drawn(rng, 2, 20)
    before = common_offset(holes)
    after = common_offset([*holes, Drilled(1, 99, 1.0, 0.8, (2.0, 2.0), 0.01, 0.02)])
    assert after.left_out >= 1
    assert after.off_mm == pytest.approx(before.off_mm, abs=0.006)  # taken in it moves by 0.05


def test_few_holes_say_nothing():
    rng = np.random.default_rng(10)
    assert common_offset(drawn(rng, 1, 7)) is None
    assert common_offset([]) is None
    assert common_offset(drawn(rng, 8, 1)) is None  # no board tells its own scatter


def test_holes_that_agree_to_the_last_digit_are_no_error():
    holes = [Drilled(b, h, 0.0, 0.8, (0.05, 0.02)) for b in range(4) for h in range(6)]
    offset = common_offset(holes)
    assert offset.systematic and offset.off_mm == pytest.approx((0.05, 0.02))


def test_sentences_say_what_to_think():
    rng = np.random.default_rng(11)
    far = common_offset(drawn(rng, 3, 30, (0.1, 0.0)))
    assert "more than chance explains" in far.sentence
    near = common_offset(drawn(rng, 3, 30, (0.0, 0.0)))
    assert "chance explains that" in near.sentence


def worn(rng, holes, first, last, bit=0.8):
    """A bit whose scatter grows evenly from hole to hole, on boards of 30."""
    sigma = np.linspace(first, last, holes) / 2**0.5
    return [
        Drilled(k // 30, k % 30 + 1, float(k), bit, tuple(rng.normal(0.05, sigma[k], 2)), 0.01, 0.0)
        for k in range(holes)
    ]


def test_a_bit_that_wanders_more_and_more_is_noticed():
    rng = np.random.default_rng(12)
    noticed = [bit_trends(worn(rng, 120, 0.04, 0.12))[0].rising for _ in range(60)]
    assert np.mean(noticed) > 0.95
    wrong = [bit_trends(worn(rng, 120, 0.06, 0.06))[0].rising for _ in range(300)]
    assert np.mean(wrong) <= 0.03


def test_bits_are_told_apart_and_counted():
    rng = np.random.default_rng(13)
    holes = worn(rng, 40, 0.05, 0.05, 0.8) + worn(rng, 20, 0.05, 0.05, 1.0)
    holes += worn(rng, 3, 0.05, 0.05, 1.3)
    assert [(t.bit_mm, t.holes) for t in bit_trends(holes)] == [(0.8, 40), (1.0, 20)]


def boards_of(rng, offsets, scatters, holes=20):
    return [
        Drilled(b, h, 100.0 * b + h, 0.8, tuple(rng.normal(0, s / 2**0.5, 2) + o), 0.01, 0.0)
        for b, (o, s) in enumerate(zip(offsets, scatters, strict=True))
        for h in range(holes)
    ]


def test_a_drift_from_board_to_board_is_told_from_a_fixed_offset():
    rng = np.random.default_rng(14)
    steady = [(0.1, 0.0)] * 12
    away = [(0.0, -0.02 * k) for k in range(12)]
    assert "wanders off" in drift_sentence(by_board(boards_of(rng, away, [0.05] * 12)))
    growing = np.linspace(0.03, 0.12, 12)
    assert "scatter grows" in drift_sentence(by_board(boards_of(rng, steady, growing)))
    wrong = [
        drift_sentence(by_board(boards_of(rng, steady, [0.05] * 12))) is not None
        for _ in range(200)
    ]
    assert np.mean(wrong) <= 0.03  # 1 % is meant
    assert drift_sentence(by_board(boards_of(rng, away[:5], [0.05] * 5))) is None  # too few


def test_boards_come_in_the_order_they_were_drilled():
    rng = np.random.default_rng(15)
    holes = boards_of(rng, [(0.1, 0.2)] * 3, [0.05] * 3)
    found = by_board(list(reversed(holes))[:-18])  # of the first board two holes are left
    assert [b.board for b in found] == [1, 2]
    assert found[0].holes == 20
    assert found[0].off_mm == pytest.approx((0.1, 0.2), abs=0.04)
    assert found[0].scatter_mm == pytest.approx(0.05, rel=0.5)
