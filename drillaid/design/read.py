"""The one way into a design: files, folders or zips to a `Design`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from drillaid.design import kinds
from drillaid.design.csv_holes import read_csv
from drillaid.design.drill import read_drill
from drillaid.design.evidence import Extent
from drillaid.design.holelist import HoleList
from drillaid.design.joining import join, named_after
from drillaid.design.model import Copper, Design, Hole, Land, Outline
from drillaid.design.netlist import read_netlist
from drillaid.design.sources import Piece, gather
from drillaid.errors import DesignError, UsageError

FACES = ("bottom", "top")
_READERS: dict[str, Callable[[bytes, str, Extent | None], HoleList]] = {
    kinds.NETLIST: read_netlist,
    kinds.TABLE: read_csv,
    kinds.BARE_TABLE: read_csv,
}
_PERSON = {
    kinds.DRILL: "NC drill",
    kinds.NETLIST: "IPC-D-356A netlist",
    kinds.TABLE: "hole table",
    kinds.BARE_TABLE: "hole table",
}


def read_design(paths: Sequence[str | Path], *, face: str = "bottom") -> Design:
    """Reads all files of one board.

    paths: files, folders or zips; what is in them is found by content
    face: the face whose copper gives the lands, "bottom" or "top"
    Raises DesignError (file, line, remedy) for anything that is wrong or not clear.
    """
    if face not in FACES:
        raise UsageError(f"the face is '{face}'", remedy="give bottom or top")
    if isinstance(paths, str | Path):
        paths = [paths]
    if not paths:
        raise DesignError("no design is given", remedy="name a drill file, a folder or a zip")
    first = Path(paths[0])
    return design_of(gather(paths), first.stem or first.resolve().name, face=face)


def design_of(pieces: Sequence[Piece], name: str, *, face: str = "bottom") -> Design:
    """Like `read_design`, from data already in memory."""
    warnings: list[str] = []
    sorted_pieces = _sort(pieces, name)
    outline, outline_name = _outline(sorted_pieces, warnings)
    layers = {side: _copper(sorted_pieces, side, side == face, warnings) for side in FACES}
    extent = _extent(outline, outline_name, layers[face] or layers[_other(face)])
    lists = _hole_lists(sorted_pieces, extent, warnings, name)
    holes, own_lands = join(lists, extent, warnings)
    holes = _with_names(holes, sorted_pieces, extent, warnings)
    lands = _lands(holes, own_lands, layers, face, warnings)
    for one in lists:
        warnings[:0] = one.warnings
    used = [one.name for one in lists] + [layer.name for layer in layers.values() if layer]
    return Design(
        name=name,
        holes=holes,
        lands=lands,
        copper={side: layer.copper for side, layer in layers.items() if layer},
        outline=outline,
        warnings=tuple(dict.fromkeys(warnings)),
        units="; ".join(dict.fromkeys(one.units for one in lists if one.spots)),
        files=(*used, *([outline_name] if outline is not None else [])),
    )


def _other(face: str) -> str:
    return "top" if face == "bottom" else "bottom"


# -- which file is what -------------------------------------------------------------


def _sort(pieces: Sequence[Piece], name: str) -> dict[str, list[Piece]]:
    found: dict[str, list[Piece]] = {}
    for piece in pieces:
        kind = kinds.kind_of(piece)
        if piece.named and kind in (None, kinds.MILLING):
            raise _unknown(piece, kind)
        if kind is not None:
            found.setdefault(kind, []).append(piece)
    if not any(kind in found for kind in kinds.HOLE_KINDS):
        _no_holes(found, name)
    return found


def _unknown(piece: Piece, kind: str | None) -> DesignError:
    if not piece.data.strip():
        return DesignError("is empty", file=piece.name, remedy="export it again")
    if kind == kinds.MILLING:
        what = "is a milling program (G-code with Z) and no drill list"
        return DesignError(what, file=piece.name, remedy="export NC drill with a tool table")
    return DesignError(
        "is neither NC drill, Gerber, a table of x, y, diameter, nor an IPC-D-356A netlist",
        file=piece.name,
        remedy="leave it out, or give the whole folder and the right files will be found",
    )


def _no_holes(found: dict[str, list[Piece]], name: str) -> None:
    what = "holds no drill file"
    if found:
        names = [piece.name for group in found.values() for piece in group]
        what = f"holds no drill file (only {', '.join(names[:3])})"
    raise DesignError(what, file=name, remedy="add the NC drill export of the board")


def _hole_lists(found, extent, warnings: list[str], name: str) -> list[HoleList]:
    """Lists of the best kind there is; other kinds are told, or refused where named."""
    here = [kind for kind in kinds.HOLE_KINDS if found.get(kind)]
    named = [kind for kind in here if any(piece.named for piece in found[kind])]
    if len(named) > 1:
        piece = found[named[1]][0]
        raise DesignError(
            f"lists holes as {_PERSON[named[1]]} where {found[named[0]][0].name} lists them as "
            f"{_PERSON[named[0]]}",
            file=piece.name,
            remedy="give one of the two",
        )
    kind = named[0] if named else here[0]
    for unused in here:
        if unused is not kind and unused != kinds.BARE_TABLE:
            warnings.append(
                f"holes are taken from the {_PERSON[kind]} files; "
                f"{', '.join(p.name for p in found[unused])} was not used"
            )
    tables = kind in (kinds.TABLE, kinds.BARE_TABLE)
    if tables and not named and len({piece.data for piece in found[kind]}) > 1:
        raise DesignError(
            f"holds several hole tables ({', '.join(piece.name for piece in found[kind][:3])})",
            file=name,
            remedy="give the one that is meant",
        )
    if kind == kinds.DRILL:
        lists = _drill_lists(found[kind], extent)
    else:
        lists = [_READERS[kind](piece.data, piece.name, extent) for piece in found[kind]]
    if not any(one.spots for one in lists):
        raise DesignError(
            "holds no holes", file=lists[0].name, remedy="check that the export is complete"
        )
    return lists


def _with_names(holes, found, extent, warnings: list[str]) -> tuple[Hole, ...]:
    """Holes of drill files with the components that a netlist beside them gives their places."""
    for piece in found.get(kinds.NETLIST, ()) if found.get(kinds.DRILL) else ():
        try:
            named = named_after(holes, read_netlist(piece.data, piece.name, extent).spots)
        except DesignError:
            continue  # it was told already that this file was not used
        if named is not None:
            warnings.append(f"{piece.name} gave the names of components")
            holes = named
    return holes


def _drill_lists(pieces: list[Piece], extent: Extent | None) -> list[HoleList]:
    """In the order given; where headers are silent, small files follow the largest one.

    Four mounting holes say little about how their numbers are written; the plated
    holes of the same export say much.
    """
    largest = max(pieces, key=lambda piece: len(piece.data))
    first = read_drill(largest.data, largest.name, extent)
    return [
        first
        if piece is largest
        else read_drill(piece.data, piece.name, extent, first.how if first.decided else None)
        for piece in pieces
    ]


# -- Gerber -----------------------------------------------------------------------------


def _outline(found, warnings: list[str]) -> tuple[Outline | None, str]:
    from drillaid.design.outline import read_outline

    outlines = []
    for piece in found.get(kinds.OUTLINE, []):
        outline = read_outline(piece.data, piece.name, warnings.append)
        outlines.append((outline, piece))
    if not outlines:
        return None, ""
    outline, piece = outlines[0]
    for other, other_piece in outlines[1:]:
        if not np.allclose(_box(other), _box(outline), atol=0.5):
            raise DesignError(
                f"draws another board edge than {piece.name}",
                file=other_piece.name,
                remedy="give the files of one board",
            )
    return outline, piece.name


def _box(outline: Outline) -> np.ndarray:
    ring = outline.rings_mm[0]
    return np.array([ring.min(axis=0), ring.max(axis=0)])


def _copper(found, face: str, needed: bool, warnings: list[str]):
    """The face's CopperLayer, or None; a face nobody looks at may be broken, with a warning."""
    from drillaid.design import gerber

    pieces = found.get(f"copper-{face}", [])
    if len(pieces) > 1 and len({piece.data for piece in pieces}) > 1:
        raise DesignError(
            f"is {face} copper, and so is {pieces[0].name}",
            file=pieces[1].name,
            remedy="give the files of one board",
        )
    try:
        return gerber.read_copper(pieces[0].data, pieces[0].name, face) if pieces else None
    except DesignError as error:
        if needed:
            raise
        warnings.append(f"the {face} copper is left out: {error}")
        return None


