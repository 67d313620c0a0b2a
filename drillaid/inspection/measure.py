"""Measures every hole of a design in one photograph of the board."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from drillaid.design.model import Design, Hole
from drillaid.design.ring import land_breakout_deg, ring_left
from drillaid.inspection.holes import WANDER_MM, Place, Seen, look_at
from drillaid.inspection.mark_left import MarksLeft, mark_sized, marks_left
from drillaid.inspection.middle_colour import APART, middles_apart
from drillaid.inspection.patch import Board
from drillaid.inspection.posterior import GROWN
from drillaid.inspection.rays import Network
from drillaid.inspection.result import DRILLED, HIDDEN, UNDRILLED, HoleFinding, as_pair
from drillaid.inspection.slots import End, slot_ends, slot_finding
from drillaid.inspection.state import ROUND, hole_share, judge
from drillaid.registration.result import Placement
from drillaid.rig.rig import Rig
from drillaid.vision.channel import noise_of
from drillaid.vision.fringes import fringes_of

# The finest picture the network knows; finer ones are blurred to it first.
FINEST_MM = 0.045
COVERED_ODDS, HARDLY_COVERED = 2, 0.2  # the third of a pad's odds, and of it
HOLE_IS_SURE = 0.98
PLAIN_IS_SURE = 0.999  # certainty, of what nothing but a hole looks like
MARK_IS_SURE = 0.99  # certainty, where none of 679 drilled holes was taken for a mark
OTHER_BIT_MM, OTHER_BIT_SIGMAS = 0.06, 2.0  # beyond which a hole's size is another bit's
ANOTHER_MM = 0.12  # from the bit's size, beyond which a rim must be seen on half of the rays
LENS_PX = 0.7  # one sigma of a usual lens's blur and of a pixel


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
    picture = fringes_of(picture).removed(picture)
    board, places, noise = looked_at(picture, design, placement, rig, thickness_mm, bits)
    of, ends = slot_ends(design, board, bits, WANDER_MM)
    seen = look_at(board, [*places, *ends], noise)
    flip = -1.0 if (rig is not None and face == "bottom") else 1.0
    odds = _odds(seen)
    marked = marks_left(picture, design, board, face, bits)
    apart = middles_apart(picture, design, board, bits)
    slots: dict[int, list[End]] = {}
    for k, i in enumerate(of, start=len(places)):
        state, reason = _judged(seen[k], odds[k])
        slots.setdefault(i, []).append(
            End(state, reason, seen[k], _certainty(state, odds[k], seen[k]))
        )
    findings = []
    for i, hole in enumerate(design.holes):
        error = float(placement.expected_error_mm[i])
        if i in slots:
            findings.append(
                slot_finding(
                    hole, places[i].land, tuple(slots[i]), board, rig is not None, flip, error
                )
            )
            continue
        state, reason = _judged(seen[i], odds[i])
        sure = _certainty(state, odds[i], seen[i])
        if state == DRILLED and _hardly_a_rim(seen[i], float(bits[i])):
            state, sure = HIDDEN, 1.0
            reason = "something round is there, but hardly of a hole's size"
        if marked is not None and seen[i] is not None:
            if state != UNDRILLED and _is_mark(marked, i, state, sure, seen[i], odds[i], float(bits[i])):
                state, reason = UNDRILLED, "its etched centre mark is still there"
                sure = MARK_IS_SURE
            elif state == UNDRILLED and apart[i] >= APART and not marked.likely[i]:
                state, sure = HIDDEN, 1.0
                reason = "no rim is to be seen, but the pad's middle is not of its copper's colour"
        rim = seen[i] if state == DRILLED else None
        if rim is not None:
            reason = _other_bit(2 * rim.radius_mm, 2 * np.sqrt(rim.covariance[2, 2]), float(bits[i]))
        finding = _finding(
            hole, places[i].land, state, reason, rim, board, rig is not None, flip, error
        )
        findings.append(replace(finding, certainty=sure))
    return tuple(findings)


def looked_at(
    picture: np.ndarray, design: Design, placement: Placement, rig: Rig | None,
    thickness_mm: float, bits,
) -> tuple[Board, list[Place], float]:  # fmt: skip
    """The board in its picture, where its holes may be, and the picture's noise, grey levels."""
    board = Board.of(
        _no_finer(picture, placement, rig, thickness_mm), placement, rig, thickness_mm
    )
    noise = noise_of(picture[..., 1].astype(np.float32))
    return board, _places(design, board, bits, placement), noise


def _no_finer(picture, placement: Placement, rig: Rig | None, thickness_mm: float) -> np.ndarray:
    """The picture as sharp as one of FINEST_MM to a pixel would be."""
    scale = placement.px_per_mm if rig is None else rig.px_per_mm(thickness_mm)
    coarser = FINEST_MM * scale
    if coarser <= 1.0:
        return picture
    return cv2.GaussianBlur(picture, (0, 0), LENS_PX * float(np.sqrt(coarser**2 - 1)))


