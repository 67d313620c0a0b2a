"""A pattern of edges laid over a picture at every rotation and every shift at once.

The picture is its field of edge directions (`vision/edge_field`), the pattern the same
field of the design's copper, or of rims about its holes. For one rotation the products
at all shifts are one multiplication of Fourier transforms (the correlation theorem), so
that no place is missed for want of a first guess, and nothing need be recognised as a
pad beforehand: hundreds of weak edges in the right places outweigh a few strong ones in
wrong places. A right placement stands 10 to 60 sigmas above the others.
"""

from __future__ import annotations

import threading

import cv2
import numpy as np

from drillaid.geometry import Affine
from drillaid.processors import side_by_side
from drillaid.registration.peaks import Peak, distinct, highest_of, unwrapped
from drillaid.registration.turned import TurnedPattern, as_parts, together
from drillaid.vision.contours import EdgeModel

MOST_POINTS = 3000  # of the pattern, in the comparison at all places
SETTLING_POINTS = 300
WORTH_THREADS = 2_000_000  # numbers in all the pictures together
SETTLING_PX_PER_MM, SETTLING_SOFT_MM = 4.0, 0.2


def _thinned(model: EdgeModel, most: int) -> EdgeModel:
    if len(model) <= most:
        return model
    return model.only(np.random.default_rng(0).permutation(len(model))[:most])


