"""The circle of every place on the board where a hole may be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drillaid.design.model import Land
from drillaid.inspection.colours import PadColours, learn_colours, strangeness
from drillaid.inspection.patch import Board, Stack, stack
from drillaid.inspection.posterior import COARSE, FINE, GROWN, MIDDLING, Circles, locate
from drillaid.inspection.rays import Network, Surroundings, ray_features
from drillaid.inspection.state import Look, looks
from drillaid.inspection.traits import pad_traits
from drillaid.inspection.vote import vote

STARTS = 3  # places from which each hole is looked at
GROWN_MOST = 1.14  # of a hole's radius to its bit's
# Radii that are voted for beside the bit's, mm: boards are drilled with the bit at hand.
VOTED_MM = (-0.15, -0.1, -0.05, 0.0, 0.04, 0.08, 0.14, 0.2, 0.26)
SMALLEST_VOTED_MM = 0.2
# Of how far the lower rim seems displaced: on exactly drawn holes with walls of copper's
# brightness the centre moves by 0.4 of it, with dark ones not at all.
WALL_SHARE, SLIVER_PX = 0.2, 2.0
WANDER_MM = 0.6  # how far from its place a hole is looked for
MARGIN_MM = 0.36  # of the patch about that
RING_MM, BESIDE_MM = 0.08, (0.15, 0.40)


@dataclass(frozen=True, eq=False)
class Place:
    """Where to look for one hole: plane mm; reach_mm: how far off it may lie."""

    at_mm: np.ndarray
    land: Land | None
    bit_mm: float
    reach_mm: float


@dataclass(frozen=True, eq=False)
class Seen:
    """xy_mm: (2,) in the plane; covariance: (3, 3) of (x, y, radius); support: 0 … 1
    traits: (F,), see `inspection.traits`"""

    xy_mm: np.ndarray
    radius_mm: float
    covariance: np.ndarray
    support: float
    look: Look
    traits: np.ndarray


@dataclass(frozen=True, eq=False)
class PlacesOfABit:
    """Places of one bit size and their patches."""

    bit_mm: float
    rows: np.ndarray
    stack: Stack


def look_at(board: Board, places: Sequence[Place], noise: float) -> list[Seen | None]:
    """One for each place; None where the photograph does not show it."""
    groups = places_by_bit(board, places)
    colours = colours_about(places, groups)
    seen: list[Seen | None] = [None] * len(places)
    for group in groups:
        reach = np.array([places[i].reach_mm for i in group.rows])
        circles, features, odds = _circles(board, group, colours, reach, noise)
        lands = [places[i].land for i in group.rows]
        shown = looks(group.stack, colours, group.rows, group.bit_mm / 2, circles, lands)
        traits = pad_traits(
            group.stack, colours, group.rows, group.bit_mm / 2, circles, shown, features, odds,
            lands,
        )  # fmt: skip
        for k, i in enumerate(group.rows):
            drawn = _drawn_by_wall(board, group.stack.middles_mm[k])
            seen[i] = Seen(
                group.stack.middles_mm[k] + circles.xy_mm[k] - drawn[:2], float(circles.radius_mm[k]),
                circles.covariance[k] + np.outer(drawn, drawn),
                float(circles.support[k]), shown[k],
                traits[k],
            )  # fmt: skip
    return seen


def _drawn_by_wall(board: Board, at_mm) -> np.ndarray:
    """(3,) by how much a sliver of the bore's wall draws the circle (x, y, radius), about; its
    own size is one sigma of that.

    Narrower than the picture resolves, the wall is part of the floor where it is as dark, and
    looks like a rim farther in where it is as bright as copper; a broad one is told from the
    rim. Half way between the two is the best guess.
    """
    lower = board.lower_rim_mm(at_mm)
    narrow = np.exp(-((np.hypot(*lower) * board.px_per_mm / SLIVER_PX) ** 2))
    return np.append(WALL_SHARE * narrow * lower, 0.0)


def places_by_bit(board: Board, places: Sequence[Place]) -> list[PlacesOfABit]:
    """Those that are in the picture, small bits first."""
    groups = []
    for bit in sorted({round(p.bit_mm, 3) for p in places}):
        rows = [i for i, p in enumerate(places) if round(p.bit_mm, 3) == bit]
        half = bit / 2 * GROWN_MOST + WANDER_MM + MARGIN_MM
        pieces, kept = stack(board, [(places[i].at_mm, places[i].land) for i in rows], half)
        if pieces is not None:
            groups.append(PlacesOfABit(bit, np.array(rows)[kept], pieces))
    return groups


def colours_about(places: Sequence[Place], groups: list[PlacesOfABit]) -> PadColours:
    """Of every place, in their order."""
    copper = [np.zeros((0, 3), np.float32)] * len(places)
    bare = list(copper)
    for group in groups:
        away = np.hypot(*group.stack.axes_mm())
        for k, i in enumerate(group.rows):
            land = places[i].land
            if land is None:
                continue
            image, inside, depth = (
                group.stack.images[k], group.stack.inside[k], group.stack.depth_mm[k]
            )  # fmt: skip
            copper[i] = image[inside & (depth > RING_MM) & (away > group.bit_mm / 2 + RING_MM)]
            if not land.in_pour:
                bare[i] = image[inside & (depth < -BESIDE_MM[0]) & (depth > -BESIDE_MM[1])]
    return learn_colours(np.array([p.at_mm for p in places]), copper, bare)


def starts(
    group: PlacesOfABit, colours: PadColours, reach_mm, noise: float, keep: int = STARTS
) -> np.ndarray:
    """(N, keep, 2) mm from each patch's middle: where its hole may be, best first."""
    pieces, pads, radius = group.stack, group.rows, group.bit_mm / 2
    strange = strangeness(pieces.images, colours.copper[pads], colours.texture[pads])
    trusted = pieces.inside & (pieces.depth_mm > RING_MM / 2)
    radii = np.array([radius + more for more in VOTED_MM if radius + more >= SMALLEST_VOTED_MM])
    return vote(
        pieces, strange, trusted, radii, reach_mm, noise, keep=keep, usual_mm=GROWN * radius
    ).xy_mm


