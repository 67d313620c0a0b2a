"""Photographs from files, upright, as 8-bit BGR; and whether a picture suits a rig."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from drillaid.errors import PictureError, RigError
from drillaid.rig.frame import Frame
from drillaid.rig.header import (
    Header,
    Unreadable,
    damaged,
    kind_of,
    read_header,
    without_orientation,
)
from drillaid.rig.quiet import quiet_decoding
from drillaid.rig.rig import Rig

MAX_BYTES = 400_000_000
MAX_PIXELS = 200_000_000
MIN_SIDE_PX = 16


def read_picture(path: str | Path) -> np.ndarray:
    """One photograph as uint8 BGR, shape (H, W, 3), turned upright by its orientation mark.

    JPEG (grey and CMYK too), PNG, TIFF, WebP and BMP; 16-bit values are scaled
    to 8, transparency is dropped. Raises PictureError with a remedy.
    """
    data = _read(path)
    try:
        header = _checked(read_header(data))
        return _decoded(data, header)
    except Unreadable as error:
        raise PictureError(error.what, file=path, remedy=error.remedy) from None


def read_picture_header(path: str | Path) -> Header:
    """Kind, size and orientation without decoding. Raises PictureError."""
    try:
        return _checked(read_header(_read(path)))
    except Unreadable as error:
        raise PictureError(error.what, file=path, remedy=error.remedy) from None


def is_picture(path: str | Path) -> bool:
    """Whether the file begins as a picture we read (by content, not by name)."""
    try:
        with open(path, "rb") as file:
            return kind_of(file.read(16)) is not None
    except (OSError, ValueError):
        return False


def _read(path: str | Path) -> bytes:
    remedy = "give a photograph"
    try:
        if Path(path).is_dir():
            raise PictureError("is a folder", file=path, remedy=remedy)
        with open(path, "rb") as file:
            data = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise PictureError("there is no such file", file=path, remedy=remedy) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a file name"
        raise PictureError(f"cannot be read ({reason})", file=path, remedy=remedy) from None
    if len(data) > MAX_BYTES:
        raise PictureError(
            f"is larger than {MAX_BYTES // 10**6} MB", file=path, remedy="export it as JPEG"
        )
    return data


def _checked(header: Header) -> Header:
    width, height = header.width, header.height
    if width * height > MAX_PIXELS:
        raise Unreadable(
            f"has {width} x {height} pixels, more than {MAX_PIXELS // 10**6} million",
            "export it smaller",
        )
    if min(width, height) < MIN_SIDE_PX:
        raise Unreadable(f"has only {width} x {height} pixels", "take a real photograph")
    return header


def _decoded(data: bytes, header: Header) -> np.ndarray:
    # The orientation is ours to apply: the library honours it for some kinds only.
    mode = cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION
    data = without_orientation(data, header)
    try:
        with quiet_decoding():
            image = cv2.imdecode(np.frombuffer(data, np.uint8), mode)
    except cv2.error:
        image = None
    if image is None or image.shape != (header.height, header.width, 3):
        raise damaged(header.kind)
    return upright(image, header.orientation)


def upright(image: np.ndarray, orientation: int) -> np.ndarray:
    """The stored picture as the photographer saw it.

    orientation: 1 to 8, which side of the stored picture is the visual top and
    left (TIFF 6.0, tag 274: 6 means that row 0 is the visual right side).
    """
    if orientation >= 5:
        image = image.transpose(1, 0, 2)
    if orientation in (3, 4, 7, 8):
        image = image[::-1]
    if orientation in (2, 3, 6, 7):
        image = image[:, ::-1]
    return np.ascontiguousarray(image)


def check_size(rig: Rig, picture: Frame | np.ndarray) -> None:
    """Refuses by RigError a picture of another size than the rig was calibrated for."""
    image = picture.image if isinstance(picture, Frame) else picture
    height, width = image.shape[:2]
    if (width, height) == (rig.width, rig.height):
        return
    said = (
        f"camera.width and camera.height are {rig.width} x {rig.height}, "
        f"the picture has {width} x {height} px"
    )
    if (height, width) == (rig.width, rig.height):
        raise RigError(
            f"{said}: it is turned by a quarter, perhaps by a phone's orientation mark",
            remedy="photograph with the camera held as it was for the calibration",
        )
    remedy = "use the camera at the calibrated size or calibrate again at this one"
    if abs(width * rig.height - height * rig.width) <= max(rig.width, rig.height):
        said += " (the same shape, so perhaps it was only scaled)"
        remedy = "give the picture as the camera made it, or calibrate at this size"
    raise RigError(said, remedy=remedy)
