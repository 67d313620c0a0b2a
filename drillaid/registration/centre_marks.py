"""Etched centre marks: the dots of bare board in the middle of lands, where the bit is set.

The Gerber does not have them, for many programs put them in only as they print. On a pour
whose lands have no clearance they are all there is besides the frame, and the frame fits
every board of its size, whichever way round it lies. So where copper alone does not
convince, the dots are asked: there is one about most holes, or there is not.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from drillaid.design.model import Copper, Design
from drillaid.geometry import Affine
from drillaid.registration.copper import copper_edges
from drillaid.registration.evidence import (
    COPPER_ENOUGH,
    LEAST_PADS,
    LEAST_SHARE,
    Evidence,
    strongest,
)
from drillaid.registration.reasons import vague
from drillaid.registration.refined import Refined, chain, systematic_mm2
from drillaid.vision.dots import Dots, dots_at, dots_of_sizes
from drillaid.vision.eye import Eye

RADII_MM = (0.15, 0.2, 0.25)  # of marks; common practice, no source
LARGER_MM = 0.31  # radius of what is no mark any more: a hole begun with a thin bit
SHARES = (0.5, 0.6, 0.7, 0.8)  # likeness to a dot that counts; the most telling is taken
LEAST_MARKS = 0.6  # of the holes in view; a board's revision shares many of its holes
# A bore is told from a mark within a wider window; with bits this small it cannot be.
BORE_WINDOW_MM, SMALLEST_BORE_MM, BORE, UNLIKE = 1.0, 0.6, 0.4, 0.1
BESIDE = 8  # places beside each hole, by which chance is measured
CLEAR_MM = 0.6  # of copper about them: elsewhere nothing could be taken for a mark
LEAST_COPPER, MOST_LOOKS = 0.4, 8  # share of what copper must show besides; placements looked at
SIGMA_MM = 0.015  # of a mark's centre, each axis; more where they scatter more


def _all_copper(copper: Copper, xy_mm: np.ndarray) -> np.ndarray:
    """(N,) bool: copper within CLEAR_MM all round, as drawn."""
    depth = cv2.distanceTransform(copper.mask, cv2.DIST_L2, 3) / copper.px_per_mm
    column, row = np.rint(copper.to_design.inverse(xy_mm)).astype(int).T
    inside = (row >= 0) & (column >= 0) & (row < depth.shape[0]) & (column < depth.shape[1])
    deep = np.zeros(len(xy_mm), dtype=bool)
    deep[inside] = depth[row[inside], column[inside]] > CLEAR_MM
    return deep


def marks_and_bores(eye: Eye, to_px, holes_mm, bits_mm) -> tuple[np.ndarray, np.ndarray]:
    """(N,) likeness of each place to the mark that fits best, and to a bore of its bit, both
    within one window, wide enough to tell the two apart."""
    mark, bore = np.empty(len(holes_mm)), np.empty(len(holes_mm))
    for bit in np.unique(bits_mm):
        here = np.flatnonzero(bits_mm == bit)
        window = max(BORE_WINDOW_MM, bit / 2 + 0.4)
        large, *small = dots_of_sizes(eye, to_px, holes_mm[here], (bit / 2, *RADII_MM), window)
        bore[here] = large.likeness
        mark[here] = np.max([dots.likeness for dots in small], axis=0)
    return mark, bore


def bores_at(eye: Eye, to_px, design: Design) -> np.ndarray:
    """(N,) bool: a hole rather than a mark, or so small a bit that nobody could tell.

    A bore lies where the bit went, which is not where the design has it.
    """
    mark, bore = marks_and_bores(eye, to_px, design.xy_mm, design.drill_mm)
    unlike = np.where(design.drill_mm > SMALLEST_BORE_MM, UNLIKE, np.inf)
    return (bore >= BORE) & (bore > mark - unlike)


def marks_at(eye: Eye, to_px, design: Design) -> tuple[Dots, float]:
    """How like a mark each hole's place looks, and the radius that shows best, mm; places
    drilled already do not count, nor are they in view, and where too few show one, none does."""
    *sizes, larger = dots_of_sizes(eye, to_px, design.xy_mm, (*RADII_MM, LARGER_MM))
    looks = dict(zip(RADII_MM, sizes, strict=True))
    most = np.max([dots.likeness for dots in sizes], axis=0)
    radius = max(RADII_MM, key=lambda r: float(np.median(looks[r].likeness)))
    dots = looks[radius]
    if (most >= SHARES[0]).sum() < LEAST_PADS:
        return replace(dots, likeness=np.full(len(most), -1.0)), radius
    bores = bores_at(eye, to_px, design) | (larger.likeness > most)
    likeness = np.where(bores, -1.0, dots.likeness)
    return Dots(likeness, dots.off_mm, dots.in_view & ~bores), radius


def mark_evidence(
    eye: Eye, to_px, design: Design, copper: Copper | None, *, level: float | None = None,
    seed: int = 0,
) -> tuple[Evidence, float, Dots]:
    """How many holes show a mark against how many places of plain copper look like one.

    copper: None where it is not known; level: of likeness, where another placement has set it;
    comes back in the evidence
    Second and third as from `marks_at`. Chance is not worked out where too few show one.
    """  # fmt: skip
    holes_mm = design.xy_mm
    dots, radius = marks_at(eye, to_px, design)
    seen, shown = int(dots.in_view.sum()), int((dots.likeness >= SHARES[0]).sum())
    if level is None and shown < max(LEAST_SHARE * seen, 1):
        return Evidence(0, seen, 1.0), radius, dots
    rng = np.random.default_rng(seed)
    turn = rng.uniform(0, 2 * np.pi, (BESIDE, len(holes_mm), 1))
    length = rng.uniform(1.2, 4.0, (BESIDE, len(holes_mm), 1))
    beside = holes_mm + length * np.concatenate([np.cos(turn), np.sin(turn)], axis=2)
    beside = beside.reshape(-1, 2)
    plain = np.ones(len(beside), bool) if copper is None else _all_copper(copper, beside)
    other = dots_at(eye, to_px, beside[plain] if plain.sum() >= 20 else beside, radius)
    chance = other.likeness[other.in_view]
    counts = [
        Evidence(
            int((dots.likeness[dots.in_view] >= share).sum()), seen,
            float((chance >= share).sum() + 1) / (len(chance) + 2), share, enough=COPPER_ENOUGH,
        )
        for share in (SHARES if level is None else (level,))
    ]  # fmt: skip
    return strongest(counts), radius, dots


def copper_of(r: Refined, design: Design) -> Copper | None:
    """The face whose copper a placement was found by."""
    return next((c for c in design.copper.values() if copper_edges(c) is r.edges), None)


def with_marks(r: Refined, design: Design, *, deciding: bool) -> Refined | None:
    """A placement by copper made more exact by the marks; None where there are none to see.

    deciding: copper alone does not convince, and the marks are what it is judged by
    """
    copper, holes_mm = copper_of(r, design), design.xy_mm
    if copper is None or r.covariance is None or not isinstance(r.placement, Affine):
        return None
    evidence, _, dots = mark_evidence(r.eye, r.to_px, design, copper)
    if not evidence.convincing or (deciding and evidence.share < LEAST_MARKS):
        return None
    there = dots.in_view & (dots.likeness >= evidence.level)
    here = holes_mm[there]
    at = r.placement(here + dots.off_mm[there])
    placement, covariance = _joined(r, here, at)
    to_px = chain(r.hypothesis.scene, placement)
    off = np.linalg.norm(placement(here) - at, axis=1)
    evidence, _, dots = mark_evidence(r.eye, to_px, design, copper, level=evidence.level)
    judged = {"evidence": evidence, "by": "marks"} if deciding else {}
    agree = r.agree | (dots.in_view & (dots.likeness >= evidence.level))
    inner, floor = covariance[:3, :3] + covariance[3:, 3:], systematic_mm2(0.0)

    def variance(xy) -> np.ndarray:
        row = np.column_stack([xy, np.ones(len(xy))])
        return np.einsum("ni,ij,nj->n", row, inner, row) + floor

    return replace(
        r, placement=placement, to_px=to_px, agree=agree, covariance=lambda: covariance,
        variance_mm2=variance, residual_rms_mm=float(np.sqrt(np.mean(off**2))), **judged,
    )  # fmt: skip


def decided_by_marks(found: list[Refined], design: Design) -> list[Refined]:
    """`found`, best first, where copper alone says too little or too roughly: with what the
    marks make of it put first."""
    best = next((r for r in found if r.evidence.convincing and r.plausible), None)
    if best is not None:
        exact = with_marks(best, design, deciding=False) if vague(best, design.xy_mm) else None
        return found if exact is None else [exact, *(r for r in found if r is not best)]
    likely = [r for r in found if r.plausible and r.evidence.share >= LEAST_COPPER][:MOST_LOOKS]
    marked = [m for m in (with_marks(r, design, deciding=True) for r in likely) if m is not None]
    return sorted(marked, key=lambda r: -r.support) + found


def _joined(r: Refined, holes_mm, at_mm) -> tuple[Affine, np.ndarray]:
    """(placement, (6, 6) of its matrix rows): what the copper's edges say, and marks seen at
    at_mm (N, 2) on the plane; those that lie astray count less (Bayes' rule for a linear
    model, in any textbook; weights after P. Huber 1964, from memory).
    """
    prior = np.linalg.pinv(r.covariance())
    rows = np.zeros((len(holes_mm), 2, 6))
    rows[:, 0, :2], rows[:, 0, 2] = holes_mm, 1.0
    rows[:, 1, 3:5], rows[:, 1, 5] = holes_mm, 1.0
    off = at_mm - r.placement(holes_mm)
    step, sigma = np.zeros(6), SIGMA_MM
    for _ in range(8):
        away = np.linalg.norm(off - rows @ step, axis=1)
        sigma = max(SIGMA_MM, float(np.median(away)) / 1.177)  # Rayleigh's median
        weight = np.minimum(1.0, 2.0 * sigma / np.maximum(away, 1e-9)) / sigma**2
        inner = prior + np.einsum("n,nki,nkj->ij", weight, rows, rows)
        step = np.linalg.solve(inner, np.einsum("n,nki,nk->i", weight, rows, off))
    return Affine(r.placement.matrix + step.reshape(2, 3)), np.linalg.inv(inner)
