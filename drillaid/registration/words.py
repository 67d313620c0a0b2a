"""What is said to the person: one sentence, in their terms, with what to do next."""

from __future__ import annotations

import numpy as np

from drillaid.design.model import Design
from drillaid.registration.evidence import LEAST_SHARE
from drillaid.registration.result import AMBIGUOUS, MIRRORED, Placement
from drillaid.vision.eye import Eye
from drillaid.vision.quality import trouble

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
        text += f"; {placement.px_per_mm:.1f} px per mm, no rig"
    return text + "."


def refusal_sentence(status: str, best, eye: Eye, *, sightings: int, rival=None) -> str:
    """Why there is no position, and what to do; best: the nearest to one, or None."""
    if status == MIRRORED:
        return (
            "The pattern is there, but as its mirror image: the artwork was etched the wrong way "
            "round, or the other face is up; do not drill before you know which."
        )
    if status == AMBIGUOUS:
        return _ambiguous(best, rival)
    bad = trouble(eye)
    if bad is not None:
        return bad + "."
    if sightings < 6:
        return (
            "Nothing round is to be seen: is a board in view, and its etched side up?"
        )
    if best is None:
        return (
            f"The pattern of this design is not there ({sightings} round things seen, no "
            "arrangement of them fits): is it this design's board, with its etched side up?"
        )
    e = best.evidence
    if e.share < 0.5 * LEAST_SHARE:
        return (
            "This design's pattern is not there: is a board under the camera, is it this "
            "design's, and does its etched side look up? (At the best place "
            f"{e.agreeing} of {e.in_view} readings agree.)"
        )
    return (
        f"Not sure enough to drill: at the best place {e.agreeing} of {e.in_view} readings agree "
        f"({LEAST_SHARE:.0%} must, and {e.chance:.0%} would by accident): give even light, take "
        "fingers and swarf away, show the whole board, and check that it is this design's."
    ).replace("%", " %")


def _ambiguous(best, rival) -> str:
    a, b = best.evidence, rival
    return (
        f"The board fits in two ways ({a.agreeing} and {b.agreeing} of {a.in_view} places agree), "
        "for instance turned by half a turn or moved by one pitch: point out two pads with "
        "--pad HOLE:U,V twice, or show more of the board."
    )
