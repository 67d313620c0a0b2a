from __future__ import annotations

import numpy as np
import pytest

from drillaid.design.model import Design, Hole
from drillaid.design.parts import Part
from drillaid.inspection.believed import Believed, believed_holes
from drillaid.inspection.chance import chance_of_fit
from drillaid.inspection.fit import Pin, fit_part
from drillaid.inspection.result import HoleFinding

POST = Pin("0.64 mm square post", "square", 0.64)


def board(*counts) -> tuple[Design, list[Part]]:
    """Rows of these many holes, 7 mm apart."""
    holes: list[Hole] = []
    parts = []
    for row, count in enumerate(counts):
        first = len(holes) + 1
        parts.append(Part(f"row {row}", "row", tuple(range(first, first + count)), 2.54, 1))
        holes += [Hole(first + i, 2.54 * i, 7.0 * row, 1.0) for i in range(count)]
    return Design("drawn", tuple(holes)), parts


def measured(places, sizes, centre_error, diameter_error) -> dict[int, HoleFinding]:
    return {
        i + 1: HoleFinding(
            i + 1, "drilled", "", 1.0, tuple(xy), (0, 0), (0, 0), 0.0, tuple(xy), float(size),
            diameter_error, 0.2, 0.0, centre_error, centre_error,
        )
        for i, (xy, size) in enumerate(zip(places, sizes, strict=True))
    }  # fmt: skip


def drawn(rng, design, scatter, errors):
    """(true places, true diameters, what is measured of them)."""
    n = len(design.holes)
    true = design.xy_mm + rng.normal(0, scatter, (n, 2))
    size = rng.choice([1.0, 1.05, 1.1, 1.15]) + rng.normal(0, 0.01, n)
    seen = measured(
        true + rng.normal(0, errors[0] / 2**0.5, (n, 2)),
        size + rng.normal(0, errors[1], n),
        *errors,
    )
    return true, size, seen


def test_what_is_believed_lies_nearer_the_truth_and_says_how_near():
    rng = np.random.default_rng(5)
    design, _ = board(7, 7, 7, 7)
    before, after, stated = [], [], []
    for _ in range(60):
        true, _, seen = drawn(rng, design, 0.03, (0.04, 0.02))
        held = believed_holes(list(seen.values()), design)
        before += list(np.hypot(*(np.array([f.place_mm for f in seen.values()]) - true).T))
        after += list(np.hypot(*(np.array([b.centre_mm for b in held.values()]) - true).T))
        stated += [b.centre_error_mm for b in held.values()]
    rms_before, rms_after = np.sqrt(np.mean(np.square([before, after]), axis=1))
    assert rms_after < 0.9 * rms_before
    assert rms_after == pytest.approx(np.sqrt(np.mean(np.square(stated))), rel=0.1)


def test_a_hole_that_wandered_keeps_its_distance():
    rng = np.random.default_rng(6)
    design, _ = board(7, 7)
    places = design.xy_mm + rng.normal(0, 0.01, (14, 2))
    places[3] += [0, 0.5]
    held = believed_holes(list(measured(places, np.full(14, 1.0), 0.02, 0.01).values()), design)
    assert np.hypot(*np.subtract(held[4].centre_mm, places[3])) <= 0.02


def test_few_holes_stand_as_measured():
    design, _ = board(5)
    places = design.xy_mm + 0.1
    held = believed_holes(list(measured(places, [1.0] * 5, 0.02, 0.01).values()), design)
    assert np.array([b.centre_mm for b in held.values()]) == pytest.approx(places)


def test_probabilities_keep_what_they_promise():
    """Over drawn boards, of the parts said to go in with 60 %, 60 % do.

    Errors as large as the scatter: taken as measured, the same draws promise far too little.
    """
    rng = np.random.default_rng(7)
    design, parts = board(3, 4, 5, 6)
    said, plainly, does = [], [], []
    for _ in range(15):
        true, size, seen = drawn(rng, design, 0.05, (0.04, 0.03))
        held = believed_holes(list(seen.values()), design)
        for part in parts:
            at = [n - 1 for n in part.holes]
            said.append(chance(rng, design, at, [held[n] for n in part.holes]))
            plainly.append(chance(rng, design, at, [as_measured(seen[n]) for n in part.holes]))
            does.append(fit_part(true[at], size[at], design.xy_mm[at], POST, along_rad=0.0).fits)
    said, does = np.array(said), np.array(does)
    sigma = np.sqrt((said * (1 - said)).sum()) / len(said)  # of the share, if all is as said
    assert does.mean() == pytest.approx(said.mean(), abs=3 * sigma + 0.01)
    assert np.mean(plainly) < does.mean() - 5 * sigma
    for low, high in ((0, 0.1), (0.1, 0.9), (0.9, 1.01)):
        some = (said >= low) & (said < high)
        assert some.sum() >= 5
        expected = pytest.approx(said[some].mean(), abs=1.5 / some.sum() ** 0.5 + 0.03)
        assert does[some].mean() == expected


def as_measured(seen: HoleFinding) -> Believed:
    return Believed(seen.place_mm, seen.centre_error_mm, seen.diameter_mm, seen.diameter_error_mm)


def chance(rng, design, at, holes) -> float:
    return chance_of_fit(
        [h.centre_mm for h in holes], [h.diameter_mm for h in holes], design.xy_mm[at], POST,
        centre_error_mm=[h.centre_error_mm for h in holes],
        diameter_error_mm=[h.diameter_error_mm for h in holes],
        along_rad=0.0, rng=rng, draws=40,
    )  # fmt: skip
