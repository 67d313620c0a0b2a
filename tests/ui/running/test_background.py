from __future__ import annotations

import threading

import pytest

from drillaid.errors import DesignError
from ui.running.background import Background


@pytest.fixture
def work(qtbot):
    made = Background()
    yield made
    made.close()


def test_a_result_comes_back(qtbot, work):
    with qtbot.waitSignal(work.done, timeout=5000) as got:
        work.start(lambda: 42)
    assert got.args == [42]


def test_a_failure_is_its_sentence(qtbot, work):
    def fail():
        raise DesignError("is empty", file="board.drl")

    with qtbot.waitSignal(work.failed, timeout=5000) as got:
        work.start(fail)
    assert got.args == ["board.drl: is empty."]


@pytest.mark.logs
def test_a_fault_of_ours_is_a_sentence_too(qtbot, work):
    with qtbot.waitSignal(work.failed, timeout=5000) as got:
        work.start(lambda: 1 / 0)
    assert "went wrong" in got.args[0]


def test_only_the_newest_work_is_heard(qtbot, work):
    wait, heard = threading.Event(), []
    work.done.connect(heard.append)
    work.start(lambda: wait.wait(5) and "old")
    with qtbot.waitSignal(work.done, timeout=5000):
        work.start(lambda: "new")
    wait.set()
    qtbot.wait(100)
    assert heard == ["new"]
