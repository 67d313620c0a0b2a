"""What the benchmarks compare with must be right, or the comparison says nothing.

And what README quotes must be the rows that the scripts measure.
"""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import ive
from support import bench_table, general_detectors
from support.bench_table import BEGIN, QUOTED, Table, markdown, merge_into, rows_in
from support.disc_bound import bound_px, exact_bound_px
from support.drawn_shapes import disc, picture, scattered
from support.pad_score import Score
from support.point_sets import drift, kabsch, ransac

ROOT = Path(__file__).resolve().parent.parent
BENCHMARKS = ROOT / "tests" / "benchmarks"


@pytest.fixture
def script(monkeypatch):
    """Loads a measuring script by its name."""
    monkeypatch.setattr(sys, "path", list(sys.path))

    def load(name: str):
        spec = importlib.util.spec_from_file_location(f"measuring_{name[:-3]}", BENCHMARKS / name)
        module = importlib.util.module_from_spec(spec)
        monkeypatch.setitem(sys.modules, spec.name, module)
        spec.loader.exec_module(module)
        return module

    return load


# --- the table ---------------------------------------------------------------------------


def test_readme_quotes_the_rows_that_the_scripts_measure(script):
    quoted = rows_in((ROOT / "README.md").read_text(encoding="utf-8"))
    measured = [row for name in QUOTED for row in script(name).ROWS]
    assert [row[0] for row in quoted] == measured
    for _, ours, beside in quoted:
        assert any(c.isdigit() for c in ours) and any(c.isdigit() for c in beside)


def test_every_declared_row_is_measured_once():
    table = Table(("a", "b"))
    table.add("b", "1", "2")
    with pytest.raises(KeyError, match="never measured: a"):
        table.rows  # noqa: B018
    with pytest.raises(KeyError):
        table.add("b", "1", "2")
    with pytest.raises(KeyError):
        table.add("c", "1", "2")
    with pytest.raises(ValueError):
        table.add("a", "1 | 2", "3")
    table.add("a", "3", "4")
    assert table.rows == [("a", "3", "4"), ("b", "1", "2")]


def test_rows_go_between_the_marks_and_leave_the_rest_alone(tmp_path):
    page = tmp_path / "page.md"
    other = "| x | y | z |\n|---|---|---|\n| not | ours | at all |\n"
    page.write_text(f"before\n{other}{BEGIN}\n{markdown([('a', '1', '2'), ('b', '3', '4')])}"
                    f"{bench_table.END}\nafter\n", encoding="utf-8")  # fmt: skip
    merge_into(page, [("b", "5", "6"), ("c", "7", "8")])
    text = page.read_text(encoding="utf-8")
    assert rows_in(text) == [("a", "1", "2"), ("b", "5", "6"), ("c", "7", "8")]
    assert text.startswith(f"before\n{other}{BEGIN}\n") and text.endswith("\nafter\n")


def test_a_table_of_its_own_grows_and_a_strange_file_is_left_alone(tmp_path):
    own, strange = tmp_path / "own.md", tmp_path / "strange.md"
    merge_into(own, [("a", "1", "2")])
    merge_into(own, [("b", "3", "4")])
    assert rows_in(own.read_text(encoding="utf-8")) == [("a", "1", "2"), ("b", "3", "4")]
    strange.write_text("a letter", encoding="utf-8")
    with pytest.raises(ValueError, match="something else"):
        merge_into(strange, [("a", "1", "2")])
    assert strange.read_text(encoding="utf-8") == "a letter"


