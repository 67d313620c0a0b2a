"""A sheet as SVG, one unit a millimetre."""

from __future__ import annotations

from xml.sax.saxutils import escape

from calibration.sheet.shapes import Sheet

_FONTS = {
    "plain": 'font-family="Helvetica, Arial, Liberation Sans, sans-serif"',
    "bold": 'font-family="Helvetica, Arial, Liberation Sans, sans-serif" font-weight="bold"',
    "mono": 'font-family="Courier, Courier New, Liberation Mono, monospace" font-weight="bold"',
}


def svg_of(sheet: Sheet) -> str:
    """The whole file."""
    paths = "".join(
        f"M{' '.join(f'{_number(x)},{_number(y)}' for x, y in loop)}Z"
        for shape in sheet.shapes
        for loop in shape.loops()
    )
    texts = "\n".join(
        f'<text x="{_number(t.x_mm)}" y="{_number(t.y_mm)}" font-size="{_number(t.size_mm)}" '
        f'xml:space="preserve" {_FONTS[t.style]}>{escape(t.words)}</text>'
        for t in sheet.texts
    )
    width, height = _number(sheet.width_mm), _number(sheet.height_mm)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}">\n'
        f"<title>{escape(sheet.title)}</title>\n"
        f'<rect width="{width}" height="{height}" fill="#fff"/>\n'
        f'<path fill="#000" fill-rule="evenodd" d="{paths}"/>\n'
        f"{texts}\n</svg>\n"
    )


def _number(value: float) -> str:
    """To 0.01 µm, without the noise of binary fractions."""
    return f"{value:.5f}".rstrip("0").rstrip(".")
