"""Pages as PDF: vector drawing, two standard fonts, JPEG pictures.

PDF 1.7, ISO 32000-1:2008: 8.3.4 transformation, 8.4 graphics state, 8.5 paths, 8.9.5 images,
7.4.8 DCTDecode, 9.6.2.2 standard fonts, 12.2 viewer preferences.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence

import numpy as np

from drillaid.paper.letters import encodable, width_mm
from drillaid.paper.page import Disc, Page, Path, Photo, Words

POINTS_PER_MM = 72 / 25.4
_ROUND = 0.5522847498  # of a quarter circle's Bézier handles: 4/3 (sqrt 2 - 1)


def pdf_of(pages: Sequence[Page], title: str) -> bytes:
    """The whole file. It asks the printing program not to scale."""
    file = _File()
    catalogue, tree, info = file.reserve(), file.reserve(), file.reserve()
    fonts = [file.add(_font(name)) for name in ("Helvetica", "Helvetica-Bold")]
    kids = [_page(file, page, tree, fonts) for page in pages]
    file.set(
        catalogue,
        b"<< /Type /Catalog /Pages %d 0 R /ViewerPreferences "
        b"<< /PrintScaling /None /DisplayDocTitle true >> >>" % tree,
    )
    listed = b" ".join(b"%d 0 R" % kid for kid in kids)
    file.set(tree, b"<< /Type /Pages /Kids [%s] /Count %d >>" % (listed, len(kids)))
    file.set(info, b"<< /Title %s /Creator (drillaid) >>" % _string(title))
    return file.bytes(catalogue, info)


class _File:
    """Numbered objects, then the table of where they begin."""

    def __init__(self) -> None:
        self._objects: list[bytes] = []

    def reserve(self) -> int:
        self._objects.append(b"")
        return len(self._objects)

    def set(self, number: int, body: bytes) -> None:
        self._objects[number - 1] = body

    def add(self, body: bytes) -> int:
        self._objects.append(body)
        return len(self._objects)

    def stream(self, head: bytes, data: bytes) -> int:
        body = b"<< %s /Length %d >>\nstream\n%s\nendstream" % (head, len(data), data)
        return self.add(body)

    def bytes(self, catalogue: int, info: int) -> bytes:
        data = bytearray(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")
        starts = []
        for number, body in enumerate(self._objects, 1):
            starts.append(len(data))
            data += b"%d 0 obj\n%s\nendobj\n" % (number, body)
        table = len(data)
        data += b"xref\n0 %d\n0000000000 65535 f \n" % (len(starts) + 1)
        for start in starts:
            data += b"%010d 00000 n \n" % start
        data += b"trailer\n<< /Size %d /Root %d 0 R /Info %d 0 R >>\n" % (
            len(starts) + 1, catalogue, info,
        )  # fmt: skip
        return bytes(data + b"startxref\n%d\n%%%%EOF\n" % table)


def _font(name: str) -> bytes:
    return b"<< /Type /Font /Subtype /Type1 /Encoding /WinAnsiEncoding /BaseFont /%s >>" % (
        name.encode("ascii")
    )


def _page(file: _File, page: Page, tree: int, fonts: list[int]) -> int:
    width, height = page.width_mm * POINTS_PER_MM, page.height_mm * POINTS_PER_MM
    drawn, pictures = _content(file, page, height)
    content = file.stream(b"/Filter /FlateDecode", zlib.compress(drawn))
    images = b" ".join(b"/P%d %d 0 R" % (n, n) for n in pictures)
    return file.add(
        b"<< /Type /Page /Parent %d 0 R /MediaBox [0 0 %.5f %.5f] /Resources "
        b"<< /Font << /F0 %d 0 R /F1 %d 0 R >> /XObject << %s >> >> /Contents %d 0 R >>"
        % (tree, width, height, *fonts, images, content)
    )


def _content(file: _File, page: Page, height_points: float) -> tuple[bytes, list[int]]:
    """Everything in page mm; the first line turns them into points, y up."""
    scale = b"%.12f" % POINTS_PER_MM
    lines = [b"q %s 0 0 -%s 0 %.5f cm" % (scale, scale, height_points)]
    pictures = []
    for item in page.items:
        if isinstance(item, Path):
            lines.append(_path(item))
        elif isinstance(item, Disc):
            lines.append(_disc(item))
        elif isinstance(item, Words):
            lines.append(_words(item))
        elif isinstance(item, Photo):
            number = file.stream(
                b"/Type /XObject /Subtype /Image /Width %d /Height %d /ColorSpace /DeviceRGB "
                b"/BitsPerComponent 8 /Filter /DCTDecode" % (item.width, item.height),
                item.jpeg,
            )
            pictures.append(number)
            lines.append(_placed(item, number))
    return b"\n".join([*lines, b"Q"]), pictures


def _paint(fill: str | None, line: str | None, width: float, closed: bool) -> tuple[bytes, bytes]:
    """(what sets colours and width, what paints)."""
    start = b""
    if fill is not None:
        start += b"%.4f %.4f %.4f rg " % _colour(fill)
    if line is not None:
        start += b"%.4f %.4f %.4f RG %.4f w 1 j 1 J " % (*_colour(line), width)
    if fill is not None and line is not None:
        return start, b"b*" if closed else b"B*"
    if fill is not None:
        return start, b"f*"
    return start, b"s" if closed else b"S"


def _path(path: Path) -> bytes:
    start, paint = _paint(path.fill, path.line, path.width_mm, path.closed)
    dash = b"[] 0 d" if path.dash_mm is None else b"[%.3f %.3f] 0 d" % path.dash_mm
    loops = []
    for loop in path.loops:
        points = [b"%.5f %.5f" % (x, y) for x, y in np.asarray(loop, dtype=float)]
        end = b" h" if path.closed else b""
        loops.append(points[0] + b" m " + b" ".join(p + b" l" for p in points[1:]) + end)
    return start + dash + b" " + b"\n".join(loops) + b" " + paint


def _disc(disc: Disc) -> bytes:
    start, paint = _paint(disc.fill, disc.line, disc.width_mm, True)
    x, y, r = disc.x_mm, disc.y_mm, disc.radius_mm
    k = _ROUND * r
    curves = (
        (x + r, y + k, x + k, y + r, x, y + r),
        (x - k, y + r, x - r, y + k, x - r, y),
        (x - r, y - k, x - k, y - r, x, y - r),
        (x + k, y - r, x + r, y - k, x + r, y),
    )
    body = b" ".join(b"%.5f %.5f %.5f %.5f %.5f %.5f c" % curve for curve in curves)
    return start + b"[] 0 d %.5f %.5f m " % (x + r, y) + body + b" h " + paint


def _words(words: Words) -> bytes:
    x = words.x_mm
    if words.align != "left":
        room = width_mm(words.text, words.size_mm, bold=words.bold)
        x -= room if words.align == "right" else room / 2
    return b"%.4f %.4f %.4f rg BT /F%d %.4f Tf 1 0 0 -1 %.4f %.4f Tm %s Tj ET" % (
        *_colour(words.colour), int(words.bold), words.size_mm, x, words.y_mm,
        _string(words.text),
    )  # fmt: skip


def _placed(photo: Photo, number: int) -> bytes:
    """A PDF picture fills the unit square with y up, ours has y down."""
    (a, b, c), (d, e, f) = np.asarray(photo.to_page, dtype=float)
    matrix = (a, d, -b, -e, b + c, e + f)
    return b"q %.8f %.8f %.8f %.8f %.5f %.5f cm /P%d Do Q" % (*matrix, number)


def _colour(name: str) -> tuple[float, float, float]:
    return tuple(int(name[k : k + 2], 16) / 255 for k in (1, 3, 5))


def _string(text: str) -> bytes:
    data = encodable(text).encode("cp1252")
    for character in (b"\\", b"(", b")"):
        data = data.replace(character, b"\\" + character)
    return b"(" + data.replace(b"\r", b" ").replace(b"\n", b" ") + b")"
