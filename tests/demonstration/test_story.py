"""The whole demo once, on a smaller board: what it tells is what its bench knows."""

from __future__ import annotations

import contextlib
import io
import json

import cv2
import numpy as np
import pytest
from support.small_board import MM_PER_PX, SIZE, small_design

from drillaid.cli import main
from drillaid.commands.demo import _text
from drillaid.demonstration import scenario as invented
from drillaid.demonstration.pictures import found_in, with_caption
from drillaid.demonstration.story import Story
from drillaid.journal.journal import Journal


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """(what was found, the command's JSON, standard error) of one true run of the command.

    Shared, because it takes seconds.
    """
    kept, out, err = [], io.StringIO(), io.StringIO()
    make, tell = Story.__init__, Story.run
    folder = tmp_path_factory.mktemp("demo") / "out"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(invented, "demo_design", small_design)
        patch.setattr(invented, "MM_PER_PX", MM_PER_PX * SIZE[0] / invented.SIZE_PX[0])
        patch.setattr(invented, "_FAR_MM", 8.0)
        patch.setattr(Story, "__init__", lambda self, *args: make(self, *args, size=SIZE))
        patch.setattr(Story, "run", lambda self: kept.append(tell(self)) or kept[0])
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            assert main(["demo", "--out", str(folder), "--json"]) == 0
    return kept[0], json.loads(out.getvalue()), err.getvalue()


@pytest.fixture
def told(run):
    """(what was found, the lines told)"""
    return run[0], run[2].splitlines()


def test_the_command_ends_with_the_report_and_three_figures(run):
    found, data, _ = run
    assert len(data["figures"]) == 3 and data["invented"] is True
    assert data["report"] == str(found.folder / "report.html")
    assert (found.folder / "report.html").is_file()
    assert data["drilled"] == data["holes"] == len(small_design().holes)
    assert data["comparison"]["slip_hole"] == found.comparison.slip_hole
    assert str(data["report"]) in _text(found, 12.3) and "invented" in _text(found, 12.3)


def test_every_hole_is_drilled_through_the_guidance_and_in_the_journal(told):
    found, _ = told
    holes = len(small_design().holes)
    assert len(found.drilled.holes) == holes and not found.drilled.skipped
    with Journal.open(found.folder / "journal.sqlite3") as journal:
        (board,) = journal.boards()
        assert board.done == holes and board.finished
        assert "invented" in board.design_name
    rows = [json.loads(row) for row in (found.folder / "events.jsonl").read_text().splitlines()]
    done = [row["hole"] for row in rows if row["event"] == "hole_done"]
    assert tuple(done) == found.drilled.holes
    assert sum(row["event"] == "frame" for row in rows) == found.drilled.frames


def test_guidance_was_as_good_as_it_said(told):
    c = told[0].comparison
    assert c.guided_rms_mm < 0.03
    assert c.guided_rms_mm < 2 * c.guided_said_mm


def test_the_print_scale_found_is_the_one_drawn(told):
    c = told[0].comparison
    assert c.scale_found == pytest.approx(c.scale_drawn, abs=0.0006)  # 0.03 mm over the board


def test_what_went_wrong_is_found_and_told(told):
    found, lines = told
    assert [refusal.status for refusal in found.refusals] == ["mirrored"]
    c = found.comparison
    assert found.inspection.summary.worst_hole == c.slip_hole
    assert c.slip_seen_mm == pytest.approx(c.slip_true_mm, abs=0.06)
    report = found.report.read_text(encoding="utf-8")
    assert f"into hole {c.slip_hole}" in report and "Simulated bench" in report
    text = "\n".join(lines)
    assert "mirrored" in text and "invented" in text and "eye protection" in text
    assert text.count("NOTICE") == 1


def test_measured_centres_are_true(told):
    c = told[0].comparison
    assert c.measured >= 0.9 * len(told[0].design.holes)
    assert c.measured_rms_mm < 0.05
    assert c.measured_rms_mm < 2.5 * c.measured_said_mm


def test_the_overlay_marks_places_and_leaves_the_photograph_alone(told):
    found, _ = told
    photo = cv2.imread(str(found.folder / "1-before.jpg"))
    before = photo.copy()
    drawn = found_in(photo, found.design, found.registration)
    assert np.array_equal(photo, before)
    assert drawn.shape[0] > photo.shape[0] and drawn.shape[1] == photo.shape[1]
    changed = (drawn[: photo.shape[0]] != photo).any(axis=2)
    assert 0.001 < changed.mean() < 0.1
    for u, v in found.registration.placement.pixels:
        assert changed[int(v) - 20 : int(v) + 21, int(u) - 20 : int(u) + 21].any()


def test_long_captions_wrap():
    picture = np.zeros((200, 400, 3), np.uint8)
    short, long = with_caption(picture, "found"), with_caption(picture, "found " * 40 + "±0.1 mm")
    assert long.shape[0] > short.shape[0] > 200
