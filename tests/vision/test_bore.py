"""The fresh hole in a piece of scrap, against where it was drilled."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from drillaid.simulation.conditions import bench_for
from drillaid.simulation.designs import random_design
from drillaid.simulation.rigs import nominal_rig
from drillaid.simulation.scrap import scrap_bench
from drillaid.vision.bore import find_bores


def test_stated_errors_of_the_rims_centre_hold_from_above_and_aslant():
    real, stated = [], []
    for seed in range(8):
        rig = nominal_rig(1280, 720, 0.06, np.radians(15 * (seed % 4)), 1.3 * seed, seed=seed)
        like = bench_for(random_design(seed, 20), seed, rig=rig)
        here = scrap_bench(like, seed, bit_mm=(0.8, 1.0, 1.2)[seed % 3])
        true = rig.to_pixels(here.spindle_mm, here.thickness_mm)[0]
        near = [b for b in find_bores(here.render()) if np.hypot(*(b.px - true)) < 5]
        if near:
            real.append(np.hypot(*(near[0].px - true)))
            stated.append(np.sqrt(2) * near[0].sigma_px)
    assert len(real) >= 7
    # At 45 degrees the wall's lower edge is at times taken for the rim (seed 7 here, 2 px):
    # at most one of eight, and it is left out of the figures below.
    real, stated = np.array(real), np.array(stated)
    fair = real < 4 * stated
    assert np.count_nonzero(~fair) <= 1
    real, stated = real[fair], stated[fair]
    rms = np.sqrt(np.mean(np.square(real))), np.sqrt(np.mean(np.square(stated)))
    print(f"{len(real)} of 8 found, off {rms[0]:.2f} px rms, stated {rms[1]:.2f}")
    assert rms[0] < 0.25
    assert 0.4 < rms[0] / rms[1] < 1.25


@pytest.mark.parametrize("inside", [30, 235])
def test_a_drawn_disc_dark_or_lit_from_below(inside):
    """Drawn at 16 times the resolution, so that its centre is true to 0.01 px."""
    big = np.full((160 * 16, 200 * 16, 3), 120, np.uint8)
    centre = np.array([97.3, 71.6])
    at = np.rint(((centre + 0.5) * 16 - 0.5) * 256).astype(int)
    cv2.circle(big, tuple(map(int, at)), 9 * 16 * 256, (inside,) * 3, -1, cv2.LINE_AA, 8)
    image = cv2.resize(big, (200, 160), interpolation=cv2.INTER_AREA)
    noise = np.random.default_rng(1).normal(0, 1.5, image.shape)
    image = np.clip(cv2.GaussianBlur(image, (0, 0), 0.7) + noise, 0, 255).astype(np.uint8)
    (bore,) = find_bores(image)
    assert bore.px == pytest.approx(centre, abs=3 * bore.sigma_px)
    assert bore.sigma_px < 0.12
    assert bore.radius_px == pytest.approx(9.0, abs=0.4)


def test_nothing_round_is_no_bore():
    image = np.random.default_rng(2).normal(120, 3, (300, 400, 3)).astype(np.uint8)
    cv2.rectangle(image, (40, 50), (300, 90), (30, 30, 30), -1)
    assert find_bores(image) == []
