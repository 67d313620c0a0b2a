from __future__ import annotations

import itertools

import numpy as np
import pytest
from PyQt6.QtGui import QColor, QImage, QPainter

from drillaid.guidance import guidance as g
from drillaid.guidance.scene import DONE, LEFT, SKIPPED, TARGET
from ui.look import signs

STATES = (
    g.FINISHED,
    g.PAUSED,
    g.UNTRUE,
    g.CHANGE_BIT,
    g.LOST,
    g.MOVE,
    g.UNSURE,
    g.HOLD,
    g.ON_TARGET,
)
BLACK, WHITE = QColor("#000000"), QColor("#FFFFFF")


def drawn(draw) -> np.ndarray:
    image = QImage(96, 96, QImage.Format.Format_Grayscale8)
    image.fill(WHITE)
    painter = QPainter(image)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.translate(48, 48)
    painter.scale(20, 20)
    draw(painter)
    painter.end()
    return np.frombuffer(image.constBits().asstring(96 * 96), np.uint8).reshape(96, 96) / 255.0


KINDS = {
    "guidance": [lambda p, s=s: signs.guidance_sign(p, s, BLACK) for s in STATES],
    "holes": [lambda p, s=s: signs.hole_sign(p, s, BLACK, WHITE)
              for s in (LEFT, DONE, SKIPPED, TARGET)],
    "steps": [lambda p, s=s: signs.step_sign(p, s, BLACK, WHITE)
              for s in (signs.STEP_DONE, signs.STEP_NOW, signs.STEP_OPEN, signs.STEP_SHUT)],
    "parts": [lambda p, s=s: signs.part_sign(p, s, BLACK)
              for s in (signs.PART_DONE, signs.PART_MISSING, signs.PART_STALE)],
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_signs_differ_without_colour(qapp, kind):
    """All in one ink: any two differ over a good part of what they cover."""
    pictures = [drawn(draw) for draw in KINDS[kind]]
    for one, other in itertools.combinations(pictures, 2):
        ink = np.minimum(one, other) < 0.5
        assert ink.any()
        assert (np.abs(one - other) > 0.5)[ink].mean() > 0.12
