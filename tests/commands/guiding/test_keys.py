"""Keys at a terminal: never waited for, half lines kept, the end noticed."""

from __future__ import annotations

import os

import pytest

from drillaid.commands.guiding.keys import HELP, Console, meaning
from drillaid.guidance.events import Pause, Pedal, Resume, Revisit, Skip, Undo

pytestmark = pytest.mark.skipif(os.name == "nt", reason="Windows asks its console instead")


class Paused:
    state = "paused"


@pytest.mark.parametrize(
    ("line", "action"),
    [("", Pedal()), ("  ", Pedal()), ("s", Skip()), ("U", Undo()), ("r", Revisit()),
     ("p", Pause())],
)  # fmt: skip
def test_what_keys_mean(line, action):
    assert meaning(line, None) == action


def test_pause_goes_on_again_and_q_stops():
    assert meaning("p", Paused()) == Resume()
    assert meaning("q", None) is None


def test_an_unknown_key_is_explained(capsys):
    assert HELP in meaning("drill", None)
    ends = os.pipe()
    os.write(ends[1], b"x\ns\n")
    assert Console(ends[0]).actions(None) == [Skip()]
    assert "'x' is no key" in capsys.readouterr().err
    for end in ends:
        os.close(end)


def test_lines_are_taken_when_they_are_whole_and_never_waited_for():
    read, write = os.pipe()
    console = Console(read)
    assert console.actions(None) == []
    os.write(write, b"s")
    assert console.actions(None) == []
    os.write(write, b"\r\n\nq\n")
    assert console.actions(None) == [Skip(), Pedal(), None]
    os.close(write)
    assert console.actions(None) == [] and not console.open
    os.close(read)


def test_without_standard_input_there_are_no_keys(monkeypatch):
    monkeypatch.setattr("sys.stdin", None)
    console = Console()
    assert not console.open and console.actions(None) == []
