"""A check put on file with its board, and taken out again: photograph, rig, settings, findings."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np

from drillaid.errors import StorageError, UsageError
from drillaid.guidance.job import Job, prepare
from drillaid.inspection.check import Check, check_board
from drillaid.inspection.notes import notes_of
from drillaid.inspection.recording import record_inspection
from drillaid.inspection.report import write_report
from drillaid.journal.journal import BoardRecord, InspectionRecord, Journal, design_hash
from drillaid.rig.file import rig_from_text, text_of

QUALITY = 98  # of the JPEG; measured places move by up to 0.013 mm, at 95 by 0.03 mm


def file_check(journal: Journal, board: int, check: Check) -> int:
    """Durable when this returns: the findings, and all that is needed to look again."""
    done, data = cv2.imencode(".jpg", check.picture, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    if not done:
        raise StorageError("The photograph could not be packed, so the check was not recorded.")
    kept = check_data(check)
    number = journal.keep_inspection(board, kept, data.tobytes())
    if check.inspection is not None:
        record_inspection(journal, board, check.inspection, kept, photo=f"inspection {number}")
    return number


def check_data(check: Check) -> dict:
    """As JSON holds it. "holes", "parts", "summary": the fields of `inspection.result`."""
    job, found = check.job, check.inspection
    placement = check.registration.placement
    data = {
        "status": check.registration.status if found is None else found.status,
        "message": check.message,
        "face": job.face,
        "thickness_mm": job.thickness_mm,
        "tolerance_mm": job.settings.tolerance_mm,
        "bits_at_hand_mm": list(job.bits_mm),
        "paths": [str(Path(path).resolve()) for path in job.paths],
        "rig": None if check.rig is None else text_of(check.rig),
        "print_scale": None
        if placement is None or placement.matrix is None
        else list(placement.matrix.scale),
        "holes": [],
        "parts": [],
        "summary": {},
    }
    if found is not None:
        data |= {
            "true_scale": found.true_scale,
            "holes": [_plain(hole) for hole in found.holes],
            "parts": [_plain(part) for part in found.parts],
            "summary": _plain(found.summary),
        }
    return data


def _plain(value):
    """Dataclasses, tuples and numpy numbers as JSON has them."""
    if dataclasses.is_dataclass(value):
        fields = {f.name: getattr(value, f.name) for f in dataclasses.fields(value)}
        return {name: _plain(item) for name, item in fields.items()}
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, np.generic):
        return _plain(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value if value is None or isinstance(value, bool | int | float | str) else str(value)


def last_inspection(journal: Journal, board: int) -> InspectionRecord:
    """UsageError where the board was never looked at."""
    looks = [look for look in journal.inspections(board) if look.picture is not None]
    if not looks:
        raise UsageError(
            f"board {board} was never photographed after drilling",
            remedy="take its picture in the window, or with `drillaid records check`",
        )
    return looks[-1]


def check_again(journal: Journal, board: int, paths: Sequence[str] = ()) -> Check:
    """The last check made anew from what was filed: the same answer, or a better one later.

    paths: the design, where its files have moved. Raises UsageError, DesignError.
    """
    record, look = journal.board(board), last_inspection(journal, board)
    job = job_of(record, look.data, paths)
    pixels = np.frombuffer(journal.picture(look.picture), np.uint8)
    picture = cv2.imdecode(pixels, cv2.IMREAD_COLOR)
    if picture is None:
        raise StorageError(f"{journal.path}: the photograph of board {board} is damaged.")
    rig = None if look.data.get("rig") is None else rig_from_text(look.data["rig"])
    return check_board(job, picture, rig)


def job_of(record: BoardRecord, data: dict, paths: Sequence[str] = ()) -> Job:
    """The design a board was drilled from, read again; another one is refused."""
    named = list(paths) or data.get("paths") or []
    if not named or (not paths and not all(Path(path).exists() for path in named)):
        raise UsageError(
            f"the files of {record.design_name} are not where they were",
            remedy="name the design's files after the board's number",
        )
    job = prepare(
        named, face=data["face"], thickness_mm=data["thickness_mm"],
        bits_mm=data["bits_at_hand_mm"], tolerance_mm=data["tolerance_mm"],
    )  # fmt: skip
    if design_hash(job.design) != record.design_hash:
        raise UsageError(
            f"{job.name} has other holes than board {record.id} was drilled with",
            remedy="name the files of its own design",
        )
    return job


def job_for_check(record: BoardRecord, paths: Sequence[str] = ()) -> Job:
    """For a board that may never have been looked at: as it was begun."""
    details = {
        "face": "bottom", "thickness_mm": 1.6, "tolerance_mm": 0.2,
        "bits_at_hand_mm": sorted({row[3] for row in record.details["stops"]}),
    }  # fmt: skip
    known = {k: v for k, v in record.details.items() if k in (*details, "paths")}
    return job_of(record, details | known, paths)


def write_board_report(
    path: str | Path, journal: Journal, board: int, check: Check, *, simulated: bool
) -> Path:
    """HTML, or PDF where the name asks for it. Raises StorageError."""
    record, events = journal.board(board), journal.events(board)
    return write_report(
        path, design=check.job.design, registration=check.registration,
        inspection=check.inspection, picture=check.picture, rig=check.rig, face=check.job.face,
        thickness_mm=check.job.thickness_mm, simulated=simulated, job=notes_of(record, events),
        bits_mm=check.bits_mm,
    )  # fmt: skip
