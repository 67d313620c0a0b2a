"""A small board of exact shapes in design mm, and pictures of it through any plane map."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from support.drawn_shapes import Figure, coverage

from drillaid.design.model import Copper, Design, Hole
from drillaid.geometry import Affine

MASK_PX_PER_MM = 20.0
FINE = 4


@dataclass(frozen=True, eq=False)
class DrawnBoard:
    """size_mm from (0, 0); pads first, then tracks; the lands' radii, mm, by hole."""

    design: Design
    figures: tuple[Figure, ...]
    size_mm: tuple[float, float]
    land_mm: np.ndarray


def board(seed: int, *, size_mm=(46.0, 32.0), holes: int = 40, tracks: int = 30) -> DrawnBoard:
    """Pads at random places of a 2.54 mm grid, two sizes of drill with a land each, and tracks."""
    rng = np.random.default_rng([seed, 91])
    columns, rows = (int(s // 2.54) - 1 for s in size_mm)
    cells = rng.permutation(columns * rows)[:holes]
    xy = (np.column_stack([cells % columns, cells // columns]) + 1.0) * 2.54
    drill = np.where(rng.random(holes) < 0.7, 0.8, 1.2)
    order = np.argsort(drill, kind="stable")
    xy, drill = xy[order], drill[order]
    land = np.where(drill < 1, 0.85, 1.15)
    figures = [Figure("disc", tuple(p), (2 * r, 2 * r)) for p, r in zip(xy, land, strict=True)]
    for a in rng.permutation(holes)[:tracks]:
        near = np.argsort(np.hypot(*(xy - xy[a]).T))[int(rng.integers(1, 5))]
        step = xy[near] - xy[a]
        length = float(np.hypot(*step))
        middle = tuple((xy[a] + xy[near]) / 2)
        figures.append(Figure("box", middle, (length, 0.7), float(np.arctan2(step[1], step[0]))))
    design = design_of(f"drawn {seed}", xy, drill, figures, size_mm)
    return DrawnBoard(design, tuple(figures), size_mm, land)


def design_of(name: str, xy, drill, figures, size_mm) -> Design:
    """The design whose copper the figures (design mm) are, on the bottom."""
    shape = tuple(int(s * MASK_PX_PER_MM) for s in size_mm[::-1])
    to_design = Affine([[1 / MASK_PX_PER_MM, 0, 0.0], [0, -1 / MASK_PX_PER_MM, size_mm[1]]])
    up = to_design.inverse
    on_mask = [
        Figure(f.kind, tuple(up(f.at)[0]), tuple(np.array(f.size) * MASK_PX_PER_MM), -f.turn_rad)
        for f in figures
    ]
    mask = np.where(coverage(shape, on_mask) > 0.5, 255, 0).astype(np.uint8)
    copper = Copper("bottom", mask, to_design, MASK_PX_PER_MM)
    listed = tuple(
        Hole(i + 1, float(x), float(y), float(d))
        for i, ((x, y), d) in enumerate(zip(xy, drill, strict=True))
    )
    return Design(name, listed, copper={"bottom": copper})


def copper_seen(board: DrawnBoard, to_px, shape, etch_mm: float = 0.0) -> np.ndarray:
    """Share of copper in each pixel, float32; etch_mm: every edge lies so far into the copper.

    to_px: design mm -> px, with its inverse (Affine or Homography)
    """
    height, width = shape
    fine = np.zeros((height * FINE, width * FINE), np.uint8)
    for figure in board.figures:
        size = tuple(np.array(figure.size) - 2 * etch_mm)
        etched = replace(figure, size=size)
        reach = np.hypot(*size) / 2
        box = np.array(figure.at) + reach * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        px = to_px(box)
        u0, v0 = np.clip(np.floor(px.min(axis=0) - 1), 0, [width, height]).astype(int)
        u1, v1 = np.clip(np.ceil(px.max(axis=0) + 2), 0, [width, height]).astype(int)
        if u1 <= u0 or v1 <= v0:
            continue
        u = (np.arange(u0 * FINE, u1 * FINE) + 0.5) / FINE - 0.5
        v = (np.arange(v0 * FINE, v1 * FINE) + 0.5) / FINE - 0.5
        grid = np.stack(np.meshgrid(u, v), axis=-1)
        mm = to_px.inverse(grid.reshape(-1, 2))
        inside = etched.holds(mm[:, 0], mm[:, 1]).reshape(len(v), len(u))
        fine[v0 * FINE : v1 * FINE, u0 * FINE : u1 * FINE] |= inside
    return fine.reshape(height, FINE, width, FINE).mean(axis=(1, 3), dtype=np.float32)


def photograph(
    board: DrawnBoard, to_px, shape, rng, *, etch_mm=0.0, noise=3.0, blur_px=0.8,
    copper=(90, 140, 205), bare=(75, 120, 130), gradient=0.2,
) -> np.ndarray:  # fmt: skip
    """uint8 BGR; light that grows by `gradient` from the left side to the right."""
    share = copper_seen(board, to_px, shape, etch_mm)[..., None]
    image = share * np.array(copper, np.float32) + (1 - share) * np.array(bare, np.float32)
    image *= (1 + gradient * (np.linspace(-0.5, 0.5, shape[1])))[None, :, None]
    return exposed(cv2.GaussianBlur(image, (0, 0), blur_px), rng, noise)


def exposed(still: np.ndarray, rng, noise: float) -> np.ndarray:
    """With the noise of one picture, uint8."""
    image = still + rng.standard_normal(still.shape, dtype=np.float32) * noise
    return np.clip(np.rint(image), 0, 255).astype(np.uint8)
