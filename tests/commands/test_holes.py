"""`drillaid holes`: the JSON contract and the page a person reads."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from support.mutated import DRILL_INCH, DRILL_METRIC, NETLIST

from drillaid.cli import main

SINSONTE = Path(__file__).parents[3] / "shared/data/etched/sinsonte"

ROW = "M48\nMETRIC\nT1C0.8\nT2C3.3\n%\nT1\n" + "".join(
    f"X{10 + 2.54 * i:.2f}Y10.0\n" for i in range(8)
)


@pytest.fixture
def board(tmp_path):
    path = tmp_path / "row.drl"
    path.write_text(ROW + "T2\nX5.0Y5.0\nM30\n")
    return str(path)


def run_json(capsys, *args: str) -> dict:
    assert main(["holes", *args, "--json"]) == 0
    captured = capsys.readouterr()
    assert captured.out.count("\n") == 1
    return json.loads(captured.out)


def test_contract(capsys, board):
    data = run_json(capsys, board)
    assert set(data) == {"holes", "parts", "warnings", "units"}
    assert data["holes"][1] == {
        "hole": 2, "xy_mm": [12.54, 10.0], "drill_mm": 0.8, "bit_mm": 0.8, "plated": None,
        "slot_to_mm": None, "land_mm": None, "ring_mm": None,
    }  # fmt: skip
    (part,) = data["parts"]
    assert part["holes"] == list(range(1, 9)) and part["pitch_mm"] == 2.54 and part["part"]
    assert data["units"] == "metric, decimal points"
    assert any("hole 9" in warning and "3.3 mm" in warning for warning in data["warnings"])


def test_slots_and_lands(capsys, tmp_path):
    path = tmp_path / "a.drl"
    path.write_bytes(DRILL_METRIC)
    slots = [h["slot_to_mm"] for h in run_json(capsys, str(path))["holes"] if h["slot_to_mm"]]
    assert slots == [[22.5, -10.0], [32.0, -10.0], [32.0, -12.0]]
    path.write_bytes(NETLIST)
    holes = run_json(capsys, str(path), "--bits", "0.3,1,3.2")["holes"]
    assert holes[1]["land_mm"] == [0.6096, 0.6096]
    assert holes[1]["ring_mm"] == pytest.approx((0.6096 - 0.3) / 2, abs=1e-4)


def test_bits_at_hand(capsys, board):
    holes = run_json(capsys, board, "--bits", "1.0,3")["holes"]
    assert [hole["bit_mm"] for hole in holes] == [1.0] * 8 + [3.0]


def test_page_fits_eighty_columns(capsys, board, tmp_path):
    path = tmp_path / ("a-rather-long-name-" * 3 + ".drl")
    path.write_bytes(DRILL_INCH)
    for design in (board, str(path)):
        assert main(["holes", design]) == 0
        page = capsys.readouterr().out
        assert max(map(len, page.splitlines())) <= 80, page
        assert "Bit" in page and "Warnings" in page


@pytest.mark.parametrize(
    "args, word",
    [
        (["--bits", "0.8,big"], "bit sizes"),
        (["--bits", ""], "no bits"),
        (["--bits", "80"], "80 mm"),
        (["--bits", "nan"], "nan"),
    ],
)
def test_misuse_ends_with_2_and_a_sentence(capsys, board, args, word):
    assert main(["holes", board, *args]) == 2
    captured = capsys.readouterr()
    assert captured.out == "" and word in captured.err and captured.err.count("\n") == 1


def test_bad_design_ends_with_2(capsys, tmp_path):
    assert main(["holes", str(tmp_path / "none.drl"), "--json"]) == 2
    captured = capsys.readouterr()
    assert captured.out == "" and "none.drl" in captured.err and "check the path" in captured.err


@pytest.mark.skipif(not SINSONTE.is_dir(), reason="no ../shared/data here")
def test_real_set(capsys):
    data = run_json(capsys, str(SINSONTE))
    assert len(data["holes"]) == 126
    assert all(h["land_mm"] and h["ring_mm"] > 0 for h in data["holes"] if h["plated"])
