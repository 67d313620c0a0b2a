"""Gerber text to plain geometry through the Gerber library (pygerber).

The library interprets the state machine: apertures, macros, blocks, step and
repeat, arcs, units. `gerber_statements` feeds it and holds what its grammar
lacks; `gerber_macros` corrects macro primitives that release 2.4.3 gets wrong.
No other module knows the library.
"""

from __future__ import annotations

import logging
import math
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import numpy as np

from drillaid.design.gerber_objects import (
    Drawn,
    Pad,
    Piece,
    arc,
    box,
    circle,
    pad_of,
    regular,
    rotated,
    stroke_pieces,
)  # fmt: skip
from drillaid.design.gerber_statements import Statements
from drillaid.errors import DesignError

MAX_BYTES = 20_000_000
MAX_EXTENT_MM = 2000.0


@contextmanager
def _quiet() -> Iterator[None]:
    """Keeps the library's deprecation notices and log lines to itself."""
    root = logging.getLogger()

    def none(_record) -> bool:
        return False

    root.addFilter(none)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        root.removeFilter(none)


def read_objects(data: bytes, name: str) -> list[Drawn]:
    """Everything the layer draws, in order. Raises DesignError with file and line."""
    if len(data) > MAX_BYTES:
        raise DesignError(
            f"a layer of {len(data) / 1e6:.0f} MB is more than this program reads",
            file=name, remedy="export copper and outline only, without a filled panel",
        )  # fmt: skip
    run = Statements(data.decode("latin-1").replace("\x00", ""), name)
    try:
        with _quiet():
            commands = _commands(run)
            drawn = list(_flatten(commands, run))
    except DesignError:
        raise
    except RecursionError:
        raise run.refusal("a definition is nested too deeply") from None
    except Exception as error:  # the library raises whatever it happens to meet
        raise run.refusal(f"'{run.statement[:30]}' cannot be read ({_plain(error)})") from error
    return drawn


def _commands(run: Statements):
    from pygerber.gerberx3.parser2.context2 import Parser2ContextOptions
    from pygerber.gerberx3.parser2.parser2 import Parser2, Parser2Options

    from drillaid.design.gerber_macros import hooks

    options = Parser2Options(context_options=Parser2ContextOptions(hooks=hooks()))
    return Parser2(options).parse(run.tokens())


def _plain(error: Exception) -> str:
    """The library names its faults by type: ApertureNotDefined2Error, ParseException …"""
    cause = error.__cause__ or error
    if isinstance(cause, ValueError) and type(cause) is ValueError:
        return str(cause)
    kind = type(error if isinstance(cause, KeyError) else cause).__name__
    words = re.sub(r"(Not)?2?(Error|Exception)?$", "", kind)
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", words).lower() or "unknown fault"


# -- the library's commands to geometry ----------------------------------------------------


def _xy(vector) -> np.ndarray:
    return np.array([float(vector.x.value), float(vector.y.value)])


def _flatten(commands, run: Statements) -> Iterator[Drawn]:
    """One Drawn for each command; blocks and repeats are opened up."""
    for command in commands:
        kind = type(command).__name__
        dark = command.transform.polarity.value.lower().startswith("d")
        if kind == "BufferCommand2":
            yield from _flatten(command.command_buffer, run)
        elif kind == "Region2":
            pieces = tuple(Piece(True, c) for c in _contours(command.command_buffer))
            if pieces:
                pad = pad_of("region", pieces) if len(pieces) == 1 else None
                yield Drawn("region", dark, pieces, pad=pad)
        elif kind == "Flash2":
            drawn = _flash(command, dark, run)
            if drawn is not None:
                yield drawn
        else:
            yield _stroke(command, dark)


def _path(command) -> np.ndarray:
    start, end = _xy(command.start_point), _xy(command.end_point)
    if type(command).__name__ == "Line2":
        return np.array([start, end])
    clockwise = type(command).__name__ == "Arc2"
    return arc(start, end, _xy(command.center_point), clockwise=clockwise)


def _contours(commands) -> list[np.ndarray]:
    """Closed polygons of a region; a jump begins the next one."""
    contours: list[list[np.ndarray]] = []
    for command in commands:
        path = _path(command)
        if contours and abs(contours[-1][-1][-1] - path[0]).max() < 1e-9:
            contours[-1].append(path[1:])
        else:
            contours.append([path])
    joined = [np.concatenate(c) for c in contours]
    return [c for c in joined if len(c) >= 3 and np.ptp(c, axis=0).min() > 0]


