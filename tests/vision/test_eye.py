from __future__ import annotations

import numpy as np

from drillaid.vision.eye import Eye, inside


def test_size_is_width_then_height():
    assert Eye(np.zeros((30, 40), np.float32), 1.0).size_px == (40, 30)


def test_what_lies_at_the_rim_or_nowhere_is_not_inside():
    px = np.array([[5.0, 5.0], [2.0, 5.0], [37.0, 5.0], [36.9, 26.9], [5.0, 27.0], [np.nan, 5.0]])
    assert inside((40, 30), px, 2.0).tolist() == [True, False, False, True, False, False]
