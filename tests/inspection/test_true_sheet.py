"""The true-scale sheet, held against the board as it was drawn and against what a PDF shows."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from support.drilled_board import drilled_bench, small_job
from support.printed import black_spans, pdf_picture

from drillaid.errors import UsageError
from drillaid.geometry import Affine
from drillaid.inspection.check import check_board
from drillaid.inspection.true_sheet import (
    Legend,
    true_holes_mm,
    true_shape,
    true_sheet,
    write_sheet,
)
from drillaid.paper.page import Disc, Photo

PX = 8.0  # per mm, of the pictures looked at


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """(check, bench): a board printed 1 % too narrow, 0.5 % too tall and sheared, drilled."""
    job = small_job(tmp_path_factory.mktemp("small"))
    bench = drilled_bench(job, (6, 10), print_scale=(0.99, 1.005), shear=0.004)
    return check_board(job, bench.render(), bench.rig), bench


@pytest.fixture(scope="module")
def check(bench):
    return bench[0]


def far(points) -> np.ndarray:
    return np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))


def test_the_shape_is_the_board_s_own_whichever_face_is_up(check):
    """Distances between places are those on the bench; a wrong sign of the shear would show."""
    xy = check.job.design.xy_mm
    placed = check.registration.placement.matrix
    assert placed.mirrored and abs(placed.shear) > 0.002
    np.testing.assert_allclose(far(true_shape(check)(xy)), far(placed(xy)), atol=1e-9)
    assert not true_shape(check).mirrored


def test_holes_stand_where_they_truly_are(bench):
    """Against the simulator's truth: distances between drilled holes, any two of them."""
    check, simulated = bench
    places, measured = true_holes_mm(check)
    assert measured.sum() >= 18
    numbers = [h.number for h in check.job.design.holes if h.number not in (6, 10)]
    rows = [n - 1 for n in numbers]
    true = simulated.truth(np.array([hole.at_mm for hole in simulated.board.drilled]))
    keep = measured[rows]
    off = far(places[rows][keep]) - far(true[keep])
    assert np.abs(off).max() < 0.06  # two holes, each measured to 0.04 mm at 95 %


def test_the_ruler_on_paper_is_true(check, tmp_path):
    path = tmp_path / "sheet.pdf"
    write_sheet(true_sheet(check), path, "small")
    picture, size = pdf_picture(path.read_bytes(), PX)
    assert size == pytest.approx((210, 297), abs=0.01)
    base = round((297 - 12 - 1.2) * PX)  # through all ticks of the lower ruler
    spans = black_spans(picture[base], PX)
    starts = [(a + b) / 2 for a, b in spans if a > 19]
    assert len(starts) == 101
    assert starts[-1] - starts[0] == pytest.approx(100, abs=0.03)


def test_a_sheet_seen_from_the_other_side_is_its_mirror_image(check):
    def discs(page):
        return np.array([(i.x_mm, i.y_mm) for i in page.items if isinstance(i, Disc)])

    top, bottom = true_sheet(check, side="top"), true_sheet(check, side="bottom")
    width = top.width_mm
    mirror = Affine([[-1.0, 0.0, width], [0.0, 1.0, 0.0]])
    np.testing.assert_allclose(discs(bottom), mirror(discs(top)), atol=1e-9)
    film = true_sheet(check, side="top", mirrored=True)
    np.testing.assert_allclose(discs(film), discs(bottom), atol=1e-9)
    # The design's x runs to the right as one looks at the component side.
    xy, on_page = check.job.design.xy_mm, discs(top)
    assert np.corrcoef(xy[:, 0], on_page[:, 0])[0, 1] > 0.999
    assert np.corrcoef(xy[:, 1], on_page[:, 1])[0, 1] < -0.999


@pytest.mark.parametrize("kind", ["pdf", "svg"])
def test_a_legend_is_placed_by_the_same_transform(check, tmp_path, kind):
    """A picture whose dot stands at a known place of the design comes out there."""
    legend = np.full((300, 460, 3), 255, np.uint8)  # 10 px per mm over 46 x 30 mm
    cv2.circle(legend, (100, 220), 15, (0, 0, 0), -1)  # design (10, 30 - 22)
    path = tmp_path / "legend.png"
    cv2.imwrite(str(path), legend)
    page = true_sheet(check, legend=Legend(str(path), (0, 0, 46, 30)))
    (photo,) = (item for item in page.items if isinstance(item, Photo))
    unit = Affine(photo.to_page)([((100 + 0.5) / 460, (220 + 0.5) / 300)])
    discs = np.array([(i.x_mm, i.y_mm) for i in page.items if isinstance(i, Disc)])
    fit = np.column_stack([check.job.design.xy_mm, np.ones(len(discs))])
    shape, *_ = np.linalg.lstsq(fit, discs, rcond=None)
    wanted = np.array([10.05, 7.95, 1.0]) @ shape
    assert np.hypot(*(unit[0] - wanted)) < 0.05
    out = tmp_path / f"sheet.{kind}"
    write_sheet(page, out, "small")
    if kind == "pdf":
        picture, _ = pdf_picture(out.read_bytes(), PX)
        u, v = np.round(unit[0] * PX).astype(int)
        assert picture[v - 8 : v + 9, u - 8 : u + 9].mean() < 40


def test_without_a_rig_there_is_no_true_scale(check):
    loose = check_board(check.job, check.picture, None)
    with pytest.raises(UsageError, match="how large the board truly is"):
        true_sheet(loose)
    with pytest.raises(UsageError, match="no format"):
        write_sheet(true_sheet(check), "sheet.docx", "small")
