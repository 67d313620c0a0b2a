"""A rig file grows section by section; what no longer fits is refused, nothing is lost."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.rig_draft import read_draft
from drillaid.errors import RigError
from drillaid.rig.file import load_rig
from drillaid.simulation.rigs import nominal_rig

RIG = nominal_rig(seed=3)
CAMERA = {
    "width": RIG.width, "height": RIG.height, "matrix": RIG.matrix, "distortion": RIG.distortion
}  # fmt: skip
BENCH = {"rotation_vector": RIG.rotation_vector, "translation_mm": RIG.translation_mm}
SPINDLE = {"axis_mm": RIG.axis_mm, "lean": RIG.lean}


@pytest.fixture
def path(tmp_path):
    return tmp_path / "rig.toml"


def made(path, *sections) -> None:
    for name, values in sections:
        read_draft(path).with_section(name, values).save()


def test_a_rig_grows_by_one_command_after_the_other(path):
    made(path, ("camera", CAMERA))
    with pytest.raises(RigError, match="bench is missing.*calibrate bench"):
        load_rig(path)
    made(path, ("bench", BENCH), ("spindle", SPINDLE))
    rig = load_rig(path)
    np.testing.assert_array_equal(rig.matrix, RIG.matrix)
    np.testing.assert_array_equal(rig.translation_mm, RIG.translation_mm)
    np.testing.assert_array_equal(rig.axis_mm, RIG.axis_mm)


def test_an_empty_draft_says_what_comes_first(path):
    with pytest.raises(RigError, match="camera.*calibrate lens first"):
        read_draft(path).camera()
    made(path, ("camera", CAMERA))
    assert read_draft(path).camera().width == RIG.width
    with pytest.raises(RigError, match="bench.*calibrate bench first"):
        read_draft(path).rig()


def test_comments_unknown_keys_and_other_sections_stay(path):
    made(path, ("camera", CAMERA))
    text = path.read_text().replace("[camera]", '# the grey arm\n[camera]\nserial = "A-17"', 1)
    path.write_text(text + "\n[table]\nsteps_per_mm = 80 # as the plate says\n")
    made(path, ("camera", {"views": 14}), ("bench", BENCH))
    text = path.read_text()
    for part in ("# the grey arm", 'serial = "A-17"', "views = 14", "# as the plate says"):
        assert part in text
    assert load_rig(path).extra["table"] == {"steps_per_mm": 80}


def test_a_key_set_to_none_goes(path):
    made(path, ("camera", CAMERA | {"views": 14}), ("camera", {"views": None}))
    assert "views" not in read_draft(path).section("camera")


@pytest.mark.parametrize("strip", [False, True], ids=["named", "a file by hand"])
def test_a_new_lens_voids_the_bench_aloud(path, strip):
    made(path, ("camera", CAMERA), ("bench", BENCH))
    if strip:
        keep = [line for line in path.read_text().splitlines() if not line.startswith("lens")]
        path.write_text("\n".join(keep))
    load_rig(path)
    made(path, ("camera", {"distortion": RIG.distortion * 1.01}))
    with pytest.raises(RigError, match="line.*bench.lens.*another lens.*calibrate bench again"):
        load_rig(path)
    assert not read_draft(path).has_bench
    with pytest.raises(RigError, match="through another lens.*calibrate bench first"):
        read_draft(path).rig()
    made(path, ("bench", BENCH))
    load_rig(path)


def test_the_same_lens_again_voids_nothing(path):
    made(path, ("camera", CAMERA), ("bench", BENCH), ("camera", CAMERA | {"views": 9}))
    load_rig(path)


@pytest.mark.parametrize("strip", [False, True], ids=["named", "a file by hand"])
def test_a_new_bench_frame_voids_the_spindle_aloud(path, strip):
    made(path, ("camera", CAMERA), ("bench", BENCH), ("spindle", SPINDLE))
    if strip:
        keep = [line for line in path.read_text().splitlines() if not line.startswith("frame")]
        path.write_text("\n".join(keep))
    load_rig(path)
    made(path, ("bench", BENCH))
    with pytest.raises(RigError, match="spindle.frame.*calibrate spindle again"):
        load_rig(path)
    assert read_draft(path).rig().axis_mm is None


def test_a_kept_frame_keeps_the_spindle(path):
    made(path, ("camera", CAMERA), ("bench", BENCH), ("spindle", SPINDLE))
    made(path, ("bench", BENCH | {"frame": read_draft(path).section("bench")["frame"]}))
    assert load_rig(path).axis_mm is not None


def test_values_no_rig_has_are_not_saved(path):
    made(path, ("camera", CAMERA))
    before = path.read_text()
    with pytest.raises(RigError, match="translation_mm"):
        made(path, ("bench", BENCH | {"translation_mm": [0.0, 0.0, 0.4]}))
    with pytest.raises(RigError, match="camera.width"):
        made(path, ("camera", CAMERA | {"width": 5}))
    assert path.read_text() == before


def test_what_is_no_rig_file_is_refused_with_its_line(path):
    path.write_text("format = 'drillaid-rig/1'\n[camera]\nwidth = 1.5\nheight = 3\n")
    with pytest.raises(RigError, match="line 3: camera.width must be a whole number"):
        read_draft(path)
    with pytest.raises(RigError, match="folder does not exist"):
        read_draft(path.parent / "none" / "rig.toml")
