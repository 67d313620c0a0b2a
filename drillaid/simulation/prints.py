"""Printed sheets lying on the simulated bench: the reference marks, a calibration pattern."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

from drillaid.geometry import Homography
from drillaid.rig import marks
from drillaid.rig.rig import Rig
from drillaid.rig.still_true import MarkSet, StoredMark, stored_marks
from drillaid.simulation.projection import PixelMap
from drillaid.simulation.sheet import Sheet, draw_cells

if TYPE_CHECKING:
    from drillaid.simulation.bench import SimulatedBench

MARK_AREA_MM = marks.SIDE_MM + 2 * marks.RIM_MM


@dataclass(frozen=True, eq=False)
class Print:
    """sheet: what is printed; middle_mm: bench (x, y) of the middle of its cells
    turn_rad: counter-clockwise; 0: its rows run along the bench's x, its top is away from the
      operator; height_mm: of its face
    """

    sheet: Sheet
    middle_mm: tuple[float, float] = (0.0, 0.0)
    turn_rad: float = 0.0
    height_mm: float = 0.0

    @property
    def to_bench(self) -> Homography:
        """Sheet mm (x right, y down) -> bench mm."""
        width, height = self.sheet.size_mm
        c, s = math.cos(self.turn_rad), math.sin(self.turn_rad)
        turn = np.array([[c, s], [s, -c]])
        offset = np.asarray(self.middle_mm) - turn @ [width / 2, height / 2]
        return Homography(np.vstack([np.column_stack([turn, offset]), [0, 0, 1]]))

    def draw(self, frame: np.ndarray, pixels: PixelMap) -> None:
        """Onto the bench as seen in even light, uint8 (H, W, 3)."""
        rig, sheet = pixels.rig, self.sheet
        rows, columns = np.array(sheet.levels.shape) - 2
        ahead = (columns - sheet.white.shape[1]) // 2
        rim = (np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]]) - ahead) * sheet.cell_mm
        roi = pixels.bounds(rig.to_pixels(self.to_bench(rim), self.height_mm), margin=4)
        if roi is None:
            return
        u0, v0, u1, v1 = roi
        straight = np.ascontiguousarray(pixels.onto(Homography(np.eye(3)), roi))
        border = ahead + 1 - 0.5
        cells = Homography(
            [[1 / sheet.cell_mm, 0, border], [0, 1 / sheet.cell_mm, border], [0, 0, 1]]
        )
        index = cells @ self.to_bench.inverse @ rig.plane(self.height_mm).inverse
        paper = np.pad(np.ones((rows, columns), np.float32), 1)
        cover = draw_cells(paper, index, straight, 0.0)[..., None]
        grey = draw_cells(sheet.levels, index, straight, 0.0)[..., None]
        part = frame[v0:v1, u0:u1]
        part[:] = np.clip(np.rint(part * (1 - cover) + grey * cover), 0, 255).astype(np.uint8)


def mark_print(number: int, middle_mm, turn_rad: float = 0.0, height_mm: float = 0.1) -> Print:
    """One reference mark, cut out with its white rim and stuck down."""
    cell = marks.SIDE_MM / marks.MODULES
    sheet = Sheet(~marks.black_modules(number), cell, marks.RIM_MM)
    return Print(sheet, tuple(middle_mm), turn_rad, height_mm)


def marks_in_corners(rig: Rig, count: int = 4, *, seed: int = 0, height_mm: float = 0.1):
    """Marks as a person sticks them: about the picture's corners, roughly straight."""
    rng = np.random.default_rng([seed, 21])
    away = (MARK_AREA_MM / 2 + 2) * rig.px_per_mm()
    left, right = away, rig.width - 1 - away
    top, bottom = away, rig.height - 1 - away
    middle = (left + right) / 2
    spots = [
        (left, top),
        (right, bottom),
        (right, top),
        (left, bottom),
        (middle, top),
        (middle, bottom),
    ]
    at = rig.to_bench(np.array(spots[:count]), height_mm)
    return tuple(
        mark_print(k + 1, at[k] + rng.uniform(-1.5, 1.5, 2), rng.normal(0, 0.15), height_mm)
        for k in range(count)
    )


def lay_marks(bench: SimulatedBench, seed: int = 0) -> None:
    """Marks on a bench and in its rig, as `calibrate bench` leaves both.

    Where the rig file holds marks they lie as it says, else about the picture's corners.
    """
    stored = stored_marks(bench.rig)
    if stored is None:
        prints = marks_in_corners(bench.rig, seed=seed)
        corners = [p.to_bench(marks.corners_mm() + marks.SIDE_MM / 2) for p in prints]
        found = tuple(StoredMark(k + 1, at, 0.005) for k, at in enumerate(corners))
        stored = MarkSet(prints[0].height_mm, found)
        extra = bench.rig.extra | {"marks": stored.to_data()}
        bench.knock(replace(bench.rig, extra=extra))
    bench.lay(*bench.prints, *(_as_stored(mark, stored.height_mm) for mark in stored.marks))


def _as_stored(mark: StoredMark, height_mm: float) -> Print:
    right = mark.corners_mm[1] - mark.corners_mm[0]
    turn = math.atan2(right[1], right[0])
    return mark_print(mark.number, mark.corners_mm.mean(axis=0), turn, height_mm)


def knocked(rig: Rig, shift_mm=(0.0, 0.0, 0.0), turn_rad=(0.0, 0.0, 0.0)) -> Rig:
    """The rig with its camera moved by shift_mm (bench axes) and turned about itself.

    turn_rad: Rodrigues, in camera axes.
    """
    turn = cv2.Rodrigues(np.asarray(turn_rad, dtype=np.float64))[0]
    rotation = turn @ rig.rotation
    camera = rig.camera_mm + np.asarray(shift_mm, dtype=np.float64)
    return replace(
        rig, rotation_vector=cv2.Rodrigues(rotation)[0].ravel(), translation_mm=-rotation @ camera
    )
