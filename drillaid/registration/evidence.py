"""How much speaks for a placement, against chance and against its best rival.

Each hole in view either shows something that agrees or it does not. If the
placement were wrong, something would agree at a share `chance` of places (measured
beside the holes of this very board); if right, at the share `seen` that this board
shows. The logarithm of the likelihood ratio adds up over the holes:

    sum over agreeing  ln(seen / chance)  +  sum over the others  ln((1 - seen) / (1 - chance))
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

# Natural logarithms. A search tries some 10^6 placements (ln = 14) and fits up
# to eight numbers to the pads it finds (four pads agree for nothing).
ENOUGH = 30.0
# By rims without a rig, where scale, tilt and the lands' sizes are free as well: wrong places on
# photographs of a board with 22 holes had up to 56 where few of them were empty; right ones 77.
FREELY_ENOUGH = 62.0
# Of known copper less is enough: on benches without the board the best of all places
# never passed 5 (tests/benchmarks/bench_registration.py prints it).
COPPER_ENOUGH = 20.0
APART = 8.0  # a rival this close is not told apart: about two pads
LEAST_SHARE = 0.5  # of the holes or stretches in view: up to 40 % may be unseen
LEAST_PADS = 8
# Of known copper at its known scale, where wrong places never showed more than a quarter of
# a hundred stretches: hands and blotchy metal may take more of a large board; and of a
# small one less support is enough where most of what is telling agrees (wrong places: 8).
MANY, LEAST_OF_MANY, MANY_ENOUGH = 80, 0.4, 25.0
SOME, CLEAR_SHARE, CLEAR_ENOUGH = 24, 0.6, 13.0
# Where one place stands out from all others by far, at the first look at every shift and
# rotation, the share may be lower still: without the board the highest of all was never
# above 15.4 sigmas, nor 1.35 times the next one elsewhere (140 benches: other designs'
# boards and empty ones; a right place that is well seen has 20 to 60).
ALONE_LEAST, ALONE_ENOUGH = 0.35, 13.0
# What speaks for known copper besides long straight edges. A solid pour's frame fits every
# board of its size, whichever way round it lies, and has given a wrong place a support of 29;
# of what is telling such places had 2 at the most, and other designs nothing (300 places on
# 110 boards). Where that is plain, less of the whole is enough; but not of a small board,
# on which one part that others have too, a row of pads, may be most of what tells.
TELLING_LEAST, TELLING_PLAIN, PLAIN_ENOUGH, PLAIN_VOICES = 5.0, 7.0, 9.0, 40.0
MOST_CHANCE = 0.35  # where more agrees by accident, agreeing says too little
# Blotchy metal, drilled holes and dust show edges everywhere; but of known copper nearly all is
# there only at its place: the more is there, the more chance is allowed. (Rims about holes are
# not: wood grain has shown nine of ten.)
# Where a lens is fitted as well, one end of a strip was taken for another: of the stretches seven
# tenths agreed, of the lands four. At right places nearly all do that no hand lies over.
LEAST_LANDS = 0.55
MUCH, NEARLY_ALL, COPPER_MOST_CHANCE = 0.8, 0.9, 0.6


@dataclass(frozen=True)
class Evidence:
    """agreeing of in_view holes agree; chance: share that would do so by accident;
    level: what agreeing took, mm for edges, a share of the rim for rims
    telling: the share where long straight edges, which many boards have, count little
    enough: support that convinces; most_chance: allowed where nearly all agrees
    known: stretches of known copper were counted
    alone: at the first look no other place was nearly as good
    voices: what they amount to where long straight edges count little; None: in_view
    empty: of the holes in view, at which nothing at all shows
    lands: share of those in view that agree, where copper and a lens are fitted at once"""

    agreeing: int
    in_view: int
    chance: float
    level: float = 0.1
    telling: float = 1.0
    enough: float = ENOUGH
    most_chance: float = MOST_CHANCE
    known: bool = False
    alone: bool = False
    voices: float | None = None
    empty: int = 0
    lands: float = 1.0

    @property
    def share(self) -> float:
        return self.agreeing / max(self.in_view, 1)

    def support(self, seen: float | None = None) -> float:
        """ln likelihood ratio; seen: expected share if right, default this one's own."""
        share = self.share if seen is None else seen
        return _ratio(self.agreeing, self.in_view, share, self.chance)

    @property
    def telling_support(self) -> float:
        """The same of what is telling alone."""
        return _ratio(self.telling * self._voices, self._voices, self.telling, self.chance)

    @property
    def _voices(self) -> float:
        return self.in_view if self.voices is None else self.voices

    @property
    def tells(self) -> bool:
        """Does agreeing say anything here, or would too much agree by accident?"""
        share = min(self.share, self.telling)
        much = float(np.clip((share - MUCH) / (NEARLY_ALL - MUCH), 0.0, 1.0))
        return self.chance <= MOST_CHANCE + much * (self.most_chance - MOST_CHANCE)

    @property
    def convincing(self) -> bool:
        """Enough pads, a large enough share, and far beyond what a search finds by luck."""
        share, support = min(self.share, self.telling), self.support()
        least, enough = LEAST_SHARE, self.enough
        if self.known and self.in_view >= MANY and support >= MANY_ENOUGH:
            least = LEAST_OF_MANY
        if self.known and self.in_view >= SOME and share >= CLEAR_SHARE:
            enough = CLEAR_ENOUGH
        if self.known and self._voices >= PLAIN_VOICES and self.telling_support >= TELLING_PLAIN:
            enough = PLAIN_ENOUGH
        if self.alone:
            least, enough = min(least, ALONE_LEAST), min(enough, ALONE_ENOUGH)
        return bool(
            self.agreeing >= LEAST_PADS
            and self.tells
            and share >= least
            and self.lands >= LEAST_LANDS
            and support >= enough
            and (not self.known or self.telling_support >= TELLING_LEAST)
        )


def _ratio(agreeing: float, of: float, share: float, chance: float) -> float:
    p1, p0 = float(np.clip(share, 0.5, 0.97)), float(np.clip(chance, 0.005, 0.995))
    if p0 >= p1:
        return 0.0
    return agreeing * np.log(p1 / p0) + (of - agreeing) * np.log((1 - p1) / (1 - p0))


def strongest(counts: list[Evidence]) -> Evidence:
    """Of several tolerances the most telling: a tight one when the board is clean, a wide
    one where only so enough of the pads are seen."""
    return max(counts, key=lambda e: (e.convincing, e.support()))


def told_apart(best: Evidence, rival: Evidence) -> bool:
    """Is the best clearly ahead? Both are judged by what the best one's board shows, and by
    one chance: what was counted beside the one or the other is luck, and separates nothing."""
    seen = float(np.clip(best.share, 0.5, 0.97))
    chance = max(best.chance, rival.chance)
    ahead = replace(best, chance=chance).support(seen) - replace(rival, chance=chance).support(seen)
    return ahead >= APART
