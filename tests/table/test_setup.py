"""[table] of the rig file: what it says, what is missing, what cannot be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drillaid.errors import OutOfReach, RigError
from drillaid.rig.file import load_rig, save_rig
from drillaid.simulation.rigs import nominal_rig
from drillaid.table.setup import TableSetup

GOOD = {
    "arrangement": "board",
    "dialect": "numbered-ack",
    "matrix": [[1.01, 0.002], [-0.003, 0.99]],
    "matrix_sigma": 0.0005,
    "backlash_mm": [0.1, 0.2],
    "limits_mm": [[0.0, 100.0], [0.0, 80.0], [-30.0, 0.0]],
    "safe_z_mm": -12.0,
    "surface_z_mm": -20.0,
    "spindle_rpm": 20000.0,
    "speed_mm_s": [25.0, 25.0, 10.0],
    "acceleration_mm_s2": [200.0, 200.0, 100.0],
}


def rig_with(**changes):
    table = {k: v for k, v in (GOOD | changes).items() if v is not None}
    return replace(nominal_rig(), extra={"table": table})


def test_it_survives_a_file(tmp_path):
    path = tmp_path / "rig.toml"
    save_rig(rig_with(), path)
    setup = TableSetup.of(load_rig(path))
    assert setup.matrix == pytest.approx(np.array(GOOD["matrix"]))
    assert setup.view_mm == pytest.approx([50, 40]) and setup.switched and not setup.lever
    assert setup.pace.speed_mm_s == (25.0, 25.0, 10.0)


def test_a_moving_spindle_sees_the_board_go_the_other_way():
    setup = TableSetup.of(rig_with(arrangement="spindle"))
    assert setup.matrix == pytest.approx(-np.array(GOOD["matrix"]))


@pytest.mark.parametrize("key", ["matrix", "backlash_mm", "limits_mm", "safe_z_mm"])
def test_what_is_needed_is_named(key):
    with pytest.raises(RigError, match=f"table.{key} is missing"):
        TableSetup.of(rig_with(**{key: None}))


def test_calibration_needs_no_matrix_and_a_lever_no_heights():
    assert (TableSetup.of(rig_with(matrix=None), calibrated=False).matrix == np.eye(2)).all()
    assert TableSetup.of(rig_with(z="lever", safe_z_mm=None, surface_z_mm=None)).lever


def test_no_table_at_all():
    with pytest.raises(RigError, match="calibrate table"):
        TableSetup.of(nominal_rig())


@pytest.mark.parametrize(
    ("key", "value", "told"),
    [
        ("arrangement", "both", "table.arrangement"),
        ("matrix", [[1.0, 0.0]], "2 rows"),
        ("matrix", [[0.01, 0.0], [0.0, 1.0]], "for each mm sent"),
        ("matrix", [[1.0, 1.0], [1.0, 1.0]], "for each mm sent"),
        ("matrix", [["a", 0.0], [0.0, 1.0]], "numbers only"),
        ("backlash_mm", [-0.1, 0.1], "out of 0 to 5"),
        ("backlash_mm", [0.1], "list of 2"),
        ("limits_mm", [[100.0, 0.0], [0.0, 80.0], [-30.0, 0.0]], "least first"),
        ("safe_z_mm", 5.0, "outside limits_mm"),
        ("safe_z_mm", -19.9, "at least 1 mm above"),
        ("view_mm", [500.0, 0.0], "outside limits_mm"),
        ("speed_mm_s", [0.0, 1.0, 1.0], "out of 0.01"),
        ("spindle_rpm", 1e9, "out of range"),
        ("dialect", 3, "name or a file"),
        ("settle_s", float("nan"), "out of range"),
    ],
)
def test_what_cannot_be_is_refused_by_its_key(tmp_path, key, value, told):
    with pytest.raises(RigError, match=told) as refused:
        save_rig(rig_with(**{key: value}), tmp_path / "rig.toml")
    assert f"table.{key}" in str(refused.value)


@pytest.mark.parametrize("where", [(-1, None, None), (None, 81, None), (None, None, 1)])
def test_soft_limits(where):
    setup = TableSetup.of(rig_with())
    setup.check(0.0, 80.0, -30.0)
    with pytest.raises(OutOfReach, match="soft limits"):
        setup.check(*where)
