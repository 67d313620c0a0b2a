"""Guidance as lines: said when something changes, not with every picture."""

from __future__ import annotations

import os

import pytest
from support.bench_job import Job, work_of

from drillaid.commands.guiding.telling import Teller, cautions
from drillaid.guidance.event_lines import EventLines
from drillaid.guidance.events import Confirm, Skip, Undo


def lines_of(capsys) -> list[str]:
    return capsys.readouterr().err.splitlines()


def test_cautions_are_said_at_each_bit_change_and_before_work(capsys):
    cautions()
    assert any("eye protection" in line for line in lines_of(capsys))
    job, teller = Job(work_of((0.8, 2))), Teller()
    for _ in range(5):
        teller(job.see())
    said = lines_of(capsys)
    assert said.count("Fit the 0.8 mm bit: 2 holes to drill with it.") == 1
    assert sum("Switch the drill off" in line for line in said) == 1


def test_a_held_target_and_a_done_hole_are_said_once(capsys):
    job, teller = Job(work_of((0.8, 2))), Teller()
    teller(job.fit(0.8))
    lines_of(capsys)
    for _ in range(20):
        teller(job.see())
    assert lines_of(capsys) == ["Drill hole 1."]
    teller(job.act(Confirm()))
    assert lines_of(capsys)[0] == "Hole 1 done, 0.00 mm off as seen (1 of 2)."
    teller(job.act(Undo()))
    teller(job.act(Skip()))
    said = lines_of(capsys)
    assert "Undone: hole 1 drilled." in said and "Hole 1 skipped." in said
    teller(job.act(Confirm()))
    assert any(line.startswith("Refused: ") for line in lines_of(capsys))
    assert teller.registered == 20


def test_a_moving_board_is_said_about_once_a_second(capsys):
    job, teller = Job(work_of((0.8, 2))), Teller()
    teller(job.fit(0.8))
    lines_of(capsys)
    for n in range(80):  # two seconds
        teller(job.see(off=(3.0 + 0.01 * n, 0.0)))
    assert len(lines_of(capsys)) in (2, 3)


def test_latency_is_summed_up():
    job, teller = Job(work_of((0.8, 2))), Teller()
    assert teller.latency_ms() is None
    for _ in range(4):
        teller(job.see())
    assert teller.latency_ms() == {"median": 0.0, "worst_of_100": 0.0}


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="this system has no /dev/full")
def test_guidance_goes_on_when_the_events_cannot_be_written(capsys):
    job = Job(work_of((0.8, 2)))
    with EventLines("/dev/full") as lines:
        teller = Teller(lines)
        for _ in range(3):
            teller(job.see())
    assert "cannot be written" in teller.failure
    assert sum("cannot be written" in line for line in lines_of(capsys)) == 1
    assert teller.registered == 3
