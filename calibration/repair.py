"""The bench frame kept when the bench plane is made anew: by the marks of the rig file.

The marks stored with a rig stand at known places of its bench frame. Seen again, they
say where the camera is now in that very frame, so the spindle axis stays true. Marks
that moved by themselves since are found out by the others and left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calibration.pose_fit import Points, fit_pose, start_pose
from drillaid.rig.doubt import RigDoubt, drift, project
from drillaid.rig.mark_finding import SeenMark
from drillaid.rig.rig import Rig
from drillaid.rig.still_true import MarkSet, StoredMark

FEWEST = 3  # marks in agreement: with two, one that moved is not found out
STRAY_MM = 0.25  # from where the others put it
STRAY_SIGMAS = 4.0


class Anchors:
    """Marks seen now whose places are known.

    points: their corners, one `Points` for all; start: a pose near the right one
    used, strays: numbers of marks; reason: why they cannot keep the frame, or None
    """

    def __init__(self, stored: MarkSet, seen: Sequence[SeenMark], blank: Rig) -> None:
        known = {mark.number: mark for mark in stored.marks}
        self._stored = stored
        self._pairs = [(known[mark.number], mark) for mark in seen if mark.number in known]
        self.reason: str | None = None
        self.points: Points | None = None
        self.start: Rig | None = None
        self.used: tuple[int, ...] = ()
        self.strays: tuple[int, ...] = ()
        if len(self._pairs) < FEWEST:
            self.reason = (
                f"only {len(self._pairs)} of the {len(stored.marks)} stored marks are seen, and "
                f"{FEWEST} are needed to keep the frame that the spindle axis was measured in"
            )
            return
        self._agree(blank)

    def _agree(self, blank: Rig) -> None:
        """The largest set of marks that one pose explains: all, or all but the worst."""
        left = list(self._pairs)
        while len(left) >= FEWEST:
            points = self._points(left, blank)
            start = start_pose(blank, points)
            if start is None:
                break
            off, gate = self._off(start, points, left)
            worst = int(np.argmax(off / gate))
            if off[worst] <= gate[worst]:
                self.points, self.start = points, start
                self.used = tuple(mark.number for mark, _ in left)
                gone = {mark.number for mark, _ in self._pairs} - set(self.used)
                self.strays = tuple(sorted(gone))
                return
            left = self._without_the_worst(left, blank)
        self.reason = (
            "the stored marks do not lie to each other as they did: more than one has moved, so "
            "the frame that the spindle axis was measured in cannot be kept"
        )

    def _without_the_worst(self, left: list, blank: Rig) -> list:
        """Without the one whose absence lets the others agree best."""
        costs = []
        for k in range(len(left)):
            rest = left[:k] + left[k + 1 :]
            points = self._points(rest, blank)
            start = start_pose(blank, points)
            if start is None:
                costs.append(np.inf)
            else:
                costs.append(fit_pose(start, (points,)).rms_px)
        k = int(np.argmin(costs))
        return left[:k] + left[k + 1 :]

    def _points(self, pairs: list, blank: Rig) -> Points:
        mm = np.concatenate([mark.corners_mm for mark, _ in pairs])
        px = np.concatenate([seen.px for _, seen in pairs])
        per_mm = [np.ptp(seen.px, axis=0).max() / np.ptp(mark.corners_mm, axis=0).max()
                  for mark, seen in pairs]  # fmt: skip
        sigma = [np.hypot(seen.sigma_px, mark.sigma_mm * scale)
                 for (mark, seen), scale in zip(pairs, per_mm, strict=True)]  # fmt: skip
        return Points(px, np.repeat(sigma, 4), mm, self._stored.height_mm, np.zeros(3), free=False)

    def _off(self, start: Rig, points: Points, pairs: list) -> tuple[np.ndarray, np.ndarray]:
        """How far each mark's middle lies from its place, mm, and how far it may."""
        fit = fit_pose(start, (points,))
        at = fit.rig.to_bench(points.px, points.height_mm) - points.mm
        off = np.hypot(*at.reshape(-1, 4, 2).mean(axis=1).T)
        sigma = points.sigma_px[::4] / fit.rig.px_per_mm(points.height_mm)
        # Outer marks carry the pose with them, so their own residual is the smaller one.
        return off, np.maximum(0.3 * STRAY_MM, STRAY_SIGMAS * sigma)

    def carry(self, before: Rig, now: Rig) -> tuple[np.ndarray, np.ndarray]:
        """What errors of the rig that measured the marks do to their pixels now.

        ((2 N, 6) px by one sigma each of the former pose's errors, (2 N, 9) px by the lens),
        for `fit_bench(known_doubt=…)`.
        """
        doubt = RigDoubt.of(before)
        xyz, _ = self.points.on_bench()
        pose, lens = drift(before, xyz[:, :2], self.points.height_mm)
        across = project(now, xyz)[3][:, :, :2]
        values, vectors = np.linalg.eigh(doubt.pose)
        root = vectors * np.sqrt(np.maximum(values, 0))
        by_pose = across @ (pose @ root)
        by_lens = across @ (lens + pose @ doubt.gain)
        return by_pose.reshape(-1, 6), by_lens.reshape(-1, 9)


def with_zero_rows(doubt: tuple[np.ndarray, np.ndarray], before: int):
    """The same behind `before` points of sheets, which the former rig has no part in."""
    return tuple(np.vstack([np.zeros((2 * before, part.shape[1])), part]) for part in doubt)


def measured_marks(rig: Rig, seen: Sequence[SeenMark], height_mm: float) -> MarkSet:
    """Marks as they are seen through a rig, to be stored with it."""
    out = []
    per_mm = rig.px_per_mm(height_mm)
    for mark in seen:
        at = rig.to_bench(mark.px, height_mm)
        if np.isfinite(at).all():
            out.append(StoredMark(mark.number, at, mark.sigma_px / per_mm))
    return MarkSet(height_mm, tuple(sorted(out, key=lambda mark: mark.number)))


def merged_marks(kept: MarkSet, used: Sequence[int], measured: MarkSet) -> MarkSet:
    """Marks that agreed keep their places, others get the new ones; unseen ones stay."""
    places = {mark.number: mark for mark in kept.marks}
    for mark in measured.marks:
        if mark.number not in used:
            places[mark.number] = mark
    return replace(kept, marks=tuple(places[number] for number in sorted(places)))
