"""Where the board lies, picture after picture: found once, then followed, found again when lost."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

from drillaid.registration.result import DARK, NOT_FOUND, Registration
from drillaid.registration.words import dark_sentence
from drillaid.vision.quality import too_dark

if TYPE_CHECKING:
    from drillaid.design.model import Design
    from drillaid.rig.rig import Rig

# A scene in which the thorough search found nothing is not searched again while it lies
# still, but for one picture in so many.
AGAIN_AFTER = 40
CHANGED_GREY, CHANGED_SHARE = 10.0, 0.01  # what moved, of the picture 16 times smaller


class BoardFinder:
    """find: picture -> Registration, the thorough search, with `pads` too for `point_out`;
    follower: `Follower` or its like.

    hurry: pictures come by the clock. A board that was lost is then looked for in the
      quick way in every picture, and thoroughly only when nothing moves.
    searches: thorough ones; found_again: how often one of them placed the board
    """

    def __init__(
        self, find: Callable[[np.ndarray], Registration], follower, *, hurry: bool = False
    ) -> None:
        self._find, self._follower, self._hurry = find, follower, hurry
        self._before: np.ndarray | None = None
        self._in_vain: tuple[np.ndarray, Registration] | None = None
        self._waited = 0
        self.searches = self.found_again = 0

    @classmethod
    def of(
        cls, design: Design, rig: Rig, *, face: str = "bottom", thickness_mm: float = 1.6,
        hurry: bool = False,
    ) -> BoardFinder:  # fmt: skip
        """With the registration and the follower of this program.

        What the rig file records of its own errors is counted into the expected ones.
        """
        from drillaid.registration.following import Follower
        from drillaid.registration.register import register_picture
        from drillaid.rig.doubt import RigDoubt

        def find(image: np.ndarray, pads=()) -> Registration:
            return register_picture(
                image, design, rig=rig, face=face, thickness_mm=thickness_mm, pads=pads
            )

        doubt = RigDoubt.of(rig)

        def variance(place, seen_mm, at_mm) -> np.ndarray:
            parts = doubt.under_spindle_mm2(rig, place, seen_mm, at_mm, thickness_mm)
            return sum(parts.values())

        follower = Follower(
            design, rig, thickness_mm=thickness_mm, face=face,
            doubt=variance if doubt.known else None,
        )  # fmt: skip
        return cls(find, follower, hurry=hurry)

    @property
    def following(self) -> bool:
        return self._follower.following

    def expect(self, shift_mm: np.ndarray) -> None:
        """As `Follower.expect`."""
        self._follower.expect(shift_mm)

    def look(self, image: np.ndarray) -> Registration:
        """The board's place in this picture, or a refusal with its reason.

        A board that slipped from the follower is searched for in the same picture.
        """
        if self._follower.following:
            followed = self._follower.follow(image)
            if followed.ok:
                return followed
        again = self._follower.find_again(image)
        if again.ok:
            return again
        small = _small(image)
        waits = self._has_to_wait(small)
        self._before = small
        if waits is not None:
            return waits
        return self._search(image, small)

    def _has_to_wait(self, small: np.ndarray) -> Registration | None:
        """Why the thorough search is put off, or None."""
        if not self._hurry or not self._follower.knows_the_board:
            return None
        if too_dark(small):
            return Registration(NOT_FOUND, dark_sentence(), reason=DARK)
        if self._in_vain is not None and _alike(small, self._in_vain[0]):
            self._waited += 1
            if self._waited < AGAIN_AFTER:
                return self._in_vain[1]
        elif self._before is None or not _alike(small, self._before):
            return Registration(
                NOT_FOUND, "The board is lost: let it lie still in full view, hands away."
            )
        return None

    def _search(self, image: np.ndarray, small: np.ndarray) -> Registration:
        self.searches += 1
        self._waited = 0
        found = self._find(image)
        if found.ok and found.placement.matrix is not None:
            self._in_vain = None
            self.found_again += 1
            return self.take(found, image)
        self._in_vain = small, found
        return found

    def point_out(self, image: np.ndarray, pads) -> Registration:
        """As a person points out pads of this picture, (hole, u, v) each; followed from then on.

        For a board that fits in more than one way. `find` must take `pads`.
        """
        found = self._find(image, pads=tuple(pads))
        if not found.ok or found.placement.matrix is None:
            return found
        self._in_vain = None
        return self.take(found, image)

    def take(self, registration: Registration, image: np.ndarray) -> Registration:
        """Follows from a registration of `image` that was made elsewhere.

        As it came, with what the rig's own errors add to the expected ones.
        """
        doubt = self._follower.start(registration, image)
        if doubt is None:
            return registration
        place = registration.placement
        expected = np.sqrt(place.expected_error_mm**2 + doubt)
        return replace(registration, placement=replace(place, expected_error_mm=expected))

    def forget(self) -> None:
        """The last place says nothing any more: the pictures stopped for a while."""
        self._follower.lose()


def _small(image: np.ndarray) -> np.ndarray:
    height, width = image.shape[:2]
    size = max(1, width // 16), max(1, height // 16)
    return cv2.resize(image, size, interpolation=cv2.INTER_AREA).astype(np.float32)


def _alike(one: np.ndarray, other: np.ndarray) -> bool:
    if one.shape != other.shape:
        return False
    changed = np.abs(one - other).max(axis=2) > CHANGED_GREY
    return float(changed.mean()) < CHANGED_SHARE
