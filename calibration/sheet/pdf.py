"""A sheet as PDF: one page, filled outlines in mm, two standard fonts. No file is embedded.

PDF 1.7, ISO 32000-1:2008: 8.3.4 transformation, 8.5.3.3.3 even-odd rule, 9.6.2.2 standard
fonts, 12.2 viewer preferences.
"""

from __future__ import annotations

from calibration.sheet.shapes import Sheet

POINTS_PER_MM = 72 / 25.4
_FONTS = {"plain": "Helvetica", "bold": "Helvetica-Bold", "mono": "Courier-Bold"}


def pdf_of(sheet: Sheet) -> bytes:
    """The whole file. It asks the printing program not to scale."""
    width, height = sheet.width_mm * POINTS_PER_MM, sheet.height_mm * POINTS_PER_MM
    fonts = " ".join(f"/{style} {6 + k} 0 R" for k, style in enumerate(_FONTS))
    content = _content(sheet, height)
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R /ViewerPreferences "
        b"<< /PrintScaling /None /DisplayDocTitle true >> >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        (
            f"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {width:.5f} {height:.5f}] "
            f"/Resources << /Font << {fonts} >> >> /Contents 4 0 R >>"
        ).encode("ascii"),
        b"<< /Length %d >>\nstream\n%s\nendstream" % (len(content), content),
        f"<< /Title {_string(sheet.title)} /Creator (drillaid) >>".encode("ascii"),
        *(_font(name) for name in _FONTS.values()),
    ]
    return _file(objects)


def _font(name: str) -> bytes:
    kind = "/Type /Font /Subtype /Type1 /Encoding /WinAnsiEncoding"
    return f"<< {kind} /BaseFont /{name} >>".encode("ascii")


def _content(sheet: Sheet, height_points: float) -> bytes:
    """Everything in sheet mm; the first line turns them into points, y up."""
    scale = f"{POINTS_PER_MM:.12f}"
    lines = ["q", f"{scale} 0 0 -{scale} 0 {height_points:.5f} cm", "0 g"]
    for shape in sheet.shapes:
        for loop in shape.loops():
            points = [f"{x:.5f} {y:.5f}" for x, y in loop]
            lines.append(f"{points[0]} m {' '.join(f'{p} l' for p in points[1:])} h")
    lines.append("f*")  # one filling for all, so that squares meet without a seam
    for text in sheet.texts:
        lines.append(
            f"BT /{text.style} {text.size_mm:.3f} Tf 1 0 0 -1 {text.x_mm:.4f} {text.y_mm:.4f} Tm "
            f"{_string(text.words)} Tj ET"
        )
    return "\n".join([*lines, "Q"]).encode("ascii")


def _string(words: str) -> str:
    for character in "\\()":
        words = words.replace(character, "\\" + character)
    return f"({words})"


def _file(objects: list[bytes]) -> bytes:
    """Objects 1, 2, …: the first is the catalogue, the fifth the information about the file."""
    data = bytearray(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")
    starts = []
    for number, body in enumerate(objects, 1):
        starts.append(len(data))
        data += b"%d 0 obj\n%s\nendobj\n" % (number, body)
    table = len(data)
    data += b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    for start in starts:
        data += b"%010d 00000 n \n" % start
    data += b"trailer\n<< /Size %d /Root 1 0 R /Info 5 0 R >>\n" % (len(objects) + 1)
    return bytes(data + b"startxref\n%d\n%%%%EOF\n" % table)
