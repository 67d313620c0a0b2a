"""Plausible rigs for the simulated bench."""

from __future__ import annotations

import math

import cv2
import numpy as np

from drillaid.rig.rig import Rig

# A small board camera's lens: barrel-shaped, slightly out of centre.
_DISTORTION = (-0.11, 0.045, 0.0006, -0.0004, 0.0)


def nominal_rig(
    width: int = 1920,
    height: int = 1080,
    mm_per_px: float = 0.06,
    tilt_rad: float = 0.0,
    tilt_direction_rad: float = 0.0,
    distortion=_DISTORTION,
    seed: int | None = None,
    focal_share: float = 0.78,
) -> Rig:
    """A camera that looks at the bench's origin from above.

    mm_per_px: on the bench plane at the middle of the picture
    tilt_rad: of the optical axis against the vertical; tilt_direction_rad: on
      which side of the origin the camera stands, from the bench's x axis
    focal_share: of the picture's width; longer lenses stand higher for the same view
    seed: None for the nominal rig; else focal length, principal point, roll,
      distortion, spindle place and lean are those of one real specimen
    """
    rng = None if seed is None else np.random.default_rng([seed, 3])

    def off(sigma: float) -> float:
        return 0.0 if rng is None else float(rng.normal(0, sigma))

    focal = width * focal_share * (1 + off(0.015))
    k = np.asarray(distortion, dtype=np.float64) * (1 + off(0.1))
    cx, cy = (width - 1) / 2 + off(0.005) * width, (height - 1) / 2 + off(0.005) * width
    matrix = [[focal, 0, cx], [0, focal * (1 + off(0.0005)), cy], [0, 0, 1]]
    distance = focal * mm_per_px
    st, ct = math.sin(tilt_rad), math.cos(tilt_rad)
    away = np.array([st * math.cos(tilt_direction_rad), st * math.sin(tilt_direction_rad), ct])
    forward = -away
    # Roll is chosen so that the bench's x axis stays to the right in the picture.
    right = np.array([1.0, 0, 0]) - forward[0] * forward
    right /= np.linalg.norm(right)
    roll = off(0.02)
    down = np.cross(forward, right)
    right, down = (
        math.cos(roll) * right + math.sin(roll) * down,
        math.cos(roll) * down - math.sin(roll) * right,
    )
    rotation = np.array([right, down, forward])
    return Rig(
        width=width,
        height=height,
        matrix=np.array(matrix),
        distortion=k,
        rotation_vector=cv2.Rodrigues(rotation)[0].ravel(),
        translation_mm=-rotation @ (away * distance),
        axis_mm=np.array([0.8 + off(2.0), -0.5 + off(2.0)]),
        lean=np.array([off(0.006), off(0.006)]),
    )