class Correlator:
    """One flat picture, ready to be compared with patterns.

    field: complex64 (H, W) as from `edge_field`; to_plane: its px -> plane mm, y up
    """

    def __init__(self, field: np.ndarray, to_plane: Affine) -> None:
        self._field, self._to_plane = field, to_plane
        self._fine_px_per_mm = 1.0 / to_plane.scale[0]
        self._soft: dict[float, tuple[np.ndarray, Affine]] = {}
        self._one_at_a_time = threading.Lock()

    def _reduced(self, px_per_mm: float) -> tuple[np.ndarray, Affine]:
        """float32 (h, w, 2) and its px -> plane."""
        factor = self._fine_px_per_mm / px_per_mm
        height, width = self._field.shape
        size = max(int(width / factor), 1), max(int(height / factor), 1)
        small = cv2.resize(as_parts(self._field), size, interpolation=cv2.INTER_AREA)
        fx, fy = width / size[0], height / size[1]
        grow = Affine([[fx, 0, (fx - 1) / 2], [0, fy, (fy - 1) / 2]])
        return small, self._to_plane @ grow

    def peaks(
        self, model: EdgeModel, *, sides, px_per_mm: float, rotations_rad, keep: int,
        each: int = 2, soft_mm: float = 0.3, enough: float = np.inf,
    ) -> list[Peak]:
        """The likeliest placements of a pattern at true scale, `keep` a side, best first.

        model: design mm; sides: mirrored or not, those to try, in this order; rotations_rad: to
        try, each with half a turn more besides; each: of one rotation; enough: sigmas of one
        side's best from which the sides after it are not tried
        """  # fmt: skip
        model = _thinned(model, MOST_POINTS)
        small, to_plane = self._reduced(px_per_mm)
        small = cv2.GaussianBlur(small, (0, 0), max(soft_mm * px_per_mm, 0.3))
        height, width = small.shape[:2]
        reach = int(np.hypot(*np.ptp(model.xy, axis=0)) * px_per_mm)
        shape = tuple(cv2.getOptimalDFTSize(n + reach // 2) for n in (height, width))
        padded = np.zeros((*shape, 2), np.float32)
        padded[:height, :width] = small
        pattern = TurnedPattern(padded, model, px_per_mm)
        radius = max(2, int(round(1.5 * px_per_mm)))

        def highest(trials: list[tuple[bool, float]]) -> list[tuple[float, bool, float, int, int]]:
            return [
                (score, mirrored, half + more, row, pattern.column_of(column, mirrored=mirrored))
                for mirrored, half in trials
                for more, plane in zip((0.0, np.pi), pattern.overlaps(half, mirrored=mirrored), strict=True)
                for score, row, column in highest_of(plane, each, radius)
            ]

        def peak(score: float, mirrored: bool, rotation: float, row: int, column: int) -> Peak:
            at = unwrapped(column, width, shape[1]), unwrapped(row, height, shape[0])
            turn = Affine.from_parts(rotation_rad=rotation, mirrored=mirrored)
            shift = to_plane([at])[0] - turn.linear @ pattern.middle
            return Peak(Affine(np.column_stack([turn.linear, shift])), score, mirrored)

        kept: list[Peak] = []
        for some in [sides] if np.isinf(enough) else [(side,) for side in sides]:
            trials = together(some, rotations_rad)
            worth_it = len(trials) * padded.size >= WORTH_THREADS
            by_trial = side_by_side(highest, trials, worth_it=worth_it)
            rows = sorted((row for found in by_trial for row in found), reverse=True)
            for side in some:
                of_side = (peak(*row) for row in rows if row[1] == side)
                kept += distinct(of_side, model.xy, keep)
            if rows[0][0] >= enough:
                break
        kept.sort(key=lambda p: -p.score)
        return kept

    def scaled(self, unit_per_mm: float) -> Correlator:
        """The same picture with its plane, whose unit was unknown, taken to be in mm."""
        return Correlator(self._field, Affine.from_parts(scale=1 / unit_per_mm) @ self._to_plane)

    def _softened(self, soft_mm: float) -> tuple[np.ndarray, Affine]:
        """The field where edges reach about soft_mm to both sides, and plane -> its px."""
        with self._one_at_a_time:
            if soft_mm not in self._soft:
                px_per_mm = min(SETTLING_PX_PER_MM, 0.8 / soft_mm)
                small, to_plane = self._reduced(px_per_mm)
                small = cv2.GaussianBlur(small, (0, 0), max(soft_mm * px_per_mm, 0.3))
                self._soft[soft_mm] = small, to_plane.inverse
            return self._soft[soft_mm]

    def settled(self, model: EdgeModel, start: Affine, *, turn_deg: float, shift_mm: float) -> Peak:
        """The best placement round about `start`: turned by at most turn_deg, moved by at
        most shift_mm, stretched as a printer may; score: mean agreement, at most 1."""
        model = _thinned(model, SETTLING_POINTS)
        best, score = start, -1.0
        none, fifth, tenth = np.zeros(1), np.linspace(-1, 1, 5), np.linspace(-0.1, 0.1, 3)
        for turns, shifts in (
            (np.linspace(-turn_deg, turn_deg, 9), np.linspace(-shift_mm, shift_mm, 7)),
            (np.linspace(-1, 1, 7) * turn_deg / 5, fifth * shift_mm / 3),
        ):
            best, score = self.best_of(model, *_about(best, model.xy, turns, shifts, none, none))
        rigid = best
        for turns, shifts, grown, own in (
            # Beyond what a print can do: a wrong height of the board is to be noticed.
            (none, tenth, np.linspace(-0.03, 0.03, 13), none),
            (none, tenth, none, fifth * 0.008),
            (0.2 * fifth, 0.15 * fifth, none, none),
        ):
            best, score = self.best_of(model, *_about(best, model.xy, turns, shifts, grown, own))
        return Peak(best, score, best.determinant < 0, rigid)

    def agreements(self, model: EdgeModel, placements: list[Affine]) -> np.ndarray:
        """(T,) mean agreement of the edges of a pattern in view at each placement, -1 to 1."""
        linear, offset = (np.array([getattr(p, name) for p in placements]) for name in ("linear", "offset"))
        some = _thinned(model, 4 * SETTLING_POINTS)
        return self.scores(some, linear, offset[:, None], SETTLING_SOFT_MM)[:, 0]

    def best_of(
        self, model: EdgeModel, linear: np.ndarray, offset: np.ndarray, soft_mm: float = SETTLING_SOFT_MM
    ) -> tuple[Affine, float]:
        """The map with the highest of the `scores`, and that score."""
        scores = self.scores(model, linear, offset, soft_mm)
        turn, shift = np.unravel_index(scores.argmax(), scores.shape)
        best = Affine(np.column_stack([linear[turn], offset[turn, shift]]))
        return best, float(scores[turn, shift])

    def scores(
        self, model: EdgeModel, linear: np.ndarray, offset: np.ndarray, soft_mm: float
    ) -> np.ndarray:
        """(T, S) the mean agreement of the edges in view under each of T linear maps (T, 2, 2)
        with each of its S offsets (T, S, 2), design mm -> plane."""
        field, to_px = self._softened(soft_mm)
        # Single precision: a thousandth of a pixel is enough, and takes half the time.
        xy, normal = model.xy.astype(np.float32), model.normal.astype(np.float32)
        on_px, start = to_px.linear @ linear, offset @ to_px.linear.T + to_px.offset
        table = np.empty((*start.shape[:2], len(model), 2), np.float32)
        whole = np.ones(start.shape[:2], bool)
        for k, size in enumerate(field.shape[1::-1]):
            turned, at = _along(on_px[:, k], xy), start[..., k].astype(np.float32)
            np.add(turned[:, None, :], at[..., None], out=table[..., k])
            low, high = (edge(axis=1)[:, None] + at for edge in (turned.min, turned.max))
            whole &= (low > 0) & (high < size - 1)
        seen = cv2.remap(
            field, table.reshape(-1, len(model), 2), None, cv2.INTER_LINEAR, borderValue=0
        ).reshape(table.shape)
        x, y = _along(linear[:, 0], normal), _along(linear[:, 1], normal)
        length = x * x + y * y
        agree = seen[..., 0] * ((x * x - y * y) / length)[:, None]
        agree += seen[..., 1] * (2 * x * y / length)[:, None]
        # What lies outside neither speaks for a placement nor makes it better.
        inside = len(model) if whole.all() else _count_inside(table, field.shape)
        return agree.sum(axis=2) / np.maximum(inside, 0.3 * len(model))


def _count_inside(table: np.ndarray, shape) -> np.ndarray:
    """(T, S) of the places (T, S, M, 2) those in a picture of this shape."""
    u, v = table[..., 0], table[..., 1]
    return ((u > 0) & (u < shape[1] - 1) & (v > 0) & (v < shape[0] - 1)).sum(axis=2)


def _along(rows: np.ndarray, xy: np.ndarray) -> np.ndarray:
    """(K, M): one row (2,) of each of K linear maps applied to M points; the library's
    product of so narrow matrices is several times slower."""
    rows = rows.astype(xy.dtype)
    return rows[:, :1] * xy[:, 0] + rows[:, 1:] * xy[:, 1]


def all_rotations(step_deg: float) -> np.ndarray:
    """A full turn, rad."""
    return np.radians(np.arange(0.0, 360.0, step_deg))


def _about(best: Affine, xy: np.ndarray, turns_deg, shifts_mm, grown, own) -> tuple[np.ndarray, np.ndarray]:
    """(T, 2, 2) and (T, S, 2): every mixture of turns, shifts and stretches about the pattern's
    middle; grown: of both axes alike; own: of each besides."""
    middle = (xy.min(axis=0) + xy.max(axis=0)) / 2
    a, both, sx, sy = (g.ravel() for g in np.meshgrid(np.radians(turns_deg), grown, own, own))
    grow = np.zeros((len(a), 2, 2))
    grow[:, 0, 0], grow[:, 1, 1] = 1 + both + sx, 1 + both + sy
    linear = turned_by(a) @ best.linear @ grow
    return linear, shifted_about(best, linear, middle, shifts_mm)


def turned_by(angles_rad: np.ndarray) -> np.ndarray:
    """(T, 2, 2)"""
    c, s = np.cos(angles_rad), np.sin(angles_rad)
    return np.stack([np.stack([c, -s], -1), np.stack([s, c], -1)], -2)


def shifted_about(place: Affine, linear: np.ndarray, middle: np.ndarray, shifts_mm) -> np.ndarray:
    """(T, S, 2): offsets with which linear maps (T, 2, 2) lay `middle` where `place` does, moved
    by every pair of shifts along the axes."""
    dx, dy = (g.ravel() for g in np.meshgrid(shifts_mm, shifts_mm))
    return (place(middle)[0] - linear @ middle)[:, None] + np.column_stack([dx, dy])
