"""Which part of a rig rests on which: a part made for another lens or frame is refused.

The bench plane holds only for the lens it was seen through, spindle and marks only
in the bench frame they were measured in. So [bench] names its lens (`lens`, a
fingerprint of [camera]) and its frame (`frame`, a name drawn once); [spindle] and
[marks] name the frame. All these keys may be absent; nothing is held against them then.
"""

from __future__ import annotations

import hashlib
import secrets

from drillaid.errors import RigError


def lens_fingerprint(camera: dict) -> str:
    """12 hexadecimal digits that change with size, matrix or distortion.

    camera: the checked section [camera]
    """
    rows = [*camera["matrix"], camera["distortion"]]
    numbers = [float(value) for row in rows for value in row]
    said = repr((int(camera["width"]), int(camera["height"]), numbers))
    return hashlib.sha256(said.encode()).hexdigest()[:12]


def new_frame() -> str:
    """A name no other bench frame has."""
    return secrets.token_hex(6)


def lens_differs(data: dict) -> bool:
    """Whether [bench] was made through another lens than [camera] describes."""
    made_with = _said(data, "bench", "lens")
    return made_with is not None and made_with != lens_fingerprint(data["camera"])


def frame_differs(data: dict, name: str) -> bool:
    """Whether [name] was measured in another bench frame than [bench] describes."""
    own, now = _said(data, name, "frame"), _said(data, "bench", "frame")
    return own is not None and now is not None and own != now


def check_ties(data: dict) -> None:
    """Refuses a part that no longer holds by RigError with the key (also in `.key`)."""
    for name, key in (("bench", "lens"), ("bench", "frame"), ("spindle", "frame")):
        value = _said(data, name, key)
        if value is not None and not isinstance(value, str):
            raise _refusal(f"{name}.{key}", "must be a text", f"run drillaid calibrate {name}")
    if lens_differs(data):
        raise _refusal(
            "bench.lens",
            "names another lens than [camera] describes now: the bench plane was seen through it",
            "run drillaid calibrate bench again, then drillaid calibrate spindle",
        )
    if frame_differs(data, "spindle"):
        raise _refusal(
            "spindle.frame",
            "names another bench frame than [bench] has now: the spindle was measured before",
            "run drillaid calibrate spindle again",
        )
    if frame_differs(data, "marks"):
        raise _refusal(
            "marks.frame",
            "names another bench frame than [bench] has now: the marks were measured before",
            "run drillaid calibrate bench again with the marks in view",
        )


def _said(data: dict, name: str, key: str):
    section = data.get(name)
    return section.get(key) if isinstance(section, dict) else None


def _refusal(key: str, what: str, remedy: str) -> RigError:
    error = RigError(f"{key} {what}", remedy=remedy)
    error.key = key  # type: ignore[attr-defined]
    return error
