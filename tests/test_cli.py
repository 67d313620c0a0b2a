"""The command line: exit status, where what is printed, and no traceback for what a person does."""

from __future__ import annotations

import json
import sys
import types

import numpy as np
import pytest

from drillaid import cli, errors
from drillaid.commands import REFUSED, Answer, say


@pytest.fixture
def command(monkeypatch):
    """Puts a command `try` of our own in the table; its run() is to be set."""
    module = types.ModuleType("drillaid.commands.a_try")
    module.SUMMARY, module.EXAMPLE = "tries", "drillaid try 3"
    module.add_arguments = lambda parser: parser.add_argument("number", type=int)
    monkeypatch.setitem(sys.modules, module.__name__, module)
    monkeypatch.setitem(cli.COMMANDS, "try", (module.__name__, "tries"))
    monkeypatch.setitem(cli.COMMANDS, "try twice", (module.__name__, "tries"))
    return module


def test_text_for_people_json_for_programs(command, capsys):
    def run(args):
        say("working")
        return Answer(text="three holes", data={"n": np.int64(args.number), "xy": np.ones(2)})

    command.run = run
    assert cli.main(["try", "3"]) == 0
    told = capsys.readouterr()
    assert told.out == "three holes\n" and told.err == "working\n"
    assert cli.main(["try", "3", "--json"]) == 0
    told = capsys.readouterr()
    assert json.loads(told.out) == {"n": 3, "xy": [1.0, 1.0]}
    assert told.out.count("\n") == 1 and told.err == "working\n"


def test_two_words_go_before_one(command):
    command.run = lambda args: Answer(text=str(args.number))
    assert cli.main(["try", "twice", "3"]) == 0
    assert cli.main(["try", "thrice"]) == 2


@pytest.mark.parametrize("words", [["group"], ["group", "--help"], ["group", "-h"]])
def test_a_group_lists_what_it_holds(command, monkeypatch, capsys, words):
    for name, summary in (("one", "the first"), ("another", "the second")):
        monkeypatch.setitem(cli.COMMANDS, f"group {name}", (command.__name__, summary))
    assert cli.main(words) == 0
    told = capsys.readouterr()
    assert "  group one      the first\n  group another  the second\n" in told.out
    assert "holes" not in told.out and told.err == ""
    assert cli.main(["group", "third"]) == 2
    told = capsys.readouterr()
    assert told.out == "" and "'group third'" in told.err and "group another" in told.err


def test_calibrate_is_a_group(capsys):
    assert cli.main(["calibrate"]) == 0
    told = capsys.readouterr().out
    for name, (_, summary) in cli.COMMANDS.items():
        if name.startswith("calibrate "):
            assert name in told and summary in told


def test_a_refusal_has_its_own_status(command):
    command.run = lambda args: Answer(text="mirrored", data={"status": "mirrored"}, status=REFUSED)
    assert cli.main(["try", "3", "--json"]) == 3


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (errors.DesignError("T3 has no size", file="a.drl", line=7, remedy="add C0.8"), 2),
        (errors.RigError("x"), 2),
        (errors.PictureError("x"), 2),
        (errors.UsageError("x"), 2),
        (errors.CameraLost("x"), 4),
        (errors.CameraTimeout("x"), 4),
        (errors.PortTimeout("x"), 4),
        (errors.StorageError("x"), 4),
        (errors.CannotGoOn("x"), 3),
    ],
)
def test_each_error_has_its_status_and_one_sentence(command, capsys, error, status):
    def run(args):
        raise error

    command.run = run
    assert cli.main(["try", "3", "--json"]) == status
    told = capsys.readouterr()
    assert told.out == "" and told.err == f"drillaid try: {error}\n"


def test_sentence_of_bad_input():
    error = errors.DesignError("T3 has no size", file="a.drl", line=7, remedy="add C0.8")
    assert str(error) == "a.drl, line 7: T3 has no size; add C0.8."


def test_stopping_by_keyboard_is_no_traceback(command, capsys):
    def run(args):
        raise KeyboardInterrupt

    command.run = run
    assert cli.main(["try", "3"]) == 130
    assert "stopped" in capsys.readouterr().err


@pytest.mark.parametrize("words", [["nothing"], ["try"], ["try", "x"], ["try", "3", "--wrong"]])
def test_wrong_usage(command, capsys, words):
    assert cli.main(words) == 2
    told = capsys.readouterr()
    assert told.out == "" and "drillaid" in told.err


def test_numbers_json_does_not_know_are_not_written(command):
    """NaN is no JSON: a command must say null instead; this is our fault, so it is loud."""
    command.run = lambda args: Answer(text="", data={"x": float("nan")})
    with pytest.raises(ValueError, match="JSON"):
        cli.main(["try", "3", "--json"])


def test_version(capsys):
    assert cli.main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("drillaid ")
