"""Copper for a design that comes without any: a round rim about each hole.

With a drill list alone nobody knows the lands. But a board that lies where we
think it lies shows a rim about most holes: at some radius the brightness changes
the same way nearly all round. Where no hole is, hardly anything does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.registration.evidence import ENOUGH, FREELY_ENOUGH, Evidence, strongest
from drillaid.vision.contours import EdgeModel, read_edges
from drillaid.vision.eye import Eye, inside

ANGLES = 20
NARROWEST_MM, WIDEST_MM, STEP_MM = 0.12, 1.1, 0.09  # of copper beyond the hole's edge
SPACING_MM = 0.3
USUAL_RINGS_MM = (0.2, 0.35, 0.5, 0.7, 0.9)  # common practice, no source
SHARES = (0.3, 0.4, 0.5, 0.6)  # of a rim that must be there; the most telling counts
FAINT = 0.25  # of the picture's strong edges; fainter ones are texture
SLACK_MM, FINEST_PX = 0.08, 1.2  # how near a rim must be, and what a coarse picture allows
WORTH = 0.35  # of a rim from which it helps to place the board
BESIDE = 0.9  # what a rim at the next radius counts
FEW_OF_A_TOOL, SIZES, LEAST_OF_A_SIZE = 4, 2, 0.2  # holes; of lands; share of holes
EMPTY = 0.1  # of a rim, below which nothing shows at all


@dataclass(frozen=True, eq=False)
class Rings:
    """The best rim about each place: share (N,) of it that is there, radius_mm (N,);
    in_view (N,); polarity +1 where lands are brighter than the board; usual: (N, K) bool,
    which of the K radii tried were allowed."""

    share: np.ndarray
    radius_mm: np.ndarray
    in_view: np.ndarray
    polarity: float
    usual: np.ndarray


def rims(holes_mm: np.ndarray, radius_mm: np.ndarray) -> EdgeModel:
    """Edge points of discs, normals inwards (from bare to copper)."""
    xy, normal = [np.zeros((0, 2))], [np.zeros((0, 2))]
    for centre, radius in zip(holes_mm, radius_mm, strict=True):
        count = max(8, int(2 * np.pi * radius / SPACING_MM))
        angle = np.arange(count) * (2 * np.pi / count)
        out = np.column_stack([np.cos(angle), np.sin(angle)])
        xy.append(centre + radius * out)
        normal.append(-out)
    return EdgeModel(np.concatenate(xy), np.concatenate(normal))


def lands_at_all_sizes(holes_mm: np.ndarray, drill_mm: np.ndarray) -> EdgeModel:
    """Rims at every usual size about every hole, for a first look at where the board lies."""
    radius = np.maximum(drill_mm / 2, 0.3)[:, None] + USUAL_RINGS_MM
    return rims(np.repeat(holes_mm, len(USUAL_RINGS_MM), axis=0), radius.ravel())


def find_rings(
    eye: Eye, to_px, places_mm, drill_mm, px_per_mm: float, *, slack_mm: float,
    polarity: float = 0.0, alike: bool = False, usual: np.ndarray | None = None,
) -> Rings:  # fmt: skip
    """Looks for a rim about every place, at all radii a land may have.

    to_px: design mm -> pixels; slack_mm: how far a rim may be from round and from its
    place; polarity: 0 to find out which way the brightness changes on this board
    alike: only at the radii that most lands of one tool have; usual: at these only
    """
    n = len(places_mm)
    grow = np.arange(NARROWEST_MM, WIDEST_MM, STEP_MM)
    angle = np.arange(ANGLES) * (2 * np.pi / ANGLES)
    out = np.column_stack([np.cos(angle), np.sin(angle)])
    radius = np.maximum(drill_mm / 2, 0.3)[:, None] + grow[None, :]
    xy = places_mm[:, None, None, :] + radius[:, :, None, None] * out
    normal = np.broadcast_to(-out, xy.shape)
    model = EdgeModel(xy.reshape(-1, 2), normal.reshape(-1, 2))
    got = read_edges(eye.grey, to_px, model, 2.2 * slack_mm, noise=eye.noise, px_per_unit=px_per_mm)
    near = got.clear & (np.abs(got.off) < slack_mm)
    # Grain and scratches are edges too, but weak beside those of the copper.
    strength = np.abs(got.step)
    if near.any():
        near &= strength > FAINT * np.quantile(strength[near], 0.9)
    shares = {
        side: (near & (np.sign(got.step) == side)).reshape(n, len(grow), ANGLES).mean(axis=2)
        for side in (1.0, -1.0)
    }
    if polarity == 0.0:
        polarity = max(shares, key=lambda side: np.sort(shares[side].max(axis=1))[n // 3 :].sum())
    if usual is None:
        whole = np.ones((n, len(grow)), bool)
        usual = usual_radii(shares[polarity], drill_mm) if alike else whole
    seen_share = np.where(usual, shares[polarity], 0.0)
    best = seen_share.argmax(axis=1)
    rows = np.arange(n)
    seen = inside(eye.size_px, to_px(places_mm), 4.0)
    return Rings(seen_share[rows, best], radius[rows, best], seen, polarity, usual)


def usual_radii(share: np.ndarray, drill_mm: np.ndarray) -> np.ndarray:
    """(N, K) bool, the radii about each hole that lands of its tool have on this board.

    share: (N, K) of the rim at each radius. Lands of one tool mostly have one size, or two
    (common practice, no source), while what is taken for them by mistake has any.
    """
    tools = np.unique(np.round(drill_mm, 2), return_inverse=True)[1].ravel()
    few = np.bincount(tools)[tools] < FEW_OF_A_TOOL
    usual = np.zeros(share.shape, bool)
    for tool in np.unique(tools[~few]):
        usual[tools == tool] = _modes(share[tools == tool])
    usual[few] = _modes(share)
    return usual


def _modes(share: np.ndarray) -> np.ndarray:
    """(K,) bool: one or two spans of radii at which most of the rims lie."""
    modes, left = np.zeros(share.shape[1], bool), share
    for _ in range(SIZES):
        # A rim lies between two of the radii tried as often as not.
        near = left.copy()
        near[:, 1:] = np.maximum(near[:, 1:], BESIDE * left[:, :-1])
        near[:, :-1] = np.maximum(near[:, :-1], BESIDE * left[:, 1:])
        worth = np.where(near >= WORTH, near, 0.0)
        k = int(worth.sum(axis=0).argmax())
        if (worth[:, k] > 0).sum() < max(3, LEAST_OF_A_SIZE * len(share)):
            break
        modes[max(k - 1, 0) : k + 2] = True
        left = left[worth[:, k] == 0]
        if not len(left):
            break
    return modes if modes.any() else np.ones_like(modes)


def ring_model(holes_mm: np.ndarray, rings: Rings, least: float = WORTH) -> EdgeModel:
    """The rims that are there, as copper edges."""
    there = rings.in_view & (rings.share >= least)
    return rims(holes_mm[there], rings.radius_mm[there])


def ring_evidence(
    eye: Eye, to_px, holes_mm, drill_mm, px_per_mm: float, *, slack_mm: float = SLACK_MM,
    shares: tuple[float, ...] = SHARES, seed: int = 0, alike: bool = False,
) -> tuple[Evidence, Rings]:
    """How many holes show a rim, against how many places beside them do.

    shares: of a rim that must be there; the most telling of them is taken and
    comes back as the evidence's `level`; alike: as in `find_rings`, where there is no rig
    """
    rings = find_rings(
        eye, to_px, holes_mm, drill_mm, px_per_mm, slack_mm=slack_mm, alike=alike
    )
    rng = np.random.default_rng(seed)
    by_chance = []
    for turn in rng.uniform(0, 2 * np.pi, 4):
        step = rng.uniform(1.2, 4.0) * np.array([np.cos(turn), np.sin(turn)])
        beside = find_rings(
            eye, to_px, holes_mm + step, drill_mm, px_per_mm, slack_mm=slack_mm,
            polarity=rings.polarity, usual=rings.usual,
        )  # fmt: skip
        by_chance.append(beside.share[beside.in_view])
    chance = np.concatenate(by_chance)
    seen = int(rings.in_view.sum())
    empty = int((rings.share[rings.in_view] < EMPTY).sum())
    counts = [
        Evidence(
            int((rings.share[rings.in_view] >= share).sum()),
            seen,
            float((chance >= share).sum() + 1) / (len(chance) + 2),
            share,
            enough=FREELY_ENOUGH if alike else ENOUGH,
            empty=empty,
        )
        for share in shares
    ]
    return strongest(counts), rings
