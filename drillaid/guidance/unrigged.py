"""Finding and following a board where there is no rig file, only the spindle's pixel.

The first picture in which the board is found makes a rig (`registration.makeshift`);
from then on all goes as with one. Answers are in mm of the board's plane about the
spindle axis, so for a `Session` the spindle stands at (0, 0).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from drillaid.guidance.finder import BoardFinder
from drillaid.guidance.spindle_mark import SpindleMark
from drillaid.registration.result import NOT_FOUND, Registration

if TYPE_CHECKING:
    from drillaid.design.model import Design
    from drillaid.registration.makeshift import Makeshift

SPINDLE_MM = (0.0, 0.0)
_NO_CAMERA = (
    "The board was found, but not well enough to tell how the camera looks at it: show the "
    "whole board, flat and in even light."
)
_MOVED = (
    "The board is there, but not where the camera saw the first one: the camera has moved, or "
    "this board is thicker or thinner. Drill a fresh hole in scrap and start again."
)


class UnriggedFinder:
    """As `BoardFinder`.

    mark: where the spindle axis is in the camera's pictures; thickness_mm: of board and scrap
    find: picture -> Registration without a rig; default: `register_picture`
    """

    def __init__(
        self, design: Design, mark: SpindleMark, *, face: str, thickness_mm: float = 1.6,
        hurry: bool = False, find: Callable[[np.ndarray], Registration] | None = None,
    ) -> None:  # fmt: skip
        self._design, self._mark, self._face, self._hurry = design, mark, face, hurry
        self._thickness_mm = thickness_mm
        self._find = self._register if find is None else find
        self._inner: BoardFinder | None = None
        self.makeshift: Makeshift | None = None

    @property
    def following(self) -> bool:
        return self._inner is not None and self._inner.following

    def forget(self) -> None:
        """The last place says nothing any more: the pictures stopped for a while."""
        if self._inner is not None:
            self._inner.forget()

    def look(self, image: np.ndarray) -> Registration:
        """The board's place in this picture, or a refusal with its reason."""
        if self._inner is None:
            return self._begin(image)
        return self._told(self._inner.look(image))

    def point_out(self, image: np.ndarray, pads) -> Registration:
        """See `BoardFinder.point_out`."""
        if self._inner is None:
            return self._begin(image, self._register(image, pads=tuple(pads)))
        return self._told(self._inner.point_out(image, pads))

    def _register(self, image: np.ndarray, **rig) -> Registration:
        from drillaid.registration.register import register_picture

        return register_picture(image, self._design, face=self._face, **rig)

    def _begin(self, image: np.ndarray, found: Registration | None = None) -> Registration:
        from drillaid.registration.following import Follower
        from drillaid.registration.makeshift import makeshift_rig

        found = self._find(image) if found is None else found
        if not found.ok:
            return found
        made = makeshift_rig(image, self._design, found, self._mark.px, face=self._face)
        if made is None:
            return replace(found, status=NOT_FOUND, message=_NO_CAMERA, placement=None)
        self.makeshift = made
        follower = Follower(
            self._design, made.rig, thickness_mm=0.0, face=self._face, doubt=made.variance_mm2
        )
        self._inner = BoardFinder(self._search, follower, hurry=self._hurry)
        return self._told(self._inner.take(made.registration(self._design, found), image))

    def _search(self, image: np.ndarray, pads=()) -> Registration:
        """With the makeshift rig; where that fails, without, to tell a camera that moved."""
        found = self._register(image, rig=self.makeshift.rig, thickness_mm=0.0, pads=pads)
        if pads or found.ok or found.status != NOT_FOUND:
            return found
        free = self._find(image)
        return replace(free, status=NOT_FOUND, message=_MOVED, placement=None) if free.ok else found

    def _told(self, registration: Registration) -> Registration:
        """With what the spindle's pixel is uncertain by, and not called a bench's."""
        place = registration.placement
        if place is None:
            return registration
        mark = self._mark.covariance_seen_by(self.makeshift.rig, self._thickness_mm)
        spindle = self.makeshift.spindle_error_mm(mark)
        expected = np.hypot(place.expected_error_mm, spindle)
        return replace(
            registration, placement=replace(place, expected_error_mm=expected, on_bench=False)
        )
