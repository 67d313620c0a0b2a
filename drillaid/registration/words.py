"""What is said to the person: one sentence, in their terms, with what to do next."""

from __future__ import annotations

import numpy as np

from drillaid.design.holelist import counted, short_list
from drillaid.design.model import Design
from drillaid.registration import result
from drillaid.registration.evidence import LEAST_SHARE
from drillaid.registration.reasons import Why
from drillaid.registration.result import AMBIGUOUS, MIRRORED, Placement

SOCKET_PINS, PITCH_MM = 40, 2.54  # the part whose rows tell a wrong scale first
WORTH_SAYING = 0.001


def print_scale_words(scale: tuple[float, float]) -> str:
    """The artwork's scale in terms of the longest common socket: 20 pins in a row."""
    length_mm = (SOCKET_PINS / 2 - 1) * PITCH_MM
    parts = []
    for axis, value in zip("xy", scale, strict=True):
        if abs(value - 1) >= WORTH_SAYING:
            size = "small" if value < 1 else "large"
            parts.append((abs(value - 1), f"{abs(value - 1):.1%} {size} in {axis}".replace("%", " %")))
    if not parts:
        return "artwork is true to scale within 0.1 %"
    worst = max(parts)[0]
    said = " and ".join(text for _, text in parts)
    return (
        f"artwork is {said}: over the {length_mm:.1f} mm row of a 40-pin socket "
        f"that is {worst * length_mm:.2f} mm"
    )


_WHAT = {
    "copper": "stretches of copper edge in view agree",
    "rims": "holes in view show their land",
    "marks": "holes in view show their etched centre mark",
}


def found_sentence(best, placement: Placement, design: Design) -> str:
    """What was found, how well it is known, and the print scale in the person's terms."""
    e = best.evidence
    what = _WHAT[best.by]
    text = f"Found: {e.agreeing} of {e.in_view} {what}"
    worst = float(np.max(placement.expected_error_mm))
    text += f", expected error {np.median(placement.expected_error_mm):.3f} mm (worst hole {worst:.3f} mm)"
    if placement.matrix is not None:
        text += f"; {print_scale_words(placement.matrix.scale)}"
    else:
        text += (
            f"; {placement.px_per_mm:.1f} px per mm. Without a rig file the print is taken to have its "
            "true size, so all this holds along the copper, not against a ruler"
        )
    missing = missing_words(placement.holes_without_land)
    return text + (f"; {missing}." if missing else ".")


def missing_words(holes: tuple[int, ...]) -> str:
    """That these show no land, and what that may mean; empty where all that can be seen do."""
    if not holes:
        return ""
    return (
        f"no land is to be seen at {counted(len(holes), 'hole', 'holes')} "
        f"({short_list(holes, 12)}): something lies over it, it came off, or these files are of "
        "another version of the board"
    )


def refusal_sentence(
    status: str, best, why: Why | None, *, rival=None, holes_only: bool = False
) -> str:
    """Why there is no position, and what to do; best: the nearest to one, or None;
    holes_only: the copper of the face that was asked for is not known"""
    said = _refused(status, best, why, rival)
    doubtful = status == AMBIGUOUS or (why is not None and why.reason in _LESS_BY_HOLES)
    return said.removesuffix(".") + _GIVE_COPPER if holes_only and doubtful else said


def _refused(status: str, best, why: Why | None, rival) -> str:
    if status == MIRRORED:
        return (
            "The pattern is there, but as its mirror image: the artwork was etched the wrong way "
            "round, or the other face is up; do not drill before you know which."
        )
    if status == AMBIGUOUS:
        return _ambiguous(best, rival)
    return _REFUSALS[why.reason] + _figures(why, best) + "."


def dark_sentence() -> str:
    """Of a picture that is dark: told without a search, which would find nothing."""
    return _REFUSALS[result.DARK] + "."


_REFUSALS = {
    result.DARK: "The picture is almost black: take off the lens cap and switch on the light",
    result.BURNT_OUT: (
        "The picture is burnt out: give less light or a shorter exposure, and turn lamps so that "
        "they do not mirror in the copper"
    ),
    result.BLURRED: (
        "The picture is out of focus: focus on the board's copper and wipe the lens; a fogged or "
        "scratched cover looks the same"
    ),
    result.SHAKEN: (
        "The picture is shaken, smeared along one direction (bare wood looks the same): let board "
        "and camera lie still, or give more light, so that the exposure is shorter"
    ),
    result.EMPTY: (
        "No board is to be seen: lay it under the camera; a bare surface that fills the whole "
        "view looks the same"
    ),
    result.BARE_SIDE: (
        "A board is there, but nothing is etched on the side that looks up: turn it over"
    ),
    result.OTHER_BOARD: (
        "Something like a board is there, but this design's pattern cannot be made out on it: "
        "check that the files are this board's and that its etched side is up, and show the whole "
        "of it in even light"
    ),
    result.UNDER_WATER: (
        "The picture looks wavy or patchy, as through water: dry the board, take it out "
        "of the tray and away covers that are not flat, and keep lamps out of the picture"
    ),
    result.STRETCHED: (
        "The pattern is there, but fits only stretched beyond what a printer does: check the "
        "print's size, the board's thickness, that it lies flat and dry, and the rig file"
    ),
    result.TOO_LITTLE: (
        "Too little of the board is in view to be sure: show the whole of it, and take hands away"
    ),
    result.PART_HIDDEN: (
        "Part of the board agrees and part does not: take fingers, swarf and glare away from it"
    ),
    result.NOT_SURE: (
        "Not sure enough to drill: give even light, take fingers and swarf away, show the whole "
        "board, and check that it is this design's"
    ),
}
_TOLD = (
    result.STRETCHED, result.TOO_LITTLE, result.PART_HIDDEN, result.NOT_SURE, result.OTHER_BOARD,
)  # fmt: skip
# Where the Gerber may settle it.
_LESS_BY_HOLES = (result.TOO_LITTLE, result.PART_HIDDEN, result.NOT_SURE, result.OTHER_BOARD)
_GIVE_COPPER = "; with this face's Gerber beside the drill list it is found more surely."


def _figures(why: Why, best) -> str:
    if why.mm > 0:
        return f" (the pattern is there, but out of shape by {why.mm:.2f} mm)"
    if best is None or why.reason not in _TOLD:
        return ""
    e = best.evidence
    return (
        f" (at the best place {e.agreeing} of {e.in_view} readings agree; {LEAST_SHARE:.0%} must, "
        f"and {e.chance:.0%} would by accident)"
    ).replace("%", " %")


def _ambiguous(best, rival) -> str:
    a, b = best.evidence, rival
    return (
        f"The board fits in two ways ({a.agreeing} of {a.in_view} and {b.agreeing} of {b.in_view} "
        "places agree), "
        "for instance turned by half a turn or moved by one pitch: point out two pads with "
        "--pad HOLE:U,V twice, or show more of the board."
    )
