"""A learned offset put into the rig file's [spindle], with its history, and taken back."""

from __future__ import annotations

import math
import time

import numpy as np

from calibration.rig_draft import RigDraft
from drillaid.errors import RigError
from drillaid.inspection.learning import Offset

SAME_MM = 1e-6
_PUT_BACK = ("axis_mm", "sigma_mm", "covariance")


def with_offset(draft: RigDraft, offset: Offset, *, now_s: float | None = None) -> RigDraft:
    """The draft with the axis moved by the offset, not yet saved.

    What [spindle] said before is kept in its `history`. RigError where there is no
    spindle in the present bench frame.
    """
    section = _spindle(draft)
    axis = np.array(section["axis_mm"], dtype=np.float64)
    before = {f"{key}_before": section[key] for key in _PUT_BACK if key in section}
    entry = {
        "at": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(now_s)),
        "offset_mm": list(offset.off_mm),
        "sigma_mm": offset.sigma_mm,
        "chance": offset.chance,
        "holes": offset.holes,
        "boards": offset.boards,
        **before,
        "axis_mm": (axis + offset.off_mm).tolist(),
        "taken_back": False,
    }
    values = {
        "axis_mm": entry["axis_mm"],
        "sigma_mm": offset.sigma_mm,
        # it told of the holes in scrap, which count no more
        "covariance": None,
        "history": [*_rows(draft), entry],
    }
    return draft.with_section("spindle", values)


def taken_back(draft: RigDraft) -> RigDraft:
    """The draft as before the last correction that still counts, which stays in the history.

    RigError where there is none, or the spindle was calibrated anew since.
    """
    section = _spindle(draft)
    rows = _rows(draft)
    counting = [k for k, row in enumerate(rows) if _is_entry(row) and not row.get("taken_back")]
    if not counting:
        raise RigError("[spindle] holds no correction to take back", file=draft.path)
    entry = rows[counting[-1]]
    if math.dist(entry["axis_mm"], section["axis_mm"]) > SAME_MM:
        raise RigError(
            "[spindle] was calibrated anew after its last correction, which is gone with that",
            file=draft.path,
            remedy="nothing is left to take back",
        )
    rows[counting[-1]] = {**entry, "taken_back": True}
    values = {key: entry.get(f"{key}_before") for key in _PUT_BACK}
    return draft.with_section("spindle", {**values, "history": rows})


def history(draft: RigDraft) -> list[dict]:
    """The corrections made so far, the oldest first; rows of another make are left out."""
    return [row for row in _rows(draft) if _is_entry(row)]


def _rows(draft: RigDraft) -> list:
    rows = draft.section("spindle").get("history", [])
    return list(rows) if isinstance(rows, list) else []


def _is_entry(row) -> bool:
    if not isinstance(row, dict):
        return False
    axis = row.get("axis_mm")
    return isinstance(axis, list) and len(axis) == 2 and "axis_mm_before" in row


def _spindle(draft: RigDraft) -> dict:
    section = draft.section("spindle")
    if "axis_mm" not in section or not draft.holds("spindle"):
        raise RigError(
            "[spindle] is missing or of another bench frame, so there is nothing to correct",
            file=draft.path,
            remedy="run drillaid calibrate spindle",
        )
    return section
