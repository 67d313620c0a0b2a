"""A table's limits and heights typed in, and what the program then makes of them."""

from __future__ import annotations

import pytest

from drillaid.rig.file import load_rig
from drillaid.table.setup import TableSetup
from ui.calibrating.table import TablePage
from ui.running.table_parts import may_use_table


LIMITS = [[0.0, 100.0], [0.0, 80.0], [-30.0, 0.0]]


def with_bench(rig):
    true = rig.workshop.rig
    lens = {"width": true.width, "height": true.height, "matrix": true.matrix,
            "distortion": true.distortion}  # fmt: skip
    plane = {"rotation_vector": true.rotation_vector, "translation_mm": true.translation_mm}
    return rig.draft.with_section("camera", lens).with_section("bench", plane)


def fill(page, **axes):
    for axis, ends in axes.items():
        for field, value in zip(page.ends[axis], ends, strict=True):
            field.setValue(value)


def choose(choice, value):
    choice.setCurrentIndex(choice.findData(value))


def test_what_is_typed_in_is_what_the_table_obeys(qtbot, rig, page, tools):
    _, saved = tools
    rig.draft = with_bench(rig)
    table = page(TablePage)
    assert not table.write.isEnabled() and table.safe.text() == "?"
    fill(table, X=(5, 180), Y=(-3, 120), Z=(-45, 2))
    table.safe.setValue(-4)
    table.surface.setValue(-31.5)
    assert table.write.isEnabled()
    table.rpm.setValue(18_000)
    choose(table.arrangement, "spindle")
    choose(table.dialect, "numbered-ack")
    saved(qtbot, rig, table.write.click)
    setup = TableSetup.of(load_rig(rig.path), rig.path, calibrated=False)
    assert setup.limits_mm.tolist() == [[5, 180], [-3, 120], [-45, 2]]
    assert (setup.safe_z_mm, setup.surface_z_mm, setup.spindle_rpm) == (-4, -31.5, 18_000)
    assert setup.dialect == "numbered-ack" and not setup.lever and setup.switched
    assert setup.matrix[0, 0] < 0  # the spindle moves: the board goes the other way
    # The file is shown again as it stands.
    again = page(TablePage)
    assert again.values() == table.values()


def test_what_was_measured_of_the_table_stays(qtbot, rig, page, tools):
    _, saved = tools
    rig.draft = with_bench(rig).with_section(
        "table", {"backlash_mm": [0.1, 0.2], "safe_z_mm": -6.0, "surface_z_mm": -20.0,
                  "limits_mm": LIMITS, "matrix": [[1.0, 0.01], [-0.01, 1.0]]}
    )  # fmt: skip
    table = page(TablePage)
    assert table.safe.value() == -6.0
    choose(table.lever, "lever")
    assert not table.safe.isEnabled() and not table.surface.isEnabled()
    saved(qtbot, rig, table.write.click)
    section = rig.draft.section("table")
    assert section["backlash_mm"] == [0.1, 0.2] and section["z"] == "lever"
    assert section["matrix"] == [[1.0, 0.01], [-0.01, 1.0]]
    assert "safe_z_mm" not in section and TableSetup.of(load_rig(rig.path), calibrated=False).lever


def test_what_was_seen_to_move_stays_whatever_it_was_taken_for(qtbot, rig, page, tools):
    """Corrected to a moving spindle, the same motor goes the same way as it was measured."""
    _, saved = tools
    rig.draft = with_bench(rig).with_section(
        "table", {"backlash_mm": [0.1, 0.2], "limits_mm": LIMITS, "z": "lever",
                  "matrix": [[1.0, 0.01], [-0.01, 0.99]]}
    )  # fmt: skip
    rig.draft.save()
    before = TableSetup.of(load_rig(rig.path)).matrix
    table = page(TablePage)
    choose(table.arrangement, "spindle")
    saved(qtbot, rig, table.write.click)
    assert TableSetup.of(load_rig(rig.path)).matrix.tolist() == before.tolist()


def test_no_height_is_made_up_for_who_changes_from_lever_to_controller(rig, page):
    rig.draft = with_bench(rig).with_section("table", {"limits_mm": LIMITS, "z": "lever"})
    table = page(TablePage)
    assert table.write.isEnabled()
    choose(table.lever, "controller")
    assert not table.write.isEnabled()
    table.safe.setValue(-4)
    table.surface.setValue(-20)
    assert table.write.isEnabled()


@pytest.mark.parametrize(
    ("axes", "safe", "why"),
    [({"X": (80, 10)}, -8, "least first"), ({}, 5, "outside limits_mm of z"),
     ({}, -19.5, "at least 1 mm above")],
)  # fmt: skip
def test_limits_that_cannot_be_are_told_and_nothing_is_written(qtbot, rig, page, axes, safe, why):
    rig.draft = with_bench(rig)
    table = page(TablePage)
    fill(table, X=(0, 100), Y=(0, 80), Z=(-30, 0))
    fill(table, **axes)
    table.safe.setValue(safe)
    table.surface.setValue(-20)
    with qtbot.waitSignal(rig.failed, timeout=5000) as told:
        table.write.click()
    assert why in told.args[0] and "Traceback" not in told.args[0]
    assert not rig.draft.path.exists()


def test_without_a_file_there_is_nothing_to_write_into(rig, page):
    rig.draft = None
    assert not page(TablePage).write.isEnabled()
    assert not may_use_table(rig.job)
