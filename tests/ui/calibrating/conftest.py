"""A rig being made in a small workshop, page by page."""

from __future__ import annotations

import pytest

from drillaid.rig.frame import Frame
from ui.calibrating.rig_work import RigWork
from ui.job import JobState
from ui.look.colours import DARK
from ui.running.looking import SEEING, Look
from ui.running.workshop import Workshop
from ui.settings import Settings

SIZE = (960, 540)


@pytest.fixture(scope="session")
def workshop():
    """With true lens and bench; pages only get its pictures."""
    return Workshop(3, SIZE)


@pytest.fixture
def rig(qtbot, tmp_path, workshop):
    """Of the workshop, its file in a folder of the test's own."""
    made = RigWork(JobState(Settings(seed=3), tmp_path))
    made.colours, made.workshop = DARK, workshop
    made.practice_path().parent.mkdir(parents=True, exist_ok=True)
    made.open(str(tmp_path / "bench.toml"))
    yield made
    made.close()


@pytest.fixture
def page(qtbot, rig):
    """page(kind): shown, and closed with its threads at the end."""
    pages = []

    def make(kind):
        made = kind(rig)
        qtbot.addWidget(made)
        pages.append(made)
        made.enter()
        return made

    yield make
    for made in pages:
        made.shut_down()


def look_of(image, judged=None, number: int = 1, **more) -> Look:
    """As the looking thread brings it."""
    height, width = image.shape[:2]
    frame = Frame(image, number, number / 30)
    return Look(SEEING, None, (width, height), judged=judged, frame=frame, **more)


def saved(qtbot, rig, press) -> None:
    """Presses, and waits until the file is written."""
    with qtbot.waitSignal(rig.written, timeout=5000):
        press()


@pytest.fixture
def tools():
    """The helpers above, for tests that cannot import a conftest."""
    return look_of, saved
