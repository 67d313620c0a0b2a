"""The small board's files, photographs of it, and drilled scrap; made once."""

from __future__ import annotations

import cv2
import pytest
from support.guide_command import MILD, RIG
from support.small_board import small_design

from drillaid.rig.file import load_rig, save_rig
from drillaid.simulation.conditions import bench_for
from drillaid.simulation.export import write_fabrication_files
from drillaid.simulation.scrap import scrap_bench


@pytest.fixture(scope="session")
def job(tmp_path_factory):
    """(design files, rig file)"""
    folder = tmp_path_factory.mktemp("job")
    files = [str(p) for p in write_fabrication_files(small_design(), folder, "small")]
    save_rig(RIG, folder / "rig.toml")
    return files, str(folder / "rig.toml")


@pytest.fixture(scope="session")
def stills(job, tmp_path_factory):
    """Three photographs of a board that is pushed, and the bench's truths."""
    folder = tmp_path_factory.mktemp("stills")
    bench, truths = bench_for(small_design(), 8, rig=load_rig(job[1])), []
    for n in range(3):
        bench.move(1.5, -0.7, 0.01)
        cv2.imwrite(str(folder / f"{n}.png"), bench.render())
        truths.append(bench.truth)
    return folder, truths


@pytest.fixture(scope="session")
def scrap(job, tmp_path_factory):
    """A picture of drilled scrap on the bench whose rig file is withheld from the command."""
    folder = tmp_path_factory.mktemp("scrap")
    rig = MILD
    like = bench_for(small_design(), 8, rig=rig)
    bench = scrap_bench(like, 3, bit_mm=1.2, size_mm=(120.0, 80.0))
    cv2.imwrite(str(folder / "scrap.png"), bench.render())
    return str(folder / "scrap.png"), rig.to_pixels(bench.spindle_mm, 1.6)[0]
