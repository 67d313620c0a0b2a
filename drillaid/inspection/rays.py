"""Where along each ray from about a hole's middle its upper rim is, as probabilities.

A rim may be dark to bright, bright to dark, burred, clogged or half in shadow, and
beside it there are the wall's lower edge, the land's edge and spilt dust. Which of
them is the rim is told by a small network that has seen all of these
(`tests/benchmarks/train_rays.py` makes it, from simulated boards alone). It sees
colours as differences from this pad's own copper, in units of how this board's copper
varies, so nothing depends on what copper looks like here. It may also answer that
there is no rim on a ray.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from drillaid.inspection.patch import Stack

RAYS = 48
REACH_MM, STEP_MM = 0.33, 0.03
ALONG = np.arange(-REACH_MM, REACH_MM + STEP_MM / 2, STEP_MM)  # from the expected radius, mm
BINS = len(ALONG)
_ANGLE = np.arange(RAYS) * (2 * np.pi / RAYS)
TURNS = np.column_stack([np.cos(_ANGLE), np.sin(_ANGLE)])  # (RAYS, 2)
NEIGHBOURS = 2
WHOLE = 3 * BINS  # features of all rays together, the last ones
LEAST_TEXTURE = 4.0  # grey levels; copper plainer than that is taken for no plainer


@dataclass(frozen=True, eq=False)
class Surroundings:
    """Of N rays' origins: copper, laminate (N, 3), texture (N,); lower_mm (N, 2), how far
    the lower rim seems displaced; blur_mm of the picture."""

    copper: np.ndarray
    laminate: np.ndarray
    texture: np.ndarray
    lower_mm: np.ndarray
    blur_mm: float


def ray_features(stack: Stack, rows, xy_mm, radius_mm, around: Surroundings) -> np.ndarray:
    """float32 (N, RAYS, F); rows: (N,) which patch; xy_mm: (N, 2) origin from its middle;
    radius_mm: (N,) expected."""
    colour, depth = _profiles(stack, rows, xy_mm, radius_mm)
    off = colour - around.copper[:, None, None]
    texture = np.maximum(around.texture, LEAST_TEXTURE)[:, None, None, None]
    signed = np.tanh(off / (6.0 * texture))
    power = (off**2).mean(axis=3)
    strange = power / (power + (4.0 * texture[..., 0]) ** 2)
    lean = around.laminate - around.copper
    bare = (off @ lean[:, None, :, None])[..., 0] / np.maximum(
        (lean**2).sum(axis=1), 100.0)[:, None, None]  # fmt: skip
    rise = np.gradient(colour, axis=2)
    change = np.sqrt((rise**2).sum(axis=3))
    change = change / (change + 1.5 * texture[..., 0])
    plain = np.concatenate([strange, change, signed.mean(axis=3)], axis=2)
    # all round: dust, a torn lip or an untouched pad are told by more than one ray
    whole = np.broadcast_to(plain.mean(axis=1, keepdims=True), plain.shape)
    smooth = sum(np.roll(plain, k, axis=1) for k in range(-NEIGHBOURS, NEIGHBOURS + 1)) / 5
    wall = -(around.lower_mm @ TURNS.T)[..., None]
    radius = np.broadcast_to(np.asarray(radius_mm)[:, None, None], wall.shape)
    blur = np.full_like(wall, around.blur_mm)
    contrast = np.broadcast_to(
        np.linalg.norm(lean, axis=1)[:, None, None] / (20 * texture[..., 0]), wall.shape)
    return np.concatenate([
        signed.reshape(*signed.shape[:2], -1), strange, np.clip(bare, -1, 2), change, smooth,
        np.clip(depth, -0.3, 0.3) * 3, np.clip(wall, -0.5, 1.0) * 2, radius, blur * 10,
        np.tanh(contrast), whole,
    ], axis=2).astype(np.float32)  # fmt: skip


def _profiles(stack: Stack, rows, xy_mm, radius_mm):
    """Colour (N, RAYS, BINS, 3) and depth in the land (N, RAYS, BINS) along the rays."""
    count = len(rows)
    colour = np.empty((count, RAYS, BINS, 3), np.float32)
    depth = np.empty((count, RAYS, BINS), np.float32)
    middle = (stack.size - 1) / 2
    for n, (row, (x, y), radius) in enumerate(zip(rows, xy_mm, radius_mm, strict=True)):
        along = np.maximum(radius + ALONG, 0.01) * stack.px_per_mm
        u = (TURNS[:, :1] * along + x * stack.px_per_mm + middle).astype(np.float32)
        v = (TURNS[:, 1:] * along + y * stack.px_per_mm + middle).astype(np.float32)
        border = cv2.BORDER_REPLICATE
        colour[n] = cv2.remap(stack.images[row], u, v, cv2.INTER_LINEAR, borderMode=border)
        depth[n] = cv2.remap(stack.depth_mm[row], u, v, cv2.INTER_LINEAR, borderMode=border)
    return colour, depth


@dataclass(frozen=True, eq=False)
class Network:
    """Layers (weights, bias) with rectifiers between them."""

    layers: tuple

    @classmethod
    @cache
    def kept(cls, name: str = "rays.npz") -> Network:
        """One of those that come with the program."""
        with np.load(Path(__file__).with_name(name)) as file:
            count = len(file.files) // 2
            return cls(tuple(
                (file[f"w{k}"].astype(np.float32), file[f"b{k}"].astype(np.float32))
                for k in range(count)
            ))  # fmt: skip

    def log_odds(self, features: np.ndarray) -> np.ndarray:
        """float32 (…, K) of features (…, F): logarithm of the probability of each answer. For
        rays (N, RAYS, BINS + 1): that the rim is at each of ALONG, and last that none is to be
        seen there."""
        x = features.reshape(-1, features.shape[-1])
        for k, (weights, bias) in enumerate(self.layers):
            x = x @ weights + bias
            if k + 1 < len(self.layers):
                np.maximum(x, 0, out=x)
        x -= x.max(axis=1, keepdims=True)
        x -= np.log(np.exp(x).sum(axis=1, keepdims=True))
        return x.reshape(*features.shape[:-1], x.shape[-1])
