"""From looked-at pictures to an answer: refusals, warnings, the section of the rig file."""

from __future__ import annotations

import numpy as np
import pytest
from support.lens_views import SHEET, projected_views

from calibration.bundle import Seen
from calibration.lens import Photo, calibrate_lens
from calibration.photographs import listed_photographs
from calibration.spread import CORNERS, seen_cells, seen_corners, spread_of, tilt_spread_deg
from calibration.views import PatternView, no_pattern
from drillaid.errors import PictureError
from drillaid.simulation.rigs import nominal_rig

SIZE = 1920, 1080


def photos_of(views, size=SIZE):
    return [
        Photo(
            f"{n}.jpg", size,
            PatternView(SHEET, size, v.px, v.mm, v.sigma_px, np.arange(len(v.mm)), 0.7, 40.0),
        )
        for n, v in enumerate(views)
    ]  # fmt: skip


def blind(kind, count, size=SIZE):
    return [Photo(f"{kind} {n}.jpg", size, no_pattern(kind)) for n in range(count)]


@pytest.fixture(scope="module")
def good():
    return photos_of(projected_views(8, 14)[1])


def test_good_views_give_a_lens_and_its_section(good):
    result = calibrate_lens([*good, *blind("blurred", 2)], SHEET)
    assert result.calibrated and result.warnings == ()
    section = result.section()
    assert section["width"] == 1920 and section["views"] == 14
    assert section["distortion"].shape == (5,)
    assert "26 x 16" in section["pattern"] and section["sigma"]["fx"] > 0
    told = result.to_json()
    assert [view["used"] for view in told["views"]] == [True] * 14 + [False] * 2
    assert "blurred" in told["views"][-1]["reason"]
    assert told["held_out_rms_px"] == pytest.approx(told["rms_px"], rel=0.2)


@pytest.mark.parametrize("kind", ["blurred", "mirrored", "wrong", "overexposed", "dark"])
def test_one_reason_for_most_is_the_answer(good, kind):
    result = calibrate_lens([*good[:2], *blind(kind, 6)], SHEET)
    assert result.status == kind and "2 of 8" in result.message
    assert result.to_json()["matrix"] is None
    with pytest.raises(ValueError):
        result.section()


def test_too_few(good):
    assert calibrate_lens(good[:4], SHEET).status == "too_few"
    assert calibrate_lens([], SHEET).status == "too_few"


def test_pictures_of_an_unmoved_sheet_count_once(good):
    again = [Photo("again " + photo.name, SIZE, photo.found) for photo in good[:3]]
    result = calibrate_lens([*good, *again], SHEET)
    assert [view.used for view in result.views] == [True] * 14 + [False] * 3
    assert "as 0.jpg does" in result.views[14].reason
    burst = [Photo(f"burst {n}.jpg", SIZE, good[0].found) for n in range(9)]
    refused = calibrate_lens(burst, SHEET)
    assert refused.status == "too_few" and "move the sheet" in refused.message


def test_mixed_sizes_name_both(good):
    result = calibrate_lens(
        [*good, *photos_of([], (640, 480)), *blind("none", 1, (640, 480))], SHEET
    )
    assert result.status == "mixed_sizes" and "640 x 480" in result.message


def test_parallel_views():
    flat = projected_views(9, 10, tilt_rad=(0.0, 0.04))[1]
    result = calibrate_lens(photos_of(flat), SHEET)
    assert result.status == "parallel" and "tilt" in result.message and result.fit is None


def test_poor_coverage():
    views = []
    for view in projected_views(10, 10)[1]:
        middle = (np.abs(view.px - [960, 540]) < [560, 320]).all(axis=1)
        views.append(Seen(view.mm[middle], view.px[middle], view.sigma_px[middle]))
    result = calibrate_lens(photos_of(views), SHEET)
    assert result.status == "poor_coverage" and "corner" in result.message
    assert result.fit is None


def test_a_cropped_camera_is_implausible():
    rig = nominal_rig()
    views = projected_views(11, 14, rig=rig)[1]
    shifted = [Seen(v.mm, v.px + [400.0, 0.0], v.sigma_px) for v in views]
    straight = calibrate_lens(photos_of(shifted, (1920, 1080)), SHEET)
    assert straight.status == "implausible" and "middle" in straight.message


def test_few_views_are_warned_about(good):
    result = calibrate_lens(good[:6], SHEET)
    assert result.status == "poor_coverage" or any("few" in w for w in result.warnings)


def test_spread_in_words_and_cells():
    assert seen_corners(np.array([[5.0, 5.0]]), SIZE).tolist() == [True, False, False, False]
    assert CORNERS[3] == "lower right"
    assert seen_corners(np.array([[1900.0, 1070.0]]), SIZE)[3]
    grid = seen_cells(np.array([[0.0, 0.0], [1919.0, 1079.0]]), SIZE)
    assert grid[0, 0] and grid[-1, -1] and grid.sum() == 2
    poses = np.array([[0, 0, 0, 0, 0, 100.0], [0.3, 0, 0, 0, 0, 100.0], [-0.2, 0, 0, 0, 0, 90.0]])
    assert tilt_spread_deg(poses) == pytest.approx(np.degrees(0.5))
    corner = np.array([[0.0, 0], [960, 0], [960, 540], [0, 540]])
    spread = spread_of([corner], poses, SIZE)
    assert spread.hull_share == pytest.approx(0.25, rel=0.01)
    assert spread.unseen == CORNERS[1:]


def test_folders_are_read_in_the_order_of_their_numbers(tmp_path):
    import cv2

    for name in ("10.png", "9.png", "b2.jpg"):
        cv2.imwrite(str(tmp_path / name), np.zeros((20, 20), np.uint8))
    (tmp_path / "notes.txt").write_text("none")
    names = [path.name for path in listed_photographs([tmp_path, tmp_path / "9.png"])]
    assert names == ["9.png", "10.png", "b2.jpg"]
    (tmp_path / "texts").mkdir()
    (tmp_path / "texts" / "a.txt").write_text("none")
    with pytest.raises(PictureError, match="no picture"):
        listed_photographs([tmp_path / "texts"])
