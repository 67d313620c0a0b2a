"""Gerber layers: which layer a file is, and its copper as a picture with lands."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.design.gerber_objects import Drawn, Pad, Piece, area
from drillaid.design.gerber_reader import MAX_EXTENT_MM, read_objects
from drillaid.design.model import Copper
from drillaid.design.outline import closed_rings
from drillaid.errors import DesignError
from drillaid.geometry import Affine

PX_PER_MM = 32.0
MAX_PIXELS = 100_000_000
MARGIN_MM = 1.0
# The polygon filler also paints every pixel its edge touches; outlines are drawn
# this much smaller. Measured: areas come out within 0.1 px of the edge.
EDGE_PX = 0.5

COPPER_TOP, COPPER_BOTTOM, OUTLINE, OTHER = "copper-top", "copper-bottom", "outline", "other"


@dataclass(frozen=True, eq=False)
class CopperLayer:
    """One face's copper as picture (`copper`) and as shapes that may be lands (`pads`)."""

    copper: Copper
    pads: tuple[Pad, ...]
    name: str = ""


# -- which layer --------------------------------------------------------------------------

_GERBER = re.compile(
    r"%\s*FS[LTD]?[AI]|%\s*ADD\d+[A-Za-z_]|%\s*MO(?:MM|IN)\s*\*|%\s*TF\.FileFunction"
)
_FUNCTION = re.compile(r"TF\.FileFunction,\s*([^*%\r\n]*)")
_NOT_COPPER = (
    r"mask|paste|silk|legend|overlay|assembly|fab|courtyard|keep.?out|drill|plac|stencil|adhesive"
)
_WORDS = (  # in image names, comments and file names; the first that fits decides
    (OTHER, _NOT_COPPER),
    (OUTLINE, r"outline|profile|edge.?cuts?|board.?edge|contour|dimension|mechanical.?1|routing"),
    (COPPER_BOTTOM, r"bottom|\bb[._ -]?cu\b|\bbot\b|solder.?side|\bback\b|copper.?b"),
    (COPPER_TOP, r"\btop|\bf[._ -]?cu\b|component.?side|\bfront\b|copper.?t"),
    (OTHER, r"\binner|\bin\d"),
)
_ENDINGS = {
    COPPER_TOP: "gtl cmp top ctl", COPPER_BOTTOM: "gbl sol bot cbl",
    OUTLINE: "gko gm1 gml gm gmb oln out dim gpb1 outline",
    OTHER: "gts gbs gto gbo gtp gbp stc sts plc pls crc crs smt smb sst ssb g1 g2 gd1 gg1",
}  # fmt: skip


def classify(data: bytes, name: str) -> str | None:
    """One of "copper-top", "copper-bottom", "outline", "other"; None where it is no Gerber.

    What the file says of itself (.FileFunction) comes first, then image names and
    comments, then what it draws, and the file's name last.
    """
    head = data[:200_000].decode("latin-1")
    if not _GERBER.search(head) or re.match(r"\s*(?:;[^\n]*\n\s*)*M48\b", head):
        return None
    if function := _FUNCTION.findall(head) or _FUNCTION.findall(data[-5000:].decode("latin-1")):
        return _by_function(function[0])
    notes = re.findall(r"%\s*[IL]N([^*%]*)|G0?4([^*]*)\*", head)[:20]
    spoken = " ".join(image + comment for image, comment in notes)
    said = _by_words(spoken)
    if said:
        return said
    named = _by_name(name)
    if named in (None, COPPER_TOP, COPPER_BOTTOM) and _draws_an_outline(data, name):
        return OUTLINE
    return named or OTHER


def _by_function(value: str) -> str:
    fields = [field.strip().lower() for field in value.split(",")]
    if fields[0] == "profile":
        return OUTLINE
    if fields[0] == "copper":
        return {"top": COPPER_TOP, "bot": COPPER_BOTTOM}.get(fields[2] if fields[2:] else "", OTHER)
    return OTHER


def _by_words(text: str) -> str | None:
    flat = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text).lower()
    return next((layer for layer, words in _WORDS if re.search(words, flat)), None)


def _by_name(name: str) -> str | None:
    stem, _, ending = name.replace("\\", "/").rsplit("/", 1)[-1].lower().rpartition(".")
    for layer, endings in _ENDINGS.items():
        if ending in endings.split():
            return layer
    return _by_words(re.sub(r"[_\-.]", " ", stem)) or _by_words(re.sub(r"[_\-.]", "", stem))


def _draws_an_outline(data: bytes, name: str) -> bool:
    """Nothing but thin strokes, few of them, that close round everything drawn."""
    if len(data) > 200_000 or b"D03" in data or b"G36" in data:
        return False
    try:
        drawn = read_objects(data, name)
        strokes = [d for d in drawn if d.kind == "stroke" and d.path_mm is not None]
        if not strokes or max(d.width_mm for d in strokes) > 0.5:
            return False
        rings, loose, _ = closed_rings([d.path_mm for d in strokes])
    except DesignError:
        return False
    if not rings or len(loose) > len(strokes) / 2:
        return False
    everything = np.concatenate([d.path_mm for d in strokes])
    return bool((np.ptp(rings[0], axis=0) >= 0.98 * np.ptp(everything, axis=0)).all())


