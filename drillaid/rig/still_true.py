"""Whether a rig is still as it was calibrated: the reference marks against where they were.

[marks] in a rig file holds the marks that were seen when the bench plane was made:
`height_mm` of their faces over the bench and for each its number, corners (bench mm)
and sigma. A camera that was knocked shows all of them moved together; a mark that came
unstuck moves alone; one under a hand is not judged. Both compare through the same rig,
so the rig's own errors fall out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.errors import RigError
from drillaid.rig import marks
from drillaid.rig.mark_finding import SeenMark, find_marks, find_marks_quickly, read_mark
from drillaid.rig.rig import Rig

LIMIT_MM = 0.1
SIGMAS = 3.0
EVERY_S = 2.0  # between two looks while nothing is wrong
AT_ONCE = 2  # marks read in one look, in turn: keeps a look short
TRUE, MOVED, MARK_MOVED, NOT_JUDGED = "true", "moved", "mark_moved", "not_judged"
REMEDY = (
    "put the arm back, or take one picture in which the marks are seen and run "
    "drillaid calibrate bench with it (two minutes; the spindle axis is kept)"
)


@dataclass(frozen=True, eq=False)
class StoredMark:
    """corners_mm: (4, 2) bench mm, in the order of `marks.corners_mm`; sigma_mm: of a corner"""

    number: int
    corners_mm: np.ndarray
    sigma_mm: float

    def to_data(self) -> dict:
        return {
            "number": self.number,
            "corners_mm": [[round(float(v), 5) for v in row] for row in self.corners_mm],
            "sigma_mm": round(self.sigma_mm, 5),
        }


@dataclass(frozen=True, eq=False)
class MarkSet:
    """height_mm: of the marks' faces over the bench plane"""

    height_mm: float
    marks: tuple[StoredMark, ...]

    def to_data(self) -> dict:
        """What [marks] holds."""
        return {"height_mm": self.height_mm, "seen": [mark.to_data() for mark in self.marks]}


@dataclass(frozen=True, eq=False)
class Verdict:
    """state: TRUE, MOVED (the camera against the table), MARK_MOVED (marks alone: the rig
    is true) or NOT_JUDGED; moved_mm: by how much, None where not judged; sigma_mm: of that
    marks: numbers of those judged; strays: of those that moved alone
    """

    state: str
    message: str
    moved_mm: float | None = None
    sigma_mm: float | None = None
    marks: tuple[int, ...] = ()
    strays: tuple[int, ...] = ()

    @property
    def holds(self) -> bool:
        """False only where the rig is known to be untrue."""
        return self.state != MOVED


def stored_marks(rig: Rig) -> MarkSet | None:
    """What the rig file holds; None without [marks]. RigError for one that is damaged."""
    section = rig.extra.get("marks")
    return None if section is None else marks_of(section)


def marks_of(section: dict) -> MarkSet:
    """From the values of [marks]; RigError with the key."""
    try:
        height = float(section["height_mm"])
        seen = tuple(
            StoredMark(
                int(row["number"]),
                np.array(row["corners_mm"], dtype=np.float64).reshape(4, 2),
                float(row.get("sigma_mm", 0.02)),
            )
            for row in section["seen"]
        )
    except (KeyError, TypeError, ValueError):
        raise _bad("marks.seen", "must hold number, corners_mm and sigma_mm of each mark") from None
    numbers = [mark.number for mark in seen]
    if len(set(numbers)) < len(numbers) or not all(1 <= n <= marks.COUNT for n in numbers):
        raise _bad("marks.seen", f"must hold different numbers from 1 to {marks.COUNT}")
    finite = [height, *(m.sigma_mm for m in seen), *(v for m in seen for v in m.corners_mm.flat)]
    if not (np.abs(finite) < 5000).all() or abs(height) > 500:
        raise _bad("marks", "holds a length out of range")
    return MarkSet(height, seen)


def _bad(key: str, what: str) -> RigError:
    error = RigError(f"{key} {what}", remedy="run drillaid calibrate bench again, marks in view")
    error.key = key  # type: ignore[attr-defined]
    return error


# --- judging ------------------------------------------------------------------------------


