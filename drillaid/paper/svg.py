"""A page as SVG, one unit a millimetre."""

from __future__ import annotations

import base64
from xml.sax.saxutils import escape

import numpy as np

from drillaid.paper.page import Disc, Page, Path, Photo, Words

_ANCHOR = {"left": "start", "right": "end", "middle": "middle"}
_FONT = 'font-family="Helvetica, Arial, Liberation Sans, sans-serif"'


def svg_of(page: Page, title: str) -> str:
    """The whole file."""
    width, height = _number(page.width_mm), _number(page.height_mm)
    body = "\n".join(_item(item) for item in page.items)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}">\n<title>{escape(_plain(title))}</title>\n'
        f'<rect width="{width}" height="{height}" fill="#fff"/>\n{body}\n</svg>\n'
    )


def _item(item) -> str:
    if isinstance(item, Path):
        return _path(item)
    if isinstance(item, Disc):
        return (
            f'<circle cx="{_number(item.x_mm)}" cy="{_number(item.y_mm)}" '
            f'r="{_number(item.radius_mm)}" {_paint(item.fill, item.line, item.width_mm)}/>'
        )
    if isinstance(item, Words):
        weight = ' font-weight="bold"' if item.bold else ""
        return (
            f'<text x="{_number(item.x_mm)}" y="{_number(item.y_mm)}" '
            f'font-size="{_number(item.size_mm)}" text-anchor="{_ANCHOR[item.align]}" '
            f'fill="{item.colour}" xml:space="preserve" {_FONT}{weight}>'
            f"{escape(_plain(item.text))}</text>"
        )
    return _photo(item)


def _path(path: Path) -> str:
    end = "Z" if path.closed else ""
    loops = "".join(
        "M" + " ".join(f"{_number(x)},{_number(y)}" for x, y in np.asarray(loop)) + end
        for loop in path.loops
    )
    dash = ""
    if path.dash_mm is not None:
        dash = f' stroke-dasharray="{_number(path.dash_mm[0])} {_number(path.dash_mm[1])}"'
    return (
        f'<path d="{loops}" fill-rule="evenodd" '
        f"{_paint(path.fill, path.line, path.width_mm)}{dash}/>"
    )


def _paint(fill: str | None, line: str | None, width_mm: float) -> str:
    edge = "" if line is None else f' stroke="{line}" stroke-width="{_number(width_mm)}"'
    return f'fill="{fill or "none"}"{edge}'


def _photo(photo: Photo) -> str:
    (a, b, c), (d, e, f) = np.asarray(photo.to_page, dtype=float)
    data = base64.b64encode(photo.jpeg).decode("ascii")
    matrix = " ".join(_number(v, 8) for v in (a, d, b, e, c, f))
    return (
        f'<image width="1" height="1" preserveAspectRatio="none" transform="matrix({matrix})" '
        f'href="data:image/jpeg;base64,{data}"/>'
    )


def _number(value: float, digits: int = 5) -> str:
    """To 0.01 µm, without the noise of binary fractions."""
    text = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _plain(text: str) -> str:
    """Control characters have no place in XML."""
    return "".join(c if c.isprintable() else "?" for c in text)