# -- copper as a picture ------------------------------------------------------------------


_kept: dict[tuple[str, str, str], CopperLayer] = {}


def read_copper(data: bytes, name: str, face: str) -> CopperLayer:
    """The copper of one face; face is "top" or "bottom", only noted, nothing is mirrored.

    Pieces in the mask lie within 0.02 mm of where the file puts them (half a pixel
    at 32 px/mm; very large boards get fewer pixels). Raises DesignError.
    """
    key = (hashlib.sha256(data).hexdigest(), name, face)
    if key not in _kept:
        if len(_kept) >= 4:
            _kept.pop(next(iter(_kept)))
        drawn = read_objects(data, name)
        pads = tuple(d.pad for d in drawn if d.dark and d.pad is not None)
        _kept[key] = CopperLayer(_picture(drawn, name, face), pads, name)
    return _kept[key]


def _picture(drawn: list[Drawn], name: str, face: str) -> Copper:
    dark = [d for d in drawn if d.dark and d.pieces]
    if not dark:
        raise DesignError("this layer draws no copper", file=name, remedy="give the copper layer")
    corners = [d.bounds() for d in dark]
    low = np.min([c[0] for c in corners], axis=0) - MARGIN_MM
    high = np.max([c[1] for c in corners], axis=0) + MARGIN_MM
    size = high - low
    if not np.isfinite(size).all() or size.max() > MAX_EXTENT_MM:
        raise DesignError(
            f"the copper extends over {size.max():.0f} mm, which no board does", file=name,
            remedy="check the unit and the number format of the export",
        )  # fmt: skip
    px_per_mm = float(min(PX_PER_MM, (MAX_PIXELS * 0.98 / np.prod(size)) ** 0.5))
    width, height = (int(v) for v in np.ceil(size * px_per_mm) + 1)
    mask = np.zeros((height, width), np.uint8)
    # picture (column, row) -> design: x = low + column / s, y = high - row / s
    s = 1 / px_per_mm
    to_design = Affine([[s, 0, low[0]], [0, -s, low[1] + (height - 1) * s]])
    for one in drawn:
        _paint(mask, one, to_design.inverse)
    mask.setflags(write=False)
    return Copper(face, mask, to_design, px_per_mm)


def _paint(mask: np.ndarray, drawn: Drawn, to_px: Affine) -> None:
    colour = 255 if drawn.dark else 0
    if all(piece.dark for piece in drawn.pieces):
        for piece in drawn.pieces:
            cv2.fillPoly(mask, _fixed(piece, to_px), colour, cv2.LINE_8, 8)
        return
    # A macro with openings: they are open, they do not erase what lies below.
    low, high = (to_px(p)[0] for p in drawn.bounds())
    x0, x1 = sorted((int(low[0]) - 2, int(high[0]) + 3))
    y0, y1 = sorted((int(low[1]) + 3, int(high[1]) - 2))
    x0, y0 = max(0, x0), max(0, y0)
    window = mask[y0 : max(y0, y1), x0 : max(x0, x1)]
    if window.size == 0:
        return
    patch = np.zeros_like(window)
    shift = Affine([[1, 0, -x0], [0, 1, -y0]]) @ to_px
    for piece in drawn.pieces:
        cv2.fillPoly(patch, _fixed(piece, shift), 255 if piece.dark else 0, cv2.LINE_8, 8)
    window[patch > 0] = colour


def _fixed(piece: Piece, to_px: Affine) -> list[np.ndarray]:
    """Polygons in 1/256 px for the filler, corrected for the edge it adds."""
    rings = [_moved_in(to_px(piece.polygon), EDGE_PX)]
    rings += [_moved_in(to_px(hole), -EDGE_PX) for hole in piece.holes]
    return [np.round(ring * 256).clip(-(2**30), 2**30).astype(np.int32) for ring in rings]


def _moved_in(ring: np.ndarray, by: float) -> np.ndarray:
    """Every edge moved `by` px inwards; corners where the moved edges meet (mitred)."""
    step = ring - np.concatenate([ring[-1:], ring[:-1]])
    ring = ring[np.abs(step).max(axis=1) > 1e-6]
    if len(ring) < 3:
        return ring
    inside = min(by, 0.45 * float((ring.max(axis=0) - ring.min(axis=0)).min()))
    along = np.concatenate([ring[1:], ring[:1]]) - ring
    along /= np.sqrt((along**2).sum(axis=1, keepdims=True))
    normal = np.column_stack([-along[:, 1], along[:, 0]]) * np.sign(area(ring) or 1)
    before = np.concatenate([normal[-1:], normal[:-1]])
    share = np.maximum(1 + (normal * before).sum(axis=1, keepdims=True), 0.4)
    return ring + inside * (normal + before) / share
