"""A small invented board whose holes are found, drilled and measured in a few seconds."""

from __future__ import annotations

import numpy as np

from drillaid.simulation import parts
from drillaid.simulation.designs import InventedDesign, Layout, Placed

SIZE = (1280, 720)
MM_PER_PX = 0.08


def small_design() -> InventedDesign:
    """20 holes with lands, 2 without: a dual row, a header, two resistors, a terminal."""
    layout = Layout((46.0, 30.0), 0.4)
    for placed in (
        Placed(parts.mounting_hole(), 4.0, 4.0),
        Placed(parts.mounting_hole(), 42.0, 26.0),
        Placed(parts.dual_row(8), 22.86, 16.51),
        Placed(parts.header(4), 35.56, 8.89, 1),
        Placed(parts.resistor(), 10.16, 17.78, 1),
        Placed(parts.resistor(), 24.13, 26.67),
        Placed(parts.terminal(2), 12.70, 6.35),
    ):
        layout.place(placed)
    layout.connect_neighbours(np.random.default_rng(3), (0.7, 0.8, 1.2), 0.9)
    return layout.design("small board (invented)")


def tiny_design() -> InventedDesign:
    """14 holes with lands on 28 mm x 20 mm: quickly drawn where it moves about in the picture."""
    layout = Layout((28.0, 20.0), 0.4)
    for placed in (
        Placed(parts.dual_row(8), 16.51, 11.43),
        Placed(parts.resistor(), 7.62, 15.24),
        Placed(parts.terminal(2), 6.35, 6.35),
        Placed(parts.resistor(), 15.24, 3.81),
    ):
        layout.place(placed)
    layout.connect_neighbours(np.random.default_rng(3), (0.7, 0.8), 0.9)
    return layout.design("tiny board (invented)")
