"""How well a finder's findings cover the pads that a simulated picture shows."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.spatial import cKDTree

NEAR_MM = 0.3


@dataclass
class Score:
    """Sums over pictures. off_mm: of the pads found; on_pad: findings near some pad;
    early: pads found among the first findings, two for each pad."""

    pads: int = 0
    found: int = 0
    early: int = 0
    findings: int = 0
    on_pad: int = 0
    off_mm: list[float] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)

    @property
    def recall(self) -> float:
        return self.found / max(self.pads, 1)

    @property
    def precision(self) -> float:
        return self.on_pad / max(self.findings, 1)

    def add(self, findings: np.ndarray, pads: np.ndarray, px_per_mm: float, seconds: float) -> None:
        """findings (n, 2 or more), best first, and pads (m, 2), px of the same picture."""
        self.seconds.append(seconds)
        self.pads += len(pads)
        self.findings += len(findings)
        if not len(findings) or not len(pads):
            return
        at = findings[:, :2] / px_per_mm
        pads = pads / px_per_mm
        off = cKDTree(at).query(pads)[0]
        self.found += int((off < NEAR_MM).sum())
        self.off_mm += off[off < NEAR_MM].tolist()
        self.on_pad += int((cKDTree(pads).query(at)[0] < NEAR_MM).sum())
        first = cKDTree(at[: 2 * len(pads)]).query(pads)[0]
        self.early += int((first < NEAR_MM).sum())


def visible_lands(bench) -> tuple[np.ndarray, np.ndarray]:
    """Middles (design mm, (m, 2)) and smaller sides (m,) of the lands a picture shows.

    Not those in filled copper, which nothing sets off, lost ones, those out of the
    picture and those under a finger.
    """
    design = bench.board.design
    there = bench.in_view(10) & ~bench.covered()
    lands = [
        land
        for hole, land, seen in zip(design.holes, design.lands, there, strict=True)
        if seen and land is not None and not land.in_pour and hole.number not in bench.board.lost
    ]
    middles = np.array([land.centre_mm for land in lands], dtype=np.float64).reshape(-1, 2)
    return middles, np.array([min(land.size_mm) for land in lands])


def inside(findings: np.ndarray, valid: np.ndarray) -> np.ndarray:
    """Those findings that lie where the photograph covers the flat picture."""
    height, width = valid.shape
    cell = np.clip(np.rint(findings[:, :2]).astype(int), 0, [width - 1, height - 1])
    return findings[valid[cell[:, 1], cell[:, 0]] > 0]
