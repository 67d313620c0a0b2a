from __future__ import annotations

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest

from drillaid.cli import main
from drillaid.rig.budget import PARTS
from drillaid.rig.file import save_rig
from drillaid.simulation.bench import SimulatedBench
from drillaid.simulation.board import SimulatedBoard
from drillaid.simulation.conditions import bench_for
from drillaid.simulation.designs import demo_design, demo_design_files

SIZE = (1600, 900)
FOUND = {
    "status", "message", "model", "homography", "offset_mm", "rotation_deg", "scale", "shear",
    "pads_seen", "pads_agreeing", "holes_total", "residual_rms_mm", "holes", "seconds",
}  # fmt: skip


@pytest.fixture(scope="module")
def bench() -> SimulatedBench:
    return bench_for(demo_design(), 12, size=SIZE)


@pytest.fixture(scope="module")
def files(bench, tmp_path_factory):
    """(design files, photograph, rig file, photograph without a board)."""
    folder = tmp_path_factory.mktemp("register")
    design = [str(p) for p in demo_design_files(folder / "design")]
    photo, rig, bare = folder / "photo.png", folder / "bench.toml", folder / "empty.png"
    cv2.imwrite(str(photo), bench.render())
    save_rig(bench.rig, rig)
    cv2.imwrite(str(bare), np.full((SIZE[1], SIZE[0], 3), 90, np.uint8))
    return design, str(photo), str(rig), str(bare)


def told(capsys, *words: str) -> tuple[int, dict]:
    status = main(["register", *words, "--json"])
    return status, json.loads(capsys.readouterr().out)


def test_a_rig_that_records_its_errors_gives_a_budget(bench, files, capsys, tmp_path):
    design, photo, _, _ = files
    rig = tmp_path / "sure.toml"
    extra = {
        "camera": {"sigma": [0.5, 0.5, 0.4, 0.4, 5e-4, 8e-4, 5e-5, 5e-5, 5e-4]},
        "spindle": {"covariance": [[4e-4, 0.0], [0.0, 1e-8]]},
    }
    save_rig(replace(bench.rig, extra=extra), rig)
    status, data = told(capsys, *design, photo, "--rig", str(rig))
    budget = data["budget_mm"]
    worst = max(data["holes"], key=lambda hole: hole["expected_error_mm"])
    assert status == 0 and budget["hole"] == worst["hole"]
    assert budget["registration_mm"] == pytest.approx(worst["expected_error_mm"])
    assert budget["limits"] == "spindle" and budget["bench_mm"] is None
    assert budget["spindle_mm"] == pytest.approx(0.02 * 2**0.5, rel=0.01)
    parts = [budget[f"{name}_mm"] or 0.0 for name in PARTS]
    assert budget["total_mm"] == pytest.approx(np.linalg.norm(parts))
    main(["register", *design, photo, "--rig", str(rig)])
    said = capsys.readouterr().out
    assert "spindle limits it" in said and "Not known from the rig file: bench" in said


def test_with_a_rig_the_object_is_that_of_the_contract(bench, files, capsys):
    design, photo, rig, _ = files
    status, data = told(capsys, *design, photo, "--rig", rig)
    assert status == 0 and data["status"] == "registered", data["message"]
    assert set(data) == FOUND | {"matrix", "parts_at_risk"}
    for part in data["parts_at_risk"]:
        assert part["probability"] < 0.95 and part["holes"] and part["message"]
    matrix = np.array(data["matrix"])
    assert matrix.shape == (2, 3) and np.array(data["homography"]).shape == (3, 3)
    assert set(data["seconds"]) == {"find", "match", "fit", "total"}
    assert data["model"] in ("rigid", "similarity", "affine", "projective")
    assert data["offset_mm"] == pytest.approx(matrix[:, 2])
    assert data["scale"] == pytest.approx(bench.truth.scale, abs=1e-3)
    turn = np.degrees(bench.truth.rotation_rad)
    assert (data["rotation_deg"] - turn + 180) % 360 - 180 == pytest.approx(0, abs=0.1)
    holes = data["holes"]
    assert data["holes_total"] == len(holes) == len(bench.board.design.holes)
    assert [h["hole"] for h in holes] == list(range(1, len(holes) + 1))
    for hole in holes:
        assert set(hole) == {
            "hole", "design_mm", "bench_mm", "pixel", "pad_seen", "expected_error_mm"
        }  # fmt: skip
        x, y = hole["design_mm"]
        assert matrix @ [x, y, 1] == pytest.approx(hole["bench_mm"], abs=1e-6)
        place = bench.truth([[x, y]])[0]
        assert hole["bench_mm"] == pytest.approx(place, abs=0.08)
        assert hole["pixel"] == pytest.approx(bench.rig.to_pixels([place], 1.6)[0], abs=1.2)
        assert 0 < hole["expected_error_mm"] < 0.1
        assert isinstance(hole["pad_seen"], bool)
    assert data["pads_agreeing"] == sum(h["pad_seen"] for h in holes)


