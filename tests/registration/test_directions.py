from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.drawn_copper import board, photograph
from support.drawn_shapes import Figure

from drillaid.geometry import Homography
from drillaid.registration.directions import (
    likely_directions,
    FOCAL,
    looks_at,
    main_direction,
    plane_directions,
)

SIZE = (640, 480)
BOARD = board(7, size_mm=(60.0, 45.0), holes=60, tracks=0)


def square_board():
    """Tracks along the axes and a few diagonal ones, as layouts have them."""
    rng = np.random.default_rng(2)
    figures = list(BOARD.figures)
    for _ in range(45):
        at = tuple(rng.uniform([4, 4], [56, 41]))
        turn = rng.choice([0, 0, 1, 1, 0.5]) * np.pi / 2
        figures.append(Figure("box", at, (float(rng.uniform(5, 14)), 0.8), float(turn)))
    edge = [
        Figure("box", (30, 1), (58, 1)), Figure("box", (30, 44), (58, 1)),
        Figure("box", (1, 22.5), (1, 43)), Figure("box", (59, 22.5), (1, 43)),
    ]  # fmt: skip
    return replace(BOARD, figures=tuple(figures + edge))


def camera(tilt_deg: float, side_deg: float, spin_deg: float) -> tuple[Homography, np.ndarray]:
    """Design mm -> px of a camera with the usual focal length, and the plane's normal
    (towards the scene, camera frame)."""
    focal = FOCAL * max(SIZE)
    tilt, side, spin = np.radians([tilt_deg, side_deg, spin_deg])
    axis = np.array([np.cos(side), np.sin(side), 0.0])
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    lean = np.eye(3) + np.sin(tilt) * k + (1 - np.cos(tilt)) * k @ k
    c, s = np.cos(spin), np.sin(spin)
    # Design x to the right, y up: camera y runs down.
    rotation = lean @ np.array([[c, -s, 0], [-s, -c, 0], [0, 0, -1.0]])
    matrix = np.array([[focal, 0, 319.5], [0, focal, 239.5], [0, 0, 1]])
    middle = np.array(BOARD.size_mm) / 2
    shift = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1.0]])
    columns = np.column_stack([rotation[:, 0], rotation[:, 1], [0, 0, 85.0]])
    return Homography.scaled_for(matrix @ columns @ shift, BOARD.design.xy_mm), -rotation[:, 2]


def normal_of(look, size=SIZE) -> np.ndarray:
    """The normal a guess stands for: from how its plane shows in the picture."""
    focal = FOCAL * max(size)
    matrix = np.array([[focal, 0, size[0] / 2], [0, focal, size[1] / 2], [0, 0, 1]])
    columns = np.linalg.inv(matrix) @ look.plane.homography.matrix
    normal = np.cross(columns[:, 0], columns[:, 1])
    normal /= np.linalg.norm(normal)
    return normal if normal[2] > 0 else -normal


@pytest.mark.parametrize(
    ("tilt_deg", "side_deg", "spin_deg"),
    [(0, 0, 10), (18, 160, -30), (38, 250, 70)],
)
def test_tilt_and_direction_of_a_board_seen_aslant(tilt_deg, side_deg, spin_deg):
    rng = np.random.default_rng(1)
    to_px, normal = camera(tilt_deg, side_deg, spin_deg)
    drawn = square_board()
    image = photograph(drawn, to_px, SIZE[::-1], rng)
    looks = looks_at(image)
    off = [np.degrees(np.arccos(np.clip(normal_of(look) @ normal, -1, 1))) for look in looks]
    # A start only: growth bears some degrees. The second guess may be the right one.
    assert min(off) < 6.0, off
    assert off[0] < 8.0, off
    # Seen from straight above is always among the guesses.
    assert max(abs(normal_of(look)[2]) for look in looks) > 0.999
    assert len(looks) <= 4
    best = looks[int(np.argmin(off))]
    # Where the board's x axis runs on the guessed plane.
    ends = best.plane.to_plane(to_px([[20.0, 22.0], [40.0, 22.0]]))
    run = np.degrees(np.arctan2(*(ends[1] - ends[0])[::-1]))
    wrong = (run - np.degrees(best.directions_rad[0]) + 45) % 90 - 45
    assert abs(wrong) < 4.0


@pytest.mark.parametrize("noise", [0.0, 3.0])
def test_a_flat_picture_is_looked_at_from_above(noise):
    image = np.random.default_rng(3).normal(100, noise, (300, 400, 3))
    looks = looks_at(np.clip(image, 0, 255).astype(np.uint8))
    assert len(looks) >= 1
    assert max(abs(normal_of(look, (400, 300))[2]) for look in looks) > 0.999


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_round_pads_alone_do_not_make_a_steep_tilt_look_orderly(seed):
    to_px, _ = camera(0, 0, 10 * seed)
    image = photograph(BOARD, to_px, SIZE[::-1], np.random.default_rng(seed))
    # No direction to go by, so any guess is as good; without the Jacobian it is 50 degrees.
    assert np.degrees(np.arccos(min(1.0, normal_of(looks_at(image)[0])[2]))) < 40


def test_directions_on_a_plane_seen_from_above_are_those_in_the_picture():
    rng = np.random.default_rng(5)
    angle = rng.uniform(0, np.pi, 50)
    tangent = np.column_stack([np.cos(angle), np.sin(angle)])
    px = rng.uniform(-400, 400, (50, 2))
    phi, jacobian = plane_directions(np.zeros(2), px, tangent, 1000.0)
    # Rows run down: directions turn the other way.
    assert (phi + np.degrees(angle) + 45) % 90 == pytest.approx(np.full(50, 45.0), abs=1e-6)
    assert jacobian == pytest.approx(np.ones(50))


def test_bunching_is_the_derivative_of_the_direction():
    rng = np.random.default_rng(6)
    px = rng.uniform(-400, 400, (40, 2))
    angle = rng.uniform(0, np.pi, 40)
    slope = np.array([0.4, -0.3])

    def at(a):
        tangent = np.column_stack([np.cos(a), np.sin(a)])
        return plane_directions(slope, px, tangent, 1000.0)

    step = 1e-5
    phi0, jacobian = at(angle)
    turned = np.radians((at(angle + step)[0] - phi0 + 45) % 90 - 45)
    assert np.abs(turned) / step == pytest.approx(jacobian, rel=1e-3)


@pytest.mark.parametrize("centre", [0.3, 21.0, 44.8, 89.6])
def test_directions_bunch_about_one(centre):
    rng = np.random.default_rng(7)
    phi = (centre + rng.normal(0, 1.0, 400) + 45 * (rng.random(400) < 0.25)) % 90
    phi = np.r_[phi, rng.uniform(0, 90, 200)]
    got = main_direction(phi)
    assert abs((got - centre + 45) % 90 - 45) < 1.0


def test_the_boards_direction_is_among_the_likely_ones_where_others_bunch_more():
    """The grain of a bench runs one way, and many tracks of a board run obliquely."""
    rng = np.random.default_rng(6)
    grain, oblique, straight = rng.normal(31, 1, 3000), rng.normal(57, 1, 900), rng.normal(12, 1, 600)
    phi = np.concatenate([grain, oblique, straight, rng.uniform(0, 90, 2000)]) % 90.0
    found = likely_directions(phi)
    assert found[0] == pytest.approx(31, abs=1.0)
    for wanted in (57.0, 12.0, 76.0):  # the last: half-way between those of the strongest
        assert min(abs(angle - wanted) for angle in found) < 1.5
    assert len(found) <= 5
