"""`drillaid calibrate spindle`: where the bit comes down, from holes in scrap held still."""

from __future__ import annotations

import argparse
import math
from pathlib import Path

from drillaid.commands import DONE, REFUSED, Answer
from drillaid.errors import RigError, UsageError

SUMMARY = "where the spindle axis meets the bench, from holes drilled in scrap"
EXAMPLE = "drillaid calibrate spindle a.jpg b.jpg c.jpg --rig bench.toml --thickness 1.6"
CAUTION = (
    "Clamp the scrap, wear eye protection, and let the spindle stop before reaching in; a stop in "
    "software is no emergency stop."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "photos", nargs="*", metavar="PHOTO",
        help="scrap with one fresh hole, still clamped as it was drilled, the bit lifted; three "
        "or more, each of a hole of its own",
    )  # fmt: skip
    parser.add_argument(
        "--thickness", nargs="+", action="append", metavar=("MM", "PHOTO"),
        help="of the scrap (default: 1.6); again with other photographs for scrap of another "
        "thickness, which gives the spindle's lean",
    )  # fmt: skip
    parser.add_argument(
        "--rig", metavar="FILE", help="the rig file; without one the axis is told in pixels"
    )
    parser.add_argument(
        "--hole", metavar="U,V", help="about the pixel of the hole, where several are seen"
    )
    parser.add_argument(
        "--anew", action="store_true", help="forgets the holes of earlier runs in the rig file"
    )


def run(args: argparse.Namespace) -> Answer:
    from calibration.spindle_job import in_pixels, with_rig
    from drillaid.commands.guiding.eyes import pixel_of
    from drillaid.rig.pictures import check_size, read_picture

    groups = _groups(args)
    near = None if args.hole is None else pixel_of(args.hole, "--hole")
    if args.rig is None:
        pictures = [(Path(p).name, t, read_picture(p)) for t, photos in groups for p in photos]
        job = in_pixels(pictures, near)
        return Answer(job.message, job.data, DONE if job.done else REFUSED)
    from calibration.rig_draft import read_draft

    draft = read_draft(args.rig)
    rig = draft.rig()
    pictures = []
    for thickness, photos in groups:
        for photo in photos:
            image = read_picture(photo)
            try:
                check_size(rig, image)
            except RigError as error:
                raise RigError(error.what, file=photo, remedy=error.remedy) from None
            pictures.append((Path(photo).name, thickness, image))
    job = with_rig(draft, pictures, near, anew=args.anew)
    if job.draft is not None:
        job.draft.save()
    text = f"{job.message}\n{CAUTION}" if job.done else job.message
    return Answer(text, job.data, DONE if job.done else REFUSED)


def _groups(args: argparse.Namespace) -> list[tuple[float, list[str]]]:
    """[(thickness mm, photographs)]; photographs without a thickness go to the one without any."""
    groups = [(_thickness(words[0]), list(words[1:])) for words in args.thickness or [["1.6"]]]
    if args.photos:
        bare = [photos for _, photos in groups if not photos]
        if not bare:
            raise UsageError(
                f"nobody knows how thick the scrap in {args.photos[0]} is",
                remedy="put the photographs behind their --thickness",
            )
        bare[0].extend(args.photos)
    if not any(photos for _, photos in groups):
        raise UsageError("no photograph is given", remedy="name one for each hole drilled")
    return [(thickness, photos) for thickness, photos in groups if photos]


def _thickness(text: str) -> float:
    from calibration.spindle_axis import THICKNESS_MM

    try:
        value = float(text)
    except ValueError:
        value = math.nan
    low, high = THICKNESS_MM
    if not low <= value <= high:
        raise UsageError(
            f"--thickness {text} is no thickness",
            remedy=f"give {low:g} to {high:g} mm, then photographs",
        )
    return value
