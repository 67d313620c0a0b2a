"""Without a rig file: a hole in scrap tells where the spindle is."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from support.guide_command import HOLES, MILD, events_in, guide
from support.loose_registration import seen_without_rig
from support.small_board import small_design

from drillaid.simulation.conditions import bench_for


@pytest.fixture
def found_without_rig(monkeypatch):
    """Stands in for the search without a rig, tested elsewhere: what it would hand over."""
    from drillaid.registration import register

    real = register.register_picture

    def given(bench):
        def find(image, design, *, rig=None, **rest):
            return seen_without_rig(bench) if rig is None else real(image, design, rig=rig, **rest)

        monkeypatch.setattr(register, "register_picture", find)

    return given


@pytest.fixture
def mild_stills(tmp_path, found_without_rig):
    """As `stills`, seen by the camera that took the picture of the scrap."""
    folder = tmp_path / "mild"
    folder.mkdir()
    bench, truths = bench_for(small_design(), 8, rig=MILD), []
    for n in range(3):
        bench.move(1.5, -0.7, 0.01)
        cv2.imwrite(str(folder / f"{n}.png"), bench.render())
        truths.append(bench.truth)
        if n == 0:
            first = bench_for(small_design(), 8, rig=MILD)
            first.pose = bench.pose
            found_without_rig(first)
    return folder, truths


def test_without_a_rig_file_stills_are_guided_by_a_hole_in_scrap(
    job, mild_stills, scrap, capsys, tmp_path
):
    events = tmp_path / "events.jsonl"
    u, v = scrap[1]
    status, data, told = guide(
        job, capsys, "--camera", str(mild_stills[0]), "--events", str(events),
        "--scrap", scrap[0], "--spindle", f"{u + 6:.0f},{v - 4:.0f}", rig=False,
    )  # fmt: skip
    assert status == 0, told
    assert "do not move the camera" in told
    assert data["frames"] == data["frames_registered"] == 3
    spindle = MILD.spindle_mm(1.6)
    for row, truth in zip([r for r in events_in(events) if r["event"] == "frame"], mild_stills[1],
                          strict=True):  # fmt: skip
        assert row["matrix"] is None  # no bench is known
        off = spindle - truth(small_design().xy_mm)[row["hole"] - 1]
        # As long as the true way (to the print's scale), to the right and up as the bench's
        # own axes, to which this camera is turned by its roll only.
        assert row["distance_mm"] == pytest.approx(np.hypot(*off), rel=0.006, abs=0.1)
        turn = np.arctan2(*np.array(row["off_mm"])[::-1]) - np.arctan2(off[1], off[0])
        assert abs((turn + np.pi) % (2 * np.pi) - np.pi) < 0.1
        assert 0 < row["expected_error_mm"] < 0.3


def test_the_whole_board_on_the_simulated_bench_with_its_rig_withheld(
    job, scrap, capsys, tmp_path, monkeypatch, found_without_rig
):
    from drillaid.commands import guide as command

    bench = bench_for(small_design(), 6, rig=MILD)
    monkeypatch.setattr(command, "_simulated_bench", lambda *_: bench)
    found_without_rig(bench)
    u, v = scrap[1]
    status, data, told = guide(
        job, capsys, "--camera", "sim", "--seed", "5", "--scrap", scrap[0],
        "--spindle", f"{u:.0f},{v:.0f}", "--data", str(tmp_path), rig=False,
    )  # fmt: skip
    assert status == 0, told
    assert data["status"] == "finished" and data["done"] >= 0.75 * HOLES
    xy, drilled = small_design().xy_mm, np.array([h.at_mm for h in bench.board.drilled])
    far = np.hypot(*(drilled[:, None] - xy[None]).transpose(2, 0, 1)).min(axis=1)
    # 0.2 mm is the tolerance; a bit of 0.03 mm wander comes on top of it.
    assert len(drilled) == data["done"] and far.max() < 0.25
    assert np.sqrt(np.mean(far**2)) < 0.12


def test_scrap_without_a_hole_is_refused(job, stills, capsys, tmp_path):
    cv2.imwrite(str(tmp_path / "plain.png"), np.full((300, 400, 3), 120, np.uint8))
    status, data, _ = guide(
        job, capsys, "--camera", str(stills[0]), "--scrap", str(tmp_path / "plain.png"), rig=False
    )
    assert status == 3 and data["status"] == "not_found"
    assert "no drilled hole" in data["message"]


def test_scrap_of_another_camera_is_refused(job, stills, scrap, capsys, tmp_path):
    status, data, told = guide(
        job, capsys, "--camera", str(stills[0]), "--spindle", "5000,20", rig=False
    )
    assert status == 2 and data is None
    assert "outside the 1280 x 720" in told