def _places(design: Design, board: Board, bits, placement: Placement) -> list[Place]:
    at = board.design_to_plane(design.xy_mm)
    places = []
    for i, land in enumerate(design.lands):
        gaps = np.hypot(*(design.xy_mm - design.xy_mm[i]).T)
        gap = float(np.min(gaps[gaps > 1e-6], initial=np.inf))
        # a neighbour's hole must not be taken for this one
        places.append(Place(at[i], land, float(bits[i]), min(WANDER_MM, 0.45 * gap)))
    return places


def _odds(seen: Sequence[Seen | None]) -> np.ndarray:
    """(N, 3) the probability of each state; NaN where the photograph does not show the place."""
    odds = np.full((len(seen), 3), np.nan)
    rows = [i for i, one in enumerate(seen) if one is not None]
    if rows:
        traits = np.stack([seen[i].traits for i in rows])
        odds[rows] = np.exp(Network.kept("judge.npz").log_odds(traits))
    return odds


def _judged(seen: Seen | None, odds) -> tuple[str, str]:
    if seen is None:
        return HIDDEN, "outside the picture"
    return judge(odds, seen.look, seen.support)


def _certainty(state: str, odds, seen: Seen | None) -> float:
    """Of that state against its contrary; 1 where nothing is said."""
    if state == HIDDEN:
        return 1.0
    share = hole_share(odds)
    if state == DRILLED and seen.look.plain_hole(seen.support):
        return max(share, PLAIN_IS_SURE)
    return share if state == DRILLED else 1 - share


def _is_mark(
    marked: MarksLeft, i: int, state: str, sure: float, seen: Seen, odds, bit_mm: float
) -> bool:
    """Is what was called `state`, drilled or hidden, the pad's etched centre mark?"""
    on_board = marked.marked and bool(marked.likely[i])
    # On a board with marks the laminate that shows in one may be unlike that about the land.
    if state == DRILLED and seen.look.plain_hole(seen.support) and not on_board:
        return False
    # What covers a pad covers its mark.
    covered = odds[COVERED_ODDS] >= HARDLY_COVERED
    if on_board and not covered and mark_sized(2 * seen.radius_mm, bit_mm):
        return True
    # One mark alone, where the networks are sure of a hole, is the hole, in bare board: its land
    # has come off.
    alone = not marked.marked and state == DRILLED and sure >= HOLE_IS_SURE
    return bool(marked.plain[i]) and not alone


def _hardly_a_rim(seen: Seen, bit_mm: float) -> bool:
    """Is the circle far from the bit's size, and on few rays? A land's own edge is such a one."""
    other = abs(2 * seen.radius_mm - GROWN * bit_mm) > ANOTHER_MM
    return other and seen.support < ROUND


def _other_bit(diameter_mm: float, error_mm: float, bit_mm: float) -> str:
    """What to say of a hole that its bit did not make; a hand opens one up by some hundredths."""
    wider = diameter_mm - GROWN * bit_mm
    if abs(wider) <= OTHER_BIT_MM + OTHER_BIT_SIGMAS * error_mm:
        return ""
    return f"another bit: {diameter_mm:.2f} mm wide instead of {bit_mm:g}"


def _finding(
    hole: Hole, land, state, reason, rim: Seen | None, board, with_rig, flip, registered_error
) -> HoleFinding:
    number, asked = hole.number, hole.drill_mm
    if rim is None:
        return HoleFinding(number, state, reason, asked)
    in_design = board.plane_to_design(rim.xy_mm)[0]
    off = in_design - [hole.x_mm, hole.y_mm]
    diameter = 2 * rim.radius_mm
    centre_error = float(np.sqrt(np.trace(rim.covariance[:2, :2])))
    pixel = board.to_pixels(rim.xy_mm)[0]
    return HoleFinding(
        hole=number,
        state=state,
        reason=reason,
        asked_mm=asked,
        centre_mm=as_pair(rim.xy_mm) if with_rig else None,
        pixel=as_pair(pixel),
        off_mm=as_pair(off),
        distance_mm=float(np.hypot(*off)),
        place_mm=as_pair(rim.xy_mm * [flip, 1.0]),
        diameter_mm=diameter,
        diameter_error_mm=2 * float(np.sqrt(rim.covariance[2, 2])),
        ring_mm=None if land is None else ring_left(land, in_design, diameter),
        breakout_deg=None if land is None else land_breakout_deg(land, in_design, diameter),
        expected_error_mm=float(np.hypot(centre_error, registered_error)),
        centre_error_mm=centre_error,
    )
