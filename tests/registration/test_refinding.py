"""Hidden, taken away, exchanged, brought back: followed and found again as drawn, or lost."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.covered import hidden
from support.loose_registration import seen_without_rig
from support.small_board import small_design

from drillaid.geometry import Affine
from drillaid.guidance.spindle_mark import pointed_at
from drillaid.guidance.unrigged import UnriggedFinder
from drillaid.registration.following import Follower
from drillaid.registration.holding import shown
from drillaid.registration.result import REGISTERED, Placement, Registration
from drillaid.simulation import parts
from drillaid.simulation.bench import Occluders
from drillaid.simulation.conditions import bench_for
from drillaid.simulation.designs import Layout, Placed, random_design
from drillaid.simulation.scrap import scrap_bench

SMALL = (1280, 720)


def bench(seed: int):
    made = bench_for(random_design(seed, 40), seed, size=SMALL)
    made.place(0.0, 0.0, 0.3)
    return made


def following(here, design=None) -> Follower:
    """From the drawn truth."""
    design = here.board.design if design is None else design
    xy, at = design.xy_mm, here.truth(design.xy_mm)
    place = Placement(
        "affine", here.rig.plane(1.6) @ here.truth, here.truth, here.rig.to_pixels(at, 1.6), at,
        np.full(len(xy), 0.005), np.ones(len(xy), bool), 0.0, here.rig.px_per_mm(1.6),
    )  # fmt: skip
    follower = Follower(design, here.rig)
    follower.start(Registration(REGISTERED, "drawn", place), here.render())
    return follower


def worst_mm(here, got) -> float:
    return float(np.abs(got.placement.bench_mm - here.truth(here.board.design.xy_mm)).max())


def test_seven_tenths_hidden_is_followed_or_lost_never_wrong():
    rng, kept, worst = np.random.default_rng(2), 0, []
    for seed in (30, 31, 33):
        here = bench(seed)
        for _ in range(4):
            follower = following(here)
            here.move(*rng.uniform(-1.4, 1.4, 2), rng.uniform(-0.02, 0.02))
            got = follower.follow(hidden(here, 0.7, rng))
            kept += got.ok
            if got.ok:
                worst.append(worst_mm(here, got))
            here.place(0.0, 0.0, 0.3)
    print(f"70 % hidden: followed in {kept} of 12 pictures, worst hole {max(worst):.3f} mm off")
    assert kept >= 7
    assert max(worst) < 0.12


@pytest.mark.parametrize("gerber", [True, False])
def test_a_board_that_comes_back_is_found_in_the_first_picture(gerber):
    rng = np.random.default_rng(4)
    here = bench(30)
    design = here.board.design
    follower = following(here, design if gerber else replace(design, copper={}, lands=()))
    away = scrap_bench(here, 3, bit_mm=None)
    away.place(400.0, 0.0, 0.0)
    for _ in range(3):
        assert not follower.follow(away.render()).ok and not follower.following
        assert not follower.find_again(away.render()).ok
        here.place(*rng.uniform(-5, 5, 2), rng.uniform(-3, 3))
        got = follower.find_again(here.render())
        assert got.ok and worst_mm(here, got) < 0.05
        assert follower.following
        here.move(1.0, -0.8, 0.01)
        assert follower.follow(here.render()).ok


@pytest.mark.parametrize("gerber", [True, False])
def test_four_tenths_hidden_a_board_is_found_again_or_not_never_wrong(gerber):
    rng, found, worst = np.random.default_rng(6), 0, []
    for seed in (30, 31, 33):
        here = bench(seed)
        design = here.board.design
        follower = following(here, design if gerber else replace(design, copper={}, lands=()))
        for _ in range(3):
            here.place(*rng.uniform(-6, 6, 2), rng.uniform(-3, 3))
            follower.lose()
            got = follower.find_again(hidden(here, 0.4, rng))
            found += got.ok
            if got.ok:
                worst.append(worst_mm(here, got))
    print(f"40 % hidden: found again in {found} of 9 pictures, worst hole {max(worst):.3f} mm off")
    assert found >= 6
    assert max(worst) < 0.12


def pair_of_halves(extra: bool):
    """Each part twice, the second half a turn from the first about the board's middle;
    extra: and a transistor, which has no partner."""
    width, height = 60.0, 40.0
    layout = Layout((width, height))
    pads = []
    for part, x, y, turns in (
        (parts.terminal(3), 10, 8, 0), (parts.resistor(), 20, 30, 0), (parts.relay(), 14, 20, 1),
        (parts.diode(), 24, 6, 1), (parts.electrolytic(), 25, 24, 0),
    ):  # fmt: skip
        partner = Placed(part, width - x, height - y, turns + 2)
        pads.append((layout.place(Placed(part, x, y, turns)), layout.place(partner)))
    for a, b in ((0, 1), (1, 4), (3, 0), (2, 4)):
        for k in (0, 1):
            layout.connect(pads[a][k][0], pads[b][1 - k][1], 1.0)
    if extra:
        layout.place(Placed(parts.transistor(), 30, 14))
    return layout.design("pair of halves")


@pytest.mark.parametrize("extra", [False, True])
def test_the_twin_by_half_a_turn_is_told_apart_or_refused(extra):
    here, rng = bench_for(pair_of_halves(extra), 9, size=SMALL), np.random.default_rng(9)
    here.place(0.0, 0.0, 0.3)
    here.occluders = Occluders()
    follower = following(here)
    found = 0
    for k in range(6):
        here.occluders = Occluders(bit=True, fingers=0.4 if k > 3 else 0.0)
        here.place(*rng.uniform(-6, 6, 2), rng.uniform(-3, 3))
        follower.lose()
        got = follower.find_again(here.render())
        found += got.ok
        if got.ok:
            assert extra and worst_mm(here, got) < 0.05
    assert found >= 4 if extra else not found


@pytest.mark.parametrize("other", [36, 37, "bare"])
def test_another_board_is_noticed(other):
    here = bench(31)
    follower = following(here)
    if other == "bare":
        there = scrap_bench(here, 3, bit_mm=None, size_mm=tuple(np.ptp(here.board.edge_mm, axis=0)))
    else:
        there = bench_for(random_design(other, 40), other, size=SMALL, rig=here.rig)
    there.pose = here.pose
    image = there.render()
    assert not follower.follow(image).ok
    assert not follower.find_again(image).ok
    assert not follower.following


def test_nothing_known_nothing_found():
    here = bench(30)
    assert not Follower(here.board.design, here.rig).find_again(here.render()).ok


def test_patches_in_view_hold_the_right_place_and_no_other():
    here, rng = bench(33), np.random.default_rng(1)
    follower = following(here)
    image = hidden(here, 0.6, rng)
    ask = image, follower._view.to_px, follower._ratio, follower._learnt
    assert shown(*ask, here.truth) is not None
    for step in ((1.0, 0.6), (-0.7, 2.1), (4.0, 0.0)):
        assert shown(*ask, Affine.from_parts(offset=step) @ here.truth) is None
    assert shown(np.full_like(image, 90), *ask[1:], here.truth) is None


def test_without_a_rig_file_a_board_comes_back_and_another_is_noticed():
    here = bench_for(small_design(), 5, size=SMALL)
    here.place(2.0, -1.0, 0.4)
    spindle = here.rig.to_pixels(here.spindle_mm, 1.6)[0]
    finder = UnriggedFinder(
        small_design(), pointed_at(*spindle), face="bottom", hurry=True,
        find=lambda _: seen_without_rig(here),
    )  # fmt: skip
    assert finder.look(here.render()).ok
    there = bench_for(random_design(36, 30), 36, size=SMALL, rig=here.rig)
    assert not finder.look(there.render()).ok and not finder.following
    here.place(-3.0, 2.0, -2.0)
    got = finder.look(here.render())
    assert got.ok and finder.following
    off = here.spindle_mm - here.truth(small_design().xy_mm)
    said = -got.placement.matrix(small_design().xy_mm)
    assert np.hypot(*said.T) == pytest.approx(np.hypot(*off.T), abs=0.25)  # print's scale
