"""Drilled holes in a plain face, found in a picture about which nothing else is known.

A bore is round (or the ellipse a circle becomes under tilt), clearly darker than
its surroundings, or brighter where light comes from below, and its surroundings
are plain. What looks so and is none, a nail's head or an old hole in the bench,
cannot be told from it here: all that are found are handed out.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.vision.centres import find_centres
from drillaid.vision.channel import grey_of
from drillaid.vision.discs import find_discs
from drillaid.vision.sampling import sample

RADIUS_PX = (3.5, 60.0)
LEAST_COVER = 0.6  # of the rim, in opposite pairs
LEAST_STEP = 0.25  # of the brighter of inside and outside
PLAIN = 0.3  # scatter of the surroundings, as a share of the step
CANDIDATES = 400
# One sigma of each coordinate that the rim's own scatter does not show: sampling, a
# burr; and, where the hole is seen aslant, its wall, which is taken for the face on
# one side. Set on simulated scrap (tests/vision/test_bore.py holds it against truth).
FLOOR_PX, WALL_SHARE = 0.08, 0.05


@dataclass(frozen=True, eq=False)
class Bore:
    """px: (2,) centre of the upper rim; sigma_px: of each coordinate; radius_px: mean"""

    px: np.ndarray
    sigma_px: float
    radius_px: float

    @property
    def covariance_px2(self) -> np.ndarray:
        return np.eye(2) * self.sigma_px**2


def find_bores(image: np.ndarray) -> list[Bore]:
    """All that look like one, the clearest first. image: uint8 BGR (H, W, 3)."""
    grey = grey_of(image)
    light = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY).astype(np.float32)
    discs = _worth_a_look(light, find_discs(grey.image, radius_px=RADIUS_PX, least=0.45))
    found: list[tuple[float, Bore]] = []
    for grow in (1.0, 1.35):  # the vote may have met the floor's rim or the wall's
        if not len(discs):
            break
        got = find_centres(
            grey.image, lambda px: px, discs[:, :2], grow * discs[:, 2], discs[:, 3],
            noise=grey.noise, unit_px=1.0, even=False,
        )  # fmt: skip
        for k in np.flatnonzero(got.found & (got.cover >= LEAST_COVER)):
            centre, radius = got.xy[k], float(got.radius[k])
            clear = _clearness(light, centre, radius)
            if clear > 0:
                wall = WALL_SHARE * _aslant(light, centre, radius)
                sigma = float(np.sqrt(got.sigma[k] ** 2 + FLOOR_PX**2 + wall**2))
                found.append((clear * got.cover[k] * radius**0.5, Bore(centre, sigma, radius)))
    found.sort(key=lambda row: -row[0])
    kept: list[Bore] = []
    for _, bore in found:
        if all(np.hypot(*(bore.px - k.px)) > max(bore.radius_px, k.radius_px) for k in kept):
            kept.append(bore)
    return kept


def _worth_a_look(light: np.ndarray, discs: np.ndarray) -> np.ndarray:
    """Those darker or brighter within than without, the most so first."""
    if not len(discs):
        return discs
    angle = np.arange(12) * (np.pi / 6)
    out = np.column_stack([np.cos(angle), np.sin(angle)])
    far = discs[:, None, :2] + 2.2 * discs[:, 2, None, None] * out
    inside = sample(light, discs[:, None, :2])[:, 0]
    outside = np.median(sample(light, far), axis=1)
    share = np.abs(outside - inside) / np.maximum(np.maximum(outside, inside), 1.0)
    best = np.argsort(-share * np.minimum(discs[:, 4], 1.0), kind="stable")
    return discs[best[share[best] > 0.6 * LEAST_STEP][:CANDIDATES]]


def _ring(light: np.ndarray, centre, radii) -> np.ndarray:
    """Brightness on circles, (len(radii), 48)."""
    angle = np.arange(48) * (2 * np.pi / 48)
    out = np.column_stack([np.cos(angle), np.sin(angle)])
    return sample(light, centre + np.asarray(radii)[:, None, None] * out)


def _clearness(light: np.ndarray, centre, radius: float) -> float:
    """Step between inside and outside in parts of the brighter one; 0 where it is no bore."""
    height, width = light.shape
    reach = 2.2 * radius
    if not (reach < centre[0] < width - 1 - reach and reach < centre[1] < height - 1 - reach):
        return 0.0
    inside = _ring(light, centre, radius * np.array([0.0, 0.25, 0.5]))
    outside = _ring(light, centre, radius * np.array([1.7, 1.95, 2.2]))
    step = np.median(outside) - np.median(inside)
    spread = np.subtract(*np.percentile(outside, [90, 10])) / 2.56
    if spread > PLAIN * abs(step):
        return 0.0
    share = abs(step) / max(np.median(outside), np.median(inside), 1.0)
    return float(share) if share >= LEAST_STEP else 0.0


def _aslant(light: np.ndarray, centre, radius: float) -> float:
    """How much longer than broad the dark patch is, px (half axes): 0 from straight above."""
    half = int(np.ceil(1.6 * radius)) + 1
    u, v = np.rint(centre).astype(int)
    part = light[v - half : v + half + 1, u - half : u + half + 1].astype(np.float64)
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    rim = np.median(_ring(light, centre, [1.7 * radius]))
    weight = np.clip((rim - part) / (rim - np.median(_ring(light, centre, [0.3 * radius]))), 0, 1)
    weight = np.where((weight > 0.3) & (np.hypot(x, y) < 1.5 * radius), weight, 0.0)
    moments = cv2.moments(weight, binaryImage=False)
    if moments["m00"] <= 0:
        return 0.0
    spread = np.array(
        [[moments["mu20"], moments["mu11"]], [moments["mu11"], moments["mu02"]]]
    ) / moments["m00"]  # fmt: skip
    small, large = 2 * np.sqrt(np.maximum(np.linalg.eigvalsh(spread), 0))
    return float(large - small)
