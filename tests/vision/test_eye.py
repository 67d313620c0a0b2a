from __future__ import annotations

import numpy as np

from drillaid.vision.eye import Eye


def test_size_is_width_then_height():
    assert Eye(np.zeros((30, 40), np.float32), 1.0).size_px == (40, 30)