def _extent(outline: Outline | None, outline_name: str, layer) -> Extent | None:
    """Where holes must lie: inside the outline, else on the copper."""
    if outline is not None:
        low, high = _box(outline)
        return Extent(tuple(low), tuple(high), outline_name)
    if layer is None:
        return None
    copper: Copper = layer.copper
    height, width = copper.mask.shape
    corners = copper.to_design(np.array([[0.0, 0.0], [width - 1.0, height - 1.0]]))
    return Extent(tuple(corners.min(axis=0)), tuple(corners.max(axis=0)), layer.name)


def _lands(holes, own_lands, layers, face: str, warnings) -> tuple[Land | None, ...]:
    """Lands from the Gerber of the face where there is one, else what the hole list says."""
    layer = layers[face]
    if layer is None:
        if layers[_other(face)] is not None:
            warnings.append(
                f"only {_other(face)} copper was given, so no {face} lands are known; "
                f"is --face {_other(face)} meant?"
            )
        return own_lands
    from drillaid.design.lands import lands_at

    from_copper = lands_at(holes, layer)
    bare = sum(land is None for land in from_copper)
    if bare == len(holes):
        warnings.append(
            f"no hole has copper round it on the {face} face; wrong face, or files with "
            "different origins"
        )
    return tuple(drawn or own for drawn, own in zip(from_copper, own_lands, strict=True))


