"""What a rig file may say: presence, type and range of each key of the contract.

The ranges are wide; they catch other units (metres, inches), a matrix of
another resolution, swapped numbers and damaged files, not bad calibrations.
"""

from __future__ import annotations

import math
import re

import numpy as np

from drillaid.errors import RigError
from drillaid.rig.rig import Rig
from drillaid.rig.ties import check_ties

FORMAT = "drillaid-rig/1"
SIDE_PX = (16, 30_000)
FOCAL_PER_WIDTH = (0.1, 100.0)  # of the picture's longer side
SPINDLE_MM = 5_000.0
CAMERA_HEIGHT_MM = (5.0, 5_000.0)
LEAN = 0.2  # mm per mm, 11 degrees: more is a fault of the drill press
DISTORTION = 1_000.0

_CALIBRATE = {
    "camera": "make it with drillaid calibrate lens",
    "bench": "make it with drillaid calibrate bench",
    "spindle": "make it with drillaid calibrate spindle",
    "table": "make it with drillaid calibrate table",
}


def _bad(key: str, what: str, remedy: str | None = None) -> RigError:
    error = RigError(f"{key} {what}", remedy=remedy or _CALIBRATE.get(key.split(".")[0]))
    error.key = key  # type: ignore[attr-defined]  # load_rig turns it into a line
    return error


def check_values(data: dict) -> None:
    """Refuses the parsed file by RigError with the key in front (and in `.key`)."""
    _check_format(data)
    for name in ("camera", "bench"):
        _section(data, name)
    check_sections(data)
    check_ties(data)


def check_sections(data: dict) -> None:
    """As `check_values`, for a rig still being made: only the sections that are there."""
    _check_format(data)
    _check_units(data)
    if "camera" in data:
        _check_camera(_section(data, "camera"))
    if "bench" in data:
        _check_bench(_section(data, "bench"))
    if "spindle" in data:
        _check_spindle(_section(data, "spindle"))
    if "table" in data:
        from drillaid.rig.table_limits import check_table

        check_table(_section(data, "table"))
    if "camera" in data and "bench" in data:
        _check_together(data)


def _check_format(data: dict) -> None:
    given = data.get("format")
    if given == FORMAT:
        return
    if given is None:
        raise _bad("format", "is missing", f'a rig file begins with format = "{FORMAT}"')
    if isinstance(given, str) and re.fullmatch(r"drillaid-rig/\d+", given):
        raise _bad("format", f"is {given}, this program reads {FORMAT}", "update the program")
    raise _bad("format", f'must be "{FORMAT}"', "give a rig file made by drillaid calibrate")


def _check_units(data: dict) -> None:
    """Lengths are mm; a file that says otherwise must not be read as mm."""
    places = [("", data)] + [
        (f"{name}.", data[name])
        for name in ("camera", "bench", "spindle")
        if isinstance(data.get(name), dict)
    ]
    for prefix, section in places:
        for key in ("unit", "units", "length_unit", "length_units"):
            if key in section and section[key] not in ("mm", "millimetre", "millimeter"):
                raise _bad(prefix + key, "must be mm", "convert all lengths to millimetres")
    for name, key in (("bench", "translation_mm"), ("spindle", "axis_mm")):
        section = data.get(name)
        if isinstance(section, dict) and key not in section:
            stem = key.removesuffix("mm")
            other = next((k for k in section if k.startswith(stem) or k == stem[:-1]), None)
            if other is not None:
                raise _bad(f"{name}.{key}", f"is missing, {other} is not known",
                           "convert the length to millimetres")  # fmt: skip


def _section(data: dict, name: str) -> dict:
    if name not in data:
        raise _bad(name, "is missing")
    if not isinstance(data[name], dict):
        raise _bad(name, "must be a section", f"write [{name}] on a line of its own")
    return data[name]


def _whole(section: dict, key: str) -> int:
    name = key.rpartition(".")[2]
    if name not in section:
        raise _bad(key, "is missing")
    value = section[name]
    if isinstance(value, bool) or not isinstance(value, int):
        raise _bad(key, "must be a whole number of pixels")
    if not SIDE_PX[0] <= value <= SIDE_PX[1]:
        raise _bad(key, f"must be {SIDE_PX[0]} to {SIDE_PX[1]} px, not {_short(value)}")
    return value


def _numbers(section: dict, key: str, count: int, limit: float) -> np.ndarray:
    name = key.rpartition(".")[2]
    if name not in section:
        raise _bad(key, "is missing")
    value = section[name]
    if not isinstance(value, (list, tuple)) or len(value) != count:
        raise _bad(key, f"must be a list of {count} numbers")
    return np.array([_number(key, item, limit) for item in value])