def features_from(
    board: Board, group: PlacesOfABit, colours: PadColours, rows, xy_mm
) -> np.ndarray:
    """What the network is shown of some patches, (M, RAYS, F).

    rows: (M,) which patch of the group; xy_mm: (M, 2) the rays' origin from its middle
    """
    pad = group.rows[rows]
    lower = np.array([board.lower_rim_mm(m) for m in group.stack.middles_mm])
    around = Surroundings(
        colours.copper[pad], colours.laminate[pad], colours.texture[pad], lower[rows],
        0.8 / board.px_per_mm,
    )  # fmt: skip
    expected = np.full(len(rows), GROWN * group.bit_mm / 2)
    return ray_features(group.stack, rows, xy_mm, expected, around)


def _circles(
    board: Board, group: PlacesOfABit, colours: PadColours, reach_mm, noise: float
) -> tuple[Circles, np.ndarray, np.ndarray]:
    """Voted for, then found on rays from there, then twice more from what was found; with the
    features and the answers of the last rays."""
    network = Network.kept()

    def found(rows, xy_mm, grid, radius_mm=None):
        features = features_from(board, group, colours, rows, xy_mm)
        odds = network.log_odds(features)
        return locate(odds, xy_mm, group.bit_mm / 2, grid, radius_mm), features, odds

    every = np.arange(len(group.rows))
    voted = starts(group, colours, reach_mm, noise)
    first, *_ = found(np.repeat(every, STARTS), voted.reshape(-1, 2), COARSE)
    best = first.score.reshape(-1, STARTS).argmax(axis=1) + STARTS * every
    second, *_ = found(every, first.xy_mm[best], MIDDLING, first.radius_mm[best])
    return found(every, second.xy_mm, FINE, second.radius_mm)
