"""`drillaid calibrate bench`: where the bench plane is, and its frame, from the pattern on it."""

from __future__ import annotations

import argparse
import math

from drillaid.commands import DONE, REFUSED, Answer
from drillaid.commands.calibrate.arguments import add_pattern_arguments, pattern_from
from drillaid.errors import RigError, UsageError

SUMMARY = "the bench plane, from the test board lying on it, or from the marks after a knock"
EXAMPLE = "drillaid calibrate bench sheet-on-bench.jpg --rig bench.toml --ruler-mm 99.8"
HEIGHT_MM = 100.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "photos", nargs="+", metavar="PHOTO",
        help="the test board lying flat on the bench, the camera as it will work; several: the "
        "sheet in other places. After a knock: the reference marks alone are enough",
    )  # fmt: skip
    parser.add_argument("--rig", required=True, metavar="FILE", help="the rig file, with its lens")
    add_pattern_arguments(parser)
    parser.add_argument(
        "--sheet-mm", type=float, default=0.0, metavar="MM",
        help="thickness of the sheet and what it is glued to (default: 0)",
    )  # fmt: skip
    parser.add_argument(
        "--marks-mm", type=float, default=0.1, metavar="MM",
        help="height of the reference marks' faces over the bench (default: 0.1, paper)",
    )  # fmt: skip
    parser.add_argument(
        "--operator-at", choices=("bottom", "top", "left", "right"),
        help="the side of the picture where you stand (default: as the sheet lies, its upper "
        "edge away from you)",
    )  # fmt: skip
    parser.add_argument(
        "--new-frame", action="store_true",
        help="does not keep the frame of stored marks; the spindle must be calibrated again",
    )  # fmt: skip


def run(args: argparse.Namespace) -> Answer:
    from calibration.bench_job import make_bench
    from calibration.bench_plane import MEASURED_SHARE, PRINTED_SHARE
    from calibration.rig_draft import read_draft
    from drillaid.rig.pictures import check_size, read_picture

    for name in ("sheet_mm", "marks_mm"):
        value = getattr(args, name)
        if not (math.isfinite(value) and 0 <= value <= HEIGHT_MM):
            option = "--" + name.replace("_", "-")
            raise UsageError(f"{option} is {value:g} mm", remedy=f"give 0 to {HEIGHT_MM:g} mm")
    pattern = pattern_from(args)
    draft = read_draft(args.rig)
    lens = draft.camera()
    pictures = []
    for photo in args.photos:
        image = read_picture(photo)
        try:
            check_size(lens.rig([0, 0, 0], [0, 0, 1]), image)
        except RigError as error:
            raise RigError(error.what, file=photo, remedy=error.remedy) from None
        pictures.append((photo, image))
    job = make_bench(
        draft,
        pictures,
        pattern,
        sheet_mm=args.sheet_mm,
        marks_mm=args.marks_mm,
        scale_share=PRINTED_SHARE if args.ruler_mm is None else MEASURED_SHARE,
        operator_at=args.operator_at,
        new_frame=args.new_frame,
    )
    if job.draft is not None:
        job.draft.save()
    return Answer(job.message, job.to_json(), DONE if job.draft is not None else REFUSED)