def judge(rig: Rig, stored: MarkSet, seen: tuple[SeenMark, ...]) -> Verdict:
    """What marks seen in one picture say about the rig."""
    known = {mark.number: mark for mark in stored.marks}
    seen = tuple(mark for mark in seen if mark.number in known)
    if not seen:
        return Verdict(NOT_JUDGED, "None of the reference marks is seen.")
    at, off, sigma = [], [], []
    for mark in seen:
        mine = known[mark.number]
        found = rig.to_bench(mark.px, stored.height_mm)
        at.append(mine.corners_mm.mean(axis=0))
        off.append((found - mine.corners_mm).mean(axis=0))
        corner_mm = mark.sigma_px / rig.px_per_mm(stored.height_mm)
        sigma.append(math.hypot(mine.sigma_mm, corner_mm) / 2)  # of the middle of four
    at, off, sigma = np.array(at), np.array(off), np.array(sigma)
    clear = sigma <= LIMIT_MM / 4  # a mark seen in part says too little to outvote one
    seen = tuple(mark for mark, good in zip(seen, clear, strict=True) if good)
    at, off, sigma = at[clear], off[clear], sigma[clear]
    if not len(seen):
        return Verdict(NOT_JUDGED, "The reference marks are not seen clearly.")
    if not np.isfinite(off).all():
        return Verdict(NOT_JUDGED, "The reference marks are at the picture's edge.")
    return _judged(rig, np.array([mark.number for mark in seen]), at, off, sigma)


