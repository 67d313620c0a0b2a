"""Choosing views of the pattern from live pictures, and saying which are still missing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.corners import grey_of
from calibration.glance import STILL, Glance, Stillness, glance
from calibration.lens import ENOUGH, LensResult, Photo, calibrate_lens
from calibration.pattern import Pattern
from calibration.spread import CORNERS, GRID, seen_cells, seen_corners
from calibration.views import NoPattern, find_pattern
from drillaid.errors import PictureError

TILT = 0.21  # 12 degrees to one side counts
ASKED_TILT_DEG = 25.0  # what is asked for
COVERED = 0.85  # of the picture's cells
DISTANCES = 1.3  # farthest view over nearest
UNLIKE = 0.75  # from every view taken before
MOST = 30  # views; more cost time and tell nothing new
SIDES = ("left", "right", "upper", "lower")  # edge of the sheet that is nearer to the camera

MOVING, NOTHING, TAKEN, REJECTED, SAME, DONE = (
    "moving", "nothing", "taken", "rejected", "same", "done",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class LensState:
    """What the window or the terminal shows.

    phase: moving, nothing (no pattern), taken (just now), rejected (not sharp …), same
    (as a view before), done
    message: what happened; missing: what to do, the most useful first
    views: taken so far, of `wanted`; grid: (rows, columns) bool of the picture
    corners: which corners of the picture were seen, in the order of spread.CORNERS
    tilts: in the order of SIDES; near_far: whether distances differ enough
    points_px: (N, 2) of the pattern in this picture, to be drawn
    """

    phase: str
    message: str
    views: int
    wanted: int
    grid: np.ndarray
    corners: tuple[bool, ...]
    tilts: tuple[bool, ...]
    near_far: bool
    missing: tuple[str, ...]
    points_px: np.ndarray

    @property
    def done(self) -> bool:
        return not self.missing

    @property
    def advice(self) -> str:
        """One sentence: what the hand does next."""
        return f"{self.missing[0][:1].upper()}{self.missing[0][1:]}." if self.missing else "Done."


class LensSession:
    """Fed pictures one after the other; no clock, no thread, no camera of its own.

    A picture is looked at once the scene holds still, and measured only if it shows
    the pattern otherwise than the views taken before.
    """

    def __init__(self, pattern: Pattern, wanted: int = ENOUGH):
        self.pattern, self.wanted = pattern, wanted
        self._still = Stillness()
        self._photos: list[Photo] = []
        self._glances: list[Glance] = []
        self._judged = False  # this still scene has been looked at already
        self._size_px: tuple[int, int] | None = None
        self._grid = np.zeros(GRID[::-1], bool)
        self._corners = np.zeros(4, bool)
        self._tilts = np.zeros(4, bool)
        self.state = self._state(NOTHING, "Waiting for the pattern.", None)

    @property
    def photos(self) -> tuple[Photo, ...]:
        return tuple(self._photos)

    def feed(self, image: np.ndarray) -> LensState:
        """Looks at one uint8 picture (BGR or grey) and says what came of it.

        Raises PictureError when the size of the pictures changes.
        """
        grey = grey_of(image)
        size_px = grey.shape[1], grey.shape[0]
        if self._size_px not in (None, size_px):
            before, now = (f"{w} x {h}" for w, h in (self._size_px, size_px))
            raise PictureError(
                f"the pictures changed from {before} to {now} px",
                remedy="give pictures of one size: a lens is calibrated for one",
            )
        self._size_px = size_px
        if self._still.moved(grey) > STILL:
            self._judged = False
            return self._tell(MOVING, "Moving; hold the sheet still.")
        if self._judged:
            return self.state
        self._judged = True
        return self._look(grey)

    def result(self) -> LensResult:
        """The lens from the views taken so far, or a refusal."""
        return calibrate_lens(self._photos, self.pattern)

    def _look(self, grey) -> LensState:
        seen = glance(grey, self.pattern)
        if seen is None:
            found = find_pattern(grey, self.pattern) if not self._glances else None
            why = found.reason if isinstance(found, NoPattern) else "no pattern is seen"
            return self._tell(NOTHING, f"{why[:1].upper()}{why[1:]}.")
        if not self._worth(seen):
            return self._tell(SAME, "This view is much like one before.", seen)
        found = find_pattern(grey, self.pattern)
        if isinstance(found, NoPattern):
            return self._tell(REJECTED, f"{found.reason[:1].upper()}{found.reason[1:]}.", seen)
        self._glances.append(seen)
        self._photos.append(Photo(f"view {len(self._photos) + 1}", self._size_px, found))
        self._grid |= seen_cells(found.corners_px, self._size_px)
        self._corners |= seen_corners(found.corners_px, self._size_px)
        self._tilts |= _tilts(seen)
        return self._tell(TAKEN, f"View {len(self._photos)} taken.", seen)

    def _worth(self, seen: Glance) -> bool:
        """Unlike every view before, and once there are enough, also of use for what is missing."""
        if any(seen.unlike(other, self._size_px) < UNLIKE for other in self._glances):
            return False
        if len(self._glances) < self.wanted:
            return True
        return bool(
            (_tilts(seen) & ~self._tilts).any()
            or (seen_corners(seen.px, self._size_px) & ~self._corners).any()
            or (seen_cells(seen.px, self._size_px) & ~self._grid).sum() >= 2
            or not self._near_far()
        )

    def _near_far(self) -> bool:
        distances = [seen.distance_mm for seen in self._glances]
        return len(distances) > 1 and max(distances) >= DISTANCES * min(distances)

    def _missing(self) -> tuple[str, ...]:
        if len(self._glances) >= MOST:
            return ()
        out = []
        if not self._glances:
            out.append("lay the sheet flat under the camera so that it fills most of the picture")
        out += [
            f"move the sheet so that it fills the {name} corner of the picture"
            for name, seen in zip(CORNERS, self._corners, strict=True)
            if not seen
        ]
        width, height = self.pattern.size_mm
        for side, seen in zip(SIDES, self._tilts, strict=True):
            if not seen:
                reach = width if side in ("left", "right") else height
                lift = max(1, round(reach * np.sin(np.radians(ASKED_TILT_DEG)) / 10))
                out.append(f"lift the {side} edge of the sheet by about {lift} cm")
        if not self._near_far():
            out.append("lift the whole sheet nearer to the camera, or lower it")
        if not out and self._grid.mean() < COVERED:
            out.append(f"move the sheet so that it fills the {_emptiest(self._grid)}")
        more = self.wanted - len(self._glances)
        if more > 0:
            out.append(
                f"turn and tilt the sheet another way ({more} more view{'s' if more > 1 else ''})"
            )
        return tuple(out)

    def _tell(self, phase: str, message: str, seen: Glance | None = None) -> LensState:
        self.state = self._state(phase, message, seen)
        return self.state

    def _state(self, phase: str, message: str, seen: Glance | None) -> LensState:
        missing = self._missing()
        grid = self._grid.copy()
        grid.setflags(write=False)
        return LensState(
            DONE if not missing else phase, message, len(self._glances), self.wanted, grid,
            tuple(map(bool, self._corners)), tuple(map(bool, self._tilts)), self._near_far(),
            missing, np.zeros((0, 2)) if seen is None else seen.px,
        )  # fmt: skip


def _tilts(seen: Glance) -> np.ndarray:
    """(4,) bool in the order of SIDES: the edge that is nearer to the camera."""
    right, down = seen.tilt
    return np.array([right > TILT, right < -TILT, down > TILT, down < -TILT])


def _emptiest(grid: np.ndarray) -> str:
    """Words for where most of the unseen cells lie."""
    rows, columns = np.nonzero(~grid)
    across = columns.mean() / (grid.shape[1] - 1) if len(columns) else 0.5
    down = rows.mean() / (grid.shape[0] - 1) if len(rows) else 0.5
    if abs(across - 0.5) >= abs(down - 0.5):
        return "left of the picture" if across < 0.5 else "right of the picture"
    return "top of the picture" if down < 0.5 else "bottom of the picture"
