"""Going on with a board that may not be the one on record."""

from __future__ import annotations

import os
from unittest import mock

import cv2
import numpy as np
import pytest
from support.guide_command import HOLES, RIG, guide
from support.small_board import small_design

from drillaid.commands import say
from drillaid.commands.guiding import keys
from drillaid.design.bits import DEFAULT_BITS_MM, assign_bits
from drillaid.design.read import read_design
from drillaid.guidance.events import BitFitted, Confirm, GoTo
from drillaid.guidance.order import plan_order
from drillaid.guidance.session import Session
from drillaid.guidance.work import Work
from drillaid.journal.journal import Journal, holes_now
from drillaid.journal.resume import start
from drillaid.simulation.bore_looks import BenchHabits
from drillaid.simulation.conditions import bench_for


@pytest.fixture(scope="module")
def left_off(tmp_path_factory):
    """(folder of stills, holes drilled in that board): the board as it was left."""
    folder = tmp_path_factory.mktemp("left") / "stills"
    folder.mkdir()
    bench = bench_for(small_design(), 7, rig=RIG)
    bench.habits = BenchHabits.clean(7)
    for hole in bench.board.design.holes[2:9]:
        bench.board.drill(hole.xy_mm, hole.drill_mm)
    for k in range(4):
        cv2.imwrite(str(folder / f"{k}.png"), bench.render())
    return folder, {hole.number for hole in bench.board.design.holes[2:9]}


def recorded_as(job, data, camera, done) -> int:
    """A board of the journal on which these holes are on record as drilled."""
    files, rig_file = job
    design = read_design(files)
    bits = [choice.bit_mm for choice in assign_bits(design, DEFAULT_BITS_MM)]
    work = Work.of(design, plan_order(design, bits))
    with Journal.open(data) as journal:
        board = start(journal, design, work)
        session = Session(work, RIG.spindle_mm(1.6))
        for hole in sorted(done):
            events = [*session.act(GoTo(hole), 0.0).events]
            bit = work.stops[session.progress.target].bit_mm
            events += session.act(BitFitted(bit), 0.0).events
            events += session.act(GoTo(hole), 0.0).events
            events += session.act(Confirm(forced=True), 0.0).events
            journal.record(board, *events)
        assert journal.board(board).done == len(done)
    return board


def numbers_by_place(job, numbers) -> set[int]:
    """The files number the holes by tool; the design that was drawn otherwise."""
    drawn, read = small_design(), read_design(job[0])
    rows = {tuple(np.round(hole.xy_mm, 3)): hole.number for hole in read.holes}
    return {rows[tuple(np.round(h.xy_mm, 3))] for h in drawn.holes if h.number in numbers}


def test_going_on_says_that_record_and_board_agree(job, left_off, capsys, tmp_path):
    stills, drilled = left_off
    recorded_as(job, tmp_path, stills, numbers_by_place(job, drilled))
    status, said, told = guide(job, capsys, "--camera", str(stills), "--data", str(tmp_path),
                               "--resume")  # fmt: skip
    assert "Record and board agree: 7 holes drilled" in told
    assert said["status"] == "ended" and status == 0


def test_going_on_with_a_record_that_is_wrong_is_a_refusal_that_changes_nothing(
    job, left_off, capsys, tmp_path
):
    stills, drilled = left_off
    there = numbers_by_place(job, drilled)
    lost = min(there)
    more = min(set(range(1, HOLES + 1)) - there)
    board = recorded_as(job, tmp_path, stills, (there - {lost}) | {more})
    status, said, told = guide(job, capsys, "--camera", str(stills), "--data", str(tmp_path),
                               "--resume")  # fmt: skip
    assert status == 3 and said["status"] == "differs", told
    assert f"not there: hole {more}" in said["message"]
    assert f"not recorded: hole {lost}" in said["message"]
    assert told.count("Record and board disagree") == 1  # not with every picture
    with Journal.open(tmp_path) as journal:
        done, _ = holes_now(journal.events(board))
        assert done == (there - {lost}) | {more}
        (event,) = [e for e in journal.events(board) if e.event == "record_checked"]
        assert event.data["missing"] == [more] and event.data["extra"] == [lost]


@pytest.mark.parametrize("word", ["b", "p"])
def test_at_the_keyboard_the_person_decides(job, left_off, capsys, tmp_path, word):
    stills, drilled = left_off
    there = numbers_by_place(job, drilled)
    lost = min(there)
    board = recorded_as(job, tmp_path, stills, there - {lost})
    ear, hand = os.pipe()

    def answered(text: str) -> None:
        say(text)
        if text == keys.DECIDE:
            os.write(hand, f"{word}\n".encode())

    try:
        with (
            mock.patch("drillaid.commands.guiding.keys._standard_input", return_value=ear),
            mock.patch("drillaid.commands.guide.say", answered),
        ):
            # typed ahead, this would be the other answer; it must not count
            os.write(hand, b"p\n" if word == "b" else b"b\n")
            _, said, told = guide(job, capsys, "--camera", str(stills), "--data", str(tmp_path),
                                  "--resume")  # fmt: skip
    finally:
        os.close(ear)
        os.close(hand)
    assert "b Enter: put the record right" in told
    with Journal.open(tmp_path) as journal:
        done, _ = holes_now(journal.events(board))
    assert done == (there if word == "b" else there - {lost})
