"""Several boards of one design: what they have in common, and reports of one and of many."""

from __future__ import annotations

import math

import numpy as np
import pypdfium2
import pytest

from drillaid.errors import UsageError
from drillaid.guidance.events import Event
from drillaid.inspection.batch import batch_facts, hole_rows, offsets_by_hole, write_batch
from drillaid.journal.compare import compare, compare_text
from drillaid.journal.journal import Journal

OFFS = {1: [(0.1, 0.0), (0.14, 0.0), (0.12, 0.03)], 2: [(0.0, 0.0), (0.02, 0.0), (-0.02, 0.0)]}


@pytest.fixture
def journal(tmp_path):
    """Three boards of two holes with known offsets, one of them forced; a fourth of another
    design; a fifth that nobody looked at."""
    with Journal.open(tmp_path) as journal:
        for k in range(3):
            board = journal.start_board("a <b>", "a", holes=2)
            for hole in (1, 2):
                forced = {"forced": k == 0 and hole == 2, "bit_mm": 0.8}
                journal.record(board, Event(1.0, "hole_done", hole=hole, detail=forced))
            far = [math.hypot(*OFFS[h][k]) for h in (1, 2)]
            holes = [{"hole": h, "off_mm": list(OFFS[h][k])} for h in (1, 2)]
            summary = {"rms_mm": float(np.sqrt(np.mean(np.square(far)))), "within_95_mm": max(far),
                       "worst_hole": 1, "worst_mm": max(far), "parts": 1, "parts_fitting": k % 2,
                       "mean_off_mm": [0.0, 0.0], "broken_out": 0}  # fmt: skip
            found = {"holes": holes, "summary": summary}
            journal.record(board, Event(2.0, "inspected", detail=found))
        journal.start_board("other", "b", holes=2)
        journal.start_board("a <b>", "a", holes=2)
        yield journal


def test_boards_stand_side_by_side(journal):
    rows = compare(journal, [1, 2, 5])
    assert [(r.done, r.forced, r.measured) for r in rows] == [
        (2, 1, True), (2, 0, True), (0, 0, False)
    ]  # fmt: skip
    assert rows[0].worst_mm == pytest.approx(0.1)
    text = compare_text(rows)
    assert "0 of 1" in text and "not photographed" in text


def test_boards_of_different_designs_are_not_compared(journal):
    with pytest.raises(UsageError, match="board 4 .* other holes than board 1"):
        compare(journal, [1, 4])


def test_what_all_boards_have_in_common(journal):
    offsets = offsets_by_hole(journal, [1, 2, 3, 5])
    np.testing.assert_allclose(offsets[1], OFFS[1])
    worst = hole_rows(offsets)[0]
    # Mean (0.12, 0.01); spread sqrt(var x + var y), with n - 1: sqrt(0.0004 + 0.0003).
    assert worst[:4] == ["1", "3", "+0.120", "+0.010"]
    assert float(worst[4]) == pytest.approx(math.sqrt(0.0007), abs=6e-4)
    facts = " ".join(batch_facts(compare(journal, [1, 2, 3]), offsets))
    far = np.hypot(*np.concatenate([OFFS[1], OFFS[2]]).T)
    assert f"{np.sqrt((far**2).mean()):.3f} mm root mean square" in facts
    assert "1 of 3 parts go in" in facts and "1 counted without" in facts


@pytest.mark.parametrize("kind", ["html", "pdf"])
def test_the_batch_is_written(journal, tmp_path, kind):
    path = write_batch(tmp_path / f"batch.{kind}", journal, [1, 2, 3])
    if kind == "html":
        text = path.read_text(encoding="utf-8")
        assert "a &lt;b&gt;" in text and "<b>" not in text.split("<body>")[1]
    else:
        document = pypdfium2.PdfDocument(path)
        text = document[0].get_textpage().get_text_bounded()
        assert "a <b>" in text and "Board by board" in text
        document.close()
    with pytest.raises(UsageError, match="photographed"):
        write_batch(tmp_path / "none.html", journal, [5])
