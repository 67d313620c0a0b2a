"""What was seen in one picture: places that may be pads or holes, with expected errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Sightings:
    """N places in one picture, best first.

    px: (N, 2) centres, pixels as photographed
    sigma_px: (N,) one sigma of each coordinate of the centre
    diameter_px: (N,) of the round feature seen
    score: (N,) 0 … 1, how round and how sharply bounded
    """

    px: np.ndarray
    sigma_px: np.ndarray
    diameter_px: np.ndarray
    score: np.ndarray

    def __len__(self) -> int:
        return len(self.px)
