"""Drilled, not drilled, or not to be seen: what the pad itself says.

A second small network weighs all that is known of a pad (`traits`): a hole may be full of dust
of the copper's colour, an etched mark may look like one, and a finger may be as brown as the
board. It was trained on simulated benches (`tests/benchmarks/train_judge.py`). What it is not
sure of counts as hidden.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.inspection.colours import PadColours
from drillaid.inspection.patch import Stack
from drillaid.inspection.posterior import Circles
from drillaid.inspection.result import DRILLED, HIDDEN, UNDRILLED

# A hole against an untouched pad. A hole that was missed is drilled twice at the worst; a pad
# taken for drilled is passed over, so a hole must be the surer of the two: of 5,038 holes on
# 120 ordinary benches 8 lie below 0.9, and of 1,690 untouched pads 2 above it.
UNTOUCHED_BELOW, DRILLED_FROM = 0.5, 0.9
COVERED = 0.7  # the probability from which on neither is asked
MEASURABLE = 0.25  # share of the rays with a rim on the circle, below which it is nowhere
UNTOUCHED = 0.55  # of the pixels where the bit would have cut, like the board's copper
BARE = 0.7  # of them, like its laminate
ALIKE = 5.0  # textures within which a colour is this board's copper
LEAST_PIXELS, LEAST_TEXTURE = 6, 3.0
LEAST_GREY = 8.0  # colours nearer than this are one, grey levels over three colours
# A circle on most rays, with board about it (copper, or laminate where the land came off) and in
# it what is neither of them nor a mixture, is a hole, however unusual: no mark, no blotch does so.
STRANGE_GREY = 24.0
STRANGE, AMID_BOARD, ROUND = 0.9, 0.75, 0.5


@dataclass(frozen=True)
class Look:
    """Of one pad, shares 0 … 1: of its bit's belt like copper; of the belt like laminate;
    of its land's edge that shows; inside: of the place that the photograph shows;
    within: just inside the rim that was found, like what is just outside; apart: how far
    copper and laminate differ there, in copper's textures; strange: inside that rim, like
    neither of them nor a mixture; amid: just outside it, like one of them or a mixture."""

    copper: float
    bare: float
    edge: float
    inside: float
    within: float = 0.0
    apart: float = 99.0
    strange: float = 0.0
    amid: float = 0.0

    def plain_hole(self, support: float) -> bool:
        """support: share of the rays with a rim on the circle"""
        return support >= ROUND and self.strange >= STRANGE and self.amid >= AMID_BOARD


def looks(
    stack: Stack, colours: PadColours, pads, bit_radius_mm: float, circles: Circles, lands
) -> list[Look]:
    """pads: (N,) which of the board's pads each patch of the stack shows; circles: found;
    lands: of each patch. In a pour nobody has seen the laminate by itself: nothing is strange."""
    away = np.hypot(*stack.axes_mm())
    belt = (away > 0.72 * bit_radius_mm) & (away < bit_radius_mm + 0.04)
    disc = away < bit_radius_mm + 0.1
    out = []
    axes = stack.axes_mm()
    for image, inside, depth, pad, land, (x, y), radius in zip(
        stack.images, stack.inside, stack.depth_mm, pads, lands, circles.xy_mm,
        circles.radius_mm, strict=True,
    ):  # fmt: skip
        copper, bare = _like(image, colours, pad)
        apart = float(colours.step[pad] / max(colours.texture[pad], LEAST_TEXTURE))
        here = belt & inside
        seen = float(inside[disc].mean())
        if here.sum() < LEAST_PIXELS:
            out.append(Look(0.0, 0.0, 0.0, seen, apart=apart))
            continue
        beside = inside & (depth < -0.12) & (depth > -0.45)
        ring = inside & (depth > 0.06) & ~disc
        edge = 0.0
        if beside.sum() >= LEAST_PIXELS and ring.sum() >= LEAST_PIXELS:
            # tracks leave the land, so part of what lies beside is copper too
            edge = float(np.mean(copper[ring])) * float(np.quantile(bare[beside], 0.7))
        share = np.hypot(axes[0] - x, axes[1] - y) / radius
        mean = _same(image, inside & (depth > 0.03), share)
        out.append(
            Look(
                float(copper[here].mean()), float(bare[here].mean()), edge, seen, mean, apart,
                *_strange_in_and_out(image, inside, share, land, colours, pad),
            )  # fmt: skip
        )
    return out


def _mean(values: np.ndarray) -> float:
    return float(values.mean()) if len(values) >= LEAST_PIXELS else 0.0


def _strange_in_and_out(image, inside, share, land, colours: PadColours, pad: int):
    """`Look.strange` and `Look.amid`; nothing is said where the laminate is not known."""
    if land is None or land.in_pour:
        return 0.0, 0.0
    within, around = inside & (share < 0.85), inside & (share > 1.15) & (share < 1.5)
    if around.sum() < LEAST_PIXELS:
        return 0.0, 0.0
    return _strange(image[within], colours, pad), 1.0 - _strange(image[around], colours, pad)


def _strange(pixels, colours: PadColours, pad: int) -> float:
    """The share of pixels (N, 3) that are far from all mixtures of copper and laminate."""
    copper = colours.copper[pad].astype(np.float64)
    lean, off = colours.laminate[pad] - copper, pixels - copper
    along = np.clip(off @ lean / max(float(lean @ lean), 1.0), 0.0, 1.0)
    away = np.sqrt(np.square(off - along[:, None] * lean).mean(axis=1))
    texture = max(float(colours.texture[pad]), LEAST_TEXTURE)
    return _mean(away > max(ALIKE * texture, STRANGE_GREY))


def _same(image, usable, share) -> float:
    """How much of what lies just within a rim is like what lies just outside it.

    share: (S, S) distance from the rim's centre in radii
    """
    outside = image[(share > 1.12) & (share < 1.5) & usable]
    within = image[(share > 0.7) & (share < 0.93) & usable]
    if len(outside) < LEAST_PIXELS or not len(within):
        return 0.0
    middle = np.median(outside, axis=0)
    spread = float(np.median(np.linalg.norm(outside - middle, axis=1)))
    bound = max(2.0 * spread, LEAST_GREY)
    return float((np.linalg.norm(within - middle, axis=1) < bound).mean())


def _like(image, colours: PadColours, pad: int) -> tuple[np.ndarray, np.ndarray]:
    """Which pixels are like the board's copper there, and like its laminate; 0 or 1, (S, S)."""
    texture = max(float(colours.texture[pad]), LEAST_TEXTURE)
    copper, laminate = colours.copper[pad], colours.laminate[pad]
    lean = laminate - copper
    off = image - copper.astype(np.float32)
    near = np.sqrt((off**2).mean(axis=2)) < ALIKE * texture
    beside = np.sqrt((((image - laminate.astype(np.float32)) ** 2).mean(axis=2)))
    # never so far from laminate as to be nearer to copper
    bare = beside < max(min(1.2 * ALIKE * texture, 0.26 * float(np.linalg.norm(lean))), 8.0)
    return near.astype(np.float32), bare.astype(np.float32)


