"""One photograph as the measuring code sees it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Eye:
    """grey: float32 (H, W), in some mixture of the colours; noise: one sigma of a pixel."""

    grey: np.ndarray
    noise: float

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height."""
        return self.grey.shape[1], self.grey.shape[0]


def inside(size_px: tuple[int, int], px: np.ndarray, margin_px: float) -> np.ndarray:
    """(N,) bool: pixels (N, 2) that lie in a picture, so far from its rim; what is not finite
    does not.

    size_px: width and height
    """
    width, height = size_px
    # One coordinate after the other: rows of two numbers are worked on several times slower.
    u, v = px[:, 0], px[:, 1]
    with np.errstate(invalid="ignore"):
        return (
            (u > margin_px) & (v > margin_px)
            & (u < width - 1 - margin_px) & (v < height - 1 - margin_px)
        )  # fmt: skip
