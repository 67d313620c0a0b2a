"""A pattern of edges laid over a picture at every rotation and every shift at once.

The picture is its field of edge directions (`vision/edge_field`), the pattern the same
field of the design's copper, or of rims about its holes. For one rotation the products
at all shifts are one multiplication of Fourier transforms (the correlation theorem), so
that no place is missed for want of a first guess, and nothing need be recognised as a
pad beforehand: hundreds of weak edges in the right places outweigh a few strong ones in
wrong places. A right placement stands 10 to 60 sigmas above the others.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.geometry import Affine
from drillaid.processors import side_by_side
from drillaid.registration.turned import ALIKE, TurnedPattern, as_parts
from drillaid.vision.contours import EdgeModel

MOST_POINTS = 3000  # of the pattern, in the comparison at all places
SETTLING_POINTS = 300
WORTH_THREADS = 2_000_000  # numbers in all the pictures together
SETTLING_PX_PER_MM, SETTLING_SOFT_MM = 4.0, 0.2


@dataclass(frozen=True, eq=False)
class Peak:
    """placement: design mm -> plane mm; score: sigmas of the correlation at other shifts."""

    placement: Affine
    score: float
    mirrored: bool


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
        each: int = 2, soft_mm: float = 0.3,
    ) -> list[Peak]:
        """The likeliest placements of a pattern at true scale, `keep` a side, best first.

        model: design mm; sides: mirrored or not, those to try; rotations_rad: to try, each
        with half a turn more besides; each: of one rotation
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
        halves = {round(turn, ALIKE): turn for turn in np.asarray(rotations_rad) % np.pi}.values()

        def highest(trial: tuple[bool, float]) -> list[tuple[float, float, int, int]]:
            mirrored, half = trial
            return [
                (score, half + more, row, column)
                for more, plane in _planes(pattern.overlaps(half, mirrored=mirrored))
                for score, row, column in _highest(plane, each, radius)
            ]

        def peak(score: float, rotation: float, row: int, column: int) -> Peak:
            at = _unwrapped(column, width, shape[1]), _unwrapped(row, height, shape[0])
            turn = Affine.from_parts(rotation_rad=rotation, mirrored=mirrored)
            shift = to_plane([at])[0] - turn.linear @ pattern.middle
            return Peak(Affine(np.column_stack([turn.linear, shift])), score, mirrored)

        kept: list[Peak] = []
        for mirrored in sides:
            trials = [(mirrored, half) for half in halves]
            worth_it = len(trials) * padded.size >= WORTH_THREADS
            by_trial = side_by_side(highest, trials, worth_it=worth_it)
            rows = [row for found in by_trial for row in found]
            rows.sort(reverse=True)
            kept += distinct((peak(*row) for row in rows), model.xy, keep)
        kept.sort(key=lambda p: -p.score)
        return kept

    def scaled(self, unit_per_mm: float) -> Correlator:
        """The same picture with its plane, whose unit was unknown, taken to be in mm."""
        return Correlator(self._field, Affine.from_parts(scale=1 / unit_per_mm) @ self._to_plane)

    def _softened(self, soft_mm: float) -> tuple[np.ndarray, Affine]:
        """The field where edges reach about soft_mm to both sides, and plane -> its px."""
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
        none, fifth = np.zeros(1), np.linspace(-1, 1, 5)
        for turns, shifts, grown, own in (
            (np.linspace(-turn_deg, turn_deg, 9), np.linspace(-shift_mm, shift_mm, 7), none, none),
            (np.linspace(-1, 1, 7) * turn_deg / 5, fifth * shift_mm / 3, none, none),
            # Beyond what a print can do: a wrong height of the board is to be noticed.
            (none, np.linspace(-0.1, 0.1, 3), np.linspace(-0.03, 0.03, 13), none),
            (none, np.linspace(-0.1, 0.1, 3), none, fifth * 0.008),
            (0.2 * fifth, 0.15 * fifth, none, none),
        ):
            trials = _about(best, model.xy, turns, shifts, grown, own)
            best, score = self._best_of(trials, model)
        return Peak(best, score, best.determinant < 0)

    def agreement(self, model: EdgeModel, placement: Affine) -> float:
        """Mean agreement of the edges of a pattern in view at one placement, -1 to 1."""
        return self._best_of(placement.matrix[None], _thinned(model, 4 * SETTLING_POINTS))[1]

    def _best_of(self, matrices: np.ndarray, model: EdgeModel) -> tuple[Affine, float]:
        score = self.scores(model, matrices, SETTLING_SOFT_MM)
        which = int(score.argmax())
        return Affine(matrices[which]), float(score[which])

    def scores(self, model: EdgeModel, matrices: np.ndarray, soft_mm: float) -> np.ndarray:
        """(K,) the mean agreement of the edges in view under each of K maps (K, 2, 3)."""
        field, to_px = self._softened(soft_mm)
        linear = matrices[:, :, :2]
        on_px = to_px.linear @ linear
        offset = matrices[:, :, 2] @ to_px.linear.T + to_px.offset
        # Single precision: a ten thousandth of a pixel is enough, and takes half the time.
        xy, normal = model.xy.astype(np.float32), model.normal.astype(np.float32)
        table = np.empty((len(matrices), len(model), 2), np.float32)
        for k in (0, 1):
            np.add(_along(on_px[:, k], xy), offset[:, k, None], out=table[..., k], casting="same_kind")
        seen = cv2.remap(field, table, None, cv2.INTER_LINEAR, borderValue=0)
        x, y = _along(linear[:, 0], normal), _along(linear[:, 1], normal)
        length = x * x + y * y
        agree = (seen[..., 0] * (x * x - y * y) + seen[..., 1] * (2 * x * y)) / length
        height, width = field.shape[:2]
        u, v = table[..., 0], table[..., 1]
        inside = ((u > 0) & (u < width - 1) & (v > 0) & (v < height - 1)).sum(axis=1)
        # What lies outside neither speaks for a placement nor makes it better.
        return agree.sum(axis=1) / np.maximum(inside, 0.3 * len(model))


