"""What looks for the board while guiding: with a rig file, or with the spindle's pixel alone."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from drillaid.errors import InputError, UsageError

WITHOUT_RIG = (
    "Without a rig file: do not move the camera, and drill boards only as thick as the scrap. "
    "Lengths are as true as the print; 'right' and 'up' are the picture's."
)


@dataclass(frozen=True)
class Eye:
    """finder: makes a `BoardFinder` or its like (hurry: see there); spindle_mm: in its answers
    check: raises InputError for a frame that does not suit; size_px: of frames, if known
    watch: of the rig's reference marks, or None
    spindle_error_mm: of the axis and of the board's thickness, as far as the rig file says
    budget: of the hole in hand, for `LiveGuidance`; None without a rig file
    seen_through: of the finder, (rig, thickness of the board in its axes) or None so far
    """

    finder: Callable
    spindle_mm: object
    check: Callable
    size_px: tuple[int, int] | None
    watch: object | None = None
    spindle_error_mm: float = 0.0
    budget: Callable | None = None
    seen_through: Callable = lambda finder: None


def rigged(design, rig, spindle_mm, face: str, thickness_mm: float) -> Eye:
    """By a rig file."""
    from drillaid.guidance.finder import BoardFinder
    from drillaid.rig.budget import budget_within, spindle_error_mm
    from drillaid.rig.pictures import check_size
    from drillaid.rig.still_true import RigWatch

    def finder(*, hurry: bool):
        return BoardFinder.of(design, rig, face=face, thickness_mm=thickness_mm, hurry=hurry)

    def budget(guidance, registration):
        place, error = registration.placement, guidance.expected_error_mm
        if place is None or place.matrix is None or error is None or not math.isfinite(error):
            return None
        hole_mm = guidance.target.xy_mm
        return budget_within(rig, place.matrix, design.xy_mm, hole_mm, thickness_mm, error)

    return Eye(
        finder, spindle_mm, lambda frame: check_size(rig, frame), (rig.width, rig.height),
        RigWatch.of(rig), spindle_error_mm(rig, thickness_mm), budget,
        lambda finder: (rig, thickness_mm),
    )  # fmt: skip


def unrigged(design, mark, face: str, thickness_mm: float) -> Eye:
    """By where the spindle axis is in the picture."""
    from drillaid.guidance.unrigged import SPINDLE_MM, UnriggedFinder

    def finder(*, hurry: bool):
        return UnriggedFinder(
            design, mark, face=face, thickness_mm=thickness_mm, hurry=hurry
        )

    def check(frame) -> None:
        height, width = frame.image.shape[:2]
        u, v = mark.px
        if mark.size_px is not None and mark.size_px != (width, height):
            raise InputError(
                f"the camera's pictures have {width} x {height} px, the scrap's "
                f"{mark.size_px[0]} x {mark.size_px[1]}",
                remedy="take the picture of the scrap with the same camera and setting",
            )
        if not (0 <= u <= width - 1 and 0 <= v <= height - 1):
            raise InputError(
                f"the spindle at pixel ({u:g}, {v:g}) is outside the {width} x {height} px picture",
                remedy="mount the camera so that it sees where the bit goes down",
            )

    def seen_through(found):
        made = found.makeshift  # its plane is the board's upper face
        return None if made is None else (made.rig, 0.0)

    return Eye(finder, SPINDLE_MM, check, mark.size_px, seen_through=seen_through)


def spindle_mark(scrap: str | None, spindle: str | None):
    """A `SpindleMark` from the words of the command line, or why the scrap shows none."""
    from drillaid.guidance.spindle_mark import mark_in_scrap, pointed_at
    from drillaid.rig.pictures import read_picture

    near = None if spindle is None else pixel_of(spindle, "--spindle")
    if scrap is None:
        return pointed_at(*near)
    return mark_in_scrap(read_picture(scrap), near)


def pixel_of(text: str, option: str) -> tuple[float, float]:
    """ "981.5,534" -> (981.5, 534.0); UsageError with the option's name."""
    try:
        u, v = (float(word) for word in text.split(","))
    except ValueError:
        u = v = math.nan
    if not (math.isfinite(u) and math.isfinite(v)):
        raise UsageError(f"{option} {text} is no pixel", remedy=f"write {option} 981.5,534")
    return u, v
