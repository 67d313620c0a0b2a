"""Light and lens of the simulated bench, and what they do to a picture."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.simulation.textures import rgb, soft_noise

# Pictures are lit by integer fields: this value means "as painted".
UNIT_LIGHT = 128
_BRIGHTNESS = np.array([0.114, 0.587, 0.299])  # of B, G, R


@dataclass(frozen=True)
class Light:
    """Where the light comes from and what the board mirrors.

    level: 1 is well exposed
    gradient: fall over the view towards gradient_rad, as a share of the level
    patchy: sigma of softer unevenness on top
    ambient_shine: how much of the surroundings metal mirrors
    glare: number of lamps mirrored in the board; glare_strength: 1 burns copper out
    warmth: -1 bluish to +1 yellowish
    backlight: share of the light that comes from below
    """

    level: float = 1.0
    gradient: float = 0.25
    gradient_rad: float = 0.7
    patchy: float = 0.03
    ambient_shine: float = 0.35
    glare: int = 0
    glare_strength: float = 0.9
    warmth: float = 0.1
    backlight: float = 0.0

    def fields(
        self, shape: tuple[int, int], rng: np.random.Generator, vignette: float
    ) -> tuple[np.ndarray, np.ndarray]:
        """(illumination uint8 (H, W, 3), UNIT_LIGHT is 1; mirrored surroundings uint8 (H, W))."""
        height, width = shape
        small = max(8, height // 8), max(8, width // 8)
        y, x = np.mgrid[-1 : 1 : small[0] * 1j, -1 : 1 : small[1] * 1j].astype(np.float32)
        along = x * math.cos(self.gradient_rad) - y * math.sin(self.gradient_rad)
        field = 1 - 0.5 * self.gradient * along + self.patchy * soft_noise(rng, small, small[1] / 3)
        field *= 1 - vignette * (x * x + y * y) / 2
        tint = rgb(1 + 0.10 * self.warmth, 1 + 0.01 * self.warmth, 1 - 0.16 * self.warmth)
        lit = np.clip(field * self.level, 0.02, 1.9)[..., None] * tint * UNIT_LIGHT
        mirrored = self.ambient_shine * (
            0.6 - 0.35 * along + 0.22 * soft_noise(rng, small, small[1] / 4)
        )
        for _ in range(self.glare):
            cx, cy = rng.uniform(-0.8, 0.8, 2)
            a, b = rng.uniform(0.08, 0.35, 2)
            turn = rng.uniform(0, math.pi)
            u = (x - cx) * math.cos(turn) + (y - cy) * math.sin(turn)
            v = (y - cy) * math.cos(turn) - (x - cx) * math.sin(turn)
            mirrored += self.glare_strength * np.exp(-((u / a) ** 2) - (v / b) ** 2)
        size = (width, height)
        lit = cv2.resize(lit, size, interpolation=cv2.INTER_CUBIC)
        mirrored = cv2.resize(mirrored * self.level * 128, size, interpolation=cv2.INTER_CUBIC)
        return (
            np.clip(np.rint(lit), 0, 255).astype(np.uint8),
            np.clip(np.rint(mirrored), 0, 255).astype(np.uint8),
        )


@dataclass(frozen=True)
class Optics:
    """blur_px: sigma of the lens's blur; noise: sigma of the sensor, grey levels;
    jpeg: quality 1 … 100, or None; motion_px: (du, dv) smear during the exposure;
    vignette: fall of brightness towards the corners
    sharpened: 0 … 1, how strongly the camera overdraws edges; colour_px: how far colours,
    not brightness, are smeared by its mosaic of filters (both as cheap cameras do)
    fringes: by what shares blue and red are drawn larger than green; brightness stays in place
    """

    blur_px: float = 0.6
    noise: float = 2.0
    jpeg: int | None = None
    motion_px: tuple[float, float] | None = None
    vignette: float = 0.15
    sharpened: float = 0.0
    colour_px: float = 0.0
    fringes: tuple[float, float] = (0.0, 0.0)


class Sensor:
    """Turns the light's picture into the camera's: blur, smear, noise, compression."""

    def __init__(self, optics: Optics, shape: tuple[int, int], rng: np.random.Generator):
        self.optics, self._shape, self._rng = optics, shape, rng
        self._tile = self._noise_tile(rng)

    def _noise_tile(self, rng: np.random.Generator) -> np.ndarray | None:
        """uint8 noise about 128, a little larger than the picture so that it can be shifted."""
        if self.optics.noise <= 0:
            return None
        height, width = self._shape[0] + 97, self._shape[1] + 97
        grey = rng.standard_normal((height, width), dtype=np.float32)
        colour = rng.standard_normal((height // 2 + 1, width // 2 + 1, 3), dtype=np.float32)
        colour = cv2.resize(colour, (width, height), interpolation=cv2.INTER_LINEAR)
        mixed = self.optics.noise * (0.9 * grey[..., None] + 0.55 * colour)
        # Dither: a sensor noise under one grey level must not vanish in rounding.
        mixed += rng.random(mixed.shape, dtype=np.float32) - 0.5
        return np.clip(np.rint(mixed) + 128, 0, 255).astype(np.uint8)

    def blur(self, image: np.ndarray) -> np.ndarray:
        optics = self.optics
        if any(optics.fringes):
            image = _fringed(image, *optics.fringes)
        if optics.motion_px is not None:
            image = cv2.filter2D(image, -1, _smear_kernel(optics.motion_px))
        if optics.blur_px > 0:
            size = 2 * max(1, math.ceil(2.5 * optics.blur_px)) + 1
            image = cv2.GaussianBlur(image, (size, size), optics.blur_px)
        return image

    def expose(self, image: np.ndarray) -> np.ndarray:
        """A new picture with this moment's noise and the compression's losses."""
        if self._tile is None:
            out = image.copy()
        else:
            row, column = self._rng.integers(0, 97, 2)
            height, width = self._shape
            noise = self._tile[row : row + height, column : column + width]
            out = cv2.addWeighted(image, 1.0, noise, 1.0, -128.0)
        out = self._processed(out)
        if self.optics.jpeg is not None:
            flags = [cv2.IMWRITE_JPEG_QUALITY, int(self.optics.jpeg)]
            out = cv2.imdecode(cv2.imencode(".jpg", out, flags)[1], cv2.IMREAD_COLOR)
        return out

    def _processed(self, image: np.ndarray) -> np.ndarray:
        """What a camera does to its picture before it gives it away."""
        optics = self.optics
        if optics.colour_px > 0:
            split = cv2.cvtColor(image, cv2.COLOR_BGR2YCrCb)
            split[..., 1:] = cv2.GaussianBlur(split[..., 1:], (0, 0), optics.colour_px)
            image = cv2.cvtColor(split, cv2.COLOR_YCrCb2BGR)
        if optics.sharpened > 0:
            soft = cv2.GaussianBlur(image, (0, 0), 1.2)
            image = cv2.addWeighted(image, 1 + optics.sharpened, soft, -optics.sharpened, 0)
        return image


def _fringed(image: np.ndarray, blue: float, red: float) -> np.ndarray:
    grown = np.array([blue, 0.0, red])
    height, width = image.shape[:2]
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    planes = []
    for k, share in enumerate(grown - _BRIGHTNESS @ grown):
        matrix = np.column_stack([np.eye(2) * (1 + share), -share * middle])
        plane = np.ascontiguousarray(image[..., k])
        planes.append(cv2.warpAffine(plane, matrix, (width, height), flags=cv2.INTER_LINEAR,
                                     borderMode=cv2.BORDER_REPLICATE))  # fmt: skip
    return cv2.merge(planes)


def _smear_kernel(motion_px) -> np.ndarray:
    """A straight smear about its middle: it moves no centroid."""
    du, dv = motion_px
    half = int(math.ceil(max(abs(du), abs(dv)) / 2)) + 1
    kernel = np.zeros((2 * half + 1, 2 * half + 1), np.float32)
    for t in np.linspace(-0.5, 0.5, 33):
        u, v = half + t * du, half + t * dv
        c, r = int(math.floor(u)), int(math.floor(v))
        for i, wv in ((r, 1 - (v - r)), (r + 1, v - r)):
            for j, wu in ((c, 1 - (u - c)), (c + 1, u - c)):
                if 0 <= i < kernel.shape[0] and 0 <= j < kernel.shape[1]:
                    kernel[i, j] += wu * wv
    return kernel / kernel.sum()
