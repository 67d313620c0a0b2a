"""Which faces are searched before a close look."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from drillaid.geometry import Affine
from drillaid.registration import on_bench
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


@pytest.mark.parametrize(
    ("moved_mm", "rims_convince", "believed"),
    [(0.2, True, "marks"), (9.0, True, "rims"), (9.0, False, "marks")],
)
def test_marks_are_not_believed_where_rims_convince_elsewhere(
    monkeypatch, moved_mm, rims_convince, believed
):
    """Rims that show the place roughly, and marks that show one exactly."""

    def shown(by: str, x_mm: float, convinces: bool, exact: bool):
        place = Affine.from_parts(offset=(x_mm, 0.0))
        return SimpleNamespace(
            by=by, placement=place, convinces=convinces, exact=exact, hypothesis=by
        )

    rims = shown("rims", 0.0, rims_convince, False)
    marks = shown("marks", moved_mm, True, True)
    monkeypatch.setattr(on_bench, "_by_rims", lambda *_: [rims])
    monkeypatch.setattr(on_bench, "_by_marks", lambda *_: [marks])
    monkeypatch.setattr(on_bench, "well_known", lambda r, holes: r.convinces and r.exact)
    monkeypatch.setattr(on_bench, "settled_by", lambda found: any(r.convinces for r in found))
    holes = np.arange(24.0).reshape(12, 2)
    task = SimpleNamespace(design=SimpleNamespace(xy_mm=holes), aside=[])
    got = on_bench._by_rims_or_marks(task, None, (True,))
    assert [r.by for r in got] == [believed]
    assert task.aside == (["rims"] if believed == "marks" else [])
