from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from support.drawn_copper import DrawnBoard, board, design_of, exposed, photograph
from support.drawn_shapes import Figure

from drillaid.geometry import Affine
from drillaid.registration import settling
from drillaid.registration.copper import copper_edges, some
from drillaid.registration.edging import EdgeFit, fit_edges
from drillaid.registration.fit import PRINT
from drillaid.registration.reasons import MOST_WORST_MM
from drillaid.registration.settling import settle
from drillaid.vision.channel import grey_of

SHAPE, RATIO = (560, 760), 15.0  # px; px per mm
BOARD = board(1)
EDGES = copper_edges(BOARD.design.copper["bottom"])
HOLES = BOARD.design.xy_mm
MIDDLE = np.array(BOARD.size_mm) / 2


def view(turn_rad=0.12) -> Affine:
    """Plane mm -> px with y up; the board's middle in the picture's."""
    linear = Affine.from_parts(rotation_rad=turn_rad, scale=RATIO).linear @ np.diag([-1.0, -1.0])
    return Affine(np.column_stack([linear, np.array([379.5, 279.5]) - linear @ MIDDLE]))


def moved(dx=0.0, dy=0.0, turn_rad=0.0, scale=(1.0, 1.0), shear=0.0) -> Affine:
    """Design mm -> plane mm, about the board's middle."""
    change = Affine.from_parts(rotation_rad=turn_rad, scale=scale, shear=shear).linear
    return Affine(np.column_stack([change, MIDDLE + [dx, dy] - change @ MIDDLE]))


def read(image, start: Affine, edges=EDGES, reaches=(0.4, 0.25, 0.2)):
    """The fit by single readings, and that settled."""
    grey = grey_of(image)
    alone = fit_edges(
        grey.image, view(), edges, start, noise=grey.noise, px_per_mm=RATIO, reaches=reaches
    )
    return alone, settle(grey.image, view(), edges, alone, RATIO, noise=grey.noise)


def off_mm(fit, truth: Affine, xy=HOLES) -> np.ndarray:
    return np.linalg.norm(fit.placement(xy) - truth(xy), axis=1)


def rms(values) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def littered(image, rng, count: int):
    """Chips and scratches, bright and dark, about as wide as a track and steeper than copper."""
    image = image.copy()
    for _ in range(count):
        at, turn = rng.uniform(0, SHAPE[::-1]), rng.uniform(0, np.pi)
        to = at + rng.uniform(4, 14) * np.array([np.cos(turn), np.sin(turn)])
        grey = int(rng.choice([35, 215]))
        a, b = (tuple(int(v * 8) for v in p) for p in (at, to))
        cv2.line(image, a, b, (grey, grey, grey), int(rng.integers(3, 8)), cv2.LINE_AA, 3)
    return image


@pytest.mark.parametrize("etch_mm", [-0.1, 0.0, 0.1])
def test_shift_turn_scale_and_etch_are_recovered(etch_mm):
    rng = np.random.default_rng(2)
    truth = moved(0.11, -0.07, 0.002, (1.004, 0.997), 0.001)
    fit = read(photograph(BOARD, view() @ truth, SHAPE, rng, etch_mm=etch_mm), Affine.identity())[1]
    # 0.01 mm is 0.15 px; the mask's own pixel is 0.05 mm.
    assert off_mm(fit, truth).max() < 0.01
    assert fit.etch_mm == pytest.approx(etch_mm, abs=0.015)


def plate_and_lines() -> DrawnBoard:
    """A plate, which tells how wide it is but not whether by its etching or its print, and narrow
    lines round it, whose edges a blurred picture pushes apart."""
    figures = [Figure("box", (23.0, 16.0), (26.0, 18.0))]
    figures += [Figure("box", (x, y), (2.5, 0.35)) for x in range(6, 41, 4) for y in (2.5, 29.5)]
    figures += [Figure("box", (x, y), (0.35, 2.5)) for y in range(6, 27, 4) for x in (3.0, 43.0)]
    holes = np.array([(5, 5), (41, 5), (41, 27), (5, 27), (23, 16), (10, 16)], dtype=float)
    design = design_of("plate and lines", holes, np.ones(6), figures, BOARD.size_mm)
    return DrawnBoard(design, tuple(figures), BOARD.size_mm, np.ones(6))


