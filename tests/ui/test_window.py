from __future__ import annotations

from PyQt6.QtCore import Qt

from drillaid.guidance import guidance as g


def go(qtbot, window, paths):
    """Design read, practice bench chosen, the board looked for."""
    window.open_paths(paths)
    qtbot.waitUntil(lambda: window.job.job is not None, timeout=20_000)
    window.go("bench")
    window.stages["bench"].go.click()
    assert window.at == "finding"
    qtbot.waitUntil(lambda: window.job.found, timeout=30_000)


def push_to_target(qtbot, window) -> None:
    """Pushes by what is shown, and looks again only at a picture taken after the push."""
    stage, job = window.stages["drilling"], window.job
    pushed_s = -1.0

    def push() -> bool:
        nonlocal pushed_s
        guidance = stage.sight.guidance
        taken_s = guidance.time_s - (guidance.latency_ms or 0.0) / 1000
        if guidance.off_mm is None or taken_s <= pushed_s:
            return False
        if guidance.distance_mm > 0.05:
            far = min(1.0, 8.0 / guidance.distance_mm)
            job.practice.move(*(far * v for v in guidance.off_mm))
            pushed_s = job.camera.camera.time_s
        return stage.sight.guidance.state == g.ON_TARGET

    qtbot.waitUntil(push, timeout=40_000)


def test_a_hole_is_drilled_on_the_practice_bench(qtbot, window, board_files):
    """From the files to the first hole, by the keys a person would use."""
    assert window.way.buttons["drilling"].isEnabled() is False
    go(qtbot, window, board_files)
    window.stages["finding"].go.click()
    stage = window.stages["drilling"]
    assert stage.cautions.isVisible()
    qtbot.keyClick(stage, Qt.Key.Key_Space)
    qtbot.waitUntil(stage.card.isVisible, timeout=20_000)
    qtbot.keyClick(stage.card, Qt.Key.Key_Space)
    qtbot.waitUntil(lambda: stage.sight.guidance.state != g.CHANGE_BIT, timeout=20_000)

    push_to_target(qtbot, window)
    hole = stage.sight.guidance.hole
    assert stage.confirm.isEnabled()
    qtbot.keyClick(stage, Qt.Key.Key_L)
    qtbot.keyClick(stage, Qt.Key.Key_Space)
    qtbot.waitUntil(lambda: stage.sight.guidance.progress.done == 1, timeout=20_000)
    assert window.job.session.progress.hole_is_done(hole)
    assert window.job.open_journal().board(window.job.board).done == 1


def test_a_step_that_cannot_be_gone_to_says_why(qtbot, window):
    window.go("finding")
    assert window.at == "design"
    assert window.line.text() == "The board's files come first"


def test_files_that_are_no_design_are_told(qtbot, window, tmp_path):
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear all,\n")
    window.open_paths([str(letter)])
    qtbot.waitUntil(lambda: "letter.txt" in window.line.text(), timeout=10_000)
    assert window.job.job is None
