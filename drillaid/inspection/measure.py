"""Measures every hole of a design in one photograph of the board."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drillaid.design.model import Design, Hole, Land
from drillaid.design.ring import land_breakout_deg, ring_left
from drillaid.inspection.appearance import Colours, learn_colours
from drillaid.inspection.patch import Board, Patch, cut
from drillaid.inspection.result import DRILLED, HIDDEN, UNDRILLED, HoleFinding
from drillaid.inspection.rim import BURR, SURFACE, Rim, refine, vote
from drillaid.registration.result import Placement
from drillaid.rig.rig import Rig
from drillaid.vision.channel import noise_of

WANDER_MM = 0.75  # how far from its place a hole is still looked for
BIT_RATIO = (0.8, 1.3)  # of a hole's diameter to its bit
LEAST_CONTRAST = 4.0  # sigmas of noise across the rim
SURE, DOUBTFUL = 0.36, 0.22  # a rim counts; something is there but not surely a rim
# A rim this far from its place, in bits, is believed only where the pad is not untouched.
NEAR_SHARE, CERTAIN = 0.45, 0.75
SURELY = 0.65  # no better one need be looked for
TRIES = 10


@dataclass(frozen=True, eq=False)
class _Place:
    """Where to look for one hole: plane mm; land_mm its smaller width, reach_mm how far."""

    hole: Hole
    land: Land | None
    bit_mm: float
    at_mm: np.ndarray
    land_mm: float
    reach_mm: float


def measure_holes(
    picture: np.ndarray,
    design: Design,
    placement: Placement,
    rig: Rig | None = None,
    *,
    face: str = "bottom",
    thickness_mm: float = 1.6,
    bits_mm: Sequence[float] | None = None,
) -> tuple[HoleFinding, ...]:
    """State, place and size of every hole, in the order of the design.

    picture: uint8 (H, W, 3) BGR; face: the one that looks at the camera
    bits_mm: bit of each hole; without it the design's diameters are expected
    """
    if picture.ndim != 3 or picture.shape[2] != 3:
        raise ValueError(f"the picture must have shape (H, W, 3), not {picture.shape}")
    bits = design.drill_mm if bits_mm is None else np.asarray(bits_mm, dtype=np.float64)
    if len(bits) != len(design.holes):
        raise ValueError("one bit for each hole")
    board = Board.of(picture, placement, rig, thickness_mm)
    noise = noise_of(picture[..., 1].astype(np.float32))
    places = _places(design, board, bits, placement)
    patches = [cut(board, p.at_mm, p.reach_mm + 0.75 * p.land_mm + 0.4) for p in places]
    colours = learn_colours(
        [
            (patch, p.at_mm, p.bit_mm, p.land_mm, p.land is None or p.land.in_pour)
            for patch, p in zip(patches, places, strict=True)
            if patch is not None
        ]
    )
    flip = -1.0 if (rig is not None and face == "bottom") else 1.0
    findings = []
    for i, (place, patch) in enumerate(zip(places, patches, strict=True)):
        error = float(placement.expected_error_mm[i])
        lower = board.lower_rim_mm(place.at_mm)
        state, reason, rim = _judge(place, patch, noise, colours, 1 / board.px_per_mm, lower)
        findings.append(
            _finding(place, state, reason, rim, board, rig is not None, flip, error)
        )
    return tuple(findings)


def _places(design: Design, board: Board, bits, placement: Placement) -> list[_Place]:
    at = board.design_to_plane(design.xy_mm)
    places = []
    for i, (hole, land) in enumerate(zip(design.holes, design.lands, strict=True)):
        gaps = np.hypot(*(design.xy_mm - design.xy_mm[i]).T)
        gap = float(np.min(gaps[gaps > 1e-6], initial=np.inf))
        bit = float(bits[i])
        land_mm = min(land.size_mm) if land is not None else bit + 0.8
        # a neighbour's hole must not be taken for this one
        reach = min(WANDER_MM + 2 * float(placement.expected_error_mm[i]), 0.45 * gap)
        places.append(_Place(hole, land, bit, at[i], land_mm, reach))
    return places


def _judge(
    place: _Place, patch: Patch | None, noise: float, colours: Colours, px_mm: float, lower_mm
) -> tuple[str, str, Rim | None]:
    if patch is None or not np.isfinite(place.at_mm).all():
        return HIDDEN, "outside the picture", None
    if place.hole.slot_to_mm is not None:
        return HIDDEN, "slots are not measured yet", None
    near = patch.distance_mm(place.at_mm) < place.bit_mm / 2 + 0.1
    if patch.inside[near].mean() < 0.9:
        return HIDDEN, "at the edge of the picture", None
    rim, sureness = _bit_sized_rim(place, patch, noise, colours, px_mm, lower_mm)
    near = rim is not None and np.hypot(*(rim.centre_mm - place.at_mm)) < NEAR_SHARE * place.bit_mm
    if sureness >= SURE and (near or sureness > CERTAIN):
        return DRILLED, "", rim
    looks = colours.undrilled(patch, place.at_mm, place.bit_mm, place.land_mm)
    if sureness >= SURE and looks is None:
        return DRILLED, "", rim
    if looks is None:
        return HIDDEN, "neither a hole nor an untouched pad is to be seen there", None
    if DOUBTFUL <= sureness < SURE:
        return HIDDEN, "there may be a hole, but its rim is not clear enough to measure", None
    return UNDRILLED, looks, None


def _bit_sized_rim(place, patch, noise, colours, px_mm, lower_mm) -> tuple[Rim | None, float]:
    """The likeliest rim of about the bit's size and how sure it is, 0 ... 1."""
    radius = place.bit_mm / 2
    step = max(0.02, px_mm / 2)
    radii = np.arange(radius * BIT_RATIO[0], radius * BIT_RATIO[1] + step / 2, step)
    strange = colours.strangeness(patch, place.at_mm, place.bit_mm, place.land_mm)
    best, sureness = None, 0.0
    tries = vote(patch, strange, noise, radii, place.at_mm, place.reach_mm, lower_mm, keep=TRIES)
    for number, (_, centre, voted) in enumerate(tries):
        if sureness > SURELY or (number >= TRIES // 2 and sureness > 1.5 * SURE):
            break
        for outside in (SURFACE, BURR):
            if outside is BURR and sureness > 1.5 * SURE:
                continue
            rim = refine(patch, centre, voted, noise, px_mm, lower_mm, outside=outside)
            if rim is None or rim.contrast < LEAST_CONTRAST:
                continue
            if np.hypot(*(rim.centre_mm - place.at_mm)) > place.reach_mm + 0.05:
                continue
            worth = _sureness(rim, radius, px_mm, colours.depth(patch, strange, rim))
            if worth > sureness:
                best, sureness = rim, worth
    return best, sureness


def _sureness(rim: Rim, bit_radius_mm: float, px_mm: float, depth: float) -> float:
    """How much a rim looks like one the bit made, 0 ... 1.

    All round, thin, of the bit's size (a hand-held board opens holes up a little),
    and with something inside that is not the board's surface. The widths are those
    met on simulated boards, where nearly all true rims reach 0.36 and false ones stay below.
    """
    thin = np.exp(-0.5 * (rim.scatter_mm / (0.35 * max(px_mm, 0.03))) ** 2)
    sized = np.exp(-0.5 * ((rim.radius_mm / bit_radius_mm - 1.02) / 0.10) ** 2)
    return float(rim.coverage**2 * thin * sized * np.clip((depth + 0.1) / 0.3, 0.3, 1.0))


def _finding(place, state, reason, rim, board, with_rig, flip, registered_error) -> HoleFinding:
    number, asked = place.hole.number, place.hole.drill_mm
    if rim is None:
        return HoleFinding(number, state, reason, asked)
    in_design = board.plane_to_design(rim.centre_mm)[0]
    off = in_design - [place.hole.x_mm, place.hole.y_mm]
    diameter = 2 * rim.radius_mm
    centre_error = float(np.sqrt(np.trace(rim.covariance[:2, :2])))
    land = place.land
    pixel = board.to_pixels(rim.centre_mm)[0]
    return HoleFinding(
        hole=number,
        state=state,
        reason=reason,
        asked_mm=asked,
        centre_mm=_pair(rim.centre_mm) if with_rig else None,
        pixel=_pair(pixel),
        off_mm=_pair(off),
        distance_mm=float(np.hypot(*off)),
        place_mm=_pair(rim.centre_mm * [flip, 1.0]),
        diameter_mm=diameter,
        diameter_error_mm=2 * float(np.sqrt(rim.covariance[2, 2])),
        ring_mm=None if land is None else ring_left(land, in_design, diameter),
        breakout_deg=None if land is None else land_breakout_deg(land, in_design, diameter),
        expected_error_mm=float(np.hypot(centre_error, registered_error)),
        centre_error_mm=centre_error,
    )


def _pair(xy) -> tuple[float, float]:
    return float(xy[0]), float(xy[1])