@pytest.mark.parametrize("etch_mm", [-0.09, 0.0, 0.12])
@pytest.mark.parametrize("blur_px", [0.8, 2.0])
def test_narrow_lines_that_blur_makes_wider_do_not_stretch_the_board(etch_mm, blur_px):
    drawn = plate_and_lines()
    edges, holes = copper_edges(drawn.design.copper["bottom"]), drawn.design.xy_mm
    image = photograph(
        drawn, view(), SHAPE, np.random.default_rng(1), etch_mm=etch_mm, blur_px=blur_px
    )
    fit = read(image, Affine.identity(), edges)[1]
    off = off_mm(fit, Affine.identity(), holes).max()
    assert off < 0.006
    assert off < 2 * np.sqrt(fit.variance_at(holes).max())
    # The plate's own etching, but for half a pixel of the mask; the lines look wider than that.
    assert fit.etch_mm == pytest.approx(etch_mm - 0.025, abs=0.015)
    if etch_mm > 0.1 and blur_px > 1:
        assert fit.narrow_etch_mm[1] < -0.05
        # All taken alike, the board would seem larger than it is.
        plain = read(image, Affine.identity(), replace(edges, narrow=None))[1]
        assert off_mm(plain, Affine.identity(), holes).max() > 4 * off


def test_where_single_readings_disagree_with_all_of_them_more_is_stated(monkeypatch):
    rng = np.random.default_rng(5)
    image = littered(photograph(BOARD, view() @ moved(), SHAPE, rng), rng, 120)
    fit = read(image, Affine.identity())[1]
    again = read(image, fit.placement, reaches=settling.AGAIN)[0]
    apart = np.linalg.norm(fit.placement(HOLES) - again.placement(HOLES), axis=1)
    stated = fit.variance_at(HOLES)
    share = settling.APART_SHARE
    monkeypatch.setattr(settling, "APART_SHARE", 0.0)
    without = read(image, Affine.identity())[1].variance_at(HOLES)
    assert apart.max() > 0.002 and share > 0.3
    assert stated - without == pytest.approx((share * apart) ** 2, rel=1e-3, abs=1e-9)


def test_edges_on_long_lines_make_the_stated_error_larger():
    """A frame's four sides are four readings, however many points of them are read."""
    image = photograph(BOARD, view() @ moved(), SHAPE, np.random.default_rng(5))
    grey = grey_of(image)
    alone = read(image, Affine.identity())[0]

    def stated(telling: float):
        return settle(
            grey.image, view(), EDGES, alone, RATIO, noise=grey.noise, telling=telling
        ).variance_at(HOLES)

    assert stated(0.6) == pytest.approx(stated(1.0) / 0.6, rel=1e-9)
    assert stated(0.1) == pytest.approx(2 * stated(1.0), rel=1e-9)


def test_among_litter_it_is_nearer_than_single_readings_are():
    """Faint copper under chips: each reading that takes a chip for an edge counts in full."""
    rng = np.random.default_rng(21)
    alone, settled = [], []
    for _ in range(6):
        truth = moved(*rng.uniform(-0.08, 0.08, 2), rng.uniform(-0.002, 0.002))
        still = photograph(BOARD, view() @ truth, SHAPE, rng, noise=0, copper=(88, 137, 170))
        image = exposed(cv2.GaussianBlur(littered(still, rng, 350), (0, 0), 1.0), rng, 5.0)
        one, both = read(image, Affine.identity())
        alone.append(off_mm(one, truth))
        settled.append(off_mm(both, truth))
    assert rms(settled) < 0.75 * rms(alone)
    assert rms(settled) < 0.03


def test_a_region_seen_aside_widens_the_stated_error():
    """A strip of the board seen 0.06 mm aside, as glare does it: scatter in cells hides that."""
    image = photograph(BOARD, view(), SHAPE, np.random.default_rng(11))
    left = image[:, :220].copy()
    image[:, :220] = cv2.warpAffine(left, np.float32([[1, 0, 0], [0, 1, 0.9]]), left.shape[1::-1])
    alone, fit = read(image, Affine.identity(), some(EDGES, 1500))
    real = rms(off_mm(fit, Affine.identity()))
    assert real > 2 * np.sqrt(np.mean(alone.variance_at(HOLES)))
    # Within three sigmas, although the strip pulls one way only.
    assert real < 3 * np.sqrt(np.mean(fit.variance_at(HOLES)))