def judge(odds: np.ndarray, look: Look, support: float) -> tuple[str, str]:
    """State and reason.

    odds: (3,) of the judging network, the probabilities of a hole, of an untouched pad and of
    something that covers it; support: share of the rays with a rim on the best circle
    """
    if look.inside < 0.9:
        return HIDDEN, "at the edge of the picture"
    if odds[2] > COVERED:
        return HIDDEN, "neither a hole nor an untouched pad is to be seen there"
    if look.plain_hole(support):
        return DRILLED, ""
    share = hole_share(odds)
    if share <= UNTOUCHED_BELOW:
        return UNDRILLED, _why_undrilled(look)
    if share < DRILLED_FROM:
        return HIDDEN, "there may be a hole, but it cannot be told from an untouched pad"
    if support < MEASURABLE:
        return HIDDEN, "there seems to be a hole, but its rim is not clear enough to measure"
    return DRILLED, ""


def hole_share(odds: np.ndarray) -> float:
    """The probability of a hole where something covering is ruled out; odds as for `judge`."""
    return float(odds[0] / max(odds[0] + odds[1], 1e-9))


def _why_undrilled(look: Look) -> str:
    if look.copper >= UNTOUCHED:
        return "the pad is untouched"
    if look.bare >= BARE:
        return "no hole, and no copper to be seen either"
    return "no edge of a hole is to be seen on the pad"
