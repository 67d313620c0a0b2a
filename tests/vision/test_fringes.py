"""Colours that a lens draws at different scales, against drawn truth."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from drillaid.registration.following import Follower
from drillaid.registration.register import register_picture
from drillaid.simulation.bench import SimulatedBench
from drillaid.simulation.conditions import ordinary
from drillaid.simulation.optics import _fringed
from drillaid.vision import fringes
from drillaid.vision.fringes import fringes_of

SHAPE = (720, 1280)


def drawn(seed: int, blur_px: float = 0.8) -> np.ndarray:
    """Discs and bars of any colour."""
    rng = np.random.default_rng(seed)
    image = np.full((*SHAPE, 3), rng.uniform(60, 150, 3), np.float32)
    for _ in range(220):
        at = tuple(int(v) for v in rng.uniform(0, [SHAPE[1] * 16, SHAPE[0] * 16]))
        colour = tuple(float(c) for c in rng.uniform(20, 230, 3))
        if rng.random() < 0.5:
            cv2.circle(image, at, int(rng.uniform(6, 20) * 16), colour, -1, cv2.LINE_AA, 4)
        else:
            to = tuple(int(a + b) for a, b in zip(at, rng.uniform(-900, 900, 2), strict=True))
            cv2.line(image, at, to, colour, int(rng.integers(4, 12)), cv2.LINE_AA, 4)
    image = cv2.GaussianBlur(image, (0, 0), blur_px)
    return np.clip(image + rng.normal(0, 2, image.shape), 0, 255).astype(np.uint8)


@pytest.mark.parametrize(("blue", "red"), [(3e-4, -2e-4), (-4e-4, 5e-4), (1.2e-3, -1.2e-3)])
def test_what_was_drawn_larger_is_found_and_taken_back(blue, red):
    image = _fringed(drawn(1), blue, red)
    got = fringes_of(image)
    # 5e-5 is 0.04 px at the corner.
    assert got.blue == pytest.approx(blue, abs=5e-5) and got.red == pytest.approx(red, abs=5e-5)
    assert got.plain
    left = fringes_of(got.removed(image))
    assert abs(left.blue) < 8e-5 and abs(left.red) < 8e-5


def test_the_stated_error_is_the_real_one():
    real, stated = [], []
    for seed in range(2, 10):
        got = fringes_of(drawn(seed))
        real += [got.blue, got.red]
        stated += got.sigma
    # Drawn shapes are plainer than boards, whose grain the stated error allows for.
    assert 0.7 < np.sqrt(np.mean(np.square(stated)) / np.mean(np.square(real))) < 4.0


def test_a_picture_without_fringes_is_left_as_it_is():
    image = drawn(3)
    assert fringes_of(image).removed(image) is image
    flat = np.full((*SHAPE, 3), 90, np.uint8)
    assert fringes_of(flat).removed(flat) is flat


def fringed_bench(seed: int) -> SimulatedBench:
    """Tinned copper on brown board stands out in blue alone."""
    bench = ordinary(seed)
    look = replace(bench.board.look, finish="tinned", laminate="brown")
    board = type(bench.board)(bench.board.design, look, face=bench.board.face, seed=seed)
    made = SimulatedBench(
        board, bench.rig, thickness_mm=bench.thickness_mm, light=bench.light,
        optics=replace(bench.optics, fringes=(9e-4, -9e-4)), seed=seed,
    )  # fmt: skip
    made.pose = bench.pose
    return made


def test_a_board_under_a_cheap_lens_is_placed_within_its_stated_error(monkeypatch):
    bench = fringed_bench(31)
    image, design = bench.render(), bench.board.design
    truth = bench.truth(design.xy_mm)

    def off_and_stated():
        got = register_picture(image, design, rig=bench.rig, thickness_mm=bench.thickness_mm)
        off = np.linalg.norm(got.placement.bench_mm - truth, axis=1)
        return off, got.placement.expected_error_mm, got

    off, stated, got = off_and_stated()
    assert off.max() < 0.02
    assert np.sqrt(np.mean(off**2)) < 1.5 * np.sqrt(np.mean(stated**2))
    follower = Follower(design, bench.rig, thickness_mm=bench.thickness_mm)
    follower.start(got, image)
    followed = follower.follow(bench.render()).placement.bench_mm
    assert np.linalg.norm(followed - truth, axis=1).max() < 0.02
    monkeypatch.setattr(fringes.Fringes, "plain", property(lambda self: False))
    off, stated, _ = off_and_stated()
    assert np.sqrt(np.mean(off**2)) > 2 * np.sqrt(np.mean(stated**2))
