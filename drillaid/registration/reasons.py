"""Why no board was found: the likeliest cause, as far as one picture tells.

Worked out only when the answer is a refusal. It changes no answer: whatever is said
here, nothing is registered. The order matters: what spoils the whole picture comes
first, then what the search itself came upon, then what lies there at all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.geometry import Affine
from drillaid.registration.bent import bend_of
from drillaid.registration.evidence import LEAST_PADS
from drillaid.registration.refined import ENOUGH_OTHERS, Refined
from drillaid.registration.result import (
    BARE_SIDE,
    BLURRED,
    BURNT_OUT,
    DARK,
    EMPTY,
    NOT_SURE,
    OTHER_BOARD,
    PART_HIDDEN,
    SHAKEN,
    STRETCHED,
    TOO_LITTLE,
    UNDER_WATER,
)
from drillaid.vision.channel import grey_of
from drillaid.vision.eye import Eye, inside
from drillaid.vision.outline import Region, board_region, borders_of
from drillaid.vision.quality import BURNT, Focus, burnt_out, focus_of, shrunk, too_dark

IN_PART = 0.6  # of the support that convinces: the pattern is there, though not well enough
BARE_BUSY, BARE_PLAIN, BARE_AREA = 0.008, 0.8, 0.15
BOARD_BURNT = 0.35  # of the board itself
CORNER_PX, ORDERLY = 125.0, 0.33  # straight borders and common directions that only boards have
FULL_VIEW = 0.6  # of the holes; with fewer in view, show more of the board first
NEAR_MM = 12.0
# A print is a little too large or small; a board nearer to the camera than its stated
# height, or under water, looks much too large, and its places on the bench are wrong.
MOST_SCALE = 0.012
# Of the worst hole, both axes together: where so much is stated, one in 27 such
# holes lies more than 0.1 mm aside (Rayleigh: exp(-(0.1 / 0.055)^2)), half of the tolerance.
MOST_WORST_MM = 0.055
MOST_LANDS, ROUGH_MM, ROUGH_PX = 0.8, 0.09, 0.8  # coarse pictures scatter the lands more
# Blur (`Focus.sigma_px`) from which nothing is measured: found nevertheless, 12 boards had every
# hole within 0.053 mm up to here, though on one of them 0.02 was stated.
FOUND_BLURRED_PX = 1.5
CLUSTERED = 0.3  # how much more alike neighbouring holes are than chance, when a part is hidden


@dataclass(frozen=True)
class Why:
    """reason: one of result.REASONS; mm: of the bend, where that is the reason"""

    reason: str
    mm: float = 0.0


def why_not_found(
    image: np.ndarray, found: list[Refined], holes_mm: np.ndarray, focus: Focus | None = None
) -> Why:
    """image: uint8 BGR (H, W, 3) or grey; found: what the search came upon, best first
    focus: of the picture (`focus_in`), where it is known already"""
    small = _small(image)
    if too_dark(small):
        return Why(DARK)
    if burnt_out(small) > BURNT:
        return Why(BURNT_OUT)
    focus = focus_of(_eye(small)) if focus is None else focus
    if focus.blurred:
        return Why(SHAKEN if focus.shaken else BLURRED)
    region = board_region(small)
    if region is not None and region.burnt > BOARD_BURNT:
        return Why(BURNT_OUT)
    if region is not None and is_bare(region):
        return Why(BARE_SIDE)
    if focus.shaken:
        return Why(SHAKEN)
    best = next((r for r in found if in_part(r)), None)
    if best is not None:
        return _why_not_sure(best, holes_mm)
    borders = borders_of(small)
    if borders.soft:
        return Why(UNDER_WATER)
    if region is not None or borders.corner_px >= CORNER_PX or borders.order >= ORDERLY:
        return Why(OTHER_BOARD)
    return Why(EMPTY)


def focus_in(image: np.ndarray) -> Focus:
    """Of a whole picture, uint8 BGR (H, W, 3) or grey."""
    return focus_of(_eye(_small(image)))


def smeared(focus: Focus) -> bool:
    """Is the picture too blurred or shaken to measure in, even where the pattern is found?

    A smear along one direction displaces edges by far more than any fit can notice. A lens
    somewhat out of focus blurs both sides of an edge alike.
    """
    return bool(focus.sigma_px > FOUND_BLURRED_PX) or focus.shaken


def _small(image: np.ndarray) -> np.ndarray:
    return shrunk(image if image.ndim == 3 else np.repeat(image[..., None], 3, axis=2))


def _eye(small: np.ndarray) -> Eye:
    grey = grey_of(small)
    return Eye(grey.image, grey.noise)


def out_of_size(r: Refined) -> bool:
    """Does the pattern look so large or small that the height it is seen at is in doubt?

    Asked where the scale is known. The two scales of one print differ; a wrong height
    changes both alike, so their mean is what counts.
    """
    if not isinstance(r.placement, Affine) or not r.hypothesis.scene.calibrated:
        return False
    return abs(float(np.mean(r.placement.scale)) - 1.0) > MOST_SCALE


def vague(r: Refined, holes_mm: np.ndarray) -> bool:
    """Is the place known so badly that nobody should drill by it, pattern found or not?

    With a rig every hole must be known. Without one the answer says what it can vouch for, and a
    camera that was understood shows most lands where they should be: where it shows few, and
    those only roughly, the board's far side may lie a millimetre beside what is said.
    """
    if not r.hypothesis.scene.calibrated:
        few = r.by == "rims" and r.support < ENOUGH_OTHERS
        return bool(few and _roughly_there(r, holes_mm))
    stated = np.sqrt(r.variance_mm2(holes_mm))
    return float(stated.max()) > MOST_WORST_MM


def _roughly_there(r: Refined, holes_mm: np.ndarray) -> bool:
    seen = inside(r.eye.size_px, r.to_px(holes_mm), 4.0)
    rough_mm = max(ROUGH_MM, ROUGH_PX / r.px_per_mm)
    return bool(r.agree[seen].mean() < MOST_LANDS and r.residual_rms_mm > rough_mm)


def is_bare(region: Region) -> bool:
    """A board's face with nothing on it; fingers are as smooth, but smaller."""
    large = region.area >= BARE_AREA or region.sides == 0
    return large and region.busy <= BARE_BUSY and region.plain >= BARE_PLAIN


