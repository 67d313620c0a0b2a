"""Does every hole's land show, where the board was found to lie?

A board is found by most of its copper, so it is also found by the files of another version
of it, on which a part has been moved since; and its new holes would be drilled into bare
laminate. So each hole's land is looked for by itself. Where one does not show, something
covers it, or it was never there: which of the two, the person sees at a glance.
"""

from __future__ import annotations

import weakref
from dataclasses import dataclass
from functools import partial

import cv2
import numpy as np

from drillaid.design.model import Copper, Design
from drillaid.registration.centre_marks import RADII_MM, bores_at, copper_of
from drillaid.registration.refined import Refined
from drillaid.vision.channel import grey_of
from drillaid.vision.dots import dots_at
from drillaid.vision.eye import Eye, inside
from drillaid.vision.sampling import grey_at, sample

STEP_MM = 0.12
USUAL_MM, WIDEST_MM, MARGIN_MM = 1.7, 2.4, 0.7  # from the hole; beyond its land
HOLE_MARGIN_MM = 0.1  # about the hole itself, which is not looked at
SOFT_MM = 0.1  # etching and blur; so much they round off
# Share of lands. Hands and lost lands have taken 0.40 of a hard bench's (40 of them looked at);
# of a board with four in five of its holes moved 0.48 were missed, the others lay on copper.
MOST_MISSING, MOST_DOUBTFUL = 0.5, 0.34
LEAST_SPREAD = 0.02  # variance of what is drawn, copper 1 and bare 0: a pour is even
SHOWN, LEAST_SHOWN = 0.6, 0.3  # likeness: of the board's usual one, and at least
# While the board is followed: looked for in every so many pictures, so many at a time; how much
# clearer than least, and how like a mark, they must be to count as seen after all.
EVERY, A_TIME, SURELY, MARKED = 6, 12, 0.05, 0.6


@dataclass(frozen=True, eq=False)
class LandsSeen:
    """By hole, (N,) bool. shown: it is there; missing: it should be there to be seen and is
    not. Neither where it lies outside the picture, or in a pour that shows nothing of it."""

    shown: np.ndarray
    missing: np.ndarray

    def too_few(self, doubtful: bool) -> bool:
        """So many missing that it is hardly this board; doubtful: little else speaks for it."""
        missing, shown = int(self.missing.sum()), int(self.shown.sum())
        most = MOST_DOUBTFUL if doubtful else MOST_MISSING
        return missing >= 4 and missing > most * (missing + shown)


def lands_seen(best: Refined, design: Design) -> LandsSeen:
    """What the picture shows of each land; by copper alone, since else no land is known."""
    copper, none = copper_of(best, design), np.zeros(len(design.holes), dtype=bool)
    if copper is None:
        return LandsSeen(best.agree, none)
    likeness, telling = land_likeness(best.eye, best.to_px, design, copper)
    shown = likeness >= least_likeness(likeness, telling)
    missing = telling & ~shown
    if best.by == "marks":
        within = inside(best.eye.size_px, best.to_px(design.xy_mm), 8.0)
        owed = np.array([land is not None for land in design.lands])
        owed &= ~bores_at(best.eye, best.to_px, design)
        missing |= ~telling & within & owed & ~best.agree
    return LandsSeen(np.where(telling, shown, best.agree), missing)


def least_likeness(likeness: np.ndarray, telling: np.ndarray) -> float:
    """From which on a land is there: less than on most of this board, and never hardly any."""
    usual = float(np.median(likeness[telling])) if telling.sum() >= 3 else 1.0
    return max(SHOWN * usual, LEAST_SHOWN)


