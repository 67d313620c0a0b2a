"""A table's limits and heights typed in, and what the program then makes of them."""

from __future__ import annotations

import pytest

from drillaid.rig.file import load_rig
from drillaid.table.setup import TableSetup
from ui.calibrating.table import START, TablePage
from ui.running.table_parts import may_use_table


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
    assert "examples" in table.words.text()
    fill(table, X=(5, 180), Y=(-3, 120), Z=(-45, 2))
    table.safe.setValue(-4)
    table.surface.setValue(-31.5)
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
    assert again.values() == table.values() and "examples" not in again.words.text()


def test_what_was_measured_of_the_table_stays(qtbot, rig, page, tools):
    _, saved = tools
    rig.draft = with_bench(rig).with_section(
        "table", {"backlash_mm": [0.1, 0.2], "safe_z_mm": -6.0, "surface_z_mm": -20.0,
                  "limits_mm": START["limits_mm"]}
    )  # fmt: skip
    table = page(TablePage)
    assert table.safe.value() == -6.0
    choose(table.lever, "lever")
    assert not table.safe.isEnabled() and not table.surface.isEnabled()
    saved(qtbot, rig, table.write.click)
    section = rig.draft.section("table")
    assert section["backlash_mm"] == [0.1, 0.2] and section["z"] == "lever"
    assert "safe_z_mm" not in section and TableSetup.of(load_rig(rig.path), calibrated=False).lever


@pytest.mark.parametrize(
    ("axes", "safe", "why"),
    [({"X": (80, 10)}, -8, "least first"), ({}, 5, "outside limits_mm of z"),
     ({}, -19.5, "at least 1 mm above")],
)  # fmt: skip
def test_limits_that_cannot_be_are_told_and_nothing_is_written(qtbot, rig, page, axes, safe, why):
    rig.draft = with_bench(rig)
    table = page(TablePage)
    fill(table, **axes)
    table.safe.setValue(safe)
    with qtbot.waitSignal(rig.failed, timeout=5000) as told:
        table.write.click()
    assert why in told.args[0] and "Traceback" not in told.args[0]
    assert not rig.draft.path.exists()


def test_without_a_file_there_is_nothing_to_write_into(rig, page):
    rig.draft = None
    assert not page(TablePage).write.isEnabled()
    assert not may_use_table(rig.job)
