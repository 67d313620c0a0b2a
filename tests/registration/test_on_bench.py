"""Which faces are searched before a close look."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drillaid.registration.correlation import Correlator
from drillaid.registration.on_bench import OTHER_SIDE_SIGMAS
from drillaid.registration.register import register_picture
from drillaid.simulation import parts
from drillaid.simulation.conditions import bench_for
from drillaid.simulation.designs import Layout, Placed, random_design


def dual_row():
    layout = Layout((40.0, 20.0), 0.4)
    layout.place(Placed(parts.dual_row(16), 20.0, 10.0))
    return layout.design("dual row (invented)")


@pytest.mark.parametrize(
    ("design", "enough"),
    [
        (random_design(4, 60), OTHER_SIDE_SIGMAS),
        (dual_row(), np.inf),
        # Of rims alone nobody has measured what a side shows that is not up.
        (replace(random_design(4, 60), copper={}, lands=()), np.inf),
    ],
)
def test_a_design_that_is_its_own_mirror_image_is_always_looked_for_on_both_faces(
    monkeypatch, design, enough
):
    asked, peaks = [], Correlator.peaks

    def noted(self, model, **words):
        asked.append(words["enough"])
        return peaks(self, model, **words)

    monkeypatch.setattr(Correlator, "peaks", noted)
    drawn = design if design.copper else random_design(4, 60)
    bench = bench_for(drawn, 4, size=(1280, 720))
    register_picture(bench.render(), design, rig=bench.rig, thickness_mm=bench.thickness_mm)
    assert asked and set(asked) == {enough}
