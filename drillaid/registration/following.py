"""Keeping hold of a board that has been found, picture by picture.

At the start the board's edges are learnt from the picture in which it was found
(so it needs no Gerber). In each new picture a coarse flow of a few dozen spots
says how far the board moved; then the learnt edges are looked for along their
normals and give the exact place. Only the movement is fitted: print scale and
shear are the registration's. A board that cannot be vouched for is lost, never
guessed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from drillaid.design.model import Design
from drillaid.geometry import Affine
from drillaid.registration.copper import copper_edges, sharper_eye, some
from drillaid.registration.edging import EdgeFit, fit_edges
from drillaid.registration.fit import fit_similarity
from drillaid.registration.holding import still_there
from drillaid.registration.hypotheses import common_steps
from drillaid.registration.lands_seen import LandWatch
from drillaid.registration.refinding import found_again
from drillaid.registration.result import NOT_FOUND, REGISTERED, Placement, Registration
from drillaid.registration.stretches import voices
from drillaid.rig.rig import Rig
from drillaid.vision.channel import grey_of
from drillaid.vision.contours import EdgeModel, read_edges, thin_out
from drillaid.vision.edges import edge_threshold, find_edges
from drillaid.vision.fringes import fringes_of
from drillaid.vision.plane import RigPlane

EDGES = 500  # followed in each picture
SHRINK = 4  # of the picture in which the flow is taken
MARGIN_MM = 4.0  # beyond the outermost holes edges may still be the board's
SPACING_MM = 0.4
SURE = 4.5  # sigmas above chance
IN_DOUBT = 0.87  # of the usual share of edges; below it the design's commonest steps are tried,
STEPPED, AS_GOOD = 160, 0.9  # by so many edges; so much of the share there is as good
ANEW, GONE_MM = 5, 0.5  # pictures; of movement


@dataclass(frozen=True, eq=False)
class Learnt:
    """What the board looks like: edges (design mm), weights of B, G, R, noise, the share
    of edges that agreed at the start, and the share that agrees where it is not;
    whole: all edges known, of which `model` is a draw."""

    model: EdgeModel
    whole: EdgeModel
    weights: np.ndarray
    noise: float
    share: float
    chance: float
    voices: float


class Follower:
    """Follows one board under a calibrated rig, starting from a registration.

    doubt: a rig's own errors, for a makeshift one: (design mm -> plane mm, points seen,
      points asked for) -> variance (N,), mm^2, that comes on top in every picture
    Not for several threads; one call of `follow` for each picture.
    """

    def __init__(
        self, design: Design, rig: Rig, *, thickness_mm: float = 1.6, face: str = "bottom",
        doubt: Callable[[Affine, np.ndarray, np.ndarray], np.ndarray] | None = None,
    ) -> None:  # fmt: skip
        self._doubt = doubt
        self.design, self.rig, self.thickness_mm, self.face = design, rig, thickness_mm, face
        self._view = RigPlane(rig, thickness_mm)
        self._ratio = rig.px_per_mm(thickness_mm)
        self._homography = rig.plane(thickness_mm)
        self._learnt: Learnt | None = None
        self._place: Affine | None = None
        self._last: Affine | None = None  # the last place, which tells scale and shear
        self._coming = np.zeros(2)
        self._steps = common_steps(design.xy_mm)
        self._doubtful = 0  # pictures on end in which little of the board agreed
        self._checked = Affine.identity()  # where it was last held against those steps
        self._variance = np.zeros(len(design.holes))
        # Small grey, spots in it (n, 2), and where they lie on the plane (n, 2).
        self._flow: tuple[np.ndarray, np.ndarray, np.ndarray] | None = None

    @property
    def following(self) -> bool:
        return self._place is not None

    @property
    def knows_the_board(self) -> bool:
        """It has been followed before, so it may be found again in the quick way."""
        return self._learnt is not None

    def start(self, registration: Registration, image: np.ndarray) -> np.ndarray | None:
        """Takes over from a registration of `image`; returns the rig's own `doubt` there."""
        if not registration.ok or registration.placement.matrix is None:
            raise ValueError("following starts from a registration with a rig")
        self._fringes = fringes_of(image)
        image = self._fringes.removed(image)
        place = registration.placement.matrix
        self._variance = registration.placement.expected_error_mm**2
        self._learnt = learnt = self._learn(image, place)
        self._place = self._last = place
        self._lands = LandWatch(
            self.design, self.design.copper.get(self.face), registration.placement.land_missing,
            learnt.weights, learnt.noise,
        )  # fmt: skip
        self._lands.begin(image, self._hole_px)
        self._remember(image)
        return None if self._doubt is None else self.doubt(place)

    def expect(self, shift_mm: np.ndarray) -> None:
        """In the next picture the board will have gone by about so far, (2,), bench: where
        something that knows moves it farther than one picture's flow reaches."""
        self._coming = np.asarray(shift_mm, dtype=np.float64).reshape(2)

    def lose(self) -> None:
        """Forgets the place, for instance because the picture froze."""
        self._place, self._flow = None, None

    def _learn(self, image: np.ndarray, place: Affine) -> Learnt:
        copper = self.design.copper.get(self.face)
        if copper is not None:
            known = copper_edges(copper)
            eye = sharper_eye(image, self._view.to_px, some(known, EDGES), place)
            weights = _weights_of(image, eye.grey)
        else:
            eye = grey_of(image)
            weights = eye.weights
        grey = grey_of(image, weights)
        model = self._edges_in(grey.image, grey.noise, place)
        if copper is not None:
            # Drawn copper is better than seen edges, where it is what was etched.
            drawn = fit_edges(
                grey.image, self._view.to_px, some(known, EDGES), place, noise=grey.noise,
                px_per_mm=self._ratio, reaches=(0.25, 0.2), affine=False,
            )  # fmt: skip
            if drawn is not None and drawn.share > 0.6:
                model = EdgeModel(known.xy + drawn.etch_mm * known.normal, known.normal)
        draft = Learnt(some(model, EDGES), model, weights, grey.noise, 1.0, 0.0, voices(model))
        fit = self._fit(image, place, draft, (0.2,))
        rng = np.random.default_rng(5)
        shares = []
        for angle in rng.uniform(0, 2 * np.pi, 6):
            step = rng.uniform(1.2, 5.0) * np.array([np.cos(angle), np.sin(angle)])
            wrong = self._fit(image, place @ Affine.from_parts(offset=step), draft, (0.3, 0.3))
            shares.append(0.03 if wrong is None else wrong.share)
        chance = float(np.clip(np.mean(shares) + np.std(shares), 0.03, 0.6))
        share = 0.0 if fit is None else fit.share
        return replace(draft, share=share, chance=chance)

    def _edges_in(self, grey: np.ndarray, noise: float, place: Affine) -> EdgeModel:
        """The board's edges in this picture, in design mm, to a part of a pixel."""
        edges = find_edges(grey, threshold=edge_threshold(grey, noise), smooth_px=1.6)
        step = 1.0
        back = place.inverse
        here = back(self._view.to_plane(edges.px))
        ahead = back(self._view.to_plane(edges.px + step * edges.normal))
        normal = ahead - here
        length = np.linalg.norm(normal, axis=1, keepdims=True)
        low = self.design.xy_mm.min(axis=0) - MARGIN_MM
        high = self.design.xy_mm.max(axis=0) + MARGIN_MM
        with np.errstate(invalid="ignore"):
            ours = ((here > low) & (here < high)).all(axis=1) & (length[:, 0] > 0)
        ours &= edges.strength > np.quantile(edges.strength[ours], 0.6) if ours.any() else ours
        model = EdgeModel(here[ours], normal[ours] / length[ours])
        model = model.only(thin_out(model.xy, SPACING_MM))
        got = read_edges(
            grey, lambda xy: self._view.to_px(place(xy)), model, 0.15, noise=noise,
            px_per_unit=self._ratio,
        )  # fmt: skip
        exact = got.clear & (np.abs(got.off) < 0.08) & (got.step > 0)
        return EdgeModel(model.xy + got.off[:, None] * model.normal, model.normal).only(exact)

    def _fit(self, image, place: Affine, learnt: Learnt, reaches) -> EdgeFit | None:
        return fit_edges(
            image, self._view.to_px, learnt.model, place, noise=learnt.noise,
            px_per_mm=self._ratio, reaches=reaches, affine=False, weights=learnt.weights,
        )

    def _small(self, image: np.ndarray) -> np.ndarray:
        # Grey first and halved twice: a third of the time of one step in colour.
        small = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
        height, width = image.shape[:2]
        for shrink in (SHRINK // 2, SHRINK):
            size = (width // shrink, height // shrink)
            small = cv2.resize(small, size, interpolation=cv2.INTER_AREA)
        return small

    def _remember(self, image: np.ndarray, small: np.ndarray | None = None) -> None:
        small = self._small(image) if small is None else small
        spots = self._place(self._learnt.model.xy[::4])
        px = (self._view.to_px(spots) + 0.5) / SHRINK - 0.5
        height, width = small.shape
        with np.errstate(invalid="ignore"):
            inside = ((px > 4) & (px < [width - 5, height - 5])).all(axis=1)
        self._flow = small, px[inside].astype(np.float32), spots[inside]

    def _moved(self, small: np.ndarray) -> Affine:
        """The coarse movement since the last picture, plane -> plane."""
        before, spots, old = self._flow
        guess, self._coming = old + self._coming, np.zeros(2)
        expected = Affine.from_parts(offset=guess[0] - old[0]) if len(old) else Affine.identity()
        if len(spots) < 8:
            return expected
        guess_px = ((self._view.to_px(guess) + 0.5) / SHRINK - 0.5).astype(np.float32)
        if not np.isfinite(guess_px).all():
            return expected
        after, status, _ = cv2.calcOpticalFlowPyrLK(
            before, small, spots.reshape(-1, 1, 2), guess_px.reshape(-1, 1, 2),
            winSize=(17, 17), maxLevel=3, flags=cv2.OPTFLOW_USE_INITIAL_FLOW,
        )  # fmt: skip
        good = status.ravel() == 1
        if good.sum() < 6:
            return expected
        new = self._view.to_plane((after.reshape(-1, 2)[good] + 0.5) * SHRINK - 0.5)
        usable = np.isfinite(new).all(axis=1)
        return _rigid_by_majority(old[good][usable], new[usable]) or expected

    def follow(self, image: np.ndarray) -> Registration:
        """The board's place in the next picture, or NOT_FOUND with the reason."""
        total = len(self.design.holes)
        if self._place is None:
            return _lost("The board is lost; it has to be found again.", 0, total)
        image = self._fringes.removed(image)
        small = self._small(image)
        start = self._moved(small) @ self._place
        learnt = self._learnt
        fit = self._fit(image, start, learnt, (0.7, 0.35, 0.2))
        share = 0.0 if fit is None else fit.share
        spread = np.sqrt(learnt.chance * (1 - learnt.chance) / max(learnt.voices, 1.0))
        held = share >= learnt.chance + SURE * spread and share >= 0.5 * learnt.share
        if not held and fit is not None:
            held = still_there(image, self._view.to_px, self._ratio, learnt, fit.placement)
        if held and share >= IN_DOUBT * learnt.share:
            self._doubtful = 0
        elif held:
            # Anew where doubt begins, where the board has moved, and now and then.
            if self._doubtful % ANEW == 0 or self._gone_since_checked(fit.placement):
                held = not self._as_good_a_pitch_away(image, fit.placement)
                self._checked = fit.placement
            self._doubtful += 1
        if not held:
            self.lose()
            return _lost("The board is lost: let it lie still in full view.", 0, total)
        self._place = self._last = _rigid_part(self._place, fit.placement, self.design.xy_mm)
        self._remember(image, small)
        self._lands.look(image, self._hole_px)
        return self._answer(fit, total)

    def _gone_since_checked(self, place: Affine) -> bool:
        middle = self.design.xy_mm.mean(axis=0, keepdims=True)
        return bool(np.abs(place(middle) - self._checked(middle)).max() > GONE_MM)

    def _as_good_a_pitch_away(self, image: np.ndarray, place: Affine) -> bool:
        """Do rows at one pitch fit as well where another hole of theirs would lie?

        A push by a pitch between two pictures leaves such a row where it was, all but its
        ends; that place is not to be believed while the board's other edges speak against it.
        """
        few = replace(self._learnt, model=some(self._learnt.model, STEPPED))
        here = self._fit(image, place, few, (0.2,))
        least = 0.0 if here is None else AS_GOOD * here.share
        for step in self._steps:
            beside = self._fit(image, place @ Affine.from_parts(offset=step), few, (0.3,))
            if beside is not None and beside.share >= least:
                return True
        return False

    def find_again(self, image: np.ndarray) -> Registration:
        """Looks for the board that was lost anywhere in the picture: a rigid movement of
        what is known of it; NOT_FOUND where that does not stand out."""
        total = len(self.design.holes)
        if self._learnt is None:
            return _lost("No board has been seen yet.", 0, total)
        image = self._fringes.removed(image)
        found = found_again(
            image, self._view, self._ratio, self._learnt, self._last, self.design.xy_mm
        )
        if found is None:
            return _lost("The board is lost: let it lie still in full view.", 0, total)
        self._place = self._last = _rigid_part(self._last, found.placement, self.design.xy_mm)
        self._remember(image)
        self._lands.found_again(image, self._hole_px)
        return self._answer(found, total)

    def _hole_px(self, xy_mm: np.ndarray) -> np.ndarray:
        return self._view.to_px(self._place(xy_mm))

    def _answer(self, fit: EdgeFit, total: int) -> Registration:
        holes, place = self.design.xy_mm, self._place
        bench = place(holes)
        # What the registration was off stays, what this picture adds comes on top.
        expected = np.sqrt(self._variance + fit.variance_at(holes) + self.doubt(place))
        seen = self._pads_in_view(bench)
        if len(self._lands.missing):
            seen &= ~self._lands.missing
        placement = Placement(
            "affine", self._homography @ place, place, self._view.to_px(bench), bench, expected,
            seen, fit.scatter_mm, self._ratio, land_missing=self._lands.missing,
        )
        message = f"Following: {fit.share:.0%} of the board's edges agree.".replace("%", " %")
        return Registration(REGISTERED, message, placement, total, int(seen.sum()), total)

    def doubt(self, place: Affine) -> np.ndarray:
        """(N,) mm^2 at the holes: what the rig's own errors do with the board at `place`."""
        holes = self.design.xy_mm
        if self._doubt is None:
            return np.zeros(len(holes))
        seen = holes if self._learnt is None else self._learnt.model.xy[::4]
        inside = self._pads_in_view(place(seen))
        return self._doubt(place, seen[inside] if inside.sum() >= 4 else seen, holes)

    def _pads_in_view(self, bench: np.ndarray) -> np.ndarray:
        px = self._view.to_px(bench)
        with np.errstate(invalid="ignore"):
            return ((px > 0) & (px < [self.rig.width - 1, self.rig.height - 1])).all(axis=1)


def _rigid_part(before: Affine, fitted: Affine, holes_mm: np.ndarray) -> Affine:
    """`before` moved to where `fitted` is: a fit may wobble in scale within its priors,
    the print does not."""
    return fit_similarity(before(holes_mm), fitted(holes_mm), scaled=False) @ before


def _weights_of(image: np.ndarray, grey: np.ndarray) -> np.ndarray:
    """The mixture by which `grey` was made from `image`."""
    colours = image[::16, ::16].reshape(-1, 3).astype(np.float64)
    return np.linalg.lstsq(colours, grey[::16, ::16].ravel(), rcond=None)[0]


def _rigid_by_majority(old: np.ndarray, new: np.ndarray) -> Affine | None:
    """The rigid movement most spots agree on; None where none stands out."""
    if len(old) < 6:
        return None
    matrix, inlier = cv2.estimateAffinePartial2D(
        old, new, method=cv2.RANSAC, ransacReprojThreshold=0.6, maxIters=400
    )
    if matrix is None or inlier.sum() < max(6, 0.2 * len(old)):
        return None
    keep = inlier.ravel() == 1
    return fit_similarity(old[keep], new[keep], scaled=False)


def _lost(message: str, agreeing: int, total: int) -> Registration:
    return Registration(NOT_FOUND, message, None, 0, agreeing, total)
