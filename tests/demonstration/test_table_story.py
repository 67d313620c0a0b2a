"""`demo --table` once, by its command: what it tells is what its table's log knows."""

from __future__ import annotations

import contextlib
import io
import json
from types import SimpleNamespace

import numpy as np
import pytest

from drillaid.cli import main
from drillaid.demonstration.table_closing import compare
from drillaid.demonstration.table_run import Run, TableHole
from drillaid.demonstration.table_scene import table_design
from drillaid.demonstration.table_story import TableStory
from drillaid.journal.journal import Journal
from drillaid.simulation.table import Happened


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """(what was found, the command's JSON, standard error) of one true run, shared."""
    kept, out, err = [], io.StringIO(), io.StringIO()
    tell = TableStory.run
    folder = tmp_path_factory.mktemp("demo") / "out"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TableStory, "run", lambda self: kept.append(tell(self)) or kept[0])
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            assert main(["demo", "--table", "--out", str(folder), "--seed", "2", "--json"]) == 0
    return kept[0], json.loads(out.getvalue()), err.getvalue()


def test_every_hole_is_drilled_within_tolerance_and_left_safe(told):
    found, data, _ = told
    holes = len(table_design().holes)
    assert data["drilled"] == data["holes"] == holes
    assert data["safe"] == {"held": True, "spindle_off": True, "z_up": True}
    c = found.comparison
    assert c.seen_worst_mm <= 0.03  # the job's tolerance
    # Against drawn truth, by what the camera itself expects of its answer.
    assert c.true_rms_mm <= 2 * c.said_rms_mm <= 0.1
    assert c.true_worst_mm <= 4 * c.said_rms_mm
    assert c.drilled_moving == 0
    assert data["corrections"] >= 1  # a table with backlash and lost steps needs some
    assert data["looks"] >= holes + data["corrections"]


def test_journal_report_and_words(told):
    found, data, words = told
    with Journal.open(found.folder / "journal.sqlite3") as journal:
        (board,) = journal.boards()
        assert board.finished and board.done == data["holes"] and "invented" in board.design_name
    rows = [json.loads(row) for row in (found.folder / "events.jsonl").read_text().splitlines()]
    done = [row["hole"] for row in rows if row["event"] == "hole_done"]
    assert done == [hole.hole for hole in found.run.holes]
    assert [bit.holes for bit in found.run.bits()] and len(found.run.bits()) >= 3
    assert "Drilled by the table" in found.report.read_text(encoding="utf-8")
    assert "no emergency stop" in words and words.count("Fit the") == len(found.run.bits())
    assert len(data["figures"]) == 3


def test_the_comparison_notices_what_must_not_be():
    """A table that moves with the bit down, and drills with a spindle that stands."""
    board = SimpleNamespace(design=SimpleNamespace(xy_mm=np.array([[1.0, 2.0]])))
    log = [
        Happened(0, "motion", start=(0, 0, -21), end=(5, 0, -21)),
        Happened(1, "motion", start=(0, 0, -12), end=(5, 0, -12)),
        Happened(2, "motion", start=(5, 0, -12), end=(5, 0, -22)),
        Happened(3, "drill", spinning=False),
        Happened(4, "drill", spinning=True),
    ]
    sim = SimpleNamespace(
        bench=SimpleNamespace(board=board), mechanics=SimpleNamespace(surface_z_mm=-20.0),
        bores=[(np.array([1.3, 2.4]), 0.8)], table=SimpleNamespace(log=log),
    )  # fmt: skip
    c = compare(sim, Run([TableHole(1, 0.8, 0.02, 0.01, 1.0, 0)]))
    assert c.drilled_moving == 2
    assert c.true_worst_mm == pytest.approx(0.5)  # 3, 4, 5
    assert c.said_rms_mm == pytest.approx(0.02236, abs=1e-5)  # 0.02 seen, 0.01 expected
