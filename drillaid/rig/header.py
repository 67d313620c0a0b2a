"""What a picture's first bytes say: kind, size, orientation, whether it is all there.

Sizes are read before anything is decoded, so that a small file that claims
a giant picture costs nothing. JPEG: ITU-T T.81, annex B; PNG: ISO/IEC 15948;
TIFF 6.0; orientation: tag 274 of TIFF 6.0 and Exif 2.32.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

_JPEG_SOF = {0xC0, 0xC1, 0xC2, 0xC3, 0xC5, 0xC6, 0xC7, 0xC9, 0xCA, 0xCB, 0xCD, 0xCE, 0xCF}
_EXPORT = "export it as JPEG and give that"
_HEIF = {b"heic", b"heix", b"hevc", b"heim", b"heis", b"hevm", b"mif1", b"msf1", b"avif", b"avis"}


class Unreadable(Exception):
    """what, remedy: for a PictureError."""

    def __init__(self, what: str, remedy: str):
        super().__init__(what)
        self.what, self.remedy = what, remedy


@dataclass(frozen=True)
class Header:
    """width, height: as stored, px; orientation: 1 to 8 as in Exif."""

    kind: str
    width: int
    height: int
    orientation: int = 1

    @property
    def upright_size(self) -> tuple[int, int]:
        """(width, height) after the orientation mark is honoured."""
        turned = self.orientation >= 5
        return (self.height, self.width) if turned else (self.width, self.height)


def kind_of(start: bytes) -> str | None:
    """The kind by the first 16 bytes, None for no picture we read."""
    if start.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if start.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if start[:4] in (b"II*\0", b"MM\0*"):
        return "TIFF"
    if start[:4] == b"RIFF" and start[8:12] == b"WEBP":
        return "WebP"
    if start[:2] == b"BM":
        return "BMP"
    return None


def read_header(data: bytes) -> Header:
    """Raises Unreadable with what is wrong and what to do."""
    if not data:
        raise Unreadable("is empty", "copy the picture again")
    kind = kind_of(data[:16])
    if kind is None:
        raise _not_ours(data)
    try:
        return {"JPEG": _jpeg, "PNG": _png, "TIFF": _tiff, "WebP": _webp, "BMP": _bmp}[kind](data)
    except (struct.error, IndexError):
        raise damaged(kind) from None


def damaged(kind: str) -> Unreadable:
    """The refusal of a picture whose bytes do not add up; kind: "JPEG", "PNG" …"""
    return Unreadable(f"is a damaged or incomplete {kind} picture", "copy or take it again")


def _not_ours(data: bytes) -> Unreadable:
    if data[4:8] == b"ftyp":
        if data[8:12] in _HEIF:
            return Unreadable("is a HEIC or AVIF picture, which is not read here", _EXPORT)
        return Unreadable("is a video, not a picture", "give a photograph")
    if data[:4] == b"RIFF" and data[8:12] == b"AVI ":
        return Unreadable("is a video, not a picture", "give a photograph")
    if data[:4] == b"%PDF":
        return Unreadable("is a PDF document", _EXPORT)
    if data[:4] == b"GIF8":
        return Unreadable("is a GIF, which has too few colours to measure by", _EXPORT)
    return Unreadable("is not a picture", "give a JPEG, PNG, TIFF, WebP or BMP file")


def _jpeg(data: bytes) -> Header:
    size, orientation, at = None, 1, 2
    while True:
        if data[at] != 0xFF:
            raise damaged("JPEG")
        marker = data[at + 1]
        if marker == 0xFF:  # fill byte
            at += 1
            continue
        if marker == 0x01 or 0xD0 <= marker <= 0xD8:  # no length
            at += 2
            continue
        (length,) = struct.unpack_from(">H", data, at + 2)
        body = data[at + 4 : at + 2 + length]
        if marker in _JPEG_SOF and size is None:
            height, width = struct.unpack_from(">HH", body, 1)
            size = width, height
        elif marker == 0xE1 and body[:6] == b"Exif\0\0" and orientation == 1:
            orientation = _orientation(body[6:])
        elif marker == 0xDA:
            break
        at += 2 + max(length, 2)
    if size is None or data.find(b"\xff\xd9", at) < 0:
        raise damaged("JPEG")
    return Header("JPEG", *size, orientation)


def _png(data: bytes) -> Header:
    if data[12:16] != b"IHDR":
        raise damaged("PNG")
    width, height = struct.unpack_from(">II", data, 16)
    orientation, at = 1, 8
    while at + 8 <= len(data):
        length, name = struct.unpack_from(">I4s", data, at)
        if name == b"eXIf":
            orientation = _orientation(data[at + 8 : at + 8 + length])
        if name == b"IEND":
            return Header("PNG", width, height, orientation)
        at += 12 + length
    raise damaged("PNG")


def _entries(data: bytes):
    """Tag, struct format and offset of the whole-number values of a TIFF's first directory."""
    order = {b"II": "<", b"MM": ">"}.get(data[:2])
    if order is None:
        raise struct.error
    (at,) = struct.unpack_from(order + "I", data, 4)
    (count,) = struct.unpack_from(order + "H", data, at)
    for entry in range(at + 2, at + 2 + 12 * count, 12):
        tag, form, _ = struct.unpack_from(order + "HHI", data, entry)
        if code := {1: "B", 3: "H", 4: "I"}.get(form):
            yield tag, order + code, entry + 8


def _directory(data: bytes) -> dict[int, int]:
    """The whole-number tags of the first directory of a TIFF (or Exif) block."""
    return {tag: struct.unpack_from(form, data, at)[0] for tag, form, at in _entries(data)}


def without_orientation(data: bytes, header: Header) -> bytes:
    """The same file for a decoder that shall not turn it; it would turn a TIFF regardless."""
    if header.kind != "TIFF" or header.orientation == 1:
        return data
    changed = bytearray(data)
    for tag, form, at in _entries(data):
        if tag == 274:
            struct.pack_into(form, changed, at, 1)
    return bytes(changed)


def _orientation(exif: bytes) -> int:
    try:
        value = _directory(exif).get(274, 1)
    except struct.error:
        return 1
    return value if 1 <= value <= 8 else 1


def _tiff(data: bytes) -> Header:
    tags = _directory(data)
    if 50706 in tags or data[8:10] == b"CR" or tags.get(254, 0) & 1:
        # The first picture of such a file is a small preview.
        raise Unreadable("is a camera's raw file", _EXPORT)
    if 256 not in tags or 257 not in tags:
        raise damaged("TIFF")
    return Header("TIFF", tags[256], tags[257], _orientation(data))


def _webp(data: bytes) -> Header:
    form = data[12:16]
    if form == b"VP8X":
        if data[20] & 2:
            raise Unreadable("is an animation, not a photograph", _EXPORT)
        width = int.from_bytes(data[24:27], "little") + 1
        height = int.from_bytes(data[27:30], "little") + 1
        at = data.find(b"EXIF", 30)
        block = data[at + 8 :] if at >= 0 else b""
        return Header("WebP", width, height, _orientation(block.removeprefix(b"Exif\0\0")))
    if form == b"VP8L":
        (bits,) = struct.unpack_from("<I", data, 21)
        return Header("WebP", (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1)
    if form == b"VP8 ":
        width, height = struct.unpack_from("<HH", data, 26)
        return Header("WebP", width & 0x3FFF, height & 0x3FFF)
    raise damaged("WebP")


def _bmp(data: bytes) -> Header:
    width, height = struct.unpack_from("<ii", data, 18)
    return Header("BMP", width, abs(height))
