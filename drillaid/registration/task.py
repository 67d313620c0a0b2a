"""What is looked for in one photograph, and the time it takes."""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from functools import cache, cached_property

from drillaid.design.model import Design
from drillaid.registration.refined import Refined
from drillaid.vision.channel import grey_of
from drillaid.vision.eye import Eye
from drillaid.vision.fringes import Fringes

BEYOND_DOUBT = 0.75  # share of the readings in view; or so many times the support that convinces
TIMES_ENOUGH = 3.0


@dataclass
class Clock:
    """Seconds spent by stage, wall clock."""

    started: float
    find: float = 0.0
    match: float = 0.0
    fit: float = 0.0

    def as_dict(self) -> dict[str, float]:
        """For the contract's `seconds`."""
        total = time.perf_counter() - self.started
        return {"find": self.find, "match": self.match, "fit": self.fit, "total": total}


class Later:
    """Work for another thread, begun when there is room for it, or else when it is asked for."""

    def __init__(self, begin: Callable[[], Future]) -> None:
        self._begin = cache(begin)

    def begin(self) -> None:
        """Now."""
        self._begin()

    def result(self):
        """What came of it."""
        return self._begin().result()


@dataclass(frozen=True, eq=False)
class Task:
    """What is looked for in one photograph.

    image: uint8 BGR, its colours laid over each other by `fringes`; mirrored: how the design
    should appear; pads: pointed out by a person; focus: how sharp the image is, on its way;
    known: hypotheses and likely places already worked out; aside: likely ones not looked at closely
    """

    image: object
    design: Design
    mirrored: bool
    pads: tuple
    clock: Clock
    fringes: Fringes
    focus: Later
    known: dict = field(default_factory=dict)
    aside: list = field(default_factory=list)

    @cached_property
    def eye(self) -> Eye:
        """The photograph in its best grey, made when it is first asked for."""
        grey = grey_of(self.image)
        return Eye(grey.image, grey.noise)


def beyond_doubt(r: Refined) -> bool:
    """So much agrees that only its own twins need be looked at."""
    e = r.evidence
    freely = r.by == "rims" and not r.hypothesis.scene.calibrated
    much = (r.by == "copper" or freely) and e.support() >= TIMES_ENOUGH * e.enough
    # Without a rig rims of three quarters of a small board were seen at wrong places, too.
    sure = much or (e.share >= BEYOND_DOUBT and not freely)
    return bool(r.plausible and e.convincing and sure)
