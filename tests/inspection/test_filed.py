"""A drilled board is checked, put on file, and looked at again from the file alone."""

from __future__ import annotations

import itertools
import json
from dataclasses import replace

import numpy as np
import pypdfium2
import pytest
from support.drilled_board import drilled_bench, record_holes, small_job

from drillaid.errors import InputError, StorageError, UsageError
from drillaid.inspection.agreement import agreement
from drillaid.inspection.check import check_board
from drillaid.inspection.drawn import drawn
from drillaid.inspection.filed import check_again, file_check, last_inspection, write_board_report
from drillaid.inspection.notes import notes_of
from drillaid.inspection.result import HoleFinding
from drillaid.journal.journal import Journal, holes_now
from drillaid.journal.resume import start

BESIDE = 10  # lies beyond the board's edge: whether it was drilled is not to be seen
LEFT = (6, BESIDE)


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return small_job(tmp_path_factory.mktemp("small"))


@pytest.fixture(scope="module")
def check(job):
    bench = drilled_bench(job, leave=LEFT)
    check = check_board(job, bench.render(), bench.rig)
    holes = tuple(
        HoleFinding(BESIDE, "hidden") if hole.hole == BESIDE else hole
        for hole in check.inspection.holes
    )
    return replace(check, inspection=replace(check.inspection, holes=holes))


@pytest.fixture
def journal(tmp_path):
    clock = itertools.count(1_700_000_000, 10)
    with Journal.open(tmp_path, clock=lambda: float(next(clock))) as journal:
        yield journal


@pytest.fixture
def board(journal, job):
    number = start(journal, job.design, job.work, face="bottom", thickness_mm=1.6)
    record_holes(journal, number, job, leave=LEFT)
    return number


def test_the_board_is_measured(check, job):
    assert check.registration.ok
    states = {hole.hole: hole.state for hole in check.inspection.holes}
    assert states[6] == "undrilled"
    assert sum(state == "drilled" for state in states.values()) == len(job.design.holes) - 2


def test_what_is_filed_is_found_again(check, journal, board):
    file_check(journal, board, check)
    with Journal.open(journal.path) as later:
        look = last_inspection(later, board)
        assert json.dumps(look.data, allow_nan=False)
        assert look.data["summary"]["undrilled"] == check.inspection.summary.undrilled
        again = check_again(later, board)
    before = {h.hole: h for h in check.inspection.holes}
    for hole in (hole for hole in again.inspection.holes if hole.hole != BESIDE):
        assert hole.state == before[hole.hole].state
        if hole.state == "drilled":
            # The picture went through JPEG: half of the 0.04 mm that measuring is good for.
            assert np.hypot(*np.subtract(hole.off_mm, before[hole.hole].off_mm)) < 0.02


def test_a_board_that_was_never_photographed_has_no_check(journal, board):
    with pytest.raises(UsageError, match="never photographed"):
        check_again(journal, board)


def test_files_that_have_moved_are_asked_for(check, journal, board, tmp_path):
    file_check(journal, board, check)
    data = last_inspection(journal, board).data | {"paths": [str(tmp_path / "gone.drl")]}
    journal.keep_inspection(board, data, b"no picture")
    with pytest.raises(UsageError, match="not where they were"):
        check_again(journal, board)
    with pytest.raises(StorageError, match="photograph of board 1 is damaged"):
        check_again(journal, board, check.job.paths)
    other = tmp_path / "other.csv"
    other.write_text("x,y,diameter\n1,2,0.8\n3,4,0.8\n7,8,0.8\n")
    with pytest.raises(UsageError, match="has other holes"):
        check_again(journal, board, [str(other)])


def test_a_picture_of_another_size_is_refused(check, job):
    with pytest.raises(InputError):
        check_board(job, check.picture[:100, :100], check.rig)


def test_a_bare_bench_is_not_found(check, job):
    empty = check_board(job, np.full_like(check.picture, 90), check.rig)
    assert empty.inspection is None and empty.message == empty.registration.message


def test_record_and_board_are_held_against_each_other(check, journal, board):
    done, _ = holes_now(journal.events(board))
    agreed = agreement(done, check.inspection.holes)
    assert agreed.ok and agreed.agreeing == len(done)
    off = agreement((done | {6}) - {7}, check.inspection.holes)
    assert (off.missing, off.extra) == ((6,), (7,))
    assert "not there: hole 6" in off.sentence and "not recorded: hole 7" in off.sentence
    none = agreement(frozenset(), check.inspection.holes)
    assert len(none.extra) == len(done) and "more" in none.sentence


def test_arrows_are_drawn_from_the_design_s_place_to_the_hole(check):
    made = drawn(check)
    scale = made.px_per_mm
    by_hole = {mark.hole: mark for mark in made.marks}
    assert by_hole[6].at is None and by_hole[6].numbered
    for finding in check.inspection.holes:
        mark = by_hole[finding.hole]
        if finding.state == "drilled":
            off = np.subtract(mark.at, mark.asked)
            assert np.hypot(*off) == pytest.approx(finding.distance_mm * scale, abs=0.12 * scale)
            assert np.subtract(mark.tip, mark.asked) == pytest.approx(made.enlarged * off)
    assert made.outline is not None


def test_the_report_s_notes_come_from_the_journal(journal, board, job):
    notes = notes_of(journal.board(board), journal.events(board))
    assert {use.bit_mm: use.holes for use in notes.bits} == {
        bit: count - 2 * (bit == job.choices[5].bit_mm) for bit, count in job.bit_counts
    }
    # One event each 10 s, so the whole takes 10 s between any two of them.
    assert notes.seconds == 10.0 * (len(journal.events(board)) - 1)
    assert notes.remarks == ()


def test_the_pdf_says_what_the_html_says(check, journal, board, tmp_path):
    html = write_board_report(tmp_path / "r.html", journal, board, check, simulated=True)
    pdf = write_board_report(tmp_path / "r.pdf", journal, board, check, simulated=True)
    document = pypdfium2.PdfDocument(pdf)
    told = " ".join(page.get_textpage().get_text_bounded() for page in document)
    pictures = [o for o in document[0].get_objects() if o.type == pypdfium2.raw.FPDF_PAGEOBJ_IMAGE]
    assert len(pictures) == 1
    document.close()
    told, page = " ".join(told.split()), html.read_text(encoding="utf-8")
    for hole in check.inspection.holes:
        if hole.distance_mm is not None:
            assert f"{hole.off_mm[0]:+.3f} {hole.off_mm[1]:+.3f} {hole.distance_mm:.3f}" in told
            assert f"{hole.distance_mm:.3f}" in page
    for part in check.inspection.parts:
        assert part.part in told.replace("- ", "-") and part.pin.name in told
    for words in ("Simulated bench", "NOT DRILLED", "eye protection", "Expected error", "Rig"):
        assert words in told
    assert "registration" in page and f"{len(check.job.design.holes)} holes" in told
