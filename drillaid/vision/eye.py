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