def test_without_a_rig_pixels_are_told_and_no_millimetres_of_the_bench(bench, files, capsys):
    design, photo, _, _ = files
    status, data = told(capsys, *design, photo)
    assert status == 0, data["message"]
    assert set(data) == FOUND
    off = np.array([h["pixel"] for h in data["holes"]]) - bench.true_pixels()
    # No lens terms are known: some hundredths of a mm in the middle, tenths at the rim.
    assert np.median(np.hypot(*off.T)) / bench.rig.px_per_mm(1.6) < 0.25
    assert all(h["bench_mm"] is None for h in data["holes"])
    # Scale: pixels per mm.
    assert data["scale"] == pytest.approx([bench.rig.px_per_mm(1.6)] * 2, rel=0.1)
    through = np.array(data["homography"])
    x, y, w = through @ [*data["holes"][0]["design_mm"], 1]
    assert [x / w, y / w] == pytest.approx(data["holes"][0]["pixel"], abs=5)


def test_a_refusal_has_its_status_and_nothing_to_be_mistaken_for_an_answer(files, capsys):
    design, photo, rig, bare = files
    for words, wanted in (
        ([*design, bare, "--rig", rig], "not_found"),
        ([*design, photo, "--rig", rig, "--face", "top"], "mirrored"),
    ):
        status, data = told(capsys, *words)
        assert (status, data["status"]) == (3, wanted)
        assert not set(data) & {"matrix", "homography", "holes", "offset_mm", "rotation_deg"}
        assert len(data["message"]) > 30


def test_a_person_reads_where_it_lies(files, capsys):
    design, photo, rig, _ = files
    assert main(["register", *design, photo, "--rig", rig]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Found:")
    assert "rotation" in out and "holes agree" in out and "artwork" in out


def test_two_pads_may_be_pointed_out(bench, files, capsys):
    design, photo, rig, _ = files
    px = bench.true_pixels()
    pads = [f"--pad={n}:{px[n - 1][0] + 4:.0f},{px[n - 1][1] - 4:.0f}" for n in (3, 40)]
    status, data = told(capsys, *design, photo, "--rig", rig, *pads)
    assert status == 0, data["message"]
    assert data["holes"][0]["pixel"] == pytest.approx(px[0], abs=1.5)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--pad", "3:10,20"], "two pads"),
        (["--pad", "3-10,20"], "write --pad 12:640,355"),
        (["--pad", "3:10"], "write --pad 12:640,355"),
        (["--pad", "3:nan,20", "--pad", "4:1,1"], "names no pixel"),
        (["--pad", "0:10,20", "--pad", "4:1,1"], "hole 0"),
        (["--pad", "999:10,20", "--pad", "4:1,1"], "hole 999"),
        (["--thickness", "0"], "--thickness is 0 mm"),
        (["--thickness", "nan"], "--thickness is nan mm"),
        (["--thickness", "25"], "0.05 to 10 mm"),
    ],
)
def test_misuse_gets_one_sentence(files, capsys, words, message):
    design, _, _, bare = files
    assert main(["register", *design, bare, *words]) == 2
    said = capsys.readouterr()
    assert message in said.err and said.out == ""
    assert "Traceback" not in said.err


def test_one_pad_named_twice_is_misuse(files, capsys):
    design, photo, rig, _ = files
    pads = ["--pad", "3:400,300", "--pad", "3:402,300"]
    assert main(["register", *design, photo, "--rig", rig, *pads]) == 2


def test_a_picture_of_another_size_than_the_rigs(files, capsys, tmp_path):
    design, photo, rig, _ = files
    small = tmp_path / "small.png"
    cv2.imwrite(str(small), cv2.imread(photo)[::2, ::2])
    assert main(["register", *design, str(small), "--rig", rig]) == 2
    said = capsys.readouterr().err
    assert "800" in said and "1600" in said


def test_what_is_not_there_is_named(files, capsys, tmp_path):
    design, photo, _, _ = files
    assert main(["register", *design, str(tmp_path / "nothing.png")]) == 2
    assert "nothing.png" in capsys.readouterr().err
    assert main(["register", *design, photo, "--rig", str(tmp_path / "no.toml")]) == 2
    assert "no.toml" in capsys.readouterr().err


def test_thickness_moves_the_plane(bench, tmp_path, capsys):
    """Taken for 2.4 mm thick, a 3.2 mm board seems nearer the camera, and so larger."""
    thick = SimulatedBench(
        SimulatedBoard(bench.board.design, seed=1), bench.rig, thickness_mm=3.2, seed=1
    )
    thick.place(0, 0, 0.2)
    design = [str(p) for p in demo_design_files(tmp_path / "design")]
    photo, rig = tmp_path / "photo.png", tmp_path / "bench.toml"
    cv2.imwrite(str(photo), thick.render())
    save_rig(thick.rig, rig)
    scales = []
    for value in ("3.2", "2.4"):
        status, data = told(capsys, *design, str(photo), "--rig", str(rig), "--thickness", value)
        assert status == 0, data["message"]
        scales.append(np.mean(data["scale"]))
    assert scales[0] == pytest.approx(1.0, abs=1e-3)
    distance = thick.rig.camera_mm[2]
    assert scales[1] / scales[0] == pytest.approx((distance - 2.4) / (distance - 3.2), abs=1e-3)
