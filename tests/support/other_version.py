"""Files that have changed since the board was etched."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from drillaid.simulation.designs import draw_copper


def another_version(design, moved, step_mm):
    """The same board with the holes of `moved` (N,) bool and their lands elsewhere; tracks stay."""
    step = np.asarray(step_mm)

    def shifted(land):
        return replace(land, centre_mm=tuple(np.add(land.centre_mm, step)))

    def hole(h, go):
        return replace(h, x_mm=h.x_mm + step[0], y_mm=h.y_mm + step[1]) if go else h

    going = {id(land) for land, go in zip(design.lands, moved, strict=True) if go and land}
    lands = tuple(shifted(n) if n and go else n for n, go in zip(design.lands, moved, strict=True))
    art = replace(
        design.artwork, lands=tuple(shifted(n) if id(n) in going else n for n in design.artwork.lands)
    )
    return replace(
        design,
        holes=tuple(hole(h, go) for h, go in zip(design.holes, moved, strict=True)),
        lands=lands,
        artwork=art,
        copper={"bottom": draw_copper(art, design.outline.rings_mm[0])},
    )