def _stroke(command, dark: bool) -> Drawn:
    path = _path(command)
    aperture = command.aperture
    if type(aperture).__name__ in ("Circle2", "NoCircle2"):
        width = float(aperture.diameter.value)
        tip = circle((0, 0), width) if width > 0 else np.zeros((1, 2))
    else:
        pieces, _, _ = _aperture(aperture, 0.0)
        tip = np.concatenate([p.polygon for p in pieces if p.dark])
        width = float(np.ptp(tip, axis=0).min())
    pieces = stroke_pieces(path, tip)
    straight = len(path) == 2
    pad = pad_of("stroke", pieces) if straight and width > 0.5 else None
    return Drawn("stroke", dark, pieces, path, width, pad)


def _flash(command, dark: bool, run: Statements) -> Drawn | None:
    at = _xy(command.flash_point)
    turned = math.radians(float(command.transform.rotation))
    if type(command.aperture).__name__ == "Polygon2" and run.ever_mirrored:
        raise run.refusal("a mirrored polygon (LM) is not supported")
    key = id(command.aperture), turned
    if key not in run.shapes:  # the aperture is kept with it, so that its id stays its own
        run.shapes[key] = (command.aperture, *_shape_of(command.aperture, turned))
    _, pieces, pad = run.shapes[key]
    if not pieces:
        return None
    moved = tuple(Piece(p.dark, p.polygon + at, tuple(h + at for h in p.holes)) for p in pieces)
    if pad is not None:
        x, y = pad.centre_mm
        pad = replace(pad, centre_mm=(x + float(at[0]), y + float(at[1])))
    return Drawn("flash", dark, moved, pad=pad)


def _shape_of(aperture, turned: float) -> tuple[tuple[Piece, ...], Pad | None]:
    """Pieces and pad of an aperture flashed at the origin; no pieces where it draws nothing."""
    pieces, shape, hole = _aperture(aperture, turned)
    if not pieces or max(float(np.ptp(p.polygon, axis=0).max()) for p in pieces) <= 0:
        return (), None
    if shape is None:
        return pieces, pad_of("flash", pieces, hole_mm=hole)
    return pieces, Pad("flash", *shape, (0.0, 0.0), hole)


def _aperture(aperture, turned: float):
    """(pieces round the origin, (shape, size, rotation) or None, hole diameter)."""
    kind = type(aperture).__name__
    if kind == "Macro2":
        return tuple(_macro_pieces(aperture.command_buffer)), None, 0.0
    opening = float(aperture.hole_diameter.value) if aperture.hole_diameter else 0.0
    if kind in ("Circle2", "NoCircle2"):
        size = float(aperture.diameter.value)
        polygon, shape = circle((0, 0), size), ("round", (size, size), 0.0)
    elif kind in ("Rectangle2", "Obround2"):
        w, h = float(aperture.x_size.value), float(aperture.y_size.value)
        angle = math.radians(float(aperture.rotation))
        polygon, shape = _bar(w, h, angle, oblong=kind == "Obround2")
    elif kind == "Polygon2":
        size, corners = float(aperture.outer_diameter.value), int(aperture.number_vertices)
        if not 3 <= corners <= 12:
            raise ValueError("a polygon has 3 to 12 corners")
        angle = math.radians(float(aperture.rotation)) + turned
        polygon, shape = regular(size, corners, angle), None
    else:
        raise ValueError(f"aperture {kind}")
    holes = (circle((0, 0), opening),) if opening > 0 else ()
    return (Piece(True, polygon, holes),), shape, opening


def _bar(w: float, h: float, angle: float, *, oblong: bool):
    if not oblong:
        return rotated(box(w, h), angle), ("rectangle", (w, h), angle)
    short = min(w, h)
    ends = np.array([[w - short, h - short], [short - w, short - h]]) / 2
    polygon = stroke_pieces(ends, circle((0, 0), short))[0].polygon
    shape = "round" if abs(w - h) < 1e-6 else "oblong"
    return rotated(polygon, angle), (shape, (w, h), angle if shape == "oblong" else 0.0)


def _macro_pieces(commands) -> Iterator[Piece]:
    for command in commands:
        dark = command.transform.polarity.value.lower().startswith("d")
        kind = type(command).__name__
        if kind == "Region2":
            for contour in _contours(command.command_buffer):
                yield Piece(dark, contour)
        elif kind == "Flash2":
            at = _xy(command.flash_point)
            for piece in _aperture(command.aperture, 0.0)[0]:
                yield Piece(dark, piece.polygon + at)
        else:  # primitive 20: a line with square ends
            start, end = _xy(command.start_point), _xy(command.end_point)
            width, along = float(command.aperture.diameter.value), end - start
            length = float(np.hypot(*along))
            if length > 0 and width > 0:
                turn = math.atan2(along[1], along[0])
                yield Piece(dark, rotated(box(length, width), turn) + (start + end) / 2)
