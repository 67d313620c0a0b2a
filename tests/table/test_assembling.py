"""A job from its parts; whole runs of it are in tests/commands/table and tests/demonstration."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.small_board import tiny_design

from drillaid.errors import RigError
from drillaid.simulation.table_bench import TableOnBench
from drillaid.table import job as j
from drillaid.table.assembling import Board, assemble
from drillaid.table.link import Link
from drillaid.table.machine import State
from drillaid.table.setup import TableSetup


def test_nothing_moves_before_the_cautions_and_without_an_axis_there_is_no_job():
    design = tiny_design()
    sim = TableOnBench(design, 1)
    rig, board = sim.rig, Board(design, [0.8] * len(design.holes), "bottom", 1.6)

    def made(rig):
        return assemble(board, rig, TableSetup.of(rig), Link(sim.wire()), sim.camera,
                        sim.clock.now, j.JobSettings())  # fmt: skip

    job = made(rig)
    for _ in range(5):
        assert job.step().state == j.CAUTIONS
    assert job.machine.state is State.OFFLINE
    assert not [h for h in sim.table.log if h.what in ("motion", "home", "spindle")]
    job.close()
    with pytest.raises(RigError, match=r"\[spindle\] is missing"):
        made(replace(rig, axis_mm=None))
