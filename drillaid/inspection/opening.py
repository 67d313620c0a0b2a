"""The fewest holes to open, and no wider than needed, for a part to go in: an exact search.

Where a part does not go in, the holes that hold it (`PartFit.hold`) keep it out by
themselves, whatever the others are like. So one of them at least must be opened further,
and trying each in turn, and so on, misses no way out; three or four hold a part, and few
holes need opening, so the search is short. First the smallest sets, all of them, with
every hole as wide as it may be; then of all bits for these sets the least widening, cheapest
first. Play never falls as holes grow, so the first that is found is the best.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drillaid.inspection.fit import PartFit, Pin, fit_part

MOST = 4  # holes to be opened each with its own bit; beyond that a person opens them all
FITS = 400  # tried before the search is given up, some seconds
HOLDS = 1e-5  # share of a part's hold that is more than the solver's remainder

State = tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Holes:
    """A part and its holes: as for `fit_part`, and options: by hole, the wider bits it may
    take, sorted"""

    centres_mm: np.ndarray
    diameters_mm: np.ndarray
    nominal_mm: np.ndarray
    pin: Pin
    along_rad: float | None
    options: Sequence[Sequence[float]]

    def play_mm(self, diameters_mm) -> float:
        return fit_part(
            self.centres_mm, diameters_mm, self.nominal_mm, self.pin, along_rad=self.along_rad
        ).play_mm

    def widest(self) -> np.ndarray:
        """(N,), every hole opened as far as it may be."""
        pairs = zip(self.diameters_mm, self.options, strict=True)
        return np.array([max([float(d), *options]) for d, options in pairs])


@dataclass(frozen=True, eq=False)
class Choice:
    """diameters_mm: (N,) after opening; smallest: no smaller remedy exists"""

    diameters_mm: np.ndarray
    smallest: bool


def fewest_openings(holes: Holes, margin_mm: float = 0.0) -> Choice | None:
    """The fewest holes opened and, of all ways to do with so few, the least widened in all.

    None where the part does not go in with a play of margin_mm whatever is opened. Where
    more than MOST holes would have to be opened, one bit for all that need it, as small as
    will do and none that could be left out; `smallest` is False then.
    """
    search = _Search(holes, margin_mm)
    if search.fit(search.widest).play_mm < margin_mm:
        return None
    try:
        sets = search.smallest_sets()
        if sets:
            return Choice(search.diameters(search.least_widened(sets)), True)
    except _TooLong:
        pass
    return Choice(search.diameters(search.one_bit()), False)


class _TooLong(Exception):
    """More fits than anyone waits for."""


class _Search:
    """A state says how far each hole is opened: 0, as it is; k, to its k-th option."""

    def __init__(self, holes: Holes, margin_mm: float) -> None:
        self.holes = holes
        self.margin = margin_mm
        self.none = (0,) * len(holes.options)
        self.widest = tuple(len(bits) for bits in holes.options)
        self.fits = 0

    def diameters(self, state: State) -> np.ndarray:
        pairs = zip(state, self.holes.diameters_mm, self.holes.options, strict=True)
        return np.array([bits[k - 1] if k else float(d) for k, d, bits in pairs])

    def fit(self, state: State) -> PartFit:
        self.fits += 1
        if self.fits > FITS:
            raise _TooLong
        h = self.holes
        return fit_part(
            h.centres_mm, self.diameters(state), h.nominal_mm, h.pin, along_rad=h.along_rad
        )

    def goes_in(self, state: State) -> tuple[bool, list[int]]:
        """(whether, else the holes of which one at least must be opened further)"""
        fit = self.fit(state)
        if fit.play_mm >= self.margin:
            return True, []
        holding = np.flatnonzero(fit.hold > HOLDS).tolist()
        return False, [i for i in holding if state[i] < self.widest[i]]

    def smallest_sets(self) -> list[frozenset[int]]:
        """All sets of as few holes as will do, opened as far as may be; [] beyond MOST."""
        level, seen = [frozenset()], set()
        for _ in range(MOST + 1):
            enough, further = [], set()
            for opened in level:
                state = tuple(w if i in opened else 0 for i, w in enumerate(self.widest))
                good, blocking = self.goes_in(state)
                if good:
                    enough.append(opened)
                further |= {opened | {i} for i in blocking}
            if enough:
                return enough
            level = sorted(further - seen, key=sorted)
            seen |= further
        return []

    def least_widened(self, sets: list[frozenset[int]]) -> State:
        """Of all ways to open just one of these sets, the one with the least widening."""
        waiting = []
        for opened in sets:
            state = tuple(int(i in opened) for i in range(len(self.none)))
            heapq.heappush(waiting, (self.widening(state), state))
        seen = {state for _, state in waiting}
        while waiting:
            _, state = heapq.heappop(waiting)
            good, blocking = self.goes_in(state)
            if good:
                return state
            for i in blocking:
                wider = tuple(k + (j == i) for j, k in enumerate(state))
                if state[i] and wider not in seen:
                    seen.add(wider)
                    heapq.heappush(waiting, (self.widening(wider), wider))
        raise AssertionError("the sets were found to be enough")

    def widening(self, state: State) -> float:
        return float((self.diameters(state) - self.holes.diameters_mm).sum())

    def one_bit(self) -> State:
        """As few limits as can be met without a search: see `fewest_openings`."""
        self.fits = -10 * FITS
        state = self.widest
        for bit in sorted({bit for bits in self.holes.options for bit in bits}):
            trial = tuple(sum(b <= bit + 1e-9 for b in bits) for bits in self.holes.options)
            if self.goes_in(trial)[0]:
                state = trial
                break
        for i in range(len(state)):
            trial = (*state[:i], 0, *state[i + 1 :])
            if state[i] and self.goes_in(trial)[0]:
                state = trial
        return state
