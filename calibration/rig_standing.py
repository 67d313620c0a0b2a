"""How far a rig file has come: its parts, each done, missing or out of date, with its figure."""

from __future__ import annotations

from dataclasses import dataclass, field

from calibration.repair import FEWEST
from calibration.rig_draft import RigDraft
from drillaid.errors import RigError
from drillaid.rig.still_true import marks_of

DONE, MISSING, STALE = "done", "missing", "out of date"
PARTS = ("camera", "bench", "spindle", "marks")


@dataclass(frozen=True)
class Part:
    """name: one of PARTS, as the section is called; state: DONE, MISSING or STALE

    figures: what the file says of its quality, by the file's own keys and units; those it
    does not say are absent. why: what a part that is not done waits for, or a warning
    """

    name: str
    state: str
    figures: dict[str, float] = field(default_factory=dict)
    why: str = ""


def standing_of(draft: RigDraft) -> tuple[Part, ...]:
    """The parts in the order in which they are made."""
    return _camera(draft), _bench(draft), _spindle(draft), _marks(draft)


def _camera(draft: RigDraft) -> Part:
    if "camera" not in draft.data:
        return Part("camera", MISSING, why="not known how the lens sees")
    section = draft.section("camera")
    keys = ("width", "height", "rms_px", "held_out_rms_px", "coverage", "views")
    why = ""
    if section.get("focus_locked") is False:
        why = "the camera would not hold its focus: switch its autofocus off"
    return Part("camera", DONE, _numbers(section, *keys), why)


def _bench(draft: RigDraft) -> Part:
    if "bench" not in draft.data:
        return Part("bench", MISSING, why="not known how the camera stands")
    figures = _numbers(draft.section("bench"), "sigma_mm", "rms_px")
    if not draft.has_bench:
        return Part("bench", STALE, figures, "it was seen through another lens")
    return Part("bench", DONE, figures)


def _spindle(draft: RigDraft) -> Part:
    if "axis_mm" not in draft.section("spindle"):
        return Part("spindle", MISSING, why="not known where the bit comes down")
    section = draft.section("spindle")
    figures = _numbers(section, "sigma_mm", "wander_mm")
    if isinstance(section.get("holes"), list):
        used = [hole for hole in section["holes"]
                if isinstance(hole, dict) and hole.get("used", True)]  # fmt: skip
        figures["holes"] = len(used)
    if not draft.holds("spindle"):
        return Part("spindle", STALE, figures, "it was measured in another bench frame")
    return Part("spindle", DONE, figures)


def _marks(draft: RigDraft) -> Part:
    if "marks" not in draft.data:
        why = "a knock would not be noticed"
        return Part("marks", MISSING, why=why)
    try:
        count = len(marks_of(draft.section("marks")).marks)
    except RigError as error:
        return Part("marks", STALE, why=error.what)
    if not draft.holds("marks"):
        return Part("marks", STALE, {"count": count}, "they were measured in another bench frame")
    why = "" if count >= FEWEST else f"a repair after a knock needs {FEWEST}"
    return Part("marks", DONE, {"count": count}, why)


def _numbers(section: dict, *keys: str) -> dict[str, float]:
    return {
        key: section[key]
        for key in keys
        if isinstance(section.get(key), int | float) and not isinstance(section[key], bool)
    }