def in_part(r: Refined) -> bool:
    """Far more agrees than elsewhere in the picture, though not enough to drill by."""
    return r.evidence.tells and r.support >= IN_PART * r.evidence.enough


def _why_not_sure(best: Refined, holes_mm: np.ndarray) -> Why:
    bend = bend_of(best)
    if bend is not None and bend.plain:
        return Why(UNDER_WATER, bend.rms_mm)
    seen = inside(best.eye.size_px, best.to_px(holes_mm), 4.0)
    if seen.mean() < FULL_VIEW or best.evidence.in_view < LEAST_PADS:
        return Why(TOO_LITTLE)
    if best.hypothesis.scene.calibrated and (not best.plausible or out_of_size(best)):
        return Why(STRETCHED)
    if _clustered(holes_mm[seen], best.agree[seen]) > CLUSTERED:
        return Why(PART_HIDDEN)
    return Why(NOT_SURE)


def _clustered(xy: np.ndarray, agree: np.ndarray) -> float:
    """Correlation between neighbouring holes: do those that agree lie together?"""
    spread = agree - agree.mean()
    power = float(np.mean(spread**2))
    if power < 1e-9:
        return 0.0
    away = np.linalg.norm(xy[:, None] - xy[None, :], axis=2)
    i, j = np.nonzero(np.triu((away > 0) & (away < NEAR_MM)))
    if len(i) < 10:
        return 0.0
    return float(np.mean(spread[i] * spread[j]) / power)
