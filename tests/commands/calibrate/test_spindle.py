"""`calibrate spindle` on simulated scrap, against the truth it was drilled at."""

from __future__ import annotations

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
from support.rig_shop import lens_only

from calibration.rig_draft import read_draft
from drillaid.cli import main
from drillaid.rig.file import load_rig
from drillaid.simulation.bench import SimulatedBench
from drillaid.simulation.rigs import nominal_rig
from drillaid.simulation.scrap import scrap_bench

RIG = nominal_rig(1280, 720, 0.09, tilt_rad=0.06, seed=5)


def _hole_at_the_border(like):
    """A spindle that meets the scrap where the picture ends: half of its hole is seen."""
    edge = RIG.to_bench([[700.0, RIG.height - 1.0]], 1.6)[0]
    aside = replace(RIG, axis_mm=edge - 1.6 * RIG.lean)
    there = SimulatedBench(None, aside, sheet="grey", clutter=0, seed=3)
    return scrap_bench(there, 5, thickness_mm=1.6, size_mm=(150.0, 160.0)).render()


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    folder = tmp_path_factory.mktemp("scrap")
    like = SimulatedBench(None, RIG, sheet="grey", clutter=0, seed=3)
    paths = {}
    for name, thickness, seed in (("a", 1.6, 1), ("b", 1.6, 2), ("c", 1.6, 3), ("thick", 6.0, 4)):
        image = scrap_bench(like, seed, thickness_mm=thickness, size_mm=(150.0, 100.0)).render()
        paths[name] = str(folder / f"{name}.png")
        cv2.imwrite(paths[name], image)
        if name == "a":
            cv2.imwrite(str(folder / "shaken.png"), cv2.GaussianBlur(image, (0, 0), 25))
            cv2.imwrite(str(folder / "small.png"), image[::2, ::2])
    cv2.imwrite(str(folder / "cut.png"), _hole_at_the_border(like))
    cv2.imwrite(
        str(folder / "plain.png"),
        scrap_bench(like, 7, bit_mm=None, size_mm=(150.0, 100.0)).render(),
    )
    more = ("shaken", "plain", "cut", "small")
    paths |= {name: str(folder / f"{name}.png") for name in more}
    return paths


@pytest.fixture
def rig_file(tmp_path):
    draft = lens_only(tmp_path / "rig.toml", RIG)
    bench = {"rotation_vector": RIG.rotation_vector, "translation_mm": RIG.translation_mm}
    draft.with_section("bench", bench).save()
    return str(tmp_path / "rig.toml")


def calibrate(capsys, *words):
    status = main(["calibrate", "spindle", *words, "--json"])
    out, err = capsys.readouterr()
    return status, json.loads(out) if out else err


def test_axis_and_lean_against_truth(capsys, photos, rig_file):
    status, said = calibrate(
        capsys, "--rig", rig_file, "--thickness", "1.6", *(photos[k] for k in "abc"),
        "--thickness", "6", photos["thick"],
    )  # fmt: skip
    assert status == 0 and said["status"] == "calibrated" and said["lean_known"], said
    rig = load_rig(rig_file)
    for height in (1.6, 6.0):
        assert np.hypot(*(rig.spindle_mm(height) - RIG.spindle_mm(height))) < 0.02
    assert len(said["holes"]) == 4 and said["rms_mm"] < 0.03
    assert {"message", "axis_mm", "sigma_mm"} <= set(said) and len(said["lean"]) == 2


def test_a_further_run_adds_to_the_earlier_one(capsys, photos, rig_file):
    calibrate(capsys, photos["a"], "--rig", rig_file)
    _, first = calibrate(capsys, photos["a"], "--rig", rig_file)  # the same picture is no news
    assert len(first["holes"]) == 1 and not first["lean_known"]
    _, second = calibrate(capsys, photos["b"], photos["c"], "--rig", rig_file)
    assert len(second["holes"]) == 3 and second["sigma_mm"] < first["sigma_mm"]
    _, anew = calibrate(capsys, photos["b"], "--rig", rig_file, "--anew")
    assert len(anew["holes"]) == 1


def test_without_a_rig_file_in_pixels(capsys, photos):
    status, said = calibrate(capsys, photos["a"], photos["b"], "--thickness", "1.6")
    true = RIG.to_pixels([RIG.spindle_mm(1.6)], 1.6)[0]
    assert status == 0 and np.hypot(*(np.array(said["axis_px"]) - true)) < 0.4
    assert "--spindle" in said["message"]


def test_what_will_not_do_is_said_in_a_sentence(capsys, photos, rig_file, tmp_path):
    for name in ("plain", "shaken"):
        status, said = calibrate(capsys, photos[name], "--rig", rig_file)
        assert status == 3 and said["status"] == "refused"
        assert "hole" in said["message"] and said["message"].startswith(f"{name}.png:")
    for rig in (["--rig", rig_file], []):
        status, said = calibrate(capsys, photos["cut"], *rig)
        assert status == 3 and said["message"].startswith("cut.png:"), said
        assert "no drilled hole is to be seen" in said["message"]
    status, told = calibrate(capsys, photos["small"], "--rig", rig_file)
    assert status == 2 and "1280 x 720" in told and "640 x 360" in told
    status, told = calibrate(capsys, photos["a"], "--rig", str(tmp_path / "none.toml"))
    assert status == 2 and "calibrate lens first" in told
    status, told = calibrate(capsys, photos["a"], "--thickness", "thin")
    assert status == 2 and "--thickness thin" in told
    status, told = calibrate(capsys, "--rig", rig_file)
    assert status == 2 and "no photograph" in told


def test_a_new_bench_frame_drops_earlier_holes(capsys, photos, rig_file):
    calibrate(capsys, photos["a"], "--rig", rig_file)
    bench = {"rotation_vector": RIG.rotation_vector, "translation_mm": RIG.translation_mm}
    read_draft(rig_file).with_section("bench", bench).save()
    _, said = calibrate(capsys, photos["b"], "--rig", rig_file)
    assert len(said["holes"]) == 1
    load_rig(rig_file)
