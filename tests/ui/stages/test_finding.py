from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PyQt6.QtCore import QPoint, Qt

from drillaid.guidance.job import prepare
from drillaid.guidance.scene import TARGET
from drillaid.registration.result import REASONS, Registration
from drillaid.simulation import mishaps, parts
from drillaid.simulation.bench import SimulatedBench
from drillaid.simulation.board import SimulatedBoard
from drillaid.simulation.conditions import bench_for
from drillaid.simulation.designs import Layout, Placed
from drillaid.simulation.export import write_fabrication_files
from drillaid.simulation.look import Look
from drillaid.simulation.rigs import nominal_rig
from ui.job import PRACTICE, Bench
from ui.stages.finding import verdict_words

SIZE = 960, 540  # of the pictures: searched in a quarter of the time


@pytest.fixture(scope="module")
def twin_job(tmp_path_factory):
    """A dual row by its drill list alone: turned by half a turn it looks the same."""
    layout = Layout((40.0, 20.0), 0.4)
    layout.place(Placed(parts.dual_row(16), 20.0, 10.0))
    design = layout.design("dual row (invented)")
    folder = tmp_path_factory.mktemp("twin")
    paths = [str(path) for path in write_fabrication_files(design, folder, "row")]
    drills = [path for path in paths if path.endswith((".drl", ".xln", ".nc"))]
    return prepare(drills, face="bottom", thickness_mm=1.6, bits_mm=(0.8,), tolerance_mm=0.2)


def look_for(qtbot, window, job, bench):
    window.job.make_practice = lambda _job, _seed: bench
    window.job.set_job(job)
    window.job.set_bench(Bench(PRACTICE))
    window.go("finding")
    stage = window.stages["finding"]
    qtbot.waitUntil(lambda: stage.verdict.text() != "Looking …", timeout=30_000)
    return stage


def test_a_board_that_fits_twice_is_settled_by_two_pads_and_stays_so(qtbot, window, twin_job):
    bench = bench_for(twin_job.design, 4, size=SIZE)
    stage = look_for(qtbot, window, twin_job, bench)
    assert stage.verdict.text() == "It fits in more than one way"
    assert not stage.go.isEnabled() and stage.pointing.isVisible()
    first, second = twin_job.far_pair
    assert f"hole {first} " in stage.pointing.text()
    x, y = stage.sight.scene.view(bench.true_pixels())[first - 1]
    qtbot.mouseClick(stage.picture, Qt.MouseButton.LeftButton, pos=QPoint(round(x), round(y)))
    assert f"hole {second} " in stage.pointing.text()
    # The second one by keys alone.
    stage.picture.cross = tuple(stage.sight.scene.view(bench.true_pixels())[second - 1] + [20, 0])
    for _ in range(2):
        qtbot.keyClick(stage, Qt.Key.Key_Left)
    qtbot.keyClick(stage, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: window.job.found, timeout=30_000)
    seen = stage.sight.guidance.frame
    qtbot.waitUntil(lambda: stage.sight.guidance.frame > seen + 5, timeout=30_000)
    assert stage.verdict.text() == "Found" and stage.go.isEnabled()
    assert not stage.pointing.isVisible()
    # And it stays settled on the way to the drill: the right way round.
    stage.go.click()
    drilling = window.stages["drilling"]
    qtbot.keyClick(drilling, Qt.Key.Key_Space)
    qtbot.waitUntil(lambda: drilling.sight is not None and drilling.sight.registration is not None,
                    timeout=30_000)  # fmt: skip
    place = drilling.sight.registration.placement
    off = place.pixels - bench.true_pixels()
    assert np.hypot(*off.T).max() < 3.0


def test_what_was_found_is_told_in_the_persons_terms(qtbot, window, small_job):
    bench = bench_for(small_job.design, 3, size=SIZE)
    stage = look_for(qtbot, window, small_job, bench)
    assert stage.verdict.text() == "Found"
    words = stage.words.text()
    assert "places looked at agree" in words and "Holes are known to 0.0" in words
    assert "artwork is" in words
    assert stage.go.isEnabled() and window.job.found


def test_a_land_that_is_not_there_is_told_and_marked(qtbot, window, small_job):
    """It came off in the bath, or the files are of another version of the board."""
    design = small_job.design
    lost = next(h.number for h, land in zip(design.holes, design.lands, strict=True) if land)
    rig = nominal_rig(*SIZE, 0.1, 0.05, 1.0, seed=3)
    board = SimulatedBoard(design, Look(lost=(lost,)), seed=3, px_per_mm=12.0)
    stage = look_for(qtbot, window, small_job, SimulatedBench(board, rig, seed=3))
    assert stage.verdict.text() == "Found"
    assert f"no land is to be seen at 1 hole ({lost})" in stage.words.text()
    states = stage.map._states
    assert [k + 1 for k, state in enumerate(states) if state == TARGET] == [lost]


@pytest.mark.parametrize(
    ("spoil", "seed", "verdict", "advice"),
    [
        (mishaps.bare_side, 3, "The bare side is up", "turn it over"),
        (mishaps.dim, 5, "Too dark", "switch on the light"),  # in that of seed 3 it is found
        (mishaps.defocused, 3, "Out of focus", "focus on the board"),
    ],
)
def test_each_refusal_has_its_word_and_its_advice(
    qtbot, window, small_job, spoil, seed, verdict, advice
):
    bench = spoil(seed, bench_for(small_job.design, seed, size=SIZE))
    stage = look_for(qtbot, window, small_job, bench)
    assert stage.verdict.text() == verdict
    assert advice in stage.words.text()
    assert not stage.go.isEnabled() and not window.job.found


def test_the_wrong_face_is_said(qtbot, window, small_job):
    stage = look_for(
        qtbot, window, replace(small_job, face="top"), bench_for(small_job.design, 3, size=SIZE)
    )
    assert stage.verdict.text() == "The wrong way round"
    assert "mirror image" in stage.words.text()


def test_no_two_reasons_have_the_same_words():
    told = {verdict_words(Registration("not_found", "", reason=reason)) for reason in REASONS}
    assert len(told) >= len(REASONS) - 2  # the last two have a status of their own
