"""`calibrate bench` against drawn truth, after a knock, and with pictures that will not do."""

from __future__ import annotations

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
from support.rig_shop import LENS_SIGMA, OPTIONS, PATTERN, lens_only, sheet, shop, with_sheet

from calibration.pattern import Pattern
from calibration.rig_draft import read_draft
from drillaid.cli import main
from drillaid.rig.file import load_rig
from drillaid.simulation.prints import knocked, mark_print


@pytest.fixture(scope="module")
def pictures(tmp_path_factory):
    """(bench, {name: path}): all pictures of one afternoon."""
    folder, bench = tmp_path_factory.mktemp("shop"), shop(1, marks=5)
    old, paths = bench.rig, {}

    def save(name, image):
        paths[name] = str(folder / f"{name}.png")
        cv2.imwrite(paths[name], image)

    flat = with_sheet(bench, sheet())
    save("flat", flat)
    save("blurred", cv2.GaussianBlur(flat, (0, 0), 9))
    save("cropped", with_sheet(bench, sheet((-98.0, 0.0))))
    save("other", with_sheet(bench, sheet(pattern=Pattern(22, 13, 5.0))))
    save("mirrored", with_sheet(bench, sheet(mirrored=True)))
    save("small", flat[::2, ::2])
    save("empty", bench.render())
    bench.knock(knocked(old, (1, -1, 1), (0.01, -0.01, 0.02)))
    save("knocked", bench.render())
    bench.knocked_rig = bench.rig
    first, second, *others = bench.prints
    moved = replace(second, middle_mm=(second.middle_mm[0] - 1.5, second.middle_mm[1]))
    bench.lay(first, moved, *others)
    save("knocked and unstuck", bench.render())
    bench.lay(first, second, *others)
    bench.knock(old)
    return bench, paths


@pytest.fixture
def rig_file(tmp_path, pictures):
    lens_only(tmp_path / "rig.toml", pictures[0].rig, LENS_SIGMA)
    return tmp_path / "rig.toml"


def calibrate(capsys, path, *photos, more=()):
    status = main(["calibrate", "bench", *photos, "--rig", str(path), *OPTIONS, *more, "--json"])
    out, err = capsys.readouterr()
    return status, json.loads(out) if out else err


def off_mm(found, true) -> np.ndarray:
    """Over the whole picture."""
    u, v = np.linspace(0, true.width - 1, 9), np.linspace(0, true.height - 1, 7)
    px = np.stack(np.meshgrid(u, v), axis=-1).reshape(-1, 2)
    return np.hypot(*(found.to_bench(px, 0.0) - true.to_bench(px, 0.0)).T)


def test_plane_against_truth_and_what_is_told(capsys, pictures, rig_file):
    bench, paths = pictures
    status, said = calibrate(capsys, rig_file, paths["flat"])
    assert status == 0 and said["status"] == "calibrated"
    off = off_mm(load_rig(rig_file), bench.rig)
    assert off.max() < 0.05  # mm over the field, the figure
    assert off.max() < 2.5 * said["sigma_mm"]["worst"]
    assert said["rms_px"] < 0.1 and said["flatness_mm"] < 0.1
    assert len(said["rotation_vector"]) == len(said["translation_mm"]) == 3
    # Similar triangles: a point r beside the camera's foot moves by r / height per mm.
    x, y, z = bench.rig.camera_mm
    corners = bench.rig.to_bench([[0, 0], [1919, 0], [0, 1079], [1919, 1079]], 0.0)
    worst = np.hypot(*(corners - [x, y]).T).max() / z
    assert said["sideways_per_mm_of_thickness"]["worst"] == pytest.approx(worst, abs=0.01)
    assert "puts a hole" in said["message"] and "--ruler-mm" in said["message"]


