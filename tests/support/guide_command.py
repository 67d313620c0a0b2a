"""The command `guide` on the small board, and what it answers."""

from __future__ import annotations

import json

from support.small_board import MM_PER_PX, SIZE, small_design

from drillaid.cli import main
from drillaid.simulation.rigs import nominal_rig


HOLES = len(small_design().holes)
RIG = nominal_rig(*SIZE, MM_PER_PX, 0.05, 1.0, seed=4)
# Its rig file is withheld.
MILD = nominal_rig(*SIZE, MM_PER_PX, 0.05, 1.0, distortion=(-0.02, 0.01, 0.0, 0.0, 0.0), seed=4)


def guide(job, capsys, *words, rig=True):
    """(exit status, JSON or None, standard error)"""
    files, rig_file = job
    status = main(["guide", *files, "--headless", *words, "--json",
                   *(["--rig", rig_file] if rig else [])])  # fmt: skip
    told = capsys.readouterr()
    return status, json.loads(told.out) if told.out else None, told.err


def events_in(path) -> list[dict]:
    return [json.loads(line) for line in path.read_text().splitlines()]