def test_all_measuring_scripts_are_found_where_all_are_run():
    """One that cannot be loaded stops `start.py bench` before it measures anything."""
    files = ["-o", "python_files=bench_*.py test_*.py"]
    words = ["-P", "-m", "pytest", "tests/benchmarks", *files, "--collect-only", "-q"]
    done = subprocess.run(
        [sys.executable, *words], cwd=ROOT, capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stdout
    scripts = sorted(BENCHMARKS.glob("bench_*.py"))
    runnable = [path.name for path in scripts if "__main__" in path.read_text(encoding="utf-8")]
    missed = [name for name in runnable if name not in done.stdout]
    assert not missed


# --- point sets --------------------------------------------------------------------------


def laid(seed: int, turn_rad: float, *, seen: float = 1.0, false: int = 0, noise: float = 0.02):
    """(model, points, where the model truly lies)"""
    rng = np.random.default_rng(seed)
    model = rng.uniform([-30, -20], [30, 20], (60, 2))
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    true = model @ np.array([[c, -s], [s, c]]).T + [7.0, -3.0]
    points = true[rng.random(60) < seen]
    points = points + rng.normal(0, noise, points.shape)
    strewn = rng.uniform([-55, -32], [55, 32], (false, 2))
    return model, rng.permutation(np.concatenate([points, strewn])), true


def test_kabsch_gives_back_a_turn_and_a_shift():
    model, _, true = laid(1, 2.5)
    rotation, shift = kabsch(model, true)
    assert model @ rotation.T + shift == pytest.approx(true)
    assert np.linalg.det(rotation) == pytest.approx(1.0)


@pytest.mark.parametrize("turn", [0.2, 1.9, 3.6, 5.5])
def test_coherent_point_drift_lays_clean_points_from_any_turn(turn):
    model, points, true = laid(2, turn)
    found = drift(points, model, outliers=0.05, starts_rad=np.arange(12) * np.pi / 6)
    # 0.02 mm of noise on 60 points moves the whole by 0.004 mm or so.
    assert found(model) == pytest.approx(true, abs=0.02)


def test_coherent_point_drift_stands_some_false_and_some_missing_points():
    model, points, true = laid(3, 0.3, seen=0.8, false=20)
    found = drift(points, model, outliers=0.3, starts_rad=[0.0])
    # The worth of its outlier class: without one it is centimetres off.
    assert found(model) == pytest.approx(true, abs=0.15)
    assert np.abs(drift(points, model, outliers=1e-9, starts_rad=[0.0])(model) - true).max() > 0.3


def test_coherent_point_drift_prefers_the_likelier_start():
    model, points, true = laid(4, np.pi)
    wrong = drift(points, model, outliers=0.1, starts_rad=[0.0])
    both = drift(points, model, outliers=0.1, starts_rad=[0.0, np.pi])
    assert np.abs(wrong(model) - true).max() > 5
    assert both(model) == pytest.approx(true, abs=0.02)
    assert both.score > wrong.score


@pytest.mark.parametrize("seed", range(4))
def test_ransac_finds_a_model_among_many_false_points(seed):
    model, points, true = laid(seed, 1.0 + seed, seen=0.7, false=300)
    found = ransac(points, model, np.random.default_rng(seed), tolerance=0.3)
    # A false point within the tolerance now and then pulls at the fit.
    assert found(model) == pytest.approx(true, abs=0.1)
    assert found.score >= 0.6 * len(model)


def test_ransac_does_not_turn_a_mirror_image_over():
    model, points, _ = laid(5, 0.7)
    found = ransac(points * [-1, 1], model, np.random.default_rng(0), tolerance=0.3, draws=500)
    assert np.linalg.det(found.linear) > 0 and found.score < 0.5 * len(model)


# --- detectors ---------------------------------------------------------------------------

FINDERS = {
    "blobs": (general_detectors.blobs, dict(circularity=0.5, convexity=0.5, inertia=0.3, step=10)),
    "hough": (
        general_detectors.hough,
        dict(method=cv2.HOUGH_GRADIENT, edge=100, votes=15, coarse=1, blur=1),
    ),
    "laplacian": (general_detectors.laplacian, dict(least=20, scales=10, finest=2.5)),
}


@pytest.mark.parametrize("bright", [True, False])
@pytest.mark.parametrize("name", FINDERS)
def test_general_detectors_find_lone_discs(name, bright):
    rng = np.random.default_rng(6)
    places = scattered(rng, 5, 5, 40)
    inside, outside = (180.0, 80.0) if bright else (80.0, 180.0)
    grey = picture((240, 240), [disc(u, v, 8) for u, v in places], rng, inside=inside,
                   outside=outside, noise=2.0)  # fmt: skip
    find, settings = FINDERS[name]
    found = find(general_detectors.as_bytes(grey, np.ones(grey.shape)), **settings)
    score = Score()
    score.add(found, places, 8.0, 0.0)
    # A circle transform in whole pixels may miss one by more than 2.4 px; the others must not.
    assert score.recall >= (0.9 if name == "hough" else 1.0)
    near = [found[np.hypot(*(found[:, :2] - place).T).argmin(), 2] for place in places]
    # Within a step of scale, or the way an edge is drawn.
    assert np.median(near) == pytest.approx(8.0, rel=0.15)


def test_scores_count_pads_and_findings_apart():
    pads = np.array([[0.0, 0.0], [80.0, 0.0], [160.0, 0.0]])
    findings = np.array([[300.0, 9.0], [1.0, 0.0], [0.0, 1.0], [80.0, 4.0]])
    score = Score()
    score.add(findings, pads, 10.0, 0.5)
    assert (score.pads, score.found, score.findings, score.on_pad, score.early) == (3, 1, 4, 2, 1)
    assert score.off_mm == pytest.approx([0.1])
    score.add(np.zeros((0, 3)), pads, 10.0, 0.5)
    assert score.recall == pytest.approx(1 / 6) and score.precision == pytest.approx(0.5)


# --- the bound ---------------------------------------------------------------------------


@pytest.mark.parametrize(("radius", "blur"), [(3.0, 2.0), (8.0, 1.0), (15.0, 1.0), (20.0, 0.6)])
def test_the_exact_bound_is_the_integral_of_the_slope_squared(radius, blur):
    def slope_squared(r):
        x = r * radius / blur**2
        slope = radius / blur**2 * np.exp(-((r - radius) ** 2) / (2 * blur**2)) * ive(1, x)
        return slope**2 * r

    low, high = max(radius - 9 * blur, 0), radius + 9 * blur
    information = np.pi * quad(slope_squared, low, high)[0] * (100 / 5) ** 2
    assert exact_bound_px(radius, 100, blur, 5) == pytest.approx(information**-0.5, rel=1e-6)


def test_wide_rims_bring_both_bounds_together():
    # The figure recomputed by numeric Fisher information; see published/test_localisation_bounds.
    assert exact_bound_px(15, 100, 1, 5) == pytest.approx(0.0137136, rel=2e-3)
    assert exact_bound_px(60, 100, 1, 5) == pytest.approx(bound_px(60, 100, 1, 5), rel=2e-4)
