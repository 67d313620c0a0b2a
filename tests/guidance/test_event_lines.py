"""The events' file: one JSON object a line, on the disk at once, and no other file harmed."""

from __future__ import annotations

import json
import os

import numpy as np
import pytest

from drillaid.errors import StorageError, UsageError
from drillaid.geometry import Affine
from drillaid.guidance.event_lines import EventLines
from drillaid.guidance.events import Event

KEYS = {"t", "frame", "event", "hole", "off_mm", "distance_mm", "expected_error_mm", "matrix",
        "latency_ms"}  # fmt: skip


def test_each_line_is_there_before_the_file_is_closed(tmp_path):
    path = tmp_path / "events.jsonl"
    with EventLines(path) as lines:
        for n in range(3):
            lines.write(Event(t=0.1 * n, event="frame", frame=n))
            assert len(path.read_text().splitlines()) == n + 1


def test_a_line_has_all_keys_of_the_contract(tmp_path):
    path = tmp_path / "events.jsonl"
    event = Event(1.5, "hole_done", 7, 3, (0.1, -0.2), 0.22, float("inf"),
                  Affine(np.array([[1.0, 0, 2], [0, -1, 3]])), 18.0, {"bit_mm": 0.8})  # fmt: skip
    with EventLines(path) as lines:
        lines.write(event)
    line = json.loads(path.read_text())
    assert line.keys() >= KEYS
    assert line["matrix"] == [[1.0, 0.0, 2.0], [0.0, -1.0, 3.0]]
    assert line["expected_error_mm"] is None and line["bit_mm"] == 0.8


def test_earlier_events_are_replaced_and_nothing_else_is(tmp_path):
    events, design = tmp_path / "events.jsonl", tmp_path / "board.drl"
    design.write_text("M48\nMETRIC\n")
    for _ in range(2):
        with EventLines(events) as lines:
            lines.write(Event(t=0.0, event="frame"))
    assert len(events.read_text().splitlines()) == 1
    with pytest.raises(UsageError, match="no events"):
        EventLines(design)
    assert design.read_text().startswith("M48")


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    with pytest.raises(StorageError, match="cannot be written"):
        EventLines(tmp_path / "missing" / "events.jsonl")


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="this system has no /dev/full")
def test_a_full_disk_is_told_once_and_ends_the_file():
    with EventLines("/dev/full") as lines:
        with pytest.raises(StorageError, match="no more lines"):
            lines.write(Event(t=0.0, event="frame"))
        lines.write(Event(t=0.1, event="frame"))