def _judged(rig: Rig, numbers, at, off, sigma) -> Verdict:
    far = np.hypot(*off.T)
    gate = LIMIT_MM + SIGMAS * sigma
    together = _one_movement(at, off, sigma)
    one = int(together.sum()) >= max(2, len(far) // 2 + 1)  # most marks tell one story
    alone = ~together if one else np.zeros(len(far), bool)
    strays = tuple(int(n) for n in numbers[alone & (far > gate)])
    used = ~alone
    moved = _moved_mm(rig, at[used], off[used])
    spread = float(np.sqrt((sigma[used] ** 2).mean()))
    told = {
        "moved_mm": moved, "sigma_mm": spread, "marks": tuple(int(n) for n in numbers),
        "strays": strays,
    }  # fmt: skip
    if moved > LIMIT_MM + SIGMAS * spread / math.sqrt(max(used.sum(), 1)):
        what = f"The camera has moved by {moved:.2f} mm against the table since it was calibrated"
        if not one:
            names = ", ".join(map(str, numbers[far > gate]))
            what = (
                f"The camera or the marks have moved: mark {names} is seen {far.max():.2f} mm from "
                "its place"
            )
        return Verdict(MOVED, f"{what}: do not drill; {REMEDY}.", **told)
    if strays:
        names = " and ".join(map(str, strays))
        return Verdict(
            MARK_MOVED,
            f"Mark {names} has moved by itself ({far[alone].max():.2f} mm), the others have not: "
            "it has come unstuck. The rig is still true; stick it down and calibrate the bench "
            "plane again soon.",
            **told,
        )
    return Verdict(TRUE, f"The rig is as it was, within {max(moved, 0.01):.2f} mm.", **told)


def _one_movement(at, off, sigma) -> np.ndarray:
    """(N,) bool: the largest set that one shift, turn and stretch explains.

    Every pair of marks proposes one; with one mark or two nothing can be told apart.
    """
    count = len(at)
    best = np.zeros(count, bool)
    if count == 1:
        return best
    gate = 0.5 * LIMIT_MM + SIGMAS * sigma
    best_cost = np.inf
    for i in range(count):
        for j in range(i + 1, count):
            left = np.hypot(*(_similar(at[[i, j]], off[[i, j]], at) - off).T)
            fits = left < gate
            # Of equal sets the one that moved least: marks that lie still outvote none.
            cost = float(np.hypot(*off[fits].T).mean())
            if (fits.sum(), -cost) > (best.sum(), -best_cost):
                best, best_cost = fits, cost
    if count == 2:  # a pair always fits itself: only a plain shift counts
        return best & (np.hypot(*(off[0] - off[1])) < 2 * gate.max())
    return best


def _similar(at, off, where) -> np.ndarray:
    """Shifts at `where` of the shift, turn and stretch that fit (at, off) best."""
    middle = at.mean(axis=0)
    x, y = (at - middle).T
    dx, dy = (off - off.mean(axis=0)).T
    size = float((x * x + y * y).sum())
    if size < 1e-9:
        return np.tile(off.mean(axis=0), (len(where), 1))
    stretch = float((x * dx + y * dy).sum()) / size
    turn = float((x * dy - y * dx).sum()) / size
    u, v = (where - middle).T
    return off.mean(axis=0) + np.column_stack([stretch * u - turn * v, turn * u + stretch * v])


def _moved_mm(rig: Rig, at, off) -> float:
    """At the marks, or under the spindle where that is more."""
    moved = float(np.median(np.hypot(*off.T)))
    if rig.axis_mm is not None and len(at) >= 2:
        moved = max(moved, float(np.hypot(*_similar(at, off, rig.axis_mm[None])[0])))
    return moved


# --- watching -----------------------------------------------------------------------------


class RigWatch:
    """Looks at the marks now and then while pictures come.

    every_s: between two looks; what seems wrong, or right again, is looked at once more in
    the next picture before it is said. verdict: the last one that was said.
    """

    def __init__(self, rig: Rig, stored: MarkSet, *, every_s: float = EVERY_S) -> None:
        self._rig, self._stored, self._every_s = rig, stored, every_s
        self._px = {
            mark.number: rig.to_pixels(mark.corners_mm, stored.height_mm) for mark in stored.marks
        }
        self._turn = 0
        self._due_s = -math.inf
        self._doubted: str | None = None
        self._missed = False  # the last look found too few where they should be
        self.verdict = Verdict(NOT_JUDGED, "The reference marks have not been looked at yet.")

    @classmethod
    def of(cls, rig: Rig) -> RigWatch | None:
        """None for a rig without marks."""
        stored = stored_marks(rig)
        return None if stored is None or not stored.marks else cls(rig, stored)

    def look(self, image: np.ndarray, time_s: float) -> Verdict | None:
        """A new verdict, or None where none is due or it says what the last one said.

        image: uint8 BGR (H, W, 3) or grey; time_s: of the frame's clock
        """
        if time_s < self._due_s - self._every_s:  # the clock began anew
            self._due_s = -math.inf
        if time_s < self._due_s:
            return None
        verdict = self._glance(image)
        self._due_s = time_s if self._missed else time_s + self._every_s
        if verdict.state == NOT_JUDGED:
            return None
        if verdict.state == self.verdict.state and verdict.strays == self.verdict.strays:
            self._doubted = None
            self.verdict = verdict
            return None
        if self._doubted != verdict.state:
            self._doubted = verdict.state
            self._due_s = time_s  # again in the next picture
            return None
        self._doubted = None
        self.verdict = verdict
        return verdict

    def _glance(self, image: np.ndarray) -> Verdict:
        """Short enough for between two pictures; NOT_JUDGED where the next one is needed too.

        Marks that are not where they should be are covered, mostly: the whole picture is
        looked through only then, made smaller, and in a picture of its own.
        """
        grey = _grey(image)
        if self._missed:
            self._missed = False
            side = min(np.sqrt(cv2.contourArea(px.astype(np.float32))) for px in self._px.values())
            return judge(self._rig, self._stored, find_marks_quickly(grey, side, self._rig))
        numbers = list(self._px)
        suspicious = self._doubted is not None or not self.verdict.holds
        if not suspicious and len(numbers) > AT_ONCE:
            numbers = [numbers[(self._turn + k) % len(numbers)] for k in range(AT_ONCE)]
            self._turn += AT_ONCE
        seen = self._at_their_places(grey, numbers)
        self._missed = len(seen) < min(2, len(self._px))
        if self._missed:
            return Verdict(NOT_JUDGED, "The reference marks are not where they should be.")
        return judge(self._rig, self._stored, seen)

    def judge_now(self, image: np.ndarray) -> Verdict:
        """What this picture alone says, however long it takes."""
        grey = _grey(image)
        seen = {mark.number: mark for mark in self._at_their_places(grey, self._px)}
        if len(seen) < len(self._px):
            seen = {mark.number: mark for mark in find_marks(grey, self._rig)} | seen
        return judge(self._rig, self._stored, tuple(seen.values()))

    def _at_their_places(self, grey: np.ndarray, numbers) -> tuple[SeenMark, ...]:
        seen = [read_mark(grey, n, self._px[n], search=True, lens=self._rig) for n in numbers]
        return tuple(mark for mark in seen if mark is not None)


def _grey(image: np.ndarray) -> np.ndarray:
    return image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
