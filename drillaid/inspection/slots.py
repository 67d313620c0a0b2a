"""A slot as its two ends: what was drilled there, and what that makes of the slot.

Slots are drilled as rows of holes, the ends first (`guidance.work`), and may be filed out
afterwards; then each end still shows half of its rim. So the ends are looked at as holes are,
and the slot is measured from them: its middle, its width, and the copper left at its ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.design.model import Design, Hole
from drillaid.design.ring import land_breakout_deg, ring_left
from drillaid.inspection.holes import Place, Seen
from drillaid.inspection.patch import Board
from drillaid.inspection.result import DRILLED, HIDDEN, UNDRILLED, HoleFinding, as_pair

OWN_SHARE = 0.45  # of the way to the next hole of the row


@dataclass(frozen=True)
class End:
    """One end of a slot as judged; seen: None where it is outside the picture."""

    state: str
    reason: str
    seen: Seen | None
    certainty: float


def slot_ends(design: Design, board: Board, bits, reach_mm: float) -> tuple[list[int], list[Place]]:
    """(index of the slot into the design's holes, where to look) for both ends of every slot."""
    of, places = [], []
    for i, (hole, land) in enumerate(zip(design.holes, design.lands, strict=True)):
        if hole.slot_to_mm is None:
            continue
        length = float(np.hypot(*np.subtract(hole.slot_to_mm, hole.xy_mm)))
        for end in (hole.xy_mm, hole.slot_to_mm):
            of.append(i)
            at = board.design_to_plane(np.array([end]))[0]
            # The hole drilled beside it must not be taken for this one.
            near = min(reach_mm, OWN_SHARE * min(length, float(bits[i])))
            places.append(Place(at, land, float(bits[i]), near))
    return of, places


def slot_state(ends: tuple[End, End]) -> tuple[str, str]:
    """State and reason."""
    states = [end.state for end in ends]
    if HIDDEN in states:
        return HIDDEN, next(end.reason for end in ends if end.state == HIDDEN)
    if states[0] == states[1]:
        return states[0], ends[0].reason if states[0] == UNDRILLED else ""
    return UNDRILLED, "drilled at one end only"


def slot_finding(
    hole: Hole, land, ends: tuple[End, End], board: Board, with_rig: bool, flip: float,
    registered_error_mm: float,
) -> HoleFinding:  # fmt: skip
    """The slot's own finding: centre_mm and off_mm are of its middle, diameter_mm its width."""
    state, reason = slot_state(ends)
    sure = min(end.certainty for end in ends)
    if state != DRILLED:
        return HoleFinding(hole.number, state, reason, hole.drill_mm, certainty=sure)
    at = np.array([end.seen.xy_mm for end in ends])
    middle = at.mean(axis=0)
    in_design = board.plane_to_design(at)
    asked = (np.array(hole.xy_mm) + hole.slot_to_mm) / 2
    off = in_design.mean(axis=0) - asked
    width = float(np.sum([end.seen.radius_mm for end in ends]))
    spread = sum(end.seen.covariance for end in ends)
    centre_error = float(np.sqrt(np.trace(spread[:2, :2])) / 2)
    left = breakout = None
    if land is not None:
        each = [(tuple(xy), 2 * end.seen.radius_mm) for xy, end in zip(in_design, ends, strict=True)]
        left = min(ring_left(land, xy, wide) for xy, wide in each)
        breakout = max(land_breakout_deg(land, xy, wide) for xy, wide in each)
    return HoleFinding(
        hole=hole.number, state=state, reason=reason, asked_mm=hole.drill_mm,
        centre_mm=as_pair(middle) if with_rig else None,
        pixel=as_pair(board.to_pixels(middle[None])[0]), off_mm=as_pair(off),
        distance_mm=float(np.hypot(*off)), place_mm=as_pair(middle * [flip, 1.0]),
        diameter_mm=width, diameter_error_mm=float(np.sqrt(spread[2, 2])),
        ring_mm=left, breakout_deg=breakout,
        expected_error_mm=float(np.hypot(centre_error, registered_error_mm)),
        centre_error_mm=centre_error, certainty=sure,
    )  # fmt: skip
