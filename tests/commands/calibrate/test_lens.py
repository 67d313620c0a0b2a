"""`drillaid calibrate lens` from the command line: photographs, live, refusals."""

from __future__ import annotations

import json
import tomllib

import cv2
import numpy as np
import pytest
from support.sheets import PLAIN, camera_over, photograph

from calibration.bundle import NAMES
from calibration.pattern import Pattern
from calibration.practice import pose_over
from drillaid.cli import main
from drillaid.commands.calibrate.lens import locked_of

PATTERN = ["--squares", "12x9", "--square-mm", "5"]
TURNS = [(0, 0, 0), (0.4, 0, 0.1), (-0.4, 0.1, 0), (0, 0.45, 0), (0.1, -0.4, 0.1), (0.3, 0.3, 0.5),
         (-0.3, 0.3, 0), (0.3, -0.3, -0.2)]  # fmt: skip


OTHER = Pattern(14, 10, 4.2)
CONTRACT = {
    "status", "message", "rms_px", "matrix", "distortion", "sigma", "views", "held_out_rms_px"
}  # fmt: skip


@pytest.fixture(scope="module")
def camera():
    return camera_over()


@pytest.fixture(scope="module")
def folder(camera, tmp_path_factory):
    """Eight good photographs of the sheet, with the camera that took them."""
    folder = tmp_path_factory.mktemp("photos")
    for n, turn in enumerate(TURNS):
        middle = 30 + 10 * (n % 3 - 1), 22 + 7 * (n % 2)
        image = camera.picture(*pose_over(middle, 55 + 4 * (n % 4), turn))
        cv2.imwrite(str(folder / f"sheet {n + 1}.png"), image)
    return folder


def answer_of(capsys, *words) -> tuple[int, dict]:
    status = main(["calibrate", "lens", *map(str, words), "--json"])
    out = capsys.readouterr().out
    return status, json.loads(out) if out else {}


def test_photographs_give_the_lens_and_the_rig_file(camera, folder, tmp_path, capsys):
    rig = tmp_path / "bench.toml"
    rig.write_text('format = "drillaid-rig/1"\n# mine\n[notes]\nwhere = "cellar"\n')
    status, told = answer_of(capsys, folder, "--rig", rig, *PATTERN)
    assert (status, told["status"]) == (0, "calibrated"), told["message"]
    matrix, sigma = np.array(told["matrix"]), told["sigma"]
    true = camera.rig.matrix
    assert matrix[0, 0] == pytest.approx(true[0, 0], rel=0.001)
    for name, got, want in (("fx", matrix[0, 0], true[0, 0]), ("cx", matrix[0, 2], true[0, 2]),
                            ("cy", matrix[1, 2], true[1, 2])):  # fmt: skip
        assert abs(got - want) < max(4 * sigma[name], 0.02)
        assert abs(got - want) < 1
    assert told["rms_px"] < 0.05 and told["held_out_rms_px"] < 0.05
    assert len(told["distortion"]) == 5
    assert CONTRACT <= set(told) and set(sigma) == set(NAMES)
    assert [set(v) >= {"file", "rms_px", "used", "reason"} for v in told["views"]] == [True] * 8
    text = rig.read_text()
    written = tomllib.loads(text)
    assert "# mine" in text and written["notes"]["where"] == "cellar"
    assert written["camera"]["matrix"] == told["matrix"]
    assert written["camera"]["width"] == 960 and "date" in written["camera"]
    assert "focus_locked" not in written["camera"]  # a photograph does not tell


def test_text_and_that_a_new_lens_makes_the_old_bench_refused(folder, tmp_path, capsys):
    from calibration.rig_draft import read_draft
    from drillaid.errors import RigError
    from drillaid.rig.file import load_rig

    rig = tmp_path / "bench.toml"
    draft = read_draft(rig).with_section("camera", {
        "width": 960, "height": 540, "matrix": [[760.0, 0, 480], [0, 760, 270], [0, 0, 1]],
        "distortion": [0.0] * 5,
    })  # fmt: skip
    draft.with_section(
        "bench", {"rotation_vector": [3.14159, 0.0, 0.0], "translation_mm": [0.0, 0.0, 200.0]}
    ).save()
    load_rig(rig)
    assert main(["calibrate", "lens", str(folder), "--rig", str(rig), *PATTERN]) == 0
    out = capsys.readouterr().out
    assert "calibrate bench" in out
    assert "Lens calibrated from 8 of 8 views" in out and "sheet 8.png" in out
    with pytest.raises(RigError, match="another lens"):
        load_rig(rig)


def write(path, image):
    cv2.imwrite(str(path), image)
    return path


def test_refusals_leave_the_rig_file_alone(folder, tmp_path, capsys):
    rig = tmp_path / "bench.toml"
    few = [folder / f"sheet {n}.png" for n in (1, 2, 3)]
    status, told = answer_of(capsys, *few, "--rig", rig, *PATTERN)
    assert (status, told["status"], told["matrix"]) == (3, "too_few", None)
    assert "at least 5" in told["message"]
    assert not rig.exists()


def _blurred(folder, out):
    for n in range(6):
        image = cv2.imread(str(folder / f"sheet {n + 1}.png"))
        write(out / f"{n}.png", cv2.GaussianBlur(image, (0, 0), 4))


