from __future__ import annotations

import json

import pytest

from drillaid.cli import main

DRILL = """M48
METRIC
T1C0.800
T2C1.000
%
G90
G05
T1
X30.0Y5.0
X10.0Y5.0
X20.0Y5.0
T2
X40.0Y5.0
X42.0Y5.0
M30
"""


@pytest.fixture
def board(tmp_path):
    path = tmp_path / "board.drl"
    path.write_text(DRILL)
    return str(path)


def test_the_object_is_that_of_the_contract(board, capsys):
    assert main(["order", board, "--bits", "0.8,1.0", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert set(data) == {"runs", "travel_mm", "seconds"}
    assert data["runs"] == [
        {"bit_mm": 0.8, "holes": [2, 3, 1], "travel_mm": 20.0},
        {"bit_mm": 1.0, "holes": [4, 5], "travel_mm": 2.0},
    ]
    assert data["travel_mm"] == pytest.approx(20.0 + 10.0 + 2.0)


@pytest.mark.parametrize("start", [["--start", "-5,5"], ["--start=-5,5"]])
def test_a_start_may_be_negative(board, capsys, start):
    assert main(["order", board, "--bits", "0.8,1.0", "--json", *start]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["travel_mm"] == pytest.approx(15.0 + 32.0)


def test_one_bit_for_all_is_one_run(board, capsys):
    assert main(["order", board, "--bits", "1.0", "--start", "50,5", "--json"]) == 0
    (run,) = json.loads(capsys.readouterr().out)["runs"]
    assert run["holes"] == [5, 4, 1, 3, 2]


def test_text_for_a_person(board, capsys):
    assert main(["order", board, "--bits", "0.8,1.0"]) == 0
    out = capsys.readouterr().out
    assert "5 holes with 2 bits (1 change); the hand goes 32 mm (52 mm in the order" in out
    assert "0.8 mm bit: 3 holes, 20 mm\n  2 3 1" in out


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--start", "5"], "'5' is no place; give x and y in mm like --start 10.5,3."),
        (["--start", "a,b"], "'a,b' is no list of numbers; write it like --start 10.5,3."),
        (["--start", "nan,1"], "'nan,1' is no list of numbers"),
        (["--bits", "fine"], "'fine' is no list of numbers; write it like --bits 0.8,1.0,1.3."),
    ],
)
def test_bad_words_get_one_sentence(board, capsys, words, message):
    assert main(["order", board, *words]) == 2
    assert message in capsys.readouterr().err
