"""A drilled board drawn exactly: discs and rings, box-filtered into camera pixels.

Knows nothing of the simulated bench, so that what measures holes is held against
a truth drawn in another way. Everything is placed in bench mm at z = thickness.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.design.model import Design, Hole, Land
from drillaid.geometry import Affine, Homography
from drillaid.registration.result import Placement
from drillaid.rig.rig import Rig

COPPER, LAMINATE, DEPTH, WALL = (80, 140, 205), (95, 140, 150), (28, 30, 34), (90, 120, 130)


@dataclass(frozen=True)
class DrawnHole:
    """state "drilled", "mark" (etched centre mark, 0.5 mm) or "plain"; off in design mm."""

    off_mm: tuple[float, float] = (0.0, 0.0)
    diameter_mm: float = 1.0
    state: str = "drilled"


def rig(px_mm: float = 0.06, size: int = 300, tilt_deg: float = 0.0) -> Rig:
    """A camera 150 mm over the bench's origin, px_mm to a pixel at the board's face."""
    focal = 150.0 / px_mm
    turn = cv2.Rodrigues(np.array([np.pi, 0.0, 0.0]))[0]
    lean = cv2.Rodrigues(np.array([np.deg2rad(tilt_deg), 0.0, 0.0]))[0]
    middle = (size - 1) / 2
    return Rig(
        size, size, [[focal, 0, middle], [0, focal, middle], [0, 0, 1]], [0.0] * 5,
        cv2.Rodrigues(lean @ turn)[0].ravel(), [0.0, 0.0, 151.6],
    )  # fmt: skip


def design(columns: int = 5, rows: int = 4, pitch_mm: float = 2.54, land_mm=1.7, drill_mm=1.0):
    xy = [(c * pitch_mm, r * pitch_mm) for r in range(rows) for c in range(columns)]
    holes = tuple(Hole(i + 1, x, y, drill_mm) for i, (x, y) in enumerate(xy))
    lands = tuple(Land("round", (land_mm, land_mm), 0.0, h.xy_mm) for h in holes)
    return Design("drawn", holes, lands)


def placement(board: Design, camera: Rig, *, turn_deg=7.0, error_mm=1e-4, nudge=(0, 0)) -> Placement:
    """The truth (moved by nudge, mm) as a placement of the bottom face, thickness 1.6."""
    centre = board.xy_mm.mean(axis=0)
    matrix = Affine.from_parts(rotation_rad=np.deg2rad(turn_deg), mirrored=True)
    matrix = Affine.from_parts(offset=matrix(centre)[0] * -1 + nudge) @ matrix
    bench = matrix(board.xy_mm)
    count = len(bench)
    return Placement(
        "rigid", camera.plane(1.6) @ Homography.of(matrix), matrix, camera.to_pixels(bench, 1.6),
        bench, np.full(count, error_mm), np.ones(count, bool), 0.0, camera.px_per_mm(1.6),
    )  # fmt: skip


def _near(face, at) -> tuple[np.ndarray, np.ndarray]:
    """Indices of the fine pixels within 2 mm (in each axis) of a place, and their distances."""
    near = np.flatnonzero((np.abs(face - at) < 2.0).all(axis=1))
    return near, np.hypot(*(face[near] - at).T)


def draw(
    board: Design, drawn: list[DrawnHole], camera: Rig, lie: Affine, rng, *, noise=2.0,
    blur_px=0.7, fine=5, cover=None, gradient=0.15,
) -> np.ndarray:  # fmt: skip
    """The photograph, uint8 BGR. cover: (u, v, radius) px of a grey thing in the way."""
    size, thickness = camera.width, 1.6
    axis = (np.arange(size * fine) + 0.5) / fine - 0.5
    px = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    # this camera's lens is without distortion
    face, bench = camera.plane(thickness).inverse(px), camera.plane(0.0).inverse(px)
    picture = np.tile(np.array(LAMINATE, np.float32), (len(px), 1))
    for hole, land, d in zip(board.holes, board.lands, drawn, strict=True):
        near, gone = _near(face, lie(hole.xy_mm)[0])
        picture[near[gone < land.size_mm[0] / 2]] = COPPER
        if d.state == "mark":
            picture[near[gone < 0.25]] = LAMINATE
    for hole, d in zip(board.holes, drawn, strict=True):
        if d.state != "drilled":
            continue
        at = lie(np.add(hole.xy_mm, d.off_mm))[0]
        near, gone = _near(face, at)
        bore = near[gone < d.diameter_mm / 2]
        through = np.hypot(*(bench[bore] - at).T) < d.diameter_mm / 2
        picture[bore] = WALL
        picture[bore[through]] = DEPTH
    picture = picture.reshape(size, fine, size, fine, 3).mean(axis=(1, 3))
    picture *= (1 + gradient * np.linspace(-1, 1, size))[None, :, None]
    if cover is not None:
        cv2.circle(picture, (int(cover[0]), int(cover[1])), int(cover[2]), (140, 140, 150), -1)
    picture = cv2.GaussianBlur(picture.astype(np.float32), (0, 0), blur_px)
    picture += rng.normal(0, noise, picture.shape)
    return np.clip(np.rint(picture), 0, 255).astype(np.uint8)
