"""A camera fitted to readings of a known pattern: how far it lets itself be bent."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drillaid.geometry import Affine
from drillaid.registration import camera_fit
from drillaid.registration.camera_fit import (
    ALL,
    ASPECT_AT,
    FOCAL_AT,
    LENS_AT,
    MIDDLE_AT,
    Readings,
    State,
    fit_readings,
)
from drillaid.registration.edging import LEFT_OUT, blocks_of
from drillaid.rig.rig import Rig

LATTICE = np.array([(6.0 * i, 6.0 * j) for i in range(-6, 7) for j in range(-3, 4)])


def camera() -> State:
    """Plain, 300 mm above the middle of a lattice of known points and 20 degrees aslant."""
    matrix = np.array([[1500.0, 0, 639.5], [0, 1500.0, 359.5], [0, 0, 1]])
    rig = Rig(1280, 720, matrix, np.zeros(5), np.array([0.35, 0.0, 0.0]), np.array([0.0, 0, 300.0]))
    return State(rig, Affine.identity(), np.zeros(ALL))


def readings(off_mm: np.ndarray) -> Readings:
    """off_mm: (N, 2) by which each point of the lattice was seen beside its place."""
    normal = np.repeat(np.eye(2), len(LATTICE), axis=0)
    return Readings(np.tile(LATTICE, (2, 1)), normal, off_mm.T.ravel(), False, 1.0)


def misled() -> Readings:
    """The farther to one end, the farther aside is what was taken for it; all of it scatters."""
    beyond = np.maximum(LATTICE[:, :1] + 10, 0.0)
    scatter = np.random.default_rng(3).normal(0.0, 0.05, LATTICE.shape)
    return readings(beyond**2 * [4e-4, 2e-4] + scatter)


def lens(step) -> float:
    """How far the lens was bent, in sigmas of what lenses are like, k1 left out."""
    return float(np.abs(step.state.known[LENS_AT][1:] / [0.10, 0.0007, 0.0007]).max())


def test_a_cautious_fit_is_not_bent_by_what_is_read_wrongly_from_afar():
    free = fit_readings(camera(), misled(), 1.0)
    held = fit_readings(camera(), misled(), 1.0, cautious=True)
    assert lens(free) > 0.15 and lens(held) < 0.1 * lens(free)


def test_at_short_reach_both_fits_are_one():
    rng = np.random.default_rng(1)
    seen = readings(rng.normal(0.0, 0.02, LATTICE.shape) + 2e-5 * LATTICE**2)
    free = fit_readings(camera(), seen, 0.2)
    held = fit_readings(camera(), seen, 0.2, cautious=True)
    assert np.array_equal(free.state.known, held.state.known)


@pytest.mark.parametrize("reach_mm", [1.0, 0.45, 0.3])
def test_pose_and_focal_length_are_as_free_as_ever(reach_mm):
    """Points read as from a camera that stands nearer: nothing of it is held back."""
    true = camera()
    grown = LATTICE * 0.004
    held = fit_readings(true, readings(grown), reach_mm, cautious=True)
    at = held.state.to_px(LATTICE)
    assert at == pytest.approx(true.to_px(LATTICE + grown), abs=0.02)
    assert abs(held.state.known[ASPECT_AT]) < 1e-3 and np.isfinite(held.state.known[FOCAL_AT])


@pytest.mark.parametrize("cropped", [False, True])
def test_the_middle_of_a_cropped_picture_is_left_where_it_was_found(cropped):
    """150 px beside the picture's: eleven sigmas for a picture as taken, one for a cropped one."""
    start = camera()
    matrix, known = start.rig.matrix.copy(), start.known.copy()
    matrix[0, 2] += 150.0
    known[MIDDLE_AT.start] = 150.0
    start = replace(start, rig=replace(start.rig, matrix=matrix), known=known, cropped=cropped)
    seen = readings(np.random.default_rng(4).normal(0.0, 0.02, LATTICE.shape))
    got = fit_readings(start, seen, 0.2, rounds=40).state
    moved_px = abs(got.rig.matrix[0, 2] - matrix[0, 2])
    assert bool(moved_px < 30.0) is cropped, moved_px


def test_what_leaving_out_a_part_changes_is_what_a_fit_without_it_gives():
    """Against plain least squares of the rest of the readings."""
    rng = np.random.default_rng(4)
    rows, seen = rng.normal(size=(200, ALL + 1)), rng.normal(size=200)
    xy, weight = rng.uniform(0, 60, (200, 2)), rng.uniform(0.5, 1.0, 200)
    root = np.sqrt(weight)[:, None]
    whole = np.linalg.lstsq(root * rows, root[:, 0] * seen, rcond=None)[0]
    normal = rows.T @ (rows * weight[:, None])
    changes = camera_fit._left_out(rows, seen - rows @ whole, weight, xy, normal)
    block = blocks_of(xy, LEFT_OUT)
    for k in range(LEFT_OUT):
        rest = block != k
        without = np.linalg.lstsq(root[rest] * rows[rest], root[rest, 0] * seen[rest], rcond=None)[0]
        assert changes[k] == pytest.approx(without - whole, abs=1e-9)


def test_a_bent_board_is_doubted_where_nothing_was_read():
    """Off in long waves, which no camera shows: 0.05 mm at the most, of scatter 0.005."""
    x, y = LATTICE.T
    waves = 0.05 * np.column_stack([np.sin(x / 9), np.cos(y / 7)])
    scatter = np.random.default_rng(5).normal(0.0, 0.005, LATTICE.shape)
    step = fit_readings(camera(), readings(waves + scatter), 0.3)
    corner = np.array([[60.0, 40.0]])
    off_mm = np.linalg.norm(step.state.to_px(corner) - camera().to_px(corner)) / 5.0  # px per mm
    columns = camera_fit.drift(step.state.rig, step.state.place(corner))
    stated_mm = np.sqrt(np.einsum("nik,kl,nil->n", columns, step.covariance, columns))[0]
    assert off_mm > 0.05 and stated_mm > off_mm / 2.5
