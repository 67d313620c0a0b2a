from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from support.drawn_board import design, placement, rig

from drillaid.design.model import Design
from drillaid.design.parts import Part
from drillaid.errors import StorageError
from drillaid.inspection.fit import Pin
from drillaid.inspection.report import BitUse, JobNotes, write_report
from drillaid.inspection.result import HoleFinding
from drillaid.inspection.summary import conclude
from drillaid.registration.result import Registration

NASTY = 'plan <b>"7"</b> & <script>alert(1)</script>'
VOID = {"meta", "img", "br", "image", "circle", "path", "rect", "polygon"}


class _Balanced(HTMLParser):
    """Complains about tags that do not nest; collects what the page would fetch."""

    def __init__(self):
        super().__init__()
        self.open, self.links = [], []

    def handle_starttag(self, tag, attrs):
        self.links += [v for k, v in attrs if k in ("src", "href", "xlink:href") and v]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.links += [v for k, v in attrs if k in ("src", "href", "xlink:href") and v]

    def handle_endtag(self, tag):
        if tag not in VOID:
            assert self.open.pop() == tag


@pytest.fixture
def job():
    camera, board = rig(), design()
    board = Design(NASTY, board.holes, board.lands)
    lie = placement(board, camera)
    found = [
        HoleFinding(
            h.number, "drilled", "", 1.0, tuple(lie.bench_mm[i]), tuple(lie.pixels[i] + 1),
            (0.05, 0.02), 0.054, h.xy_mm, 1.02, 0.004, 0.3, 0.0, 0.006, 0.005,
        )
        for i, h in enumerate(board.holes)
    ]  # fmt: skip
    found[1] = HoleFinding(2, "undrilled", "the pad is untouched")
    found[2] = HoleFinding(3, "hidden", "outside the picture")
    bad = found[4].__dict__ | {"off_mm": (0.5, 0.1), "distance_mm": 0.51, "ring_mm": -0.1,
                               "breakout_deg": 70.0}  # fmt: skip
    found[4] = HoleFinding(**bad)
    rows = [
        Part("row <of> 5", "row", (6, 7, 8, 9, 10), 2.54, 1),
        Part("row of 5", "row", (1, 2, 3, 4, 5), 2.54, 1),
    ]
    picture = np.full((camera.height, camera.width, 3), 120, np.uint8)
    return {
        "design": board,
        "registration": Registration("registered", "found & <sure>", lie),
        "inspection": conclude(found, rows, board, true_scale=True),
        "picture": picture,
        "rig": camera,
    }


def test_the_page_is_one_file_that_fetches_nothing_and_nests(tmp_path, job):
    notes = JobNotes("2026-01-02 10:00", "2026-01-02 11:00", 3600.0, (BitUse(1.0, 20, 3000.0),),
                     ("hole 5 <wandered>",), (("a <caption>", job["picture"]),))  # fmt: skip
    page = write_report(tmp_path / "r.html", job=notes, simulated=True, **job).read_text("utf-8")
    parser = _Balanced()
    parser.feed(page)
    assert parser.open == []
    assert parser.links and all(link.startswith("data:image/jpeg;base64,") for link in parser.links)
    assert not re.search(r"https?://|url\(|@import|<script|<link", page)
    for text in ("&lt;script&gt;", "row &lt;of&gt; 5", "hole 5 &lt;wandered&gt;",
                 "found &amp; &lt;sure&gt;", "a &lt;caption&gt;"):  # fmt: skip
        assert text in page


def test_the_page_says_what_was_found(tmp_path, job):
    page = write_report(tmp_path / "r.html", **job).read_text("utf-8")
    for words in ("18 of 20", "worst: hole 5, 0.51 mm", "broke out over 70", "not to be seen",
                  "✓ goes in", "? not judged", "10 mm of board"):  # fmt: skip
        assert words in page
    assert "invented board" not in page
    assert "invented board" in write_report(tmp_path / "s.html", simulated=True, **job).read_text(
        "utf-8"
    )


def test_every_drilled_hole_is_a_point_of_the_target_and_a_row(tmp_path, job):
    page = write_report(tmp_path / "r.html", **job).read_text("utf-8")
    target = page[page.index('class="target"') :]
    target = target[: target.index("</svg>")]
    assert len(re.findall("<title>hole", target)) == 18
    assert len(re.findall(r"<td class='n'>\d+</td><td class='w'>(?:drilled|☐ not|✗ not)", page)) == 20


def test_it_is_written_whole_or_not_at_all(tmp_path, job):
    old = tmp_path / "r.html"
    old.write_text("old")
    with pytest.raises(StorageError, match="folder"):
        write_report(tmp_path / "nowhere" / "r.html", **job)
    (tmp_path / "taken").mkdir()
    with pytest.raises(StorageError):
        write_report(tmp_path / "taken", **job)
    assert old.read_text() == "old"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["r.html", "taken"]


def test_a_refusal_is_nothing_to_report(tmp_path, job):
    job["registration"] = Registration("ambiguous", "two places fit")
    with pytest.raises(ValueError, match="not found"):
        write_report(tmp_path / "r.html", **job)


def test_nothing_drilled_and_no_parts_still_makes_a_page(tmp_path, job):
    board = job["design"]
    found = [HoleFinding(h.number, "undrilled", "the pad is untouched") for h in board.holes]
    job["inspection"] = conclude(found, [], board, true_scale=False)
    page = write_report(tmp_path / "r.html", **job).read_text("utf-8")
    assert "No hole was drilled yet" in page
    assert "0 of 20" in page


def test_a_part_that_does_not_go_in_is_told_with_what_to_do(tmp_path, job):
    board, before = job["design"], job["inspection"]
    found = list(before.holes)
    hole = found[7]
    place = (hole.place_mm[0], hole.place_mm[1] + 0.3)
    found[7] = replace(hole, place_mm=place, off_mm=(0.05, 0.32), distance_mm=0.324)
    rows = [Part("row of 5", "row", (6, 7, 8, 9, 10), 2.54, 1)]
    pins = {rows[0].holes: Pin("0.8 mm round pin", "round", 0.8)}
    inspection = conclude(found, rows, board, true_scale=True, pins=pins)
    page = write_report(tmp_path / "r.html", **job | {"inspection": inspection}).read_text("utf-8")
    assert "✗ does not go in" in page and "0.8 mm round pin" in page
    assert "<b>Open hole" in page or "<b>Past saving" in page
    assert inspection.parts[0].remedy.sentence[5:] in page
    assert "0 %" in page  # the probability
    if inspection.parts[0].remedy.saves:
        assert "Clamp the board before you open a hole" in page
