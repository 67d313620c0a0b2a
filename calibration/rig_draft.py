"""A rig file in the making: each calibrate command adds its section and keeps the rest."""

from __future__ import annotations

import copy
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from drillaid.errors import RigError
from drillaid.files import write_whole
from drillaid.rig.file import read_rig_data, rig_of, rig_text, told_of
from drillaid.rig.limits import FORMAT, check_sections
from drillaid.rig.rig import Rig
from drillaid.rig.ties import frame_differs, lens_differs, lens_fingerprint, new_frame


@dataclass(frozen=True, eq=False)
class LensPart:
    """[camera] alone: width, height px; matrix (3, 3) px; distortion (5,); section: all its keys"""

    width: int
    height: int
    matrix: np.ndarray
    distortion: np.ndarray
    section: dict

    @property
    def fingerprint(self) -> str:
        return lens_fingerprint(self.section)

    def rig(self, rotation_vector, translation_mm) -> Rig:
        """The camera of this lens at a pose, X_camera = R X + t, without a spindle."""
        return Rig(
            self.width, self.height, self.matrix, self.distortion, rotation_vector, translation_mm
        )


@dataclass(frozen=True, eq=False)
class RigDraft:
    """path: where it is saved; data: what it says so far, nested as in the file

    Methods that ask for a part raise RigError, naming what to do first, where it is
    missing or rests on another lens.
    """

    path: Path
    data: dict
    text: str = field(default="", repr=False)

    def section(self, name: str) -> dict:
        """A copy of what [name] holds; {} where there is none."""
        found = self.data.get(name, {})
        return copy.deepcopy(found) if isinstance(found, dict) else {}

    def with_section(self, name: str, values: dict) -> RigDraft:
        """The draft with `values` put into [name], its other keys kept; None takes a key out.

        Parts that rested on what is replaced stay in the file but are refused when it is
        loaded, until they are made anew (`drillaid.rig.ties`). For [bench], `frame` says
        whether the frame is kept; left out, it is a new one.
        """
        data = copy.deepcopy(self.data)
        values = {key: _plain(value) for key, value in values.items()}
        if name == "camera":
            _name_what_rests_on_the_lens(data)
        elif name == "bench":
            values.setdefault("frame", new_frame())
            if "camera" in data:
                values["lens"] = lens_fingerprint(data["camera"])
            _name_what_rests_on_the_frame(data)
        elif name in ("spindle", "marks") and (frame := data.get("bench", {}).get("frame")):
            values.setdefault("frame", frame)
        merged = self.section(name) | values
        data[name] = {key: value for key, value in merged.items() if value is not None}
        return replace(self, data=data)

    def without(self, name: str) -> RigDraft:
        """The draft with no section [name]."""
        return replace(self, data={k: v for k, v in self.data.items() if k != name})

    def camera(self) -> LensPart:
        if "camera" not in self.data:
            raise RigError(
                "[camera] is missing: nobody knows yet how the lens sees",
                file=self.path,
                remedy="run drillaid calibrate lens first",
            )
        camera = self.section("camera")
        return LensPart(
            camera["width"],
            camera["height"],
            np.array(camera["matrix"], dtype=np.float64),
            np.array(camera["distortion"], dtype=np.float64),
            camera,
        )

    @property
    def has_bench(self) -> bool:
        """Whether [bench] is there and was seen through the lens in [camera]."""
        return {"camera", "bench"} <= self.data.keys() and not lens_differs(self.data)

    def holds(self, name: str) -> bool:
        """Whether [name] is there and was measured in the present bench frame."""
        return self.has_bench and name in self.data and not frame_differs(self.data, name)

    def rig(self) -> Rig:
        """Camera and bench, and the spindle where it is known and still holds."""
        self.camera()
        if not self.has_bench:
            why = "is missing" if "bench" not in self.data else "was seen through another lens"
            raise RigError(
                f"[bench] {why}", file=self.path, remedy="run drillaid calibrate bench first"
            )
        gone = {name for name in ("spindle", "marks") if not self.holds(name)}
        return rig_of({key: value for key, value in self.data.items() if key not in gone})

    def save(self) -> None:
        """Writes the file whole or not at all; RigError for values no rig has, StorageError."""
        data = {"format": FORMAT} | self.data
        with told_of(self.path):
            check_sections(data)
            text = rig_text(data, self.text)
        write_whole(self.path, text)


def read_draft(path: str | Path) -> RigDraft:
    """The rig file as far as it has come; an empty draft where there is no file.

    Values are held against the limits of rig files. Raises RigError with the key and
    its line for a file that is no rig file or has a value out of range.
    """
    path = Path(path)
    if not path.exists():
        if not path.parent.is_dir():
            raise RigError(
                "its folder does not exist", file=path, remedy="make the folder or name another"
            )
        return RigDraft(path, {"format": FORMAT})
    data, text = read_rig_data(path)
    with told_of(path, text):
        check_sections(data)
    return RigDraft(path, data, text)


def _name_what_rests_on_the_lens(data: dict) -> None:
    """Before the lens is replaced: a bench that does not say its lens says it from now on."""
    if "camera" in data and isinstance(data.get("bench"), dict):
        data["bench"].setdefault("lens", lens_fingerprint(data["camera"]))


def _name_what_rests_on_the_frame(data: dict) -> None:
    """Before the frame is replaced: what does not say its frame says it from now on."""
    frame = data.get("bench", {}).get("frame", "before")
    for name in ("spindle", "marks"):
        if isinstance(data.get(name), dict):
            data[name].setdefault("frame", frame)


def _plain(value):
    """Arrays and their numbers as the file's own kinds."""
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items() if item is not None}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value
