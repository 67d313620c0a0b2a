"""Where a board lies by its etched centre marks, where nothing but its holes is known.

In a pour whose lands have no clearance a drill list finds no rim to go by, and where tracks
are as wide as the lands hardly any. But lands are often etched with a dot of bare board in
the middle, where the bit is set. Dots are sighted all over the flat picture (thousands of
other things look like one), each is drawn as a rim about its place, and the holes' pattern is
correlated with them at every rotation and shift, as rims of lands are. What is found so is
fitted to the marks themselves, and judged by how many holes show one.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from drillaid.geometry import Affine
from drillaid.registration.centre_marks import (
    LEAST_MARKS,
    RADII_MM,
    SHARES,
    SIGMA_MM,
    mark_evidence,
    marks_at,
)
from drillaid.registration.copper import sharper_eye
from drillaid.registration.correlation import Correlator
from drillaid.registration.evidence import ENOUGH, LEAST_PADS
from drillaid.registration.hypotheses import Hypothesis
from drillaid.registration.refine_rims import NAMES, fit_centres
from drillaid.registration.refined import Refined, chain, px_per_mm_of, systematic_mm2
from drillaid.registration.rims import rims
from drillaid.registration.task import Task
from drillaid.vision.channel import SOFT_PX, grey_of, second_mixture
from drillaid.vision.contours import EdgeModel
from drillaid.vision.dots import dots_at, find_dots
from drillaid.vision.plane import PlaneView, flatten

PX_PER_MM = 8.0  # of the flat picture in which dots are sighted: 2 to 4 px across
LIKE_A_DOT, MOST_DOTS = 0.5, 3000
OF_ANYTHING = 0.45  # likeness that counts nothing: scratches and specks have little more, by thousands
NOISE_TIMES, LEAST_NOISE = 1.5, 1.5  # what counts as noise there; grey levels
DRAWN_MM = 0.9  # radius of the rim drawn about each, in place of the dot
QUICKLY, WORTH_A_LOOK = 60, 0.3  # holes asked first, and the share that must show something
EDGE_MM = 0.25  # radius within which a mark's colour is, and beyond which copper's


def dots_sighted(image: np.ndarray, view: PlaneView) -> tuple[np.ndarray, np.ndarray]:
    """(n, 2) plane mm and (n,) likeness of what looks like a mark, likeliest first.

    image: uint8 BGR, as photographed
    """
    flat = flatten(image, view, PX_PER_MM)
    first = grey_of(flat.image)
    soft = cv2.GaussianBlur(flat.image, (0, 0), SOFT_PX)
    likeness = np.zeros(first.image.shape, np.float32)
    for grey in (first, grey_of(flat.image, second_mixture(soft, first.weights))):
        noise = max(NOISE_TIMES * grey.noise, LEAST_NOISE)
        np.maximum(likeness, find_dots(grey.image, noise, flat.px_per_unit, RADII_MM), out=likeness)
    likeness[cv2.erode(flat.valid, np.ones((9, 9))) == 0] = 0.0
    highest = likeness >= np.maximum(cv2.dilate(likeness, np.ones((7, 7))), LIKE_A_DOT)
    row, column = np.nonzero(highest)
    order = np.argsort(-likeness[row, column])[:MOST_DOTS]
    row, column = row[order], column[order]
    return flat.to_plane(np.column_stack([column, row])), likeness[row, column]


def marks_seen(image: np.ndarray, view: PlaneView) -> Correlator:
    """The dots of one picture, each drawn as a rim, ready to be compared with `marks_drawn`."""
    xy, likeness = dots_sighted(image, view)
    low, high = _bounds(xy)
    drawn = rims(xy, np.full(len(xy), DRAWN_MM))
    to_plane = Affine([[1 / PX_PER_MM, 0, low[0]], [0, -1 / PX_PER_MM, high[1]]])
    width, height = np.ceil((high - low) * PX_PER_MM).astype(int) + 1
    column, row = np.rint(to_plane.inverse(drawn.xy)).astype(int).T
    field = np.zeros((height, width), np.complex64)
    # Twice the angle, as in `vision/edge_field`.
    values = (drawn.normal[:, 0] + 1j * drawn.normal[:, 1]) ** 2
    values *= np.repeat(likeness - OF_ANYTHING, len(drawn) // max(len(xy), 1))
    np.add.at(field, (row, column), values)
    return Correlator(field, to_plane)


def _bounds(xy: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Lower left and upper right of a picture that holds a rim about each place."""
    if not len(xy):
        return np.zeros(2), np.ones(2)
    margin = DRAWN_MM + 1.0
    return xy.min(axis=0) - margin, xy.max(axis=0) + margin


def marks_drawn(holes_mm: np.ndarray) -> EdgeModel:
    """The pattern that `marks_seen` is compared with."""
    return rims(holes_mm, np.full(len(holes_mm), DRAWN_MM))


def refine_by_marks(task: Task, h: Hypothesis) -> Refined | None:
    """The exact placement by the marks; None where too few holes show one.

    h: on a bench, right to about 0.1 mm
    """
    design, holes, scene = task.design, task.design.xy_mm, h.scene
    ratio, place = px_per_mm_of(scene, h.placement, holes), h.placement
    bare = rims(holes, np.full(len(holes), EDGE_MM))
    edges = EdgeModel(bare.xy, -bare.normal)  # copper lies without
    eye = sharper_eye(task.image, scene.view.to_px, edges, place)
    few = np.random.default_rng(0).permutation(len(holes))[:QUICKLY]
    quick = dots_at(eye, chain(scene, place), holes[few], RADII_MM[1])
    if (quick.likeness >= SHARES[0]).sum() < WORTH_A_LOOK * quick.in_view.sum():
        return None
    for last in (False, False, True):
        to_px = chain(scene, place)
        dots, _ = marks_at(eye, to_px, design)
        there = dots.in_view & (dots.likeness >= SHARES[0])
        if there.sum() < LEAST_PADS:
            return None
        px, sigma = to_px(holes + dots.off_mm), np.full(len(holes), SIGMA_MM * ratio)
        fit, _ = fit_centres(h, holes, px, sigma, there, ratio, last=last, cropped=False)
        place = fit.transform
    to_px = chain(scene, place)
    evidence, _, dots = mark_evidence(eye, to_px, design, None)
    if evidence.share < LEAST_MARKS:
        return None
    agree = dots.in_view & (dots.likeness >= evidence.level)
    off = np.linalg.norm(dots.off_mm[agree], axis=1)
    floor = systematic_mm2(0.0)
    return Refined(
        replace(h, grown=replace(h.grown, placement=place)), place, to_px, agree,
        replace(evidence, enough=ENOUGH), NAMES[fit.model], lambda xy: fit.variance_at(xy) + floor,
        ratio, float(np.sqrt(np.mean(off**2))), edges, eye, "marks",
    )  # fmt: skip
