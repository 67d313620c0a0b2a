"""Invented boards: plausible by the numbers of the trade, the same for the same seed."""

import numpy as np
import pytest

from drillaid.design.model import Land
from drillaid.geometry import Affine
from drillaid.simulation.artwork import Artwork, Pour, Track, land_distance, track_distance
from drillaid.simulation.designs import demo_design, demo_design_files, random_design


@pytest.mark.parametrize("seed", range(12))
def test_random_boards_are_boards(seed):
    design = random_design(seed)
    width, height = design.outline.size_mm
    assert 20 <= len(design.holes) <= 310
    assert 40 <= round(width, 6) <= 160 and 30 <= round(height, 6) <= 100
    xy, ring = design.xy_mm, design.outline.rings_mm[0]
    assert (xy > ring.min(axis=0) + 1).all() and (xy < ring.max(axis=0) - 1).all()
    away = np.hypot(*(xy[:, None] - xy[None]).T) + 99 * np.eye(len(xy))
    gap = away - (design.drill_mm[:, None] + design.drill_mm[None]) / 2
    assert gap.min() > 0.5, "two holes run into each other"
    assert [h.number for h in design.holes] == list(range(1, len(xy) + 1))
    for hole, land in zip(design.holes, design.lands, strict=True):
        assert (land is None) == (hole.plated is False)
        if land is not None:
            assert land.centre_mm == hole.xy_mm
            assert min(land.size_mm) > hole.drill_mm + 0.4
    assert len(design.artwork.tracks) > len(xy) / 4


def test_seed_decides_everything():
    a, b, c = random_design(5), random_design(5), random_design(6)
    assert a.holes == b.holes and a.lands == b.lands and a.artwork == b.artwork
    assert np.array_equal(a.copper["bottom"].mask, b.copper["bottom"].mask)
    assert a.holes != c.holes


@pytest.mark.parametrize("holes", [20, 120, 300])
def test_as_many_holes_as_asked_for(holes):
    assert abs(len(random_design(3, holes).holes) - holes) <= 4


def test_pours_come_with_and_without_clearance():
    designs = [random_design(s, 30) for s in range(30)]
    poured = [d for d in designs if d.artwork.pour is not None]
    assert 4 <= len(poured) <= 20
    in_pour = [any(land and land.in_pour for land in d.lands) for d in poured]
    assert any(in_pour) and not all(in_pour)


def test_mask_shows_the_lands_and_not_the_gaps():
    design = random_design(8, 40)
    copper = design.copper["bottom"]
    at = np.rint(copper.to_design.inverse(design.xy_mm)).astype(int)
    for (column, row), land in zip(at, design.lands, strict=True):
        assert copper.mask[row, column] == (0 if land is None else 255)
    assert set(np.unique(copper.mask)) == {0, 255}


def test_land_edges_are_where_geometry_says():
    """Points on the edge, from the shapes' definitions: distance 0 to 1e-6 mm."""
    turn = 0.4
    c, s = np.cos(turn), np.sin(turn)
    cases = {
        "round": ((2.0, 2.0), [(1, 0), (0, -1), (0.6, 0.8)]),
        "oblong": ((3.0, 1.0), [(1.5, 0), (0, 0.5), (1.0 + 0.3, 0.4)]),
        "rectangle": ((3.0, 1.0), [(1.5, 0.2), (-0.3, 0.5)]),
        "octagon": ((2.0, 2.0), [(1, 0.1), (np.sqrt(0.5), np.sqrt(0.5))]),
    }
    for shape, (size, points) in cases.items():
        land = Land(shape, size, turn)
        for x, y in points:
            assert land_distance(land, c * x - s * y, s * x + c * y) == pytest.approx(0, abs=1e-6)
    assert land_distance(Land("rectangle", (2, 2)), 2.0, 2.0) == pytest.approx(-np.sqrt(2))
    track = Track((0, 0), (4, 0), 1.0)
    assert track_distance(track, 2.0, 0.5) == pytest.approx(0)
    assert track_distance(track, 4.3, 0.4) == pytest.approx(0)


def test_a_pour_keeps_clear_of_foreign_copper_only():
    lands = (Land("round", (2, 2), 0, (5, 5)), Land("round", (2, 2), 0, (12, 5)))
    art = Artwork(lands, (), Pour((1, 1, 19, 9), 0.5, own=frozenset({1})))
    to_design = Affine([[0.05, 0, 0], [0, -0.05, 10]])
    copper = art.distance_mm(to_design, (201, 401)) > 0
    row = copper[100]
    assert row[int(5 / 0.05)] and not row[int(6.25 / 0.05)] and row[int(6.7 / 0.05)]
    assert row[int(12 / 0.05)] and row[int(13.25 / 0.05)]
    assert not row[int(0.5 / 0.05)]


def test_the_demo_board_cannot_be_turned_by_half():
    design = demo_design()
    assert 60 <= len(design.holes) <= 110
    xy = design.xy_mm
    width, height = design.outline.size_mm
    turned = np.array([width, height]) - xy
    nearest = np.hypot(*(turned[:, None] - xy[None]).T).min(axis=0)
    assert (nearest > 0.5).mean() > 0.6


def test_demo_files_read_back_as_the_demo_board(tmp_path):
    reader = pytest.importorskip("drillaid.design.read")
    paths = demo_design_files(tmp_path / "demo")
    assert [p.suffix for p in paths] == [".gbr", ".gbr", ".drl", ".drl"]
    demo = demo_design()
    read = reader.read_design([tmp_path / "demo"])
    assert len(read.holes) == len(demo.holes)
    same = {(round(h.x_mm, 3), round(h.y_mm, 3), h.drill_mm, h.plated) for h in demo.holes}
    assert {(round(h.x_mm, 3), round(h.y_mm, 3), h.drill_mm, h.plated) for h in read.holes} == same
    assert read.outline.size_mm == pytest.approx(demo.outline.size_mm, abs=0.2)
    lands = {h.xy_mm: land for h, land in zip(demo.holes, demo.lands, strict=True)}
    for hole, land in zip(read.holes, read.lands, strict=True):
        drawn = lands[(round(hole.x_mm, 6), round(hole.y_mm, 6))]
        if drawn is None:
            assert land is None
        else:
            assert land.shape == drawn.shape, hole
            assert sorted(land.size_mm) == pytest.approx(sorted(drawn.size_mm), abs=0.02)
