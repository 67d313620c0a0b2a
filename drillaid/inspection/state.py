"""Drilled, not drilled, or not to be seen: what the pad itself says.

A rim on most rays is a hole. Without one the pad must show itself: its copper where the
bit would have cut, or its land's edge, or bare laminate where the land came off. What
shows none of these is covered, and nothing is said about it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.inspection.colours import PadColours
from drillaid.inspection.patch import Stack
from drillaid.inspection.result import DRILLED, HIDDEN, UNDRILLED

# Share of the rays with a rim on one circle: on simulated boards holes reach 0.6, pads 0.3.
SURE, DOUBTFUL = 0.45, 0.30
UNTOUCHED = 0.55  # of the pixels where the bit would have cut, like the board's copper
PLAINLY = 0.75  # so much of it, and a faint ring is a scratch or an etched mark
ALIKE = 5.0  # textures within which a colour is this board's copper
LEAST_PIXELS = 6


@dataclass(frozen=True)
class Look:
    """Of one pad, shares 0 … 1: of its bit's belt like copper; of the belt like laminate;
    of what lies beside the land unlike the pad (1 where nothing is known of it); inside:
    of the place that the photograph shows."""

    copper: float
    bare: float
    edge: float
    inside: float


def looks(stack: Stack, colours: PadColours, pads, bit_radius_mm: float) -> list[Look]:
    """pads: (N,) which of the board's pads each patch of the stack shows."""
    away = np.hypot(*stack.axes_mm())
    belt = (away > 0.72 * bit_radius_mm) & (away < bit_radius_mm + 0.04)
    disc = away < bit_radius_mm + 0.1
    out = []
    for image, inside, depth, pad in zip(
        stack.images, stack.inside, stack.depth_mm, pads, strict=True
    ):
        copper, bare = _like(image, colours, pad)
        here = belt & inside
        seen = float(inside[disc].mean())
        if here.sum() < LEAST_PIXELS:
            out.append(Look(0.0, 0.0, 0.0, seen))
            continue
        beside = inside & (depth < -0.12) & (depth > -0.45)
        ring = inside & (depth > 0.06) & ~disc
        edge = 0.0
        if beside.sum() >= LEAST_PIXELS and ring.sum() >= LEAST_PIXELS:
            # tracks leave the land, so part of what lies beside is copper too
            edge = float(np.mean(copper[ring])) * float(np.quantile(bare[beside], 0.7))
        out.append(Look(float(copper[here].mean()), float(bare[here].mean()), edge, seen))
    return out


def _like(image, colours: PadColours, pad: int) -> tuple[np.ndarray, np.ndarray]:
    """Which pixels are like the board's copper there, and like its laminate; 0 or 1, (S, S)."""
    texture = max(float(colours.texture[pad]), 3.0)
    copper, laminate = colours.copper[pad], colours.laminate[pad]
    lean = laminate - copper
    off = image - copper.astype(np.float32)
    near = np.sqrt((off**2).mean(axis=2)) < ALIKE * texture
    beside = np.sqrt((((image - laminate.astype(np.float32)) ** 2).mean(axis=2)))
    bare = beside < max(min(1.2 * ALIKE * texture, 0.26 * float(np.linalg.norm(lean))), 8.0)
    return near.astype(np.float32), bare.astype(np.float32)


def judge(support: float, look: Look) -> tuple[str, str]:
    """State and reason. support: share of the rays with a rim on the best circle."""
    if look.inside < 0.9:
        return HIDDEN, "at the edge of the picture"
    if support >= SURE:
        return DRILLED, ""
    if support >= DOUBTFUL and look.copper < PLAINLY:
        return HIDDEN, "there may be a hole, but its rim is not clear enough to measure"
    if look.copper >= UNTOUCHED:
        return UNDRILLED, "the pad is untouched"
    if look.edge >= 0.5 and look.copper >= 0.25:
        return UNDRILLED, "no edge of a hole is to be seen on the pad"
    if look.bare >= 0.7:
        return UNDRILLED, "no hole, and no copper to be seen either"
    return HIDDEN, "neither a hole nor an untouched pad is to be seen there"
