from __future__ import annotations

import numpy as np
import pytest

from drillaid.geometry import Affine
from drillaid.guidance.scene import LEFT, TARGET, Scene
from drillaid.guidance.view import View
from ui.look.colours import DARK
from ui.picture.camera_picture import CameraPicture

HOLES = np.array([[100.0, 200.0], [300.0, 200.0]])


@pytest.fixture
def picture(qtbot):
    made = CameraPicture(DARK)
    qtbot.addWidget(made)
    made.resize(640, 480)
    made.show()
    return made


def signs_drawn(picture) -> list[bool]:
    """Whether something is drawn at each of the holes, of which the second is the one to do now."""
    view = View(Affine.identity(), picture.size_px(), 10.0)
    scene = Scene(
        view, None, HOLES[1], HOLES, (LEFT, TARGET), tolerance=2.0, doubt=None, bit=None, land=None
    )
    picture.show_sight(None, scene)
    image = picture.grab().toImage()
    ground = image.pixelColor(10, 10)
    near = range(-8, 9)
    return [
        any(image.pixelColor(int(u) + dx, int(v) + dy) != ground for dx in near for dy in near)
        for u, v in HOLES
    ]


def test_while_nobody_aims_the_hole_to_do_now_is_shown_like_the_others(picture):
    """A person holds every sign against its land before drilling; one was left out."""
    picture.aiming = False
    assert signs_drawn(picture) == [True, True]


def test_while_aiming_its_place_is_left_to_the_aim(picture):
    assert signs_drawn(picture) == [True, False]