def _number(key: str, value, limit: float) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise _bad(key, "must hold numbers only")
    if not abs(value) <= limit:  # also NaN; whole numbers of any length compare
        raise _bad(key, f"holds {_short(value)}, which is out of range (at most {limit:g})")
    return float(value)


def _short(value) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    return str(value) if abs(value) < 10**12 else "a number far too large"


def _check_camera(camera: dict) -> None:
    width, height = _whole(camera, "camera.width"), _whole(camera, "camera.height")
    if "matrix" not in camera:
        raise _bad("camera.matrix", "is missing")
    rows = camera["matrix"]
    if not isinstance(rows, (list, tuple)) or len(rows) != 3:
        raise _bad("camera.matrix", "must have 3 rows of 3 numbers")
    m = np.array([_numbers({"matrix": row}, "camera.matrix", 3, 1e7) for row in rows])
    fx, skew, cx, fy, cy = m[0, 0], m[0, 1], m[0, 2], m[1, 1], m[1, 2]
    if skew != 0 or m[1, 0] != 0 or tuple(m[2]) != (0.0, 0.0, 1.0):
        raise _bad("camera.matrix", "must be [[fx, 0, cx], [0, fy, cy], [0, 0, 1]]")
    low, high = (factor * max(width, height) for factor in FOCAL_PER_WIDTH)
    for name, focal in (("fx", fx), ("fy", fy)):
        if not low <= focal <= high:
            raise _bad("camera.matrix", f"has {name} = {focal:g} px, out of {low:g} to {high:g} px "
                       f"for a picture of {width} x {height}")  # fmt: skip
    if not 0.5 <= fx / fy <= 2:
        raise _bad("camera.matrix", f"has fx = {fx:g} and fy = {fy:g}, which differ too much")
    if not (0 <= cx <= width - 1 and 0 <= cy <= height - 1):
        raise _bad("camera.matrix", f"has its centre ({cx:g}, {cy:g}) outside the picture of "
                   f"{width} x {height} px", "was it made at another resolution?")  # fmt: skip
    if len(_listed(camera, "distortion")) != 5:
        remedy = "write 0.0 for one not used"
        raise _bad("camera.distortion", "must be [k1, k2, p1, p2, k3]", remedy)
    _numbers(camera, "camera.distortion", 5, DISTORTION)


def _listed(section: dict, name: str) -> list:
    if name not in section:
        raise _bad(f"camera.{name}", "is missing", "a lens without distortion has five times 0.0")
    return section[name] if isinstance(section[name], (list, tuple)) else []


def _check_bench(bench: dict) -> None:
    turn = _numbers(bench, "bench.rotation_vector", 3, 2 * math.pi + 1e-9)
    if np.linalg.norm(turn) > 2 * math.pi + 1e-9:
        raise _bad("bench.rotation_vector", "turns by more than a full turn; it is in radians")
    _numbers(bench, "bench.translation_mm", 3, 2 * CAMERA_HEIGHT_MM[1])


def _check_spindle(spindle: dict) -> None:
    if "axis_mm" in spindle:
        _numbers(spindle, "spindle.axis_mm", 2, SPINDLE_MM)
    if "lean" in spindle:
        _numbers(spindle, "spindle.lean", 2, LEAN)


def _check_together(data: dict) -> None:
    """The camera hangs above the bench, looks down, and its lens model holds inside the picture."""
    camera, bench = data["camera"], data["bench"]
    rig = Rig(
        camera["width"], camera["height"], camera["matrix"], camera["distortion"],
        bench["rotation_vector"], bench["translation_mm"],
    )  # fmt: skip
    low, high = CAMERA_HEIGHT_MM
    height = rig.camera_mm[2]
    if not low <= height <= high:
        raise _bad("bench.translation_mm", f"puts the camera {height:.4g} mm above the bench, "
                   f"out of {low:g} to {high:g} mm",
                   "give lengths in mm, the bench's z axis towards the camera")  # fmt: skip
    if rig.rotation[2, 2] >= 0:  # the view direction's z in the bench frame
        raise _bad("bench.rotation_vector", "makes the camera look away from the bench")
    right, lower = rig.width - 1, rig.height - 1
    middles = [[0, lower / 2], [right, lower / 2], [right / 2, 0], [right / 2, lower]]
    if np.isnan(rig.undistort(middles)).any():
        raise _bad("camera.distortion", "folds the picture before its edge")
