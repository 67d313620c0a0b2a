"""The drawn sheet against a slow picture that samples every pixel many times."""

from __future__ import annotations

import numpy as np

from drillaid.rig.rig import Rig
from drillaid.simulation.optics import Light, Optics
from drillaid.simulation.sheet import INK, PAPER, TABLE, Sheet, SheetCamera

RIG = Rig(
    160, 120, [[150, 0, 78], [0, 151, 61], [0, 0, 1]], [-0.1, 0.04, 0.001, -0.002, 0.01],
    [0, 0, 0], [0, 0, 1],
)  # fmt: skip
PLAIN = {
    "optics": Optics(blur_px=0, noise=0, vignette=0),
    "light": Light(gradient=0, patchy=0, warmth=0),
    "texture": 0.0,
}


def sheet(seed=0):
    return Sheet(np.random.default_rng(seed).random((8, 10)) > 0.5, 2.0, margin_mm=4.0)


POSE = np.array([0.3, -0.4, 0.2]), np.array([-8.0, -6.0, 32.0])


def sampled(camera, fine=12):
    """The mean of fine x fine exact looks into every pixel."""
    step = (np.arange(fine) + 0.5) / fine - 0.5
    u = (np.arange(160)[:, None] + step).ravel()
    v = (np.arange(120)[:, None] + step).ravel()
    grid = np.stack(np.meshgrid(u, v), axis=-1).reshape(-1, 2)
    posed = camera.posed(*POSE)
    x, y = posed.plane(0.0).inverse(posed.undistort(grid)).T
    white = camera.sheet.white
    column, row = np.floor(x / 2).astype(int), np.floor(y / 2).astype(int)
    printed = (row >= 0) & (row < white.shape[0]) & (column >= 0) & (column < white.shape[1])
    paper = (x >= -4) & (x < 24) & (y >= -4) & (y < 20)
    value = np.where(paper, PAPER, TABLE)
    value[printed] = np.where(white[row[printed], column[printed]], PAPER, INK)
    return value.reshape(120, fine, 160, fine).mean(axis=(1, 3))


def test_every_pixel_gathers_what_it_should():
    camera = SheetCamera(RIG, sheet(), **PLAIN)
    got = camera.picture(*POSE)[..., 1].astype(float)
    off = got - sampled(camera)
    assert np.abs(off).mean() < 1.5  # grey levels of a contrast of 177
    assert abs(off.mean()) < 0.3
    assert np.abs(off).max() < 0.2 * (PAPER - INK)  # only where edges meet


def test_table_paper_and_print_are_seen_where_they_lie():
    camera = SheetCamera(RIG, sheet(), **PLAIN)
    image = camera.picture(*POSE)
    posed = camera.posed(*POSE)
    places = posed.project([[-2.0, 8.0, 0.0], [-9.0, 8.0, 0.0]])
    for (u, v), level in zip(np.rint(places).astype(int), (PAPER, TABLE), strict=True):
        assert abs(int(image[v, u, 1]) - level) <= 2


def test_mirrored_print():
    plain = sheet()
    assert (plain.mirrored().white == plain.white[:, ::-1]).all()
    assert plain.size_mm == (20.0, 16.0)


def test_a_sheet_behind_the_camera_is_not_seen():
    camera = SheetCamera(RIG, sheet(), **PLAIN)
    image = camera.picture(np.zeros(3), np.array([0.0, 0.0, -30.0]))
    assert np.abs(image.astype(int) - TABLE).max() <= 1


def test_same_seed_same_picture_noise_moves_on():
    options = {"optics": Optics(noise=3.0)}
    one, two = (SheetCamera(RIG, sheet(), seed=5, **options) for _ in range(2))
    first = one.picture(*POSE)
    assert (first == two.picture(*POSE)).all()
    assert (first != one.picture(*POSE)).any()
