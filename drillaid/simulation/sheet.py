"""A printed sheet before a simulated camera, drawn so exactly that its corners are truth.

The sheet is a grid of cells, each of one brightness. Every pixel is mapped onto
the sheet through the whole lens model, and each edge of a cell is drawn as a ramp
one pixel wide across its true place: what a square pixel gathers from an edge
parallel to its side, and unbiased from any other. No supersampling, so no steps.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.geometry import Homography
from drillaid.rig.rig import Rig
from drillaid.simulation.optics import UNIT_LIGHT, Light, Optics, Sensor
from drillaid.simulation.projection import PixelMap
from drillaid.simulation.textures import soft_noise

PAPER, INK, TABLE = 215.0, 38.0, 92.0  # grey levels in even light, well exposed


@dataclass(frozen=True, eq=False)
class Sheet:
    """Sheet mm: x right, y down on the printed face, (0, 0) the upper left of the cells.

    white: (rows, columns) bool, True is paper; cell_mm: side of a cell
    margin_mm: blank paper around the cells; beyond lies the table
    """

    white: np.ndarray
    cell_mm: float
    margin_mm: float = 12.0

    @property
    def size_mm(self) -> tuple[float, float]:
        """Of the printed part."""
        rows, columns = self.white.shape
        return columns * self.cell_mm, rows * self.cell_mm

    @property
    def levels(self) -> np.ndarray:
        """Grey levels as float32 with one cell of table around the paper."""
        blank = max(1, round(self.margin_mm / self.cell_mm))
        paper = np.pad(np.where(self.white, PAPER, INK), blank, constant_values=PAPER)
        return np.pad(paper, 1, constant_values=TABLE).astype(np.float32)

    @property
    def _border(self) -> int:
        return max(1, round(self.margin_mm / self.cell_mm)) + 1

    def mirrored(self) -> Sheet:
        """As a print through the wrong side of the film shows it."""
        return Sheet(self.white[:, ::-1].copy(), self.cell_mm, self.margin_mm)


class SheetCamera:
    """Photographs a sheet from any pose.

    rig: only its camera is used (size, matrix, distortion)
    texture: sigma of the paper's and table's own unevenness, grey levels
    """

    def __init__(
        self,
        rig: Rig,
        sheet: Sheet,
        *,
        optics: Optics | None = None,
        light: Light | None = None,
        texture: float = 1.0,
        seed: int = 0,
    ):
        self.rig, self.sheet = rig, sheet
        rng = np.random.default_rng([seed, 11])
        shape = rig.height, rig.width
        optics = optics or Optics()
        self._levels = sheet.levels
        self._sensor = Sensor(optics, shape, rng)
        lit, _ = (light or Light()).fields(shape, rng, optics.vignette)
        self._lit = lit.astype(np.float32) / UNIT_LIGHT
        self._texture = texture * soft_noise(rng, shape, 2.5)
        straight = PixelMap(rig).onto(Homography(np.eye(3)), (0, 0, rig.width, rig.height))
        self._straight = np.ascontiguousarray(straight)

    def posed(self, rotation_vector, translation_mm) -> Rig:
        """The camera with the sheet's pose, so that `project` gives true pixels of sheet mm."""
        rig = self.rig
        return Rig(
            rig.width, rig.height, rig.matrix, rig.distortion, rotation_vector, translation_mm
        )

    def picture(self, rotation_vector, translation_mm) -> np.ndarray:
        """uint8 BGR (H, W, 3). X_camera = R X_sheet + t, X_sheet = (x mm, y mm, 0)."""
        to_sheet = self.posed(rotation_vector, translation_mm).plane(0.0).inverse
        grey = self._drawn(to_sheet) + self._texture
        image = np.clip(np.rint(grey[..., None] * self._lit), 0, 255).astype(np.uint8)
        return self._sensor.expose(self._sensor.blur(image))

    def _drawn(self, to_sheet: Homography) -> np.ndarray:
        """Grey levels, float32 (H, W), with every edge one pixel soft."""
        border, cell = self.sheet._border, self.sheet.cell_mm
        # Sheet mm -> index of the cell in `levels`, whole numbers at cell centres.
        index = Homography([[1 / cell, 0, border - 0.5], [0, 1 / cell, border - 0.5], [0, 0, 1]])
        return draw_cells(self._levels, index @ to_sheet, self._straight, TABLE)


def draw_cells(
    levels: np.ndarray, to_cells: Homography, straight: np.ndarray, beyond: float
) -> np.ndarray:
    """A grid of cells as float32 (H, W), every edge one pixel soft.

    levels: float32 (rows, columns); to_cells: undistorted px -> (column, row), whole numbers
    at cell centres; straight: float32 (H, W, 2) undistorted px of each pixel; beyond: outside
    """
    m = to_cells.matrix
    u, v = straight[..., 0], straight[..., 1]
    w = m[2, 0] * u + m[2, 1] * v + m[2, 2]
    behind = ~(w > 1e-9)
    w[behind] = 1.0
    rows, columns = levels.shape
    places = []
    for row, count in ((0, columns), (1, rows)):
        place = ((m[row, 0] * u + m[row, 1] * v + m[row, 2]) / w).astype(np.float32)
        place[behind] = -10.0
        np.clip(place, -10.0, count + 10.0, out=place)
        places.append(_sharpened(place))
    return cv2.remap(
        levels, *places, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=beyond
    )


def _sharpened(place: np.ndarray) -> np.ndarray:
    """Places in cells -> places whose linear interpolation is a ramp one pixel wide.

    Between two cell centres the value changes within one pixel around the
    boundary only; cells smaller than a pixel stay as linear interpolation has them.
    """
    down, right = np.gradient(place)
    width = np.clip(np.hypot(down, right), 1e-6, 1.0)
    boundary = np.floor(place) + 0.5
    return boundary + np.clip((place - boundary) / width, -0.5, 0.5)
