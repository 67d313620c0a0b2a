"""`table drill` from the command line to the last hole through a real pseudo-terminal, and a
socket: pyserial, reader thread, live camera and real time included."""

from __future__ import annotations

import json
import os
import time
from dataclasses import replace

import numpy as np
import pytest
from support.served_table import Person, ServedTable
from support.small_board import tiny_design

from drillaid.cli import main
from drillaid.simulation.export import write_fabrication_files
from drillaid.simulation.table_bench import HOME_MADE
from drillaid.table import job as j
from drillaid.table.dialect_file import dialect_text

POSIX = pytest.mark.skipif(os.name == "nt", reason="pseudo-terminals are POSIX")
# As crooked as the home-made one, but quick: the test waits in real time.
QUICK = replace(HOME_MADE, speed_mm_s=(120.0, 120.0, 60.0),
                acceleration_mm_s2=(2000.0, 2000.0, 1500.0))  # fmt: skip
DEADLINE_S = 100.0


def few_holes():
    """Every second hole of the tiny board: each takes its time here."""
    design = tiny_design()
    return replace(design, holes=tuple(replace(hole, number=n) for n, hole in
                                       enumerate(design.holes[::2], 1)),
                   lands=design.lands[::2])  # fmt: skip


@pytest.fixture
def files(tmp_path):
    folder = tmp_path / "design"
    folder.mkdir()
    write_fabrication_files(few_holes(), folder, "few")
    return str(folder)


def drill(monkeypatch, served: ServedTable, person: Person, files: str, data, *words) -> int:
    monkeypatch.setattr("drillaid.rig.sources.open_camera", lambda *_, **__: served.camera)
    monkeypatch.setattr("drillaid.commands.table.working.Console", lambda: person)
    return main(["table", "drill", files, "--rig", str(served.rig_file), "--camera", "0",
                 "--port", served.url, "--data", str(data), "--json", *words])  # fmt: skip


@POSIX
def test_a_board_through_a_pseudo_terminal(files, tmp_path, monkeypatch, capsys):
    with ServedTable(few_holes(), 12, tmp_path, terminal=True, mechanics=QUICK, faster=4.0,
                     size=(960, 540)) as served:  # fmt: skip
        assert served.url.startswith("/dev/")
        person = Person(served.sim, DEADLINE_S)
        status = drill(monkeypatch, served, person, files, tmp_path)
        told = capsys.readouterr()
        assert status == 0, told.err
        answer = json.loads(told.out)
        assert answer["status"] == "finished" and answer["done"] == answer["holes"] == 7
        assert answer["safe"] == {"held": True, "spindle_off": True, "z_up": True}
        assert answer["worst_seen_mm"] <= 0.03
        assert person.told[0] == j.CAUTIONS and j.CHANGE_BIT in person.told
        with served.server.lock:
            table = served.sim.table
            table.catch_up()
            assert table.state == "resting" and not table.spinning
            assert not [h for h in table.log if h.what in ("overrun", "alarm")]
        places = np.array([at for at, _ in served.sim.bores])
        xy = few_holes().xy_mm
        off = np.hypot(*(places[:, None] - xy).transpose(2, 0, 1)).min(axis=1)
        # 0.03 mm as seen, and what registration is off at 0.1 mm a pixel
        assert len(off) >= 7 and off.max() <= 0.1


def test_a_table_that_falls_silent_on_a_socket_ends_the_job(
    files, tmp_path, monkeypatch, capsys
):
    with ServedTable(few_holes(), 13, tmp_path, terminal=False, mechanics=QUICK,
                     faster=4.0, size=(960, 540)) as served:  # fmt: skip

        def cut(view):
            if view.progress is not None and view.progress.done >= 1:
                with served.server.lock:
                    served.sim.table.replies.silent = True

        person = Person(served.sim, DEADLINE_S, cut)
        own = tmp_path / "impatient.toml"  # a user's own dialect, with shorter waits
        text = dialect_text("line-ack").replace("acknowledge = 2.0", "acknowledge = 0.4")
        own.write_text(text.replace("status = 1.0", "status = 0.4"), encoding="utf-8")
        words = ["--dialect", str(own)]
        assert drill(monkeypatch, served, person, files, tmp_path, *words) == 4
        answer = json.loads(capsys.readouterr().out)
        assert answer["status"] == "PortTimeout" and 1 <= answer["done"] < 7
        assert "emergency stop" in answer["message"]  # nobody knows what it does now
        with served.server.lock:
            moved = sum(h.what == "motion" for h in served.sim.table.log)
        time.sleep(0.3)
        with served.server.lock:
            assert moved == sum(h.what == "motion" for h in served.sim.table.log)
