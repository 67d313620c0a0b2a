"""Live choice of views: a simulated hand under a simulated camera, and what it is told."""

from __future__ import annotations

import numpy as np
import pytest
from support.lens_views import truth_of
from support.sheets import PLAIN, SMALL, camera_over

from calibration.glance import Stillness, glance
from calibration.live_lens import SIDES, LensSession
from calibration.practice import pose_over
from calibration.practice_camera import PracticeCamera
from drillaid.errors import CameraLost, PictureError

LITTLE = (640, 360)


@pytest.fixture(scope="module")
def practice():
    """A whole live run: (camera, session, all states)."""
    session, states = LensSession(SMALL), []
    with PracticeCamera(SMALL, LITTLE, seed=2) as camera:
        for _ in range(250):
            states.append(session.feed(camera.read().image))
            if states[-1].done:
                break
    return camera, session, states


def test_views_are_chosen_until_nothing_is_missing(practice):
    _, session, states = practice
    last = states[-1]
    assert last.done and last.phase == "done" and last.advice == "Done."
    assert last.views >= 12 and all(last.corners) and all(last.tilts) and last.near_far
    assert [b.views - a.views for a, b in zip(states, states[1:], strict=False)].count(
        1
    ) <= last.views
    assert {"moving", "taken"} <= {state.phase for state in states}
    assert all(not s.done and s.missing for s in states[:-1])
    assert len(session.photos) == last.views


def test_the_chosen_views_give_the_lens(practice):
    camera, session, _ = practice
    result = session.result()
    assert result.calibrated, result.message
    wrong = result.fit.values - truth_of(camera.rig)
    assert abs(wrong[0] / result.fit.values[0]) < 0.001
    assert np.abs(wrong[2:4]).max() < 1
    assert (np.abs(wrong[:4]) < 4 * result.fit.sigma[:4]).all()


def test_moving_pictures_are_never_taken(practice):
    _, _, states = practice
    taken = [b for a, b in zip(states, states[1:], strict=False) if b.views > a.views]
    assert all(state.phase in ("taken", "done") for state in taken)


@pytest.mark.parametrize(
    ("turn", "side"),
    [((0, 0.4, 0), "right"), ((0, -0.4, 0), "left"),
     ((0.4, 0, 0), "upper"), ((-0.4, 0, 0), "lower")],
)  # fmt: skip
@pytest.mark.parametrize("pattern", [SMALL, PLAIN])
def test_the_edge_that_is_lifted_is_the_one_nearer_to_the_camera(turn, side, pattern):
    camera = camera_over(pattern, size=LITTLE)
    middle = np.array(pattern.size_mm) / 2
    pose = pose_over(middle, 80, turn)
    # Truth: which edge's middle is nearer, along the camera's axis.
    width, height = pattern.size_mm
    edges = {"left": (0, height / 2), "right": (width, height / 2),
             "upper": (width / 2, 0), "lower": (width / 2, height)}  # fmt: skip
    rotation = camera.posed(*pose).rotation
    depth = {name: (rotation @ [*xy, 0] + pose[1])[2] for name, xy in edges.items()}
    assert min(depth, key=depth.get) == side
    session = LensSession(pattern)
    image = camera.picture(*pose)
    session.feed(image)
    state = session.feed(image)
    assert state.phase == "taken"
    assert [name for name, seen in zip(SIDES, state.tilts, strict=True) if seen] == [side]
    lifts = [words for words in state.missing if "edge of the sheet by about" in words]
    assert len(lifts) == 3 and not any(side in words for words in lifts)
    assert all(words.endswith("cm") for words in lifts)


def test_the_same_view_is_not_taken_twice_and_a_corner_is_asked_for():
    camera = camera_over(size=LITTLE)
    session = LensSession(SMALL)
    pose = pose_over((0, 0), 60, (0.1, 0.1, 0))  # the sheet lies to the lower right
    for _ in range(3):
        state = session.feed(camera.picture(*pose))
    assert state.views == 1 and state.corners[3] and not state.corners[0]
    assert "upper left corner" in state.advice
    session.feed(np.zeros((360, 640, 3), np.uint8))
    session.feed(camera.picture(*pose))
    state = session.feed(camera.picture(*pose))
    assert state.phase == "same" and state.views == 1


def test_nothing_to_see_says_why_at_first():
    session = LensSession(SMALL)
    grey = np.full((360, 640), 120, np.uint8)
    session.feed(grey)
    state = session.feed(grey)
    assert state.phase == "nothing" and "no calibration pattern" in state.message.lower()
    assert state.missing[0].startswith("lay the sheet flat")
    with pytest.raises(PictureError, match="640 x 360"):
        session.feed(np.zeros((20, 30), np.uint8))


def test_stillness_and_glance():
    still = Stillness()
    image = np.random.default_rng(0).integers(0, 255, (90, 160)).astype(np.uint8)
    assert still.moved(image) == np.inf
    assert still.moved(image) == 0
    assert still.moved(np.roll(image, 9, axis=1)) > 5
    assert glance(image, SMALL) is None


def test_practice_camera_is_a_source():
    camera = PracticeCamera(SMALL, (320, 180), seed=4)
    first = camera.read()
    assert (first.number, first.image.shape) == (0, (180, 320, 3))
    assert camera.read().time_s > first.time_s
    again = PracticeCamera(SMALL, (320, 180), seed=4)
    assert (again.read().image == first.image).all()
    camera.close()
    with pytest.raises(CameraLost):
        camera.read()
