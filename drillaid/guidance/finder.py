"""Where the board lies, picture after picture: found once, then followed, found again when lost."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from drillaid.registration.result import Registration

if TYPE_CHECKING:
    import numpy as np

    from drillaid.design.model import Design
    from drillaid.rig.rig import Rig


class BoardFinder:
    """find: picture -> Registration, the thorough search; follower: `Follower` or its like.

    found_again: how often the thorough search had to place the board.
    """

    def __init__(self, find: Callable[[np.ndarray], Registration], follower) -> None:
        self._find = find
        self._follower = follower
        self.searches = self.found_again = 0

    @classmethod
    def of(
        cls, design: Design, rig: Rig, *, face: str = "bottom", thickness_mm: float = 1.6
    ) -> BoardFinder:
        """With the registration and the follower of this program."""
        from drillaid.registration.following import Follower
        from drillaid.registration.register import register_picture

        def find(image: np.ndarray) -> Registration:
            return register_picture(
                image, design, rig=rig, face=face, thickness_mm=thickness_mm
            )

        return cls(find, Follower(design, rig, thickness_mm=thickness_mm, face=face))

    @property
    def following(self) -> bool:
        return self._follower.following

    def look(self, image: np.ndarray) -> Registration:
        """The board's place in this picture, or a refusal with its reason.

        A board that slipped from the follower is searched for in the same picture.
        """
        if self._follower.following:
            followed = self._follower.follow(image)
            if followed.ok:
                return followed
        self.searches += 1
        found = self._find(image)
        if found.ok and found.placement.matrix is not None:
            self._follower.start(found, image)
            self.found_again += 1
        return found

    def take(self, registration: Registration, image: np.ndarray) -> None:
        """Follows from a registration of `image` that was made elsewhere."""
        self._follower.start(registration, image)

    def forget(self) -> None:
        """The last place says nothing any more: the pictures stopped for a while."""
        self._follower.lose()