@pytest.mark.parametrize("window_mm", [0.07, 0.14])
def test_what_windows_give_back_in_part_is_taken_for_what_it_is(monkeypatch, window_mm):
    """Narrow windows draw what is seen to their middle: the place is found all the same, and
    its error is stated about as large."""
    image = photograph(BOARD, view(), SHAPE, np.random.default_rng(14), blur_px=1.8)

    def told():
        fit = read(image, moved(0.08, -0.06), some(EDGES, 1500), reaches=(0.1,))[1]
        return rms(off_mm(fit, Affine.identity())), np.sqrt(np.mean(fit.variance_at(HOLES)))

    usual = told()
    monkeypatch.setattr(settling, "WINDOW_MM", window_mm)
    other = told()
    assert max(usual[0], other[0]) < 0.008
    assert 0.5 < other[1] / usual[1] < 2.0


def test_what_edges_do_not_tell_is_stated_from_what_prints_do():
    """Only a strip across the middle is seen: scale along the other axis is known no better
    than prints are true, and so are the holes far out."""
    image = photograph(BOARD, view(0.0), SHAPE, np.random.default_rng(15))
    middle = np.abs(EDGES.xy[:, 1] - MIDDLE[1]) < 2.2
    grey = grey_of(image)
    strip = EDGES.only(middle)
    alone = fit_edges(
        grey.image, view(0.0), strip, Affine.identity(), noise=grey.noise, px_per_mm=RATIO
    )
    fit = settle(grey.image, view(0.0), strip, alone, RATIO, noise=grey.noise)
    far = MIDDLE + np.array([[0.0, -60.0], [0.0, 60.0]])
    stated = np.sqrt(fit.variance_at(far))
    assert (off_mm(fit, Affine.identity(), far) < 3 * stated).all()
    # Not more than 60 mm of a print's scale along one axis and shear together (fit.PRINT).
    assert stated.max() < 60 * np.hypot(PRINT["scale"] + PRINT["stretch"] / 2, PRINT["shear"])
    near = np.sqrt(fit.variance_at(MIDDLE[None]))
    assert stated.min() > 3 * near


def test_stated_errors_are_the_real_ones():
    rng = np.random.default_rng(5)
    real, stated = [], []
    for _ in range(6):
        truth = moved(*rng.uniform(-0.1, 0.1, 2), rng.uniform(-0.003, 0.003))
        still = littered(photograph(BOARD, view() @ truth, SHAPE, rng, noise=0.0), rng, 250)
        for _ in range(3):
            fit = read(exposed(still, rng, 8.0), Affine.identity(), some(EDGES, 1200))[1]
            real.append(off_mm(fit, truth))
            stated.append(np.sqrt(fit.variance_at(HOLES)))
    assert 0.6 < rms(stated) / rms(real) < 1.8


def test_so_blurred_that_windows_give_back_little_the_stated_error_is_still_the_real_one():
    """Blurred by twice a window: a shift moves what is seen in one by less than a sixth."""
    rng = np.random.default_rng(7)
    real, stated = [], []
    for _ in range(6):
        truth = moved(*rng.uniform(-0.1, 0.1, 2), rng.uniform(-0.003, 0.003))
        still = littered(photograph(BOARD, view() @ truth, SHAPE, rng, noise=0.0), rng, 120)
        still = cv2.GaussianBlur(still, (0, 0), 3.0)
        for _ in range(3):
            fit = read(exposed(still, rng, 4.0), Affine.identity(), some(EDGES, 1200))[1]
            real.append(off_mm(fit, truth))
            stated.append(np.sqrt(fit.variance_at(HOLES)))
    assert 0.7 < rms(stated) / rms(real) < 1.5


def test_where_the_edges_do_not_hold_it_the_place_counts_as_hardly_known():
    flat = np.full(SHAPE, 90, np.float32)
    fit = EdgeFit(moved(0.2), 0.0, lambda: 1e-9 * np.eye(6), 0.5, 50, 0.03, 1.0)
    got = settle(flat, view(), EDGES, fit, RATIO, noise=1.0)
    assert np.array_equal(got.placement.matrix, fit.placement.matrix)
    assert np.sqrt(got.variance_at(HOLES)).min() > MOST_WORST_MM
