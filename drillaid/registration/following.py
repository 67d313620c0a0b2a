"""Keeping hold of a board that has been found, picture by picture.

At the start the board's edges are learnt from the picture in which it was found
(`learnt`; so it needs no Gerber). In each new picture a coarse flow of a few dozen spots
says how far the board moved; then the learnt edges are looked for along their
normals and give the exact place. Only the movement is fitted: print scale and
shear are the registration's. A board that cannot be vouched for is lost, never
guessed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np

from drillaid.design.model import Design
from drillaid.geometry import Affine
from drillaid.registration.copper import some
from drillaid.registration.edging import EdgeFit
from drillaid.registration.fit import fit_similarity
from drillaid.registration.holding import shown
from drillaid.registration.lands_seen import LandWatch
from drillaid.registration.learnt import Learnt, learn
from drillaid.registration.near_twins import common_steps
from drillaid.registration.refinding import found_again
from drillaid.registration.result import NOT_FOUND, REGISTERED, Placement, Registration
from drillaid.rig.rig import Rig
from drillaid.vision.contours import EdgeModel
from drillaid.vision.eye import inside
from drillaid.vision.fringes import fringes_of
from drillaid.vision.plane import RigPlane

SHRINK = 4  # of the picture in which the flow is taken
# Rounds at each of its scales, and a step (small px) at which it rests: it need only come near.
FLOW_ENOUGH = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 20, 0.03)
NEARLY = (0.7,)  # mm to either side; a second, nearer look took an eighth more time, and lost as many
SURE = 4.5  # sigmas above chance
IN_DOUBT = 0.87  # of the usual share of edges; below it the design's commonest steps are tried,
STEPPED, AS_GOOD = 160, 0.9  # by so many edges; so much of the share there is as good
SHOWN = 0.75  # of the usual share, on patches that show the board
VAGUE_MM = 0.2  # of the worst hole, a usual tolerance: then it is not held either
IN_TURN = 2  # steps in each further picture
# Edges that scatter more than this are often something else that turns with the light, not with
# the board: so much of the excess no number of them removes, one sigma of an axis (set on 46
# simulated boards; bench_following.py holds the sum on others).
BLOTCHED_MM, BLOTCHED_SHARE = 0.035, 0.07


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
        self._learnt = learnt = learn(
            image, place, self.design, self.face, self._view, self._ratio,
            registration.placement.pad_seen,
        )  # fmt: skip
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

    def _fit(self, image, place: Affine, reaches, model: EdgeModel | None = None) -> EdgeFit | None:
        return self._learnt.fit(image, self._view, self._ratio, place, reaches, model)

    def _small(self, image: np.ndarray) -> np.ndarray:
        # Halved, made grey and halved again: the quickest of the ways there are.
        (height, width), half = image.shape[:2], SHRINK // 2
        small = cv2.resize(image, (width // half, height // half), interpolation=cv2.INTER_AREA)
        small = cv2.cvtColor(small, cv2.COLOR_BGR2GRAY)
        return cv2.resize(small, (width // SHRINK, height // SHRINK), interpolation=cv2.INTER_AREA)

    def _remember(self, image: np.ndarray, small: np.ndarray | None = None) -> None:
        small = self._small(image) if small is None else small
        spots = self._place(self._learnt.model.xy[::4])
        px = (self._view.to_px(spots) + 0.5) / SHRINK - 0.5
        there = inside(small.shape[::-1], px, 4.0)
        self._flow = small, px[there].astype(np.float32), spots[there]

    def _moved(self, small: np.ndarray) -> Affine:
        """The coarse movement since the last picture, plane -> plane."""
        before, spots, old = self._flow
        guess, self._coming = old + self._coming, np.zeros(2)
        expected = Affine.from_parts(offset=guess[0] - old[0]) if len(old) else Affine.identity()
        if len(spots) < 8:
            return expected
        there = self._view.to_px(guess)
        guess_px = ((there + 0.5) / SHRINK - 0.5).astype(np.float32)
        if not np.isfinite(guess_px).all():
            return expected
        after, status, _ = cv2.calcOpticalFlowPyrLK(
            before, small, spots.reshape(-1, 1, 2), guess_px.reshape(-1, 1, 2),
            winSize=(17, 17), maxLevel=3, flags=cv2.OPTFLOW_USE_INITIAL_FLOW, criteria=FLOW_ENOUGH,
        )  # fmt: skip
        good = status.ravel() == 1
        if good.sum() < 6:
            return expected
        seen = (after.reshape(-1, 2)[good] + 0.5) * SHRINK - 0.5
        new = self._on_plane(seen, guess[good], there[good])
        usable = np.isfinite(new).all(axis=1)
        return _rigid_by_majority(old[good][usable], new[usable]) or expected

    def _on_plane(self, px: np.ndarray, near_mm: np.ndarray, near_px: np.ndarray) -> np.ndarray:
        """(n, 2) mm of pixels not far from where known places lie: by the map's slope there, and
        what that leaves once more, which takes half the time of going back through the lens."""
        ends = self._view.to_px(np.concatenate([near_mm + [1.0, 0.0], near_mm + [0.0, 1.0]]))
        (ax, ay), (bx, by) = (end.T for end in (ends.reshape(2, -1, 2) - near_px))
        place, at = near_mm, near_px
        with np.errstate(all="ignore"):
            for _ in range(2):
                x, y = (px - at).T
                step = np.column_stack([by * x - bx * y, ax * y - ay * x])
                place = place + step / (ax * by - ay * bx)[:, None]
                at = self._view.to_px(place)
        return place

    def follow(self, image: np.ndarray) -> Registration:
        """The board's place in the next picture, or NOT_FOUND with the reason."""
        total = len(self.design.holes)
        if self._place is None:
            return _lost("The board is lost; it has to be found again.", 0, total)
        image = self._fringes.removed(image)
        small = self._small(image)
        start = self._moved(small) @ self._place
        learnt = self._learnt
        near = self._fit(image, start, NEARLY, learnt.few)
        fit = None if near is None else self._fit(image, near.placement, (0.2,))
        share = 0.0 if fit is None else fit.share
        spread = np.sqrt(learnt.chance * (1 - learnt.chance) / max(learnt.voices, 1.0))
        held = share >= learnt.chance + SURE * spread and share >= 0.5 * learnt.share
        if not held and fit is not None:
            fit = self._by_what_shows(image, fit)
            held = fit is not None
        if held and share >= IN_DOUBT * learnt.share:
            self._doubtful = 0
        elif held:
            held = not self._as_good_a_pitch_away(image, fit.placement)
            self._doubtful += 1
        if not held:
            self.lose()
            return _lost("The board is lost: let it lie still in full view.", 0, total)
        if learnt.fine is not None:
            fit = self._fit(image, fit.placement, (0.2,), learnt.fine) or fit
        self._place = self._last = _rigid_part(self._place, fit.placement, self.design.xy_mm)
        self._remember(image, small)
        self._lands.look(image, self._hole_px)
        return self._answer(fit, total)

    def _by_what_shows(self, image: np.ndarray, fit: EdgeFit) -> EdgeFit | None:
        """The place by the patches that show the board alone: what lies over the others has
        edges, too. None where it does not hold."""
        learnt, share = self._learnt, fit.share
        for reaches in ((0.5, 0.3, 0.2), (0.3, 0.2)):
            there = shown(image, self._view.to_px, self._ratio, learnt, fit.placement)
            if there is None:
                return None
            fit = self._fit(image, fit.placement, reaches, learnt.model.only(there))
            if fit is None or fit.share < SHOWN * learnt.share:
                return None
        vague = np.sqrt(fit.variance_at(self.design.xy_mm)).max() > VAGUE_MM
        return None if vague else replace(fit, share=share)

    def _as_good_a_pitch_away(self, image: np.ndarray, place: Affine) -> bool:
        """Do rows at one pitch fit as well where another hole of theirs would lie?

        A push by a pitch between two pictures leaves such a row where it was, all but its
        ends; that place is not to be believed while the board's other edges speak against it.
        All steps are tried where doubt begins, then some in each picture, in turn.
        """
        few = some(self._learnt.model, STEPPED)
        here = self._fit(image, place, (0.2,), few)
        least = 0.0 if here is None else AS_GOOD * here.share
        steps = self._steps
        if self._doubtful:
            first = IN_TURN * self._doubtful
            steps = [steps[k % len(steps)] for k in range(first, first + IN_TURN)] if steps else []
        for step in steps:
            beside = self._fit(image, place @ Affine.from_parts(offset=step), (0.3,), few)
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
        blotched_mm = BLOTCHED_SHARE * max(fit.scatter_mm - BLOTCHED_MM, 0.0)
        expected = np.sqrt(
            self._variance + fit.variance_at(holes) + 2 * blotched_mm**2 + self.doubt(place)
        )
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
        there = self._pads_in_view(place(seen))
        return self._doubt(place, seen[there] if there.sum() >= 4 else seen, holes)

    def _pads_in_view(self, bench: np.ndarray) -> np.ndarray:
        return inside(self._view.size_px, self._view.to_px(bench), 0.0)


def _rigid_part(before: Affine, fitted: Affine, holes_mm: np.ndarray) -> Affine:
    """`before` moved to where `fitted` is: a fit may wobble in scale within its priors,
    the print does not."""
    return fit_similarity(before(holes_mm), fitted(holes_mm), scaled=False) @ before


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
