from __future__ import annotations

import pytest
from support.bench_job import Job as Bench

from drillaid.guidance import guidance as g
from drillaid.guidance.events import GoTo
from ui.look.colours import DARK
from ui.picture.drill_panel import DrillPanel, told


@pytest.fixture
def bench(small_job):
    made = Bench(small_job.work)
    made.fit(made.session.progress.work.stops[0].bit_mm)
    return made


@pytest.fixture
def panel(qtbot, small_job):
    made = DrillPanel(DARK)
    qtbot.addWidget(made)
    made.resize(340, 640)
    made.show_job(small_job)
    made.show()
    return made


def test_the_hole_its_part_and_its_bit_are_named(panel, bench, small_job):
    bench.act(GoTo(small_job.parts[0].holes[1]))
    guidance = bench.see(off=(2.0, 1.0))
    panel.show_moment(guidance, None, bench.session.progress)
    assert panel.hole.text() == f"Hole {guidance.hole}"
    assert panel.bit.text().startswith("bit ")
    part = small_job.parts[0]
    assert panel.part.text() == f"{part.name}, pin 2 of {len(part.holes)}"
    left = len(small_job.design.holes)
    assert panel.counts.text() == f"{left} left of {left}"
    assert panel.map._states[guidance.hole - 1] == "target"


def test_another_hole_under_the_spindle_is_said(bench):
    here = bench.session.progress.target
    guidance = bench.see(row=here + 1)
    assert guidance.state == g.MOVE
    assert "another one" in told(guidance)


def test_the_sentence_does_not_move_the_map(qtbot, panel, bench):
    panel.show_moment(bench.see(off=(2.0, 1.0)), None, bench.session.progress)
    qtbot.wait(10)
    before = panel.map.geometry()
    panel.show_moment(bench.see_nothing(), None, bench.session.progress)
    qtbot.wait(10)
    assert panel.map.geometry() == before
