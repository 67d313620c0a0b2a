"""`table gcode` from files on the disk, its answer read back by the tests' own interpreter."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from support.rs274 import Machine
from support.small_board import tiny_design

from drillaid.cli import main
from drillaid.design.read import read_design
from drillaid.rig.file import save_rig
from drillaid.simulation.designs import draw_copper
from drillaid.simulation.export import write_fabrication_files
from drillaid.simulation.table_bench import TableOnBench

TABLE = {
    "matrix": [[1.01, -0.0086], [0.0, 0.99]],
    "matrix_sigma": 0.0002,
    "backlash_mm": [0.15, 0.15],
}


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """(folder, the simulated table with the board as it was photographed, read design)."""
    folder = tmp_path_factory.mktemp("gcode")
    write_fabrication_files(tiny_design(), folder / "tiny", "tiny")
    design = read_design([str(folder / "tiny")], face="bottom")
    sim = TableOnBench(design, 5)
    cv2.imwrite(str(folder / "photo.png"), sim.frame().image)
    cv2.imwrite(str(folder / "bare.png"), np.full((720, 1280, 3), 90, np.uint8))
    rig = sim.rig
    table = rig.extra["table"] | TABLE | {"view_mm": sim.table.axes.commanded[:2].tolist()}
    save_rig(replace(rig, extra={**rig.extra, "table": table}), folder / "bench.toml")
    save_rig(sim.bench.rig, folder / "untabled.toml")
    return folder, sim, design


def words(folder, *more: str, photo="photo.png", rig="bench.toml") -> list[str]:
    return ["table", "gcode", str(folder / "tiny"), str(folder / photo), "--rig", str(folder / rig),
            *more]  # fmt: skip


def drilled(done: Machine) -> np.ndarray:
    """(N, 2), where a feed went below the face, each place once."""
    ends = [move.end[:2] for move in done.moves if not move.rapid]
    return np.array(list(dict.fromkeys(ends)))


def test_the_file_brings_every_hole_under_the_spindle(job, tmp_path, capsys):
    folder, sim, design = job
    out = tmp_path / "tiny.ngc"
    assert main(words(folder, "--out", str(out), "--json")) == 0
    answer = json.loads(capsys.readouterr().out)
    text = out.read_text()
    done = Machine(at=(0.0, 0.0, 0.0)).run(text)
    assert done.ended and done.at[2] == -12.0
    stood = sim.table.axes.commanded[:2]
    matrix, spindle = np.array(TABLE["matrix"]), sim.bench.rig.spindle_mm(1.6)
    under = [
        sim.bench.truth.inverse(spindle - matrix @ (np.array(xy) - stood))[0]
        for xy in drilled(done)
    ]
    off = [float(np.hypot(*(design.xy_mm - at).T).min()) for at in under]
    print(f"worst {max(off):.3f} mm, stated {answer['expected_error_mm']:.3f} mm")
    assert len(off) == len(design.holes) == len(answer["holes"])
    assert max(off) <= 3 * answer["expected_error_mm"] <= 0.2
    assert {h["hole"] for h in answer["holes"]} == {h.number for h in design.holes}
    assert answer["status"] == "written" and answer["lines"] == len(text.splitlines())


def test_its_head_says_from_what_it_was_made(job, capsys):
    folder, *_ = job
    assert main(words(folder, "--spell-out")) == 0
    text = capsys.readouterr().out
    head = " ".join(line.strip("()") for line in text.split("G21")[0].splitlines())
    for told in ("manual", "no emergency stop", "dry first", "photo.png", "bench.toml", "tiny",
                 "Expected error", "Bit 0.8 mm", "G54", "milliseconds"):  # fmt: skip
        assert told in head, told
    assert "G81" not in text and "G83" not in text
    assert all(len(line) <= 99 and line.isascii() for line in text.splitlines())


def test_bench_millimetres_for_a_machine_of_its_own(job, capsys):
    folder, sim, design = job
    more = ("--origin", "bench", "--safe-z", "8", "--surface-z", "0", "--speed", "9000", "--json")
    assert main(words(folder, *more, rig="untabled.toml")) == 0
    answer = json.loads(capsys.readouterr().out)
    done = Machine().run(answer["gcode"])
    where = sim.bench.truth(design.xy_mm)
    off = [float(np.hypot(*(where - xy).T).min()) for xy in drilled(done)]
    assert len(off) == len(design.holes) and max(off) <= 0.06
    assert done.at[2] == 8 and math.isfinite(answer["expected_error_mm"])


@pytest.mark.parametrize(
    ("more", "rig", "photo", "status", "told"),
    [
        ([], "bench.toml", "bare.png", 3, "board"),
        ([], "untabled.toml", "photo.png", 2, "--origin bench"),
        (["--origin", "bench"], "untabled.toml", "photo.png", 2, "--safe-z"),
        (["--table-at", "7"], "bench.toml", "photo.png", 2, "--table-at 50,40"),
        (["--table-at", "900,0"], "bench.toml", "photo.png", 4, "soft limits"),
        (["--safe-z", "-19.9"], "bench.toml", "photo.png", 2, "at least 1 mm"),
        (["--drill-z", "-80"], "bench.toml", "photo.png", 4, "soft limits"),
        (["--drill-z", "-3"], "bench.toml", "photo.png", 2, "not below"),
        (["--feed", "nan"], "bench.toml", "photo.png", 2, "--feed"),
        (["--vouch-mm", "0.001"], "bench.toml", "photo.png", 3, "calibrate table"),
        (["--dialect", "nothing"], "bench.toml", "photo.png", 2, "shipped"),
        (["--out", "/nowhere/x.ngc"], "bench.toml", "photo.png", 4, "cannot be written"),
    ],
)
def test_refusals(job, more, rig, photo, status, told, capsys, monkeypatch):
    folder, *_ = job
    if photo == "photo.png":
        _register_once(monkeypatch, job)
    assert main(words(folder, *more, photo=photo, rig=rig)) == status
    said = capsys.readouterr()
    assert told in said.err + said.out and "Traceback" not in said.err
    assert "M3" not in said.out


def _register_once(monkeypatch, job) -> None:
    """Refusals about everything else need no search of the picture each time."""
    from drillaid.registration import register

    kept = _register_once.__dict__
    real = register.register_picture

    def known(*args, **kwargs):
        if "found" not in kept:
            kept["found"] = real(*args, **kwargs)
        return kept["found"]

    monkeypatch.setattr(register, "register_picture", known)


def test_lands_that_are_not_there_are_told_in_the_file_and_beside_it(job, tmp_path, capsys):
    """The board is of an older version: a hole of these files lies on bare laminate."""
    folder, sim, _ = job
    design = tiny_design()
    moved = replace(design.holes[0], x_mm=25.5, y_mm=17.0)  # a corner with nothing in it
    land = replace(design.lands[0], centre_mm=moved.xy_mm)
    art = replace(design.artwork, lands=(*design.artwork.lands, land))
    version = replace(
        design, holes=(moved, *design.holes[1:]), lands=(land, *design.lands[1:]), artwork=art,
        copper={"bottom": draw_copper(art, design.outline.rings_mm[0])},
    )  # fmt: skip
    write_fabrication_files(version, tmp_path / "tiny", "tiny")
    out = tmp_path / "tiny.ngc"
    command = words(folder, "--out", str(out), "--json")
    command[2] = str(tmp_path / "tiny")
    assert main(command) == 0
    answer = json.loads(capsys.readouterr().out)
    assert any("no land is to be seen at 1 hole" in warning for warning in answer["warnings"])
    assert "LOOK FIRST: no land is to be seen" in out.read_text().replace("\n(", " ")
