"""`drillaid calibrate lens`: how the camera's lens sees, from photographs or live."""

from __future__ import annotations

import argparse
import datetime
import math

from drillaid.commands import DONE, REFUSED, Answer, say
from drillaid.commands.calibrate.arguments import add_pattern_arguments, pattern_from
from drillaid.errors import CameraTimeout, UsageError

SUMMARY = "how the camera's lens sees, from photographs of the test board or live"
EXAMPLE = "drillaid calibrate lens photos/ --rig bench.toml"
SECONDS = 240.0
TELL_EVERY_S = 4.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "photos", nargs="*", metavar="PHOTO", help="photographs of the test board, or folders"
    )
    parser.add_argument(
        "--rig", metavar="FILE",
        help="the rig file to write [camera] into; what else it holds is kept. Without it the "
        "lens is only shown",
    )  # fmt: skip
    parser.add_argument(
        "--camera", metavar="SRC",
        help="instead of photographs, live: a device number or path, a stream or video URL, "
        "a video file, sim",
    )  # fmt: skip
    parser.add_argument(
        "--seconds", type=float, default=SECONDS, metavar="N",
        help=f"live: how long at most, by the camera's clock (default: {SECONDS:g})",
    )  # fmt: skip
    parser.add_argument(
        "--views", type=int, default=12, metavar="N", help="live: how many views (default: 12)"
    )
    parser.add_argument(
        "--size", default="1920x1080", metavar="WxH",
        help="live: the size of picture asked of the camera (default: 1920x1080)",
    )  # fmt: skip
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="of the simulated camera (default: 1)"
    )
    add_pattern_arguments(parser)


def run(args: argparse.Namespace) -> Answer:
    if bool(args.photos) == (args.camera is not None):
        raise UsageError(
            "either photographs or a camera are needed",
            remedy="name photographs of the test board, or give --camera",
        )
    from calibration.rig_draft import read_draft

    pattern = pattern_from(args)
    draft = None if args.rig is None else read_draft(args.rig)  # a bad file is told beforehand
    if args.camera is None:
        result, locked = _from_photographs(args.photos, pattern), {}
    else:
        result, locked = _live(args, pattern)
    text = _text(result)
    if result.calibrated and draft is not None:
        had_bench = draft.has_bench
        section = section_of(result, locked, datetime.date.today())
        draft = draft.with_section("camera", section)
        draft.save()
        text += f"\n\nWritten to {args.rig}, [camera]."
        if had_bench and not draft.has_bench:
            text += (
                "\nThe bench plane and the spindle were measured through the old lens and are "
                "refused from now on: run drillaid calibrate bench, then drillaid calibrate "
                "spindle."
            )
    return Answer(text, result.to_json() | locked, DONE if result.calibrated else REFUSED)


def section_of(result, locked: dict, today: datetime.date) -> dict:
    """[camera]; keys of the last calibration that are not known now are taken out (None)."""
    unknown = {"focus_locked": None, "exposure_locked": None}
    return {
        **unknown, **result.section(), **locked, "date": today.isoformat(),
    }  # fmt: skip


def _from_photographs(names, pattern):
    from calibration.lens import calibrate_lens
    from calibration.photographs import listed_photographs, look_at

    return calibrate_lens(look_at(listed_photographs(names), pattern, say), pattern)


def _live(args, pattern):
    """(result, what is known about locked focus and exposure)."""
    from calibration.live_lens import LensSession
    from calibration.practice_camera import PracticeCamera
    from drillaid.rig.sources import open_camera, register_source

    if not (math.isfinite(args.seconds) and args.seconds > 0):
        raise UsageError("--seconds must be above 0", remedy=f"write --seconds {SECONDS:g}")
    if not 5 <= args.views <= 30:
        raise UsageError(f"--views is 5 to 30, not {args.views}", remedy="write --views 12")
    size = _size(args.size)
    register_source("sim", lambda size: PracticeCamera(pattern, size, args.seed))
    session = LensSession(pattern, args.views)
    with open_camera(args.camera, size=size) as camera:
        _feed(camera, session, args.seconds)
        locked = locked_of(getattr(camera, "settings", {}))
    if not session.state.done and session.state.missing:
        say(f"Not complete: {session.state.missing[0]}.")
    return session.result(), locked


def _feed(camera, session, seconds: float) -> None:
    """Shows the camera's pictures to the session until it is done or the time is over."""
    begun = told = None
    silent = 0
    while True:
        try:
            frame = camera.read(2.0)
        except CameraTimeout:
            silent += 1
            if silent >= 5:
                raise
            continue
        if frame is None:
            return
        silent = 0
        begun = frame.time_s if begun is None else begun
        if frame.time_s - begun > seconds:
            say(f"{seconds:g} s are over.")
            return
        views = session.state.views
        state = session.feed(frame.image)
        if state.views > views or told is None or frame.time_s - told > TELL_EVERY_S:
            told = frame.time_s
            say(f"{state.views} of {state.wanted}  {state.message}  {state.advice}")
        if state.done:
            return


def locked_of(settings: dict) -> dict:
    """focus_locked and exposure_locked as far as the camera said so; {} where nobody asked."""
    out = {}
    for key in ("focus", "exposure"):
        if f"{key}_auto" in settings:
            out[f"{key}_locked"] = bool(settings[f"{key}_auto"]["kept"])
    return out


def _size(text: str) -> tuple[int, int]:
    width, _, height = text.lower().partition("x")
    if not (width.isdigit() and height.isdigit() and 16 <= min(int(width), int(height))):
        raise UsageError(f"--size {text} is not understood", remedy="write --size 1920x1080")
    return int(width), int(height)


def _text(result) -> str:
    lines = [result.message]
    lines += list(result.warnings)
    if result.calibrated:
        lines += ["", *_values(result)]
    lines.append("")
    width = max((len(view.file) for view in result.views), default=0)
    for view in result.views:
        error = "" if view.rms_px is None else f"{view.rms_px:6.3f} px"
        verdict = "used" if view.used else "not used"
        reason = f": {view.reason}" if view.reason else ""
        lines.append(f"{view.file:<{width}}  {error:>9}  {verdict}{reason}")
    return "\n".join(lines)


def _values(result) -> list[str]:
    from calibration.bundle import NAMES

    fit = result.fit
    lines = []
    for name, value, sigma in zip(NAMES, fit.values, fit.sigma, strict=True):
        unit, digits = (" px", 2) if name in ("fx", "fy", "cx", "cy") else ("", 5)
        told = f"± {sigma:.{digits}f}{unit}" if sigma else "(not needed: the views do not show it)"
        lines.append(f"{name}  {value:12.{digits}f} {told}")
    lines.append(
        f"seen: {100 * result.spread.coverage:.0f} % of the picture; "
        f"tilts differ by up to {result.spread.tilt_deg:.0f} degrees"
    )
    return lines
