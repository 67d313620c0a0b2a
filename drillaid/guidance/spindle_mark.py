"""Where the spindle axis is in the picture of a camera that has no rig file.

Drill one hole in scrap as thick as the board, take scrap and bit away as far as
needed to see it, and photograph it with the camera that will guide: where the
hole's rim is, the axis meets the upper face of every board of that thickness.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.rig.rig import Rig
from drillaid.vision.bore import Bore, find_bores

POINTED_PX = 1.0  # one sigma of a coordinate that a person reads off (from memory)
NEAR_PX = 40.0  # a hole this near to where the person pointed is the one meant
# Of the hole's wall, where it is seen and lit like the face: by that share of the way to the
# middle of the patch both rims enclose, and no more, since a wall that broad shows as one (set
# on simulated scrap; tests/guidance/test_spindle_mark.py holds it against truth).
WALL_SHARE, MOST_WALL_PX = 0.5, 0.3
TOLD = 4  # places named in a refusal


@dataclass(frozen=True, eq=False)
class SpindleMark:
    """px: (2,) as photographed; covariance_px2: (2, 2); size_px: of that picture, or None"""

    px: np.ndarray
    covariance_px2: np.ndarray
    size_px: tuple[int, int] | None = None

    def covariance_seen_by(self, rig: Rig, thickness_mm: float) -> np.ndarray:
        """(2, 2) px², with what the hole's wall may have moved the rim by.

        rig: its plane z = 0 is the scrap's upper face, its axis is this mark's
        """
        upper, lower = (rig.to_pixels(rig.axis_mm, z)[0] for z in (0.0, -thickness_mm))
        way = lower - upper
        length = float(np.hypot(*way))
        if length < 1e-6:
            return self.covariance_px2
        wall = way / length * min(WALL_SHARE * length / 2, MOST_WALL_PX)
        return self.covariance_px2 + np.outer(wall, wall)


def pointed_at(u: float, v: float) -> SpindleMark:
    """A pixel that a person read off a picture."""
    return SpindleMark(np.array([u, v], dtype=np.float64), np.eye(2) * POINTED_PX**2)


def mark_in_scrap(image: np.ndarray, near_px=None) -> SpindleMark | str:
    """The one hole in a picture of scrap, or the reason why there is none, with advice.

    image: uint8 BGR; near_px: (2,) about where it is, to choose among several
    """
    bores = find_bores(image)
    if near_px is not None:
        far = [float(np.hypot(*(bore.px - near_px))) for bore in bores]
        bores = [bores[int(np.argmin(far))]] if far and min(far) <= NEAR_PX else []
    if not bores:
        where = (
            "" if near_px is None else f" within {NEAR_PX:g} px of ({near_px[0]:g}, {near_px[1]:g})"
        )
        return (
            f"no drilled hole is to be seen in the picture of the scrap{where}: take one in even "
            "light, the bit and swarf out of the way, of a fresh hole in a plain piece"
        )
    if len(bores) > 1:
        return (
            f"{len(bores)} round things in the picture of the scrap may be the fresh hole: "
            f"{_places(bores)}; use plain scrap that fills the picture, or say which with "
            "--spindle U,V"
        )
    height, width = image.shape[:2]
    return SpindleMark(bores[0].px, bores[0].covariance_px2, (width, height))


def _places(bores: list[Bore]) -> str:
    said = ", ".join(f"({b.px[0]:.0f}, {b.px[1]:.0f})" for b in bores[:TOLD])
    return said + (" …" if len(bores) > TOLD else "")