def _cropped(folder, out):
    """Each photograph but for a corner is covered."""
    for n in range(6):
        image = cv2.imread(str(folder / f"sheet {n + 1}.png"))
        image[:, 300:] = image[200:, :] = 128
        write(out / f"{n}.png", image)


def _mirrored(_, out):
    for n, turn in enumerate(TURNS[:6]):
        write(out / f"{n}.png", photograph(turn=turn, mirrored=True)[0])


def _two_sizes(folder, out):
    for n in range(6):
        image = cv2.imread(str(folder / f"sheet {n + 1}.png"))
        write(out / f"{n}.png", image if n else cv2.resize(image, (640, 360)))


def _other(_, out):
    for n, turn in enumerate(TURNS[:6]):
        write(out / f"{n}.png", photograph(OTHER, turn=turn)[0])


BAD = {
    "blurred": (_blurred, "blurred", "focus on the sheet"),
    "cropped": (_cropped, "too_few", "too little of the pattern is in the picture"),
    "wrong pattern": (_other, "wrong", "another pattern than the one asked for"),
    "mirrored": (_mirrored, "mirrored", "the print is mirrored"),
    "two sizes": (_two_sizes, "mixed_sizes", "0.png); a lens is calibrated for one size"),
}


@pytest.mark.parametrize("case", BAD)
def test_photographs_that_will_not_do_are_refused_each_with_its_sentence(
    case, folder, tmp_path, capsys
):
    spoil, kind, said = BAD[case]
    spoil(folder, tmp_path)
    rig = tmp_path / "rig.toml"
    status, told = answer_of(capsys, tmp_path, "--rig", rig, *PATTERN)
    assert (status, told["status"]) == (3, kind), told["message"]
    assert said in told["message"]
    assert "\n" not in told["message"]
    assert CONTRACT <= set(told) and told["matrix"] is None and told["rms_px"] is None
    assert not rig.exists()


def test_all_views_parallel(camera, tmp_path, capsys):
    for n in range(7):
        pose = pose_over((25 + 2 * n, 20 + n), 55 + 3 * n, (0.02, 0.01 * n, 0.3 * n))
        write(tmp_path / f"{n}.png", camera.picture(*pose))
    status, told = answer_of(capsys, tmp_path, *PATTERN)
    assert (status, told["status"]) == (3, "parallel") and "tilt" in told["message"]


def test_bad_input_is_one_sentence(tmp_path, folder, capsys):
    (tmp_path / "empty").mkdir()
    (tmp_path / "words.png").write_text("no picture")
    for words, said in (
        ([tmp_path / "empty"], "empty folder"),
        ([tmp_path / "no.png"], "there is no such file"),
        ([tmp_path / "words.png"], "words.png"),
        ([], "--camera"),
        ([folder, "--camera", "sim"], "--camera"),
        ([folder, "--rig", tmp_path / "no" / "rig.toml"], "folder"),
        (["--camera", "sim", "--seconds", "-1"], "--seconds"),
        (["--camera", "sim", "--size", "big"], "--size"),
        (["--camera", "sim", "--views", "2"], "--views"),
    ):
        assert main(["calibrate", "lens", *map(str, words)]) == 2
        captured = capsys.readouterr()
        assert said in captured.err and captured.out == ""
        assert captured.err.strip().count("\n") == 0


def test_another_sheet_than_asked_for(folder, capsys):
    status, told = answer_of(capsys, folder, "--squares", "14x9", "--square-mm", "5")
    assert (status, told["status"]) == (3, "wrong") and "--squares" in told["message"]


def test_plain_chessboard_by_its_inner_corners(tmp_path, capsys):
    camera = camera_over(PLAIN)
    for n, turn in enumerate(TURNS):
        middle = 31 + 7 * (n % 3 - 1), 21 + 5 * (n % 2 * 2 - 1)
        write(tmp_path / f"{n}.png", camera.picture(*pose_over(middle, 62 + 4 * (n % 4), turn)))
    words = tmp_path, "--chessboard", "8x5", "--square-mm", "7"
    status, told = answer_of(capsys, *words)
    assert status == 0, told["message"]
    assert np.array(told["matrix"])[0, 0] == pytest.approx(camera.rig.matrix[0, 0], rel=0.001)


def test_live_from_the_simulated_camera(tmp_path, capsys):
    rig = tmp_path / "bench.toml"
    status = main(
        ["calibrate", "lens", "--camera", "sim", "--size", "640x360", "--rig", str(rig), "--json",
         *PATTERN]
    )  # fmt: skip
    captured = capsys.readouterr()
    told = json.loads(captured.out)
    assert (status, told["status"]) == (0, "calibrated"), told["message"]
    assert "view 1" in captured.err.lower() and "Traceback" not in captured.err
    assert tomllib.loads(rig.read_text())["camera"]["views"] >= 10


def test_what_the_camera_locked_is_recorded_as_it_said():
    asked = {"asked": 0.0, "got": 0.0, "kept": True}
    assert locked_of({}) == {}
    assert locked_of({"focus_auto": asked, "exposure_auto": asked | {"kept": False}}) == {
        "focus_locked": True,
        "exposure_locked": False,
    }
