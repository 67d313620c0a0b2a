"""A second, closer look: what stands where each hole should be?

Given a placement, the feature at each hole is measured in the photograph itself.
What it may look like (radius, bright or dark) is taken from the sightings that
already agree and from the design's lands. The same measurement at places where
no hole is tells how often something round stands there by chance: the null
hypothesis is measured on this very board, not assumed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.vision.centres import find_centres

AGREE_MM = 0.22  # etching and print leave pads this far off at the most
SEARCH_MM = 0.6


@dataclass(frozen=True, eq=False)
class Probe:
    """At each hole: found, px (N, 2) of the centre, sigma_px (N,), off_mm (N,) from
    the predicted place, and in_view (N,)."""

    found: np.ndarray
    px: np.ndarray
    sigma_px: np.ndarray
    off_mm: np.ndarray
    in_view: np.ndarray
    radius_mm: np.ndarray
    side: np.ndarray

    def agreeing(self, within_mm: float = AGREE_MM) -> np.ndarray:
        return self.found & self.in_view & (self.off_mm < within_mm)


@dataclass(frozen=True, eq=False)
class Shapes:
    """What features may look like: radius_mm (K,) and side (K,), likeliest first."""

    radius_mm: np.ndarray
    side: np.ndarray

    def __len__(self) -> int:
        return len(self.radius_mm)


@dataclass(frozen=True, eq=False)
class Eye:
    """The photograph and what is needed to measure in it.

    grey: float32 (H, W); noise: sigma of a pixel; size_px: (width, height)
    """

    grey: np.ndarray
    noise: float

    @property
    def size_px(self) -> tuple[int, int]:
        return self.grey.shape[1], self.grey.shape[0]


def shapes_from(radius_mm: np.ndarray, side: np.ndarray, *, most: int = 6) -> Shapes:
    """The commonest (radius, side) among features that agree, radii binned by a factor 1.25."""
    if not len(radius_mm):
        return Shapes(np.array([0.8, 0.8]), np.array([1.0, -1.0]))
    key = np.rint(np.log(np.maximum(radius_mm, 1e-3)) / np.log(1.25)).astype(int) * 2 + (side > 0)
    values, counts = np.unique(key, return_counts=True)
    order = np.argsort(-counts, kind="stable")[:most]
    radii = [float(np.median(radius_mm[key == value])) for value in values[order]]
    return Shapes(np.array(radii), np.where(values[order] % 2, 1.0, -1.0))


def _in_view(px: np.ndarray, size_px, margin: float = 3.0) -> np.ndarray:
    with np.errstate(invalid="ignore"):
        return (
            (px[:, 0] > margin)
            & (px[:, 1] > margin)
            & (px[:, 0] < size_px[0] - 1 - margin)
            & (px[:, 1] < size_px[1] - 1 - margin)
        )


def measure(eye: Eye, to_px, places_mm, shapes: Shapes, px_per_mm: float, rays: int = 32):
    """Every place with every shape: Centres of (N * K) rows, K rows a place."""
    n, k = len(places_mm), len(shapes)
    return find_centres(
        eye.grey,
        to_px,
        np.repeat(places_mm, k, axis=0),
        np.tile(shapes.radius_mm, n),
        np.tile(shapes.side, n),
        noise=eye.noise,
        unit_px=px_per_mm,
        rays=rays,
    )


def decoys(holes_mm: np.ndarray, seed: int = 0) -> np.ndarray:
    """Places beside the holes, one for each where there is room, where no hole is."""
    from scipy.spatial import cKDTree

    rng = np.random.default_rng(seed)
    angle = rng.uniform(0, 2 * np.pi, (2 * len(holes_mm), 1))
    step = rng.uniform(1.2, 4.0, (2 * len(holes_mm), 1))
    trial = np.repeat(holes_mm, 2, axis=0) + step * np.hstack([np.cos(angle), np.sin(angle)])
    return trial[cKDTree(holes_mm).query(trial)[0] > 0.85]


@dataclass(frozen=True, eq=False)
class Null:
    """How telling each shape is, and how near (off_mm, inf for nothing) the features
    were at `places` places without a hole."""

    telling: np.ndarray
    off_mm: np.ndarray
    places: int

    def chance(self, within_mm: float) -> float:
        """By the rule of succession: never claims that chance is nil."""
        return (float((self.off_mm < within_mm).sum()) + 1.0) / (self.places + 2.0)


def weigh_shapes(
    eye: Eye, to_px, holes_mm, shapes: Shapes, px_per_mm: float, within_mm: float = AGREE_MM
) -> tuple[Shapes, Null]:
    """Keeps the shapes that holes show clearly more often than places without holes.

    Brushed copper is full of small dark and bright spots, a pour of large ones:
    a shape that stands everywhere says nothing, however often it stands at holes.
    """
    beside = decoys(holes_mm)
    rate = []
    for places in (holes_mm, beside):
        got = measure(eye, to_px, places, shapes, px_per_mm)
        seen = _in_view(to_px(places), eye.size_px)
        off = np.linalg.norm(got.xy - np.repeat(places, len(shapes), axis=0), axis=1)
        off = np.where(got.found, off, np.inf).reshape(len(places), len(shapes))[seen]
        rate.append((off, off < within_mm, len(off)))
    (_, at_holes, n), (off_decoys, at_decoys, d) = rate
    share = (at_holes.sum(axis=0) + 0.5) / (n + 1)
    false = (at_decoys.sum(axis=0) + 0.5) / (d + 1)
    telling = share * np.log(share / false) + (1 - share) * np.log((1 - share) / (1 - false))
    telling = np.where(share > false, telling, 0.0)
    order = np.argsort(-telling, kind="stable")
    keep = [order[0]]
    for k in order[1:]:
        alone = at_holes[:, k] & ~at_holes[:, keep].any(axis=1)
        extra = at_decoys[:, k] & ~at_decoys[:, keep].any(axis=1)
        # Worth having where it adds holes faster than mistakes; and a rim wider
        # than those at hand, nearly as telling, is the better thing to measure.
        adds = (alone.sum() + 0.5) / (n + 1) > 3.0 * (extra.sum() + 0.5) / (d + 1)
        wider = shapes.radius_mm[k] > 1.2 * shapes.radius_mm[keep].max()
        if adds or (wider and telling[k] > 0.4 * telling[order[0]]):
            keep.append(k)
    nearest = off_decoys[:, keep].min(axis=1) if d else np.zeros(0)
    return Shapes(shapes.radius_mm[keep], shapes.side[keep]), Null(telling[keep], nearest, d)


def probe(eye: Eye, to_px, holes_mm, shapes: Shapes, px_per_mm: float) -> Probe:
    """Measures every hole with every shape and keeps the best answer.

    to_px: design mm (K, 2) -> pixels as photographed; shapes: most telling first
    """
    n, k = len(holes_mm), len(shapes)
    got = measure(eye, to_px, holes_mm, shapes, px_per_mm, rays=48)
    off = np.linalg.norm(got.xy - np.repeat(holes_mm, k, axis=0), axis=1)
    seen = _in_view(to_px(holes_mm), eye.size_px)
    ok = got.found & (off < SEARCH_MM)
    # Complete and sharp wins, and large before small: the rim of the land outlives
    # the drill, a hole only says where the bit went.
    price = got.sigma / (np.maximum(got.cover, 0.05) ** 2 * got.radius)
    row = np.arange(n) * k + np.where(ok, price, np.inf).reshape(n, k).argmin(axis=1)
    return Probe(
        ok[row] & seen,
        to_px(got.xy[row]),
        got.sigma[row] * px_per_mm,
        off[row],
        seen,
        got.radius[row],
        got.side[row],
    )
