from __future__ import annotations

import numpy as np
import pytest
from support.bench_job import SPINDLE, work_of
from support.small_board import small_design

from drillaid.geometry import Affine, Homography
from drillaid.guidance.aim import Settings
from drillaid.guidance.events import BitFitted, RegistrationView, Skip
from drillaid.guidance.scene import DONE, LEFT, SKIPPED, TARGET, scene_of, states_of
from drillaid.guidance.session import Session
from drillaid.guidance.view import View, upright_px_per_mm
from drillaid.registration.result import REGISTERED, Placement, Registration

PX_PER_MM = 20.0


def seen(design, off_mm):
    """(session, guidance, registration) with hole 1 `off_mm` short of the spindle."""
    work = work_of((0.8, len(design.holes)))
    session = Session(work, SPINDLE, Settings(tolerance_mm=0.2))
    place = Affine.from_parts(offset=np.asarray(SPINDLE) - off_mm - work.xy_mm[0])
    session.act(BitFitted(0.8), 0.0)
    errors = np.full(len(design.holes), 0.03)
    guidance = session.step(RegistrationView(1, 1.0, place, errors))
    at = place(work.xy_mm)
    pixels = np.column_stack([PX_PER_MM * at[:, 0], 1000 - PX_PER_MM * at[:, 1]])
    placement = Placement(
        "affine", Homography.of(place), place, pixels, at, errors, np.ones(len(at), bool),
        0.01, PX_PER_MM,
    )  # fmt: skip
    return session, guidance, Registration(REGISTERED, "", placement)


def test_the_way_to_push_is_that_of_guidance():
    design = small_design()
    session, guidance, registration = seen(design, (1.5, -0.25))
    spindle = np.array([PX_PER_MM * SPINDLE[0], 1000 - PX_PER_MM * SPINDLE[1]])
    view = View.hands(upright_px_per_mm(PX_PER_MM), spindle, (700, 700), 14.0)
    scene = scene_of(
        view, spindle, design, session.settings, guidance, registration, session.progress
    )
    assert scene.off / view.px_per_mm == pytest.approx((1.5, 0.25), abs=1e-9)  # y down
    assert scene.tolerance == pytest.approx(0.2 * 50)
    assert scene.doubt == pytest.approx(2 * guidance.expected_error_mm * 50)
    assert scene.bit == pytest.approx(0.4 * 50)
    assert scene.states[0] == TARGET and set(scene.states[1:]) == {LEFT}


def test_a_board_that_is_not_seen_has_no_places():
    design = small_design()
    session, guidance, _ = seen(design, (1.0, 0.0))
    view = View.whole((1920, 1080), (700, 700))
    scene = scene_of(view, None, design, session.settings, guidance, None, session.progress)
    assert scene.off is None and len(scene.holes) == 0 and scene.doubt is None


def test_states_follow_the_progress():
    session = Session(work_of((0.8, 3)), SPINDLE)
    assert states_of(session.progress, 3, 1) == (TARGET, LEFT, LEFT)
    session.act(Skip(), 1.0)
    done = session.progress.finish_target(None)
    assert states_of(done, 3) == (SKIPPED, DONE, LEFT)


@pytest.mark.parametrize("face", ["bottom", "top"])
@pytest.mark.parametrize("angle", [-2.5, -0.4, 0.0, 1.3, 3.0])
def test_the_drawing_turned_so_lies_as_the_board(face, angle):
    """The drawing's own places, turned clockwise on the screen, are those seen."""
    from drillaid.design.picture import placed_picture
    from drillaid.guidance.scene import turn_of

    design = small_design()
    _, to_px = placed_picture(design, 5.0, face=face)
    c, s = np.cos(angle), np.sin(angle)
    seen = to_px(design.xy_mm) @ np.array([[c, -s], [s, c]]).T * 1.7 + [40, -9]  # y down
    assert turn_of(seen, design.xy_mm) == pytest.approx(angle, abs=1e-9)
    assert turn_of(seen[:0], design.xy_mm) is None


@pytest.mark.parametrize(
    ("turns", "push"), [(0, (1.5, -0.25)), (1, (0.25, 1.5)), (2, (-1.5, 0.25))]
)
def test_without_a_rig_the_push_turns_with_the_picture(turns, push):
    """As the screen shows it: off there is the same push, y down."""
    from dataclasses import replace

    design = small_design()
    session, guidance, registration = seen(design, (1.5, -0.25))
    loose = replace(registration, placement=replace(registration.placement, on_bench=False))
    spindle = np.array([PX_PER_MM * SPINDLE[0], 1000 - PX_PER_MM * SPINDLE[1]])
    view = View.hands(upright_px_per_mm(PX_PER_MM, turns), spindle, (700, 700), 14.0)
    scene = scene_of(
        view, spindle, design, session.settings, guidance, loose, session.progress, turns
    )
    assert scene.push_mm == pytest.approx(push)
    assert scene.off / view.px_per_mm == pytest.approx((push[0], -push[1]), abs=1e-9)
