"""Guided along a folder of photographs, and by the keyboard."""

from __future__ import annotations

import io
import os

import cv2
import numpy as np
from support.guide_command import events_in, guide
from support.small_board import SIZE, small_design

from drillaid.cli import main


def test_a_folder_of_stills_is_guided_picture_by_picture(job, stills, capsys, tmp_path):
    folder, truths = stills
    events = tmp_path / "events.jsonl"
    status, data, told = guide(job, capsys, "--camera", str(folder), "--events", str(events))
    assert status == 0
    assert data["status"] == "ended" and data["done"] == 0
    assert data["frames"] == data["frames_registered"] == 3
    assert data["latency_ms"]["median"] > 0
    frames = [row for row in events_in(events) if row["event"] == "frame"]
    assert [row["frame"] for row in frames] == [0, 1, 2]
    xy = small_design().xy_mm
    for row, truth in zip(frames, truths, strict=True):
        found = np.array(row["matrix"])
        assert np.hypot(*(xy @ found[:, :2].T + found[:, 2] - truth(xy)).T).max() < 0.05


def test_pictures_without_the_board_end_in_a_refusal(job, capsys, tmp_path):
    bench = np.random.default_rng(1).normal(120, 3, (SIZE[1], SIZE[0], 3))
    cv2.imwrite(str(tmp_path / "a.png"), bench.astype(np.uint8))
    status, data, _ = guide(job, capsys, "--camera", str(tmp_path / "a.png"))
    assert status == 3
    assert "in none of 1 pictures" in data["message"]


def test_pictures_of_another_size_than_the_rigs_are_refused(job, capsys, tmp_path):
    cv2.imwrite(str(tmp_path / "a.png"), np.full((300, 400, 3), 90, np.uint8))
    status, data, told = guide(job, capsys, "--camera", str(tmp_path))
    assert status == 2 and data is None
    assert "400 x 300" in told


def test_q_stops_and_other_keys_are_obeyed(job, stills, capsys, monkeypatch, tmp_path):
    read, write = os.pipe()
    os.write(write, b"\ns\nu\nq\n")
    stdin = io.TextIOWrapper(os.fdopen(read, "rb"))
    monkeypatch.setattr("sys.stdin", stdin)
    status, data, told = guide(job, capsys, "--camera", str(stills[0]), "--data", str(tmp_path))
    os.close(write)
    stdin.close()
    assert status == 0 and data["status"] == "quit"
    assert data["skipped"] == 0 and data["frames"] == 1
    assert "skipped" in told and "Undone" in told
    main(["records", "show", "1", "--data", str(tmp_path)])
    assert "bit_fitted" in capsys.readouterr().out
