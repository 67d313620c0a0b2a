"""What the window's tests share: a small invented board and a window on the practice bench."""

from __future__ import annotations

import pytest
from support.small_board import small_design

from drillaid.guidance.job import prepare
from drillaid.simulation.export import write_fabrication_files


@pytest.fixture(scope="session")
def board_files(tmp_path_factory):
    """Fabrication files of the small board, as paths."""
    folder = tmp_path_factory.mktemp("board")
    return [str(path) for path in write_fabrication_files(small_design(), folder, "small")]


@pytest.fixture(scope="session")
def small_job(board_files):
    return prepare(
        board_files, face="bottom", thickness_mm=1.6, bits_mm=(0.8, 1.0, 1.3, 3.2), tolerance_mm=0.2
    )


@pytest.fixture
def window(qtbot, tmp_path):
    """Open on the first stage; closed, with all its threads, when the test ends."""
    from ui.job import JobState
    from ui.settings import Settings
    from ui.window import Window

    made = Window(JobState(Settings(seed=3), tmp_path / "data"))
    made.resize(1366, 768)
    made.show()
    qtbot.waitExposed(made)
    yield made
    made.close()
    made.deleteLater()