class LandWatch:
    """The lands that did not show when the board was found, looked for again while it is
    followed: the hand that lay over them goes away, and another board may come back.

    weights: (3,) of B, G, R, a mixture in which copper is bright; missing: (N,), or empty
    """

    def __init__(
        self, design: Design, copper: Copper | None, missing: np.ndarray, weights, noise: float
    ) -> None:
        self._design, self._copper = design, copper
        self._weights, self._noise = np.asarray(weights, np.float32), noise
        self.missing = missing.copy()
        self._pictures, self._least = 0, 1.0

    def begin(self, image: np.ndarray, to_px) -> None:
        """With the picture in which the board was found."""
        if self._copper is not None:
            likeness, telling = self._likeness(image, to_px)
            self._least = least_likeness(likeness, telling)

    def look(self, image: np.ndarray, to_px) -> None:
        """At some of the missing ones, in every so manieth picture."""
        self._pictures += 1
        left = np.flatnonzero(self.missing)
        if self._copper is None or not len(left) or self._pictures % EVERY:
            return
        some = np.roll(left, -A_TIME * (self._pictures // EVERY))[:A_TIME]
        likeness, telling = self._likeness(image, to_px, some)
        there = telling & (likeness >= self._least + SURELY)
        if not telling.all():  # in a pour, where only a mark may show
            eye = Eye(grey_of(image, self._weights).image, self._noise)
            dots = dots_at(eye, to_px, self._design.xy_mm[some], RADII_MM[1])
            there |= ~telling & (dots.likeness >= MARKED)
        self.missing = self.missing.copy()
        self.missing[some[there]] = False

    def found_again(self, image: np.ndarray, to_px) -> None:
        """It was out of sight: all lands anew."""
        if self._copper is None or not len(self.missing):
            return
        likeness, telling = self._likeness(image, to_px)
        self.missing = np.where(telling, likeness < self._least, self.missing)

    def _likeness(self, image: np.ndarray, to_px, which: np.ndarray | None = None):
        """Of some of the lands, or of all."""
        if which is None:
            about = _all_drawn(self._design, self._copper)
        else:
            about = _Drawn.about(self._design, self._copper, which)
        read = partial(grey_at, image, weights=self._weights)
        return _likeness(read, image.shape[1::-1], self._noise, to_px, about)


def land_likeness(eye: Eye, to_px, design: Design, copper: Copper) -> tuple[np.ndarray, np.ndarray]:
    """(N,) correlation of the copper about each hole as drawn with the picture, -1 ... 1;
    (N,) bool: something is drawn there that can be seen, and all of it is in view.

    eye: a mixture in which copper is bright; to_px: design mm -> pixels
    """
    return _likeness(
        lambda px: sample(eye.grey, px), eye.size_px, eye.noise, to_px, _all_drawn(design, copper)
    )


@dataclass(frozen=True, eq=False)
class _Drawn:
    """The copper about K holes as it is drawn, at M points in all.

    owner: (M,) which hole, in order; place: (M,) which point of grid, mm from the hole
    drawn: (M,) copper 1 and bare 0, less the mean about that hole; spread: (K,) its variance
    """

    holes_mm: np.ndarray
    grid: np.ndarray
    owner: np.ndarray
    place: np.ndarray
    drawn: np.ndarray
    spread: np.ndarray

    @classmethod
    def about(cls, design: Design, copper: Copper, which: np.ndarray) -> _Drawn:
        """which: (K,) holes"""
        lands, holes_mm = [design.lands[k] for k in which], design.xy_mm[which]
        reach_mm = np.array(
            [USUAL_MM if land is None else max(land.size_mm) / 2 + MARGIN_MM for land in lands]
        ).clip(max=WIDEST_MM)
        axis = np.arange(-WIDEST_MM, WIDEST_MM + 1e-9, STEP_MM)
        grid = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
        away, inner = np.linalg.norm(grid, axis=1), design.drill_mm[which] / 2 + HOLE_MARGIN_MM
        # Drilled already or not, marked or not: the hole's own place says nothing of its land.
        near = (away <= reach_mm[:, None]) & (away >= inner[:, None])
        owner, place = np.nonzero(near)
        on_mask = _about_each(copper.to_design.inverse, holes_mm, grid, owner, place)
        drawn, spread = _centred(sample(_soft(copper), on_mask), owner, len(near))
        return cls(holes_mm, grid, owner, place, drawn, spread)


_drawn: weakref.WeakKeyDictionary[Design, dict[str, _Drawn]] = weakref.WeakKeyDictionary()


def _all_drawn(design: Design, copper: Copper) -> _Drawn:
    """About all holes; made once."""
    faces = _drawn.setdefault(design, {})
    if copper.face not in faces:
        faces[copper.face] = _Drawn.about(design, copper, np.arange(len(design.holes)))
    return faces[copper.face]


def _likeness(read, size_px, noise: float, to_px, about: _Drawn):
    owner, count = about.owner, len(about.holes_mm)
    px = _about_each(to_px, about.holes_mm, about.grid, owner, about.place)
    seen, power = _centred(read(px), owner, count)
    together = np.bincount(owner, about.drawn * seen, count) / _counts(owner, count)
    likeness = together / np.sqrt(np.maximum(about.spread, 1e-9) * (power + noise**2))
    outside = np.bincount(owner[~inside(size_px, px, 2.0)], minlength=count)
    return likeness, (outside == 0) & (about.spread > LEAST_SPREAD)


def _about_each(to_px, holes_mm: np.ndarray, grid: np.ndarray, owner, place) -> np.ndarray:
    """(M, 2) float32 where to_px has the points grid[place] (mm) about the holes `owner`: by the
    map's slope at each hole, which over a land is exact to a hundredth of a pixel."""
    step = 0.5 * np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    ends = to_px((holes_mm + step[:, None]).reshape(-1, 2)).reshape(3, -1, 2)
    local = np.concatenate([ends[:1], (ends[1:] - ends[0]) / 0.5]).astype(np.float32)
    across, down = grid.astype(np.float32)[place].T
    px = np.empty((len(owner), 2), np.float32)
    for k in (0, 1):
        at, right, up = (part[:, k][owner] for part in local)
        px[:, k] = at + right * across + up * down
    return px


_softened: weakref.WeakKeyDictionary[Copper, np.ndarray] = weakref.WeakKeyDictionary()


def _soft(copper: Copper) -> np.ndarray:
    """float32, copper 1 and bare 0, its edges as soft as they are seen; made once."""
    soft = _softened.get(copper)
    if soft is None:
        soft = cv2.GaussianBlur(copper.mask, (0, 0), SOFT_MM * copper.px_per_mm) / np.float32(255)
        _softened[copper] = soft
    return soft


def _counts(owner: np.ndarray, count: int) -> np.ndarray:
    return np.maximum(np.bincount(owner, minlength=count), 1)


def _centred(values: np.ndarray, owner: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """(M,) less the mean of those of the same owner; (count,) their variance.

    owner: (M,) 0 ... count - 1
    """
    total = _counts(owner, count)
    away = values - (np.bincount(owner, values, count) / total)[owner]
    return away, np.bincount(owner, away**2, count) / total
