"""What was found, drawn over the photograph it was found in."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from drillaid.design.model import Design
from drillaid.errors import StorageError
from drillaid.registration.result import Registration

# Blue, green, red. Told apart by form as well: a ring, a ring with a stroke through it.
SEEN, UNSEEN, PAPER = (255, 190, 40), (60, 60, 235), (250, 250, 250)
SHADE = (30, 30, 30)


def found_in(picture: np.ndarray, design: Design, registration: Registration) -> np.ndarray:
    """A copy with each hole's place ringed and the sentence below; uint8 BGR.

    Holes that should have a pad and show none carry a stroke and their number;
    holes without a pad have a thin ring.
    """
    canvas = picture.copy()
    placement = registration.placement
    if placement is not None:
        unit = placement.px_per_mm
        rows = zip(design.holes, design.lands, placement.pixels, placement.pad_seen, strict=True)
        for hole, land, at, seen in rows:
            if np.isfinite(at).all():
                missing = None if seen or land is None else hole.number
                _ring(canvas, at, 0.5 * hole.drill_mm * unit, land is not None, missing)
        _axes(canvas, design, placement)
    return with_caption(canvas, registration.message)


def _ring(
    canvas: np.ndarray, at: np.ndarray, radius: float, has_pad: bool, missing: int | None
) -> None:
    """missing: the hole's number if its pad is not to be seen."""
    centre = tuple(int(round(16 * float(v))) for v in at)
    colour = UNSEEN if missing is not None else SEEN if has_pad else PAPER
    for ink, thick in ((SHADE, 4), (colour, 2)) if has_pad else ((SHADE, 3), (colour, 1)):
        cv2.circle(canvas, centre, int(16 * (radius + 2)), ink, thick, cv2.LINE_AA, 4)
    if missing is None:
        return
    reach = int(16 * (radius + 12))
    start, end = (centre[0] - reach, centre[1] + reach), (centre[0] + reach, centre[1] - reach)
    cv2.line(canvas, start, end, colour, 2, cv2.LINE_AA, 4)
    _text(canvas, str(missing), (int(at[0] + radius + 14), int(at[1] - radius - 8)), 0.8, colour)


def _axes(canvas: np.ndarray, design: Design, placement) -> None:
    """The design's x and y from its lowest corner, 10 mm long."""
    corner = design.xy_mm.min(axis=0) - 2.0
    ends = placement.homography([corner, corner + [10, 0], corner + [0, 10]])
    origin = tuple(int(v) for v in np.round(ends[0]))
    for end, name in ((ends[1], "x"), (ends[2], "y")):
        tip = tuple(int(v) for v in np.round(end))
        for ink, thick in ((SHADE, 5), (PAPER, 2)):
            cv2.arrowedLine(canvas, origin, tip, ink, thick, cv2.LINE_AA, tipLength=0.12)
        _text(canvas, name, (tip[0] + 6, tip[1] + 6), 0.8, PAPER)


def save_picture(path: Path, image: np.ndarray) -> None:
    """As JPEG; uint8 BGR. Raises StorageError."""
    data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
    try:
        path.write_bytes(data.tobytes())
    except OSError as error:
        raise StorageError(
            f"{path}: cannot be written ({error.strerror or error}); make room."
        ) from error


def with_caption(picture: np.ndarray, text: str) -> np.ndarray:
    """The picture with a line of text (wrapped) on paper below it."""
    width = picture.shape[1]
    scale, line_px = 0.85 * width / 1920, int(38 * width / 1920)
    rows = _wrapped(text, scale, width - 40)
    foot = np.full((line_px * len(rows) + line_px // 2, width, 3), PAPER, np.uint8)
    for row, words in enumerate(rows):
        at = (20, int(line_px * (row + 0.85)))
        cv2.putText(foot, words, at, cv2.FONT_HERSHEY_SIMPLEX, scale, SHADE, 2, cv2.LINE_AA)
    return np.vstack([picture, foot])


def _wrapped(text: str, scale: float, width: int) -> list[str]:
    """Lines no wider than width px; signs the stroke font lacks are written out."""
    rows: list[str] = []
    plain = text.replace("±", "+/-").replace("°", " deg").replace("µ", "u").replace("×", "x")
    for word in plain.encode("ascii", "replace").decode().split():
        longer = f"{rows[-1]} {word}" if rows else word
        wide = cv2.getTextSize(longer, cv2.FONT_HERSHEY_SIMPLEX, scale, 2)[0][0]
        if rows and wide <= width:
            rows[-1] = longer
        else:
            rows.append(word)
    return rows


def _text(canvas: np.ndarray, text: str, at: tuple[int, int], scale: float, colour) -> None:
    for ink, thick in ((SHADE, 5), (colour, 2)):
        cv2.putText(canvas, text, at, cv2.FONT_HERSHEY_SIMPLEX, scale, ink, thick, cv2.LINE_AA)