def _along(rows: np.ndarray, xy: np.ndarray) -> np.ndarray:
    """(K, M): one row (2,) of each of K linear maps applied to M points; the library's
    product of so narrow matrices is several times slower."""
    rows = rows.astype(xy.dtype)
    return rows[:, :1] * xy[:, 0] + rows[:, 1:] * xy[:, 1]


def all_rotations(step_deg: float) -> np.ndarray:
    """A full turn, rad."""
    return np.radians(np.arange(0.0, 360.0, step_deg))


def _planes(overlaps: np.ndarray):
    """Of both rotations in float32 (H, W, 2): what is turned more, and the overlap in sigmas."""
    _, spread = cv2.meanStdDev(overlaps)
    for k, more in enumerate((0.0, np.pi)):
        yield more, cv2.extractChannel(overlaps, k) * np.float32(1 / (float(spread[k, 0]) + 1e-12))


def _highest(plane: np.ndarray, count: int, radius: int) -> list[tuple[float, int, int]]:
    """(value, row, column) of the highest places, further apart than radius; spoils `plane`."""
    found = []
    for k in range(count):
        _, value, _, (column, row) = cv2.minMaxLoc(plane)
        found.append((value, row, column))
        if k + 1 < count:
            _blank(plane, row, column, radius)
    return found


def _unwrapped(index: int, length: int, wrapped: int) -> int:
    """Of the two places that a wrapped index can mean, the one nearer to the picture."""
    return int(index if index < length + (wrapped - length) // 2 else index - wrapped)


def _blank(overlap: np.ndarray, row: int, column: int, radius: int) -> None:
    rows = np.arange(row - radius, row + radius + 1) % overlap.shape[0]
    columns = np.arange(column - radius, column + radius + 1) % overlap.shape[1]
    overlap[rows[:, None], columns] = -np.inf


def _about(best: Affine, xy: np.ndarray, turns_deg, shifts_mm, grown, own) -> np.ndarray:
    """(K, 2, 3): every mixture of turns, shifts and stretches about the pattern's middle;
    grown: of both axes alike; own: of each besides."""
    middle = (xy.min(axis=0) + xy.max(axis=0)) / 2
    centre = best(middle)[0]
    a, both, sx, sy, dx, dy = (
        g.ravel()
        for g in np.meshgrid(np.radians(turns_deg), grown, own, own, shifts_mm, shifts_mm)
    )
    c, s = np.cos(a), np.sin(a)
    turn = np.stack([np.stack([c, -s], -1), np.stack([s, c], -1)], -2)
    grow = np.zeros_like(turn)
    grow[:, 0, 0], grow[:, 1, 1] = 1 + both + sx, 1 + both + sy
    linear = turn @ best.linear @ grow
    offset = centre + np.column_stack([dx, dy]) - linear @ middle
    return np.concatenate([linear, offset[:, :, None]], axis=2)


def distinct(peaks: Iterable[Peak], xy: np.ndarray, keep: int, within_mm: float = 2.5) -> list[Peak]:
    """The first `keep` of them of which no two lay the pattern at the same place."""
    low, high = xy.min(axis=0), xy.max(axis=0)
    corners = np.array([low, [low[0], high[1]], high, [high[0], low[1]]])
    kept: list[Peak] = []
    for peak in peaks:
        at = peak.placement(corners)
        if all(
            p.mirrored != peak.mirrored
            or np.sqrt(((p.placement(corners) - at) ** 2).sum(axis=1).mean()) > within_mm
            for p in kept
        ):
            kept.append(peak)
            if len(kept) == keep:
                break
    return kept
