"""`drillaid records bits`."""

from __future__ import annotations

import json

import numpy as np
import pytest
from support.drawn_board import design
from support.drilled_journal import drill_board

from drillaid.cli import main
from drillaid.journal.journal import Journal


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("DRILLAID_DATA", str(tmp_path))
    return tmp_path


def test_counts_and_a_worn_bit(folder, capsys):
    rng = np.random.default_rng(1)
    clock = [1_700_000_000.0]
    with Journal.open(folder, clock=lambda: clock[0]) as journal:
        for k in range(6):
            clock[0] += 1000.0
            drill_board(journal, design(6, 5), rng, scatter_mm=0.02 + 0.012 * k)
    assert main(["records", "bits", "--json"]) == 0
    (bit,) = json.loads(capsys.readouterr().out)["bits"]
    assert (bit["bit_mm"], bit["holes"], bit["measured"], bit["wandering"]) == (1.0, 180, 180, True)
    assert bit["last_mm"] > 2 * bit["first_mm"]
    assert main(["records", "bits"]) == 0
    assert "wanders more and more: fit a new one" in capsys.readouterr().out
    # a new bit begins anew
    assert main(["records", "bits", "--new", "1.0", "--json"]) == 0
    (bit,) = json.loads(capsys.readouterr().out)["bits"]
    assert (bit["holes"], bit["since_new"], bit["wandering"]) == (180, 0, None)


def test_nothing_recorded(folder, capsys):
    assert main(["records", "bits"]) == 0
    assert "No hole is recorded yet." in capsys.readouterr().out
    assert main(["records", "bits", "--new", "0.8"]) == 2
    assert main(["records", "bits", "--new", "99"]) == 2
