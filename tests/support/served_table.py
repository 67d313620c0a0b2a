"""The simulated table and bench behind a real port, by the real clock: for the program it is a
device at /dev/pts/N, or a socket, and a camera that knows nothing of it."""

from __future__ import annotations

import time
from pathlib import Path

from drillaid.guidance import events as ev
from drillaid.rig.file import save_rig
from drillaid.simulation.table_bench import TableOnBench
from drillaid.simulation.table_port import TableServer
from drillaid.table import job as j


class RealClock:
    """As `SimulatedClock`, but waiting takes its time."""

    def now(self) -> float:
        return time.monotonic()

    def advance(self, seconds: float) -> None:
        time.sleep(max(seconds, 0.0))


class ServedTable:
    """Use as a context manager. url: what goes behind --port; camera: for `open_camera`;
    rig_file: written to `folder`; faster: the table's clock against the real one."""

    def __init__(
        self, design, seed: int, folder: Path, *, terminal: bool, faster: float = 1.0, **bench
    ) -> None:
        self.sim = sim = TableOnBench(design, seed, **bench)
        sim.clock = sim.camera._clock = RealClock()
        sim.camera.live = True
        pose = sim._pose

        def make(now):
            sim.table._now = now
            return sim.table

        self.server = TableServer(make, terminal=terminal, faster=faster)
        self.url = self.server.url

        def still() -> None:
            with self.server.lock:
                pose()

        sim._pose = still
        self.camera = sim.camera
        self.rig_file = folder / "rig.toml"
        save_rig(sim.rig, self.rig_file)

    def __enter__(self) -> ServedTable:
        return self

    def __exit__(self, *exc_info) -> None:
        self.server.close()


class Person:
    """Sits at the terminal (`working.Console`), fits the bits, confirms; gives up after a while.

    told: what was asked for, in order; act: called with each view before anything else, may
    return an action
    """

    open = True

    def __init__(self, sim, deadline_s: float, act=lambda view: None) -> None:
        self._sim, self._end, self._act = sim, time.monotonic() + deadline_s, act
        self.told: list[str] = []

    def actions(self, view: j.JobView) -> list:
        assert time.monotonic() < self._end, f"a hang in {view}"
        wish = self._act(view)
        if wish is not None:
            return [wish]
        if view.state not in j.ASKS:
            return []
        self.told.append(view.state)
        if view.state == j.CHANGE_BIT:
            self._sim.bit_mm = view.bit_mm
        return [ev.Confirm()]

    def __enter__(self) -> Person:
        return self

    def __exit__(self, *exc_info) -> None:
        pass
