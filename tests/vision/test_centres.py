from __future__ import annotations

import cv2
import numpy as np
import pytest
from support.drawn_shapes import Figure, disc, picture, plain, scattered

from drillaid.geometry import Homography
from drillaid.vision.centres import find_centres

SHAPE = (420, 420)
PITCH = 34.0


def drawn(rng, make, *, noise=3.0, blur_px=0.9, **light):
    """121 features at places off the raster, and the picture of them."""
    places = scattered(rng, 11, 11, PITCH)
    figures = [figure for place in places for figure in make(*place)]
    return places, picture(SHAPE, figures, rng, noise=noise, blur_px=blur_px, **light)


def measured(grey, places, radius, side=1.0, *, off=(0.0, 0.0), noise=3.0, **more):
    n = len(places)
    return find_centres(
        grey, plain, places + np.asarray(off), np.full(n, radius), np.full(n, side),
        noise=noise, unit_px=1.0, **more,
    )  # fmt: skip


def errors(got, places) -> np.ndarray:
    return (got.xy - places)[got.found]


# Worst rms of one coordinate in px: a disc's is set by the noise, straight sides
# meet few rays, and an oblong's long sides say nothing about where its ends are.
KINDS = {
    "disc": (lambda u, v: [disc(u, v, 9)], 0.035),
    "box": (lambda u, v: [Figure("box", (u, v), (16, 16), 0.3)], 0.035),
    "oblong": (lambda u, v: [Figure("oblong", (u, v), (20, 15), 0.7)], 0.04),
    "tilted disc": (lambda u, v: [Figure("disc", (u, v), (19, 15), 1.1)], 0.035),
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_centres_are_exact_and_their_error_is_stated(kind, side):
    make, worst = KINDS[kind]
    rng = np.random.default_rng(11)
    light = {"inside": 180, "outside": 80} if side > 0 else {"inside": 70, "outside": 150}
    places, grey = drawn(rng, make, **light)
    got = measured(grey, places, 9.0, side, off=rng.uniform(-2, 2, places.shape))
    assert got.found.mean() > 0.97
    off = errors(got, places)
    rms = np.sqrt(np.mean(off**2))
    assert rms < worst
    # No pull to one side beyond what 121 readings leave of chance.
    assert np.abs(off.mean(axis=0)).max() < 4 * worst / np.sqrt(len(off))
    stated = np.sqrt(np.mean(got.sigma[got.found] ** 2))
    assert 0.6 < stated / rms < 2.5
    assert np.abs(off).max() < 8 * stated


@pytest.mark.parametrize("noise", [1.5, 6.0, 12.0])
@pytest.mark.parametrize("radius", [6.0, 12.0])
def test_stated_error_follows_noise_and_size(noise, radius):
    rng = np.random.default_rng(12)
    places, grey = drawn(rng, lambda u, v: [disc(u, v, radius)], noise=noise)
    got = measured(grey, places, radius, noise=noise)
    rms = np.sqrt(np.mean(errors(got, places) ** 2))
    stated = np.sqrt(np.mean(got.sigma[got.found] ** 2))
    assert got.found.mean() > 0.95
    # Nothing below 0.02 px is ever claimed: pixels and lenses have their own errors.
    assert 0.6 < stated / np.hypot(rms, 0.02) < 2.0


def test_what_else_is_told_of_a_disc():
    rng = np.random.default_rng(13)
    places, grey = drawn(rng, lambda u, v: [disc(u, v, 9)])
    got = measured(grey, places, 8.0)
    # Blur moves the steepest place of a round edge inwards by about s^2 / 2 r = 0.05 px.
    assert np.median(got.radius) == pytest.approx(9.0, abs=0.12)
    assert got.cover.min() > 0.85 and got.cover.max() <= 1.0
    assert (got.side == 1.0).all()
    assert (got.step > 10).all()


def test_a_track_that_leaves_does_not_take_the_pad_along():
    rng = np.random.default_rng(14)
    def make(u, v):
        turn = rng.uniform(0, 2 * np.pi)
        way = np.array([np.cos(turn), np.sin(turn)])
        track = Figure("box", tuple(np.array([u, v]) + 9 * way), (16, 8), turn)
        return [disc(u, v, 9), track]
    places, grey = drawn(rng, make)
    got = measured(grey, places, 9.0, off=rng.uniform(-1.5, 1.5, places.shape))
    assert got.found.mean() > 0.95
    # Worse than alone (0.03), far from the half pixel a centroid would go along.
    assert np.sqrt(np.mean(errors(got, places) ** 2)) < 0.15


def under_a_finger(rng, at_px: float, brightness: float):
    """Pads of radius 9 px covered up to `at_px` from their middles, and what was measured."""
    places, grey = drawn(rng, lambda u, v: [disc(u, v, 9)], noise=2.0)
    for u, v in places:
        part = (slice(int(v) - 16, int(v) + 17), slice(int(u) - 17, int(np.rint(u + at_px))))
        grey[part] = brightness + rng.normal(0, 2, grey[part].shape)
    return places, measured(grey, places, 9.0, noise=2.0)


def far_off(got, places) -> float:
    """Share of the places that are told wrong by more than what is stated."""
    off = np.hypot(*(got.xy - places).T)
    return float((got.found & (off > 4 * got.sigma + 0.3)).mean())


@pytest.mark.parametrize(
    ("at_px", "brightness"), [(-6, 230), (-3, 230), (0, 230), (4, 80), (4, 150), (4, 230)]
)
def test_a_pad_partly_under_a_finger_keeps_its_place_or_says_nothing(at_px, brightness):
    places, got = under_a_finger(np.random.default_rng(15), at_px, brightness)
    assert far_off(got, places) < 0.03


@pytest.mark.parametrize(
    ("at_px", "brightness"), [(-6, 80), (-4, 80), (-3, 80), (-3, 150), (0, 80), (0, 150)]
)
def test_a_pad_cut_by_something_as_dark_as_the_board(at_px, brightness):
    places, got = under_a_finger(np.random.default_rng(15), at_px, brightness)
    assert far_off(got, places) < 0.03


@pytest.mark.xfail(reason="owed: a disc cut by a sixth is told 0.9 px off", strict=True)
def test_a_pad_cut_a_little_by_something_between_it_and_the_board():
    places, got = under_a_finger(np.random.default_rng(15), -6, 150)
    assert far_off(got, places) < 0.03


@pytest.mark.parametrize("make", [
    lambda u, v: [Figure("oblong", (u, v), (22, 14), 0.7)],
    lambda u, v: [Figure("disc", (u, v), (21, 15), 1.1)],
    lambda u, v: [disc(u, v, 9), Figure("box", (u + 9, v), (16, 9))],
])  # fmt: skip
def test_what_is_whole_is_not_held_for_cut(make):
    rng = np.random.default_rng(21)
    places, grey = drawn(rng, make, noise=5.0)
    got = measured(grey, places, 9.0, off=rng.uniform(-1, 1, places.shape), noise=5.0)
    assert got.found.mean() > 0.97
    assert far_off(got, places) < 0.03


def test_touching_neighbours_in_a_row():
    rng = np.random.default_rng(16)
    row = np.column_stack([30 + 17.0 * np.arange(20) + 0.3, np.full(20, 50.4)])
    grey = picture((100, 400), [disc(u, v, 9) for u, v in row], rng, noise=2.0)
    got = measured(grey, row, 9.0, off=(0.8, -0.8), noise=2.0)
    assert got.found.mean() > 0.9
    off = errors(got, row)
    # Across the row edges are whole; along it only what bulges out is left.
    assert np.sqrt(np.mean(off[:, 1] ** 2)) < 0.1
    assert np.sqrt(np.mean(off[:, 0] ** 2)) < 0.4
    assert np.abs(off[:, 0]).max() < 4 * got.sigma[got.found].max()


def test_the_wrong_side_is_not_taken():
    rng = np.random.default_rng(17)
    places, grey = drawn(rng, lambda u, v: [disc(u, v, 9)])
    assert measured(grey, places, 9.0, -1.0).found.mean() < 0.02


def test_a_feature_of_another_size_is_not_taken():
    rng = np.random.default_rng(18)
    places, grey = drawn(rng, lambda u, v: [disc(u, v, 9)])
    for asked in (5.0, 15.0):
        got = measured(grey, places, asked)
        assert got.found.mean() < 0.05, asked


@pytest.mark.parametrize("noise", [1.0, 5.0])
def test_nothing_is_found_in_noise(noise):
    rng = np.random.default_rng(19)
    grey = rng.normal(110, noise, SHAPE).astype(np.float32)
    places = scattered(rng, 11, 11, PITCH)
    assert measured(grey, places, 9.0, noise=noise).found.mean() < 0.01


def test_nothing_is_found_on_a_flat_picture_or_outside_of_it():
    places = np.array([[50.0, 50.0], [-200.0, 30.0], [1000.0, 1000.0]])
    assert not measured(np.full((100, 100), 90, np.float32), places, 9.0).found.any()


def test_places_may_be_in_mm_of_a_plane_seen_aslant():
    rng = np.random.default_rng(20)
    # 16 px per mm, turned, mirrored and with a horizon.
    view = Homography([[14.0, 6.0, 40.0], [5.0, -15.0, 330.0], [0.002, -0.003, 1.0]])
    x, y = np.meshgrid(np.arange(8) * 2.54, np.arange(7) * 2.54)
    mm = np.column_stack([x.ravel(), y.ravel()]) + [0.5, 1.0]
    px = view(mm)
    angle = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    rim = 0.7 * np.column_stack([np.cos(angle), np.sin(angle)])
    fine, shift = 8, 3
    canvas = np.full((440 * fine, 440 * fine), 80, np.uint8)
    for place in mm:
        ring = (view(place + rim) + 0.5) * fine - 0.5
        cv2.fillPoly(canvas, [np.rint(ring * 2**shift).astype(np.int32)], 180, cv2.LINE_8, shift)
    grey = canvas.reshape(440, fine, 440, fine).mean(axis=(1, 3)).astype(np.float32)
    grey = cv2.GaussianBlur(grey, (0, 0), 0.8) + rng.normal(0, 2, grey.shape).astype(np.float32)
    seen = ((px > 20) & (px < 420)).all(axis=1)
    assert seen.sum() > 35
    n = int(seen.sum())
    got = find_centres(
        grey, view, mm[seen] + rng.uniform(-0.1, 0.1, (n, 2)), np.full(n, 0.7), np.ones(n),
        noise=2.0, unit_px=15.0,
    )  # fmt: skip
    assert got.found.all()
    off = got.xy - mm[seen]
    # Centres of the discs on the plane, not of the ellipses in the picture: mm.
    assert np.sqrt(np.mean(off**2)) < 0.006
    assert np.median(got.radius) == pytest.approx(0.7, abs=0.02)


def test_no_places_no_centres():
    got = find_centres(
        np.zeros((30, 30), np.float32), plain, np.zeros((0, 2)), [], [], noise=1.0, unit_px=1.0
    )
    assert got.xy.shape == (0, 2) and got.found.shape == (0,) and got.found.dtype == bool


def test_tiny_pictures_are_no_accident():
    got = measured(np.full((2, 2), 90, np.float32), np.array([[0.0, 0.0], [1.0, 1.0]]), 5.0)
    assert not got.found.any()
