"""Where a design is most easily taken for itself: turned, mirrored or moved onto its own holes."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.spatial import cKDTree

from drillaid.geometry import Affine

SAME_MOVE_MM = 0.05
ALIKE_SHARE = 0.4  # of the holes laid on holes, from which a turned design is its own near-twin
ON_HOLE_MM = 0.5
BINS = 16_381  # a prime


def twin_moves(holes_mm: np.ndarray) -> list[Affine]:
    """Design mm -> design mm: quarter turns, common steps and mirrors, about the middle, and
    such turns and mirrors about wherever they lay most holes on holes."""
    holes = np.ascontiguousarray(holes_mm, dtype=np.float64)
    return list(_twin_moves(holes.tobytes()))


@lru_cache(maxsize=16)
def _twin_moves(holes: bytes) -> tuple[Affine, ...]:
    """Of holes (N, 2), float64: the same each time a design is looked for."""
    holes_mm = np.frombuffer(holes).reshape(-1, 2)
    middle = (holes_mm.min(axis=0) + holes_mm.max(axis=0)) / 2
    turns = turns_about(middle)
    steps = [Affine.from_parts(offset=step) for step in common_steps(holes_mm)]
    moves = [*turns[:3], *steps, *turns[3:]]
    for turn in turns:
        for move in _onto_itself(turn, holes_mm):
            if all(np.abs(move(holes_mm) - known(holes_mm)).max() > SAME_MOVE_MM for known in moves):
                moves.append(move)
    return tuple(moves)


def _onto_itself(turn: Affine, holes_mm: np.ndarray, most: int = 2) -> list[Affine]:
    """`turn` and then the shifts that lay most holes on holes: one odd pad at an end moves the
    middle of all holes, but not that about which the others are alike."""
    turned = turn(holes_mm)
    difference = (holes_mm[None, :, :] - turned[:, None, :]).reshape(-1, 2)
    # Designs lie on grids of 0.05 or 1/80 inch: so shifted, none falls between two bins.
    key = np.rint(difference / 0.1 + 0.13).astype(np.int64)
    key = key[:, 0] * 1_000_003 + key[:, 1]
    # Sorted are only those that may be so many: counted in few bins, shared with others.
    shared = key % BINS
    often = np.flatnonzero((np.bincount(shared) >= ALIKE_SHARE * len(holes_mm))[shared])
    _, index, counts = np.unique(key[often], return_index=True, return_counts=True)
    index, order = often[index], np.argsort(-counts, kind="stable")[:most]
    return [
        Affine.from_parts(offset=difference[index[k]]) @ turn
        for k in order
        if counts[k] >= ALIKE_SHARE * len(holes_mm)
    ]


def turns_about(middle: np.ndarray) -> list[Affine]:
    """Design mm -> design mm: the quarter turns about a place, and its two mirror images."""
    away = Affine.from_parts(offset=-middle)
    turns = [
        Affine.from_parts(rotation_rad=k * np.pi / 2, offset=middle) @ away for k in (1, 2, 3)
    ]
    flip = Affine.from_parts(offset=middle) @ Affine.from_parts(mirrored=True) @ away
    return [*turns, flip, turns[1] @ flip]


@lru_cache(maxsize=16)
def _share_mirrored(holes: bytes) -> float:
    holes_mm = np.frombuffer(holes).reshape(-1, 2)
    tree = cKDTree(holes_mm)
    moves = [move for move in _twin_moves(holes) if move.determinant < 0]
    return max(float((tree.query(move(holes_mm))[0] < ON_HOLE_MM).mean()) for move in moves)


def own_mirror_image(holes_mm: np.ndarray) -> bool:
    """Does one of its mirror images lay so many holes on holes that the two may be confused?"""
    holes = np.ascontiguousarray(holes_mm, dtype=np.float64)
    return _share_mirrored(holes.tobytes()) >= ALIKE_SHARE


def common_steps(holes_mm: np.ndarray, most: int = 8) -> list[np.ndarray]:
    """The vectors between holes that occur most often, both ways, up to 12 mm."""
    difference = (holes_mm[None, :, :] - holes_mm[:, None, :]).reshape(-1, 2)
    length = np.linalg.norm(difference, axis=1)
    near = difference[(length > 0.9) & (length < 12.0)]
    if not len(near):
        return []
    key = np.rint(near / 0.1).astype(int)
    values, index, counts = np.unique(key, axis=0, return_index=True, return_counts=True)
    order = np.argsort(-counts, kind="stable")[:most]
    return [near[index[k]] for k in order]
