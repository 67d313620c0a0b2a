from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.drawn_board import placement, rig

from drillaid.design.model import Design, Hole, Land
from drillaid.geometry import Affine
from drillaid.inspection.fit import Pin, fit_part
from drillaid.inspection.risk import risk_before_drilling, risk_sentence

POST = Pin("0.64 mm square post", "square", 0.64)


def board(*counts, drill_mm=1.1, land_mm=2.0) -> Design:
    holes: list[Hole] = []
    for row, count in enumerate(counts):
        holes += [Hole(len(holes) + 1 + i, 2.54 * i, 9.0 * row, drill_mm) for i in range(count)]
    lands = tuple(Land("round", (land_mm, land_mm), 0.0, h.xy_mm) for h in holes)
    return Design("drawn", tuple(holes), lands)


def printed(design, scale=(1.0, 1.0), error_mm=0.01):
    """The placement of a print of this scale, bottom up and turned."""
    lies = placement(design, rig(), error_mm=error_mm)
    return replace(lies, matrix=lies.matrix @ Affine.from_parts(scale=scale))


def test_a_shrunken_print_endangers_the_long_row_and_not_the_short_one():
    design = board(40, 6)
    risks = risk_before_drilling(design, printed(design, (0.996, 1.0)), 0.01)
    assert [r.at_risk for r in risks] == [True, False]
    long, short = risks
    # 0.4 % over 39 pitches is 0.198 mm at each end, and a post's corner is 0.32 mm out
    assert long.play_mm == pytest.approx(0.55 - np.hypot(0.32 + 0.198, 0.32), abs=1e-3)
    assert "misses by" in long.sentence
    assert "even if it is drilled exactly" in risk_sentence(risks, 0.01)
    assert short.probability > 0.99


def test_to_size_and_well_drilled_nothing_is_at_risk():
    design = board(8, 6)
    risks = risk_before_drilling(design, printed(design), 0.03)
    assert not any(r.at_risk for r in risks)
    assert risk_sentence(risks, 0.03) is None


def test_the_probability_is_the_share_of_boards_drilled_so():
    """Drawn boards with that scatter about that print, judged by their true holes."""
    rng = np.random.default_rng(2)
    design = board(7)
    lies = printed(design, (0.998, 1.001), error_mm=0.03)
    (risk,) = risk_before_drilling(design, lies, 0.09)
    places = lies.matrix(design.xy_mm) * (-1, 1)
    sigma = np.hypot(0.09, 0.03) / 2**0.5
    fits = [
        fit_part(
            places + rng.normal(0, sigma, places.shape), 1.1 + rng.normal(0, 0.02, 7),
            design.xy_mm, POST, along_rad=0.0,
        ).fits
        for _ in range(90)
    ]  # fmt: skip
    assert 0.05 < np.mean(fits) < 0.95
    assert risk.probability == pytest.approx(np.mean(fits), abs=0.19)  # 3 sigma of both


def test_a_wider_bit_is_offered_as_far_as_the_copper_allows():
    design = board(8, land_mm=2.2)
    (risk,) = risk_before_drilling(design, printed(design), 0.12)
    assert risk.at_risk and risk.bit_mm is not None
    assert risk.then >= 0.95 > risk.probability
    assert f"with a {risk.bit_mm:g} mm bit" in risk.sentence
    design = board(8, land_mm=1.5)  # 1.2 mm leaves 0.15, 1.3 mm would leave 0.10
    (risk,) = risk_before_drilling(design, printed(design), 0.2)
    assert risk.bit_mm is None and "copper enough" in risk.sentence


def test_without_a_rig_nobody_knows_the_size_of_the_print():
    design = board(8)
    assert risk_before_drilling(design, replace(printed(design), matrix=None), 0.1) == ()
    assert risk_before_drilling(design, replace(printed(design), on_bench=False), 0.1) == ()
