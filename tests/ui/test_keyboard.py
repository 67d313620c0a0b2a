"""The whole job by keys alone, as a person does it who has one hand on the board."""

from __future__ import annotations

import pytest
from PyQt6.QtCore import Qt

from drillaid.guidance import guidance as g
from drillaid.simulation import parts
from drillaid.simulation.conditions import bench_for
from drillaid.simulation.designs import Layout, Placed
from drillaid.simulation.export import write_fabrication_files
from ui.job import PRACTICE, Bench

SIZE = 960, 540
ARROWS = {
    (1, 0): Qt.Key.Key_Right, (-1, 0): Qt.Key.Key_Left, (0, 1): Qt.Key.Key_Up,
    (0, -1): Qt.Key.Key_Down,
}  # fmt: skip


@pytest.fixture(scope="module")
def tiny_files(tmp_path_factory):
    """Eight holes of two sizes."""
    layout = Layout((30.0, 20.0), 0.4)
    layout.place(Placed(parts.header(4), 10.0, 12.0))
    layout.place(Placed(parts.resistor(), 20.0, 5.0))
    layout.place(Placed(parts.terminal(2), 22.0, 14.0))
    folder = tmp_path_factory.mktemp("tiny")
    return [str(p) for p in write_fabrication_files(layout.design("tiny"), folder, "tiny")]


def press(qtbot, window, key, times=1, **more) -> None:
    """To whatever has the keyboard."""
    for _ in range(times):
        qtbot.keyClick(window.focusWidget() or window, key, **more)


def push_by_keys(qtbot, window) -> None:
    """Half a millimetre a key, a twentieth with shift, as the figures say."""
    stage, job = window.stages["drilling"], window.job
    pushed_s = -1.0

    def push() -> bool:
        nonlocal pushed_s
        guidance = stage.sight.guidance
        if guidance.state == g.ON_TARGET:
            return True
        taken_s = guidance.time_s - (guidance.latency_ms or 0.0) / 1000
        if guidance.off_mm is None or taken_s <= pushed_s or guidance.distance_mm < 0.06:
            return False
        for axis, value in enumerate(guidance.off_mm):
            way = [0, 0]
            way[axis] = 1 if value > 0 else -1
            coarse = min(16, int(abs(value) / 0.5))
            press(qtbot, window, ARROWS[tuple(way)], coarse)
            fine = round((abs(value) - 0.5 * int(abs(value) / 0.5)) / 0.05)
            shift = Qt.KeyboardModifier.ShiftModifier
            press(qtbot, window, ARROWS[tuple(way)], fine, modifier=shift)
        qtbot.waitUntil(job.errands.empty, timeout=5000)
        pushed_s = job.camera.camera.time_s + 0.05
        return False

    qtbot.waitUntil(push, timeout=30_000)


def test_the_whole_job_by_keyboard_alone(qtbot, window, tiny_files):
    window.job.make_practice = lambda made, _seed: bench_for(made.design, 6, size=SIZE)
    window.job.set_bench(Bench(PRACTICE))
    window.job.remember(seen=False, bits="0.8,1.0,1.3")
    window.activateWindow()
    window.open_paths(tiny_files)  # as from the command line
    design = window.stages["design"]
    qtbot.waitUntil(lambda: design.go.isEnabled() and design.go.hasFocus(), timeout=20_000)
    press(qtbot, window, Qt.Key.Key_Space)
    assert window.at == "finding"
    finding, stage = window.stages["finding"], window.stages["drilling"]
    qtbot.waitUntil(finding.go.hasFocus, timeout=30_000)
    press(qtbot, window, Qt.Key.Key_Space)
    assert window.at == "drilling" and stage.cautions.isVisible()
    press(qtbot, window, Qt.Key.Key_Space)
    bits, job = 0, window.job.job
    while not window.job.finished:
        qtbot.waitUntil(lambda: stage.sight is not None, timeout=20_000)
        if stage.sight.guidance.state == g.CHANGE_BIT:
            qtbot.waitUntil(stage.card.isVisible, timeout=5000)
            press(qtbot, window, Qt.Key.Key_Space)
            bits += 1
            qtbot.waitUntil(lambda: stage.sight.guidance.state != g.CHANGE_BIT, timeout=10_000)
        done = stage.sight.guidance.progress.done
        push_by_keys(qtbot, window)
        press(qtbot, window, Qt.Key.Key_L)
        press(qtbot, window, Qt.Key.Key_Space)
        qtbot.waitUntil(lambda n=done: stage.sight.guidance.progress.done > n, timeout=10_000)
    assert bits == len(job.work.bits_mm) >= 2
    qtbot.waitUntil(stage.end.isVisible, timeout=10_000)
    press(qtbot, window, Qt.Key.Key_Space)
    assert window.at == "after"
    record = window.job.open_journal().board(window.job.board)
    assert record.done == len(job.design.holes) and record.finished
