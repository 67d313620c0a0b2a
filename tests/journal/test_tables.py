from __future__ import annotations

import csv
import io

from drillaid.journal.compare import working_s
from drillaid.journal.journal import BoardRecord, EventRecord
from drillaid.journal.tables import csv_text, list_text, show_text


def event(at: float, **data) -> EventRecord:
    return EventRecord(1, 1, at, "refused", 2, data)


def test_one_board_needs_no_column_for_it_and_several_do():
    one = list(csv.DictReader(io.StringIO(csv_text({3: [event(0.25)]}))))
    assert one[0]["at"] == "1970-01-01T00:00:00.250Z" and "board" not in one[0]
    two = list(csv.DictReader(io.StringIO(csv_text({3: [event(0)], 4: [event(0)]}))))
    assert [row["board"] for row in two] == ["3", "4"]


def test_a_reason_is_no_formula_and_no_terminal_obeys_a_name():
    (row,) = csv.DictReader(io.StringIO(csv_text({1: [event(0, reason="=1+1")]})))
    assert row["reason"] == "'=1+1"
    board = BoardRecord(1, 0.0, 0.0, "a\x1b[2Jb", "h", 2, 1, 0, False)
    assert "\x1b" not in list_text([board]) + show_text(board, [event(0, reason="\x1b")])


def test_long_breaks_are_no_work():
    assert working_s([event(at) for at in (0, 50, 5000, 5060)]) == 110