@pytest.mark.parametrize("photo", ["knocked", "knocked and unstuck"])
def test_a_knocked_arm_is_repaired_from_one_picture_of_the_marks(capsys, pictures, rig_file, photo):
    bench, paths = pictures
    calibrate(capsys, rig_file, paths["flat"])
    read_draft(rig_file).with_section("spindle", {"axis_mm": bench.rig.axis_mm}).save()
    status, said = calibrate(capsys, rig_file, paths[photo])
    assert status == 0 and said["frame_kept"], said
    off = off_mm(load_rig(rig_file), bench.knocked_rig)
    assert off.max() < 0.05
    np.testing.assert_array_equal(load_rig(rig_file).axis_mm, bench.rig.axis_mm)
    if "unstuck" in photo:
        assert "Mark 2 had moved by itself" in said["message"]


def test_a_new_frame_costs_the_spindle_and_says_so(capsys, pictures, rig_file):
    bench, paths = pictures
    calibrate(capsys, rig_file, paths["flat"])
    read_draft(rig_file).with_section("spindle", {"axis_mm": bench.rig.axis_mm}).save()
    status, said = calibrate(capsys, rig_file, paths["flat"], more=["--new-frame"])
    assert status == 0 and "calibrate spindle again" in said["message"]
    with pytest.raises(Exception, match="spindle.frame"):
        load_rig(rig_file)


@pytest.mark.parametrize(
    ("photo", "said"),
    [
        ("blurred", "blurred"),
        ("cropped", "too little of the pattern|no calibration pattern"),
        ("other", "another pattern"),
        ("mirrored", "mirrored"),
        ("empty", "no calibration pattern is seen"),
    ],
)
def test_what_will_not_do_is_refused_in_a_sentence(capsys, pictures, rig_file, photo, said):
    import re

    before = rig_file.read_text()
    status, answer = calibrate(capsys, rig_file, pictures[1][photo])
    assert status == 3 and answer["status"] == "refused"
    assert re.search(said, answer["message"]), answer["message"]
    assert rig_file.read_text() == before


def test_an_empty_folder_and_two_sizes_are_named(capsys, pictures, rig_file, tmp_path):
    (tmp_path / "empty").mkdir()
    status, told = calibrate(capsys, rig_file, str(tmp_path / "empty"))
    assert status == 2 and str(tmp_path / "empty") in told and told.strip().count("\n") == 0
    status, told = calibrate(capsys, rig_file, pictures[1]["flat"], pictures[1]["small"])
    assert status == 2 and "small.png" in told and told.strip().count("\n") == 0


def test_bad_input_is_named(capsys, pictures, rig_file, tmp_path):
    flat = pictures[1]["flat"]
    status, told = calibrate(capsys, rig_file, pictures[1]["small"])
    assert status == 2 and "1920 x 1080" in told and "960 x 540" in told
    status, told = calibrate(capsys, tmp_path / "none.toml", flat)
    assert status == 2 and "calibrate lens first" in told
    status, told = calibrate(capsys, rig_file, flat, more=["--sheet-mm", "nan"])
    assert status == 2 and "--sheet-mm" in told


def test_operator_on_another_side(capsys, pictures, rig_file):
    calibrate(capsys, rig_file, pictures[1]["flat"], more=["--operator-at", "left"])
    rig = load_rig(rig_file)
    here, away = rig.to_pixels([[0, 0], [0, 10.0]], 0.0)
    assert (away - here)[0] > abs((away - here)[1])  # away from an operator at the left: right


def test_a_mark_beyond_those_stored_is_added(capsys, pictures, rig_file, tmp_path):
    bench, paths = pictures
    calibrate(capsys, rig_file, paths["flat"])
    before = bench.prints
    bench.lay(*before, mark_print(9, (0.0, 0.0)))
    cv2.imwrite(str(tmp_path / "more.png"), bench.render())
    bench.lay(*before)
    _, said = calibrate(capsys, rig_file, str(tmp_path / "more.png"))
    assert "marks" in said, said
    assert 9 in said["marks"] and PATTERN.columns == 18
