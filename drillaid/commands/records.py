"""`drillaid records`: what was done, from the journal."""

from __future__ import annotations

import argparse
from pathlib import Path

from drillaid.commands import Answer, say
from drillaid.errors import UsageError

SUMMARY = "lists, shows, compares and exports what was done; reports and true-scale sheets"
EXAMPLE = "drillaid records report 3 --out board3.pdf"

_WHAT = {
    "list": "all boards",
    "show": "what happened to one board",
    "compare": "boards of one design, side by side",
    "export": "the events of boards (all without a number), as CSV or with --json",
    "check": "measures a photograph of a drilled board and puts it on file",
    "report": "the report of one board, or of several of one design, as HTML or PDF",
    "sheet": "the board's holes and edge at true scale, as PDF or SVG",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "what", nargs="?", choices=tuple(_WHAT), default="list",
        help="; ".join(f"{name}: {words}" for name, words in _WHAT.items()),
    )  # fmt: skip
    parser.add_argument(
        "boards", nargs="*", metavar="BOARD", help="numbers in the list; check: then the PHOTO"
    )
    parser.add_argument("--csv", action="store_true", help="export as CSV (the default)")
    parser.add_argument("--out", metavar="FILE", help="where to write, instead of the terminal")
    parser.add_argument(
        "--design", nargs="+", default=[], metavar="DESIGN",
        help="the board's files, where they have moved since it was drilled",
    )  # fmt: skip
    parser.add_argument("--rig", metavar="FILE", help="check: the rig the photograph was taken on")
    parser.add_argument(
        "--side", choices=("top", "bottom"), default="top",
        help="sheet: the side it is seen from (default: top, the parts' side)",
    )  # fmt: skip
    parser.add_argument("--mirrored", action="store_true", help="sheet: for film or transfer")
    parser.add_argument("--legend", metavar="PICTURE", help="sheet: a picture of yours to place")
    parser.add_argument(
        "--legend-box", metavar="X0,Y0,X1,Y1",
        help="sheet: the design rectangle it fills, mm (default: the board's own)",
    )  # fmt: skip
    parser.add_argument(
        "--data", metavar="DIR", help="the folder of the journal (default: $DRILLAID_DATA or yours)"
    )


def run(args: argparse.Namespace) -> Answer:
    from drillaid.journal.journal import Journal

    numbers, rest = _numbers(args.boards)
    _check_count(args.what, numbers, rest)
    with Journal.open(args.data) as journal:
        if journal.notice:
            say(journal.notice)
        for number in numbers:
            journal.board(number)  # one that is not there is told before anything else
        return _DOING[args.what](args, journal, numbers, rest)


def _numbers(words: list[str]) -> tuple[list[int], list[str]]:
    """Numbers first, files after."""
    numbers = []
    for k, word in enumerate(words):
        if not word.isdigit():
            return numbers, words[k:]
        numbers.append(int(word))
    return numbers, []


def _check_count(what: str, numbers: list[int], rest: list[str]) -> None:
    needs = {"show": (1, 1), "check": (1, 1), "sheet": (1, 1), "compare": (1, None),
             "report": (1, None), "list": (0, 0), "export": (0, None)}[what]  # fmt: skip
    if len(numbers) < needs[0] or (needs[1] is not None and len(numbers) > needs[1]):
        wanted = "the number of a board" if needs[1] else "numbers of boards"
        if needs == (0, 0):
            raise UsageError("records list takes no number", remedy="use records show")
        raise UsageError(f"records {what} needs {wanted}", remedy="see drillaid records list")
    if rest and what != "check":
        raise UsageError(f"'{rest[0]}' is no number of a board", remedy="see drillaid records list")
    if what == "check" and len(rest) != 1:
        raise UsageError("records check needs one photograph", remedy="give it after the number")


# -- reading -------------------------------------------------------------------


def _list(args, journal, numbers, rest) -> Answer:
    from drillaid.journal.tables import board_data, list_text

    boards = journal.boards()
    data = {"journal": str(journal.path), "boards": [board_data(board) for board in boards]}
    if not boards:
        return Answer(f"No boards are recorded in {journal.path}.", data)
    return Answer(list_text(boards), data)


def _show(args, journal, numbers, rest) -> Answer:
    from drillaid.journal.tables import board_data, event_data, show_text

    board, events = journal.board(numbers[0]), journal.events(numbers[0])
    looks = journal.inspections(board.id)
    data = board_data(board) | {
        "events": [event_data(event) for event in events],
        "photographs": [{"at": look.at, "picture": look.picture} for look in looks],
        "pictures": [vars(picture) for picture in journal.pictures(board.id)],
    }
    return Answer(show_text(board, events), data)


def _compare(args, journal, numbers, rest) -> Answer:
    from drillaid.journal.compare import compare, compare_text

    rows = compare(journal, numbers)
    return Answer(compare_text(rows), {"boards": [vars(row) for row in rows]})


def _export(args, journal, numbers, rest) -> Answer:
    from drillaid.files import write_whole
    from drillaid.journal.tables import board_data, csv_text, event_data

    numbers = numbers or sorted(board.id for board in journal.boards())
    all_events = {number: journal.events(number) for number in numbers}
    boards = [
        board_data(journal.board(number)) | {"events": [event_data(e) for e in events]}
        for number, events in all_events.items()
    ]
    data = boards[0] if len(boards) == 1 else {"boards": boards}
    text = csv_text(all_events)
    if args.out is not None:
        import json

        write_whole(args.out, json.dumps(data) if args.out.endswith(".json") else text + "\n")
        return Answer(f"Written: {args.out}", data)
    return Answer(text, data)


# -- writing -------------------------------------------------------------------


def _out(args, *endings: str) -> str:
    if args.out is None or Path(args.out).suffix.lower() not in endings:
        raise UsageError(
            f"records {args.what} writes a file",
            remedy=f"give --out, ending in {' or '.join(endings)}",
        )
    return args.out


def _check(args, journal, numbers, rest) -> Answer:
    from drillaid.commands import DONE, REFUSED
    from drillaid.commands.inspect import inspection_json
    from drillaid.inspection.agreement import agreement
    from drillaid.inspection.check import check_board
    from drillaid.inspection.filed import file_check, job_for_check
    from drillaid.journal.journal import holes_now
    from drillaid.rig.file import load_rig
    from drillaid.rig.pictures import read_picture

    record = journal.board(numbers[0])
    job = job_for_check(record, args.design)
    rig = None if args.rig is None else load_rig(args.rig)
    check = check_board(job, read_picture(rest[0]), rig)
    if check.inspection is None:
        return Answer(check.message, {"status": check.registration.status,
                                      "message": check.message}, REFUSED)  # fmt: skip
    file_check(journal, record.id, check)
    agreed = agreement(holes_now(journal.events(record.id))[0], check.inspection.holes)
    text = f"{check.message}\n{agreed.sentence}"
    status = DONE if check.inspection.ok and agreed.ok else REFUSED
    return Answer(text, inspection_json(check.inspection) | {"agreement": vars(agreed)}, status)


def _report(args, journal, numbers, rest) -> Answer:
    from drillaid.inspection.batch import write_batch
    from drillaid.inspection.filed import check_again, write_board_report

    out = _out(args, ".html", ".htm", ".pdf")
    if len(numbers) > 1:
        path = write_batch(out, journal, numbers)
    else:
        check = check_again(journal, numbers[0], args.design)
        if check.inspection is None:
            return Answer(check.message, {"status": check.registration.status}, 3)
        simulated = journal.board(numbers[0]).simulated
        path = write_board_report(out, journal, numbers[0], check, simulated=simulated)
    return Answer(f"Written: {path}", {"report": str(path), "boards": numbers})


def _sheet(args, journal, numbers, rest) -> Answer:
    from drillaid.inspection.filed import check_again
    from drillaid.inspection.true_sheet import Legend, true_sheet, write_sheet

    out = _out(args, ".pdf", ".svg")
    check = check_again(journal, numbers[0], args.design)
    if check.inspection is None:
        return Answer(check.message, {"status": check.registration.status}, 3)
    legend = None if args.legend is None else Legend(args.legend, _box(args.legend_box))
    page = true_sheet(check, side=args.side, mirrored=args.mirrored, legend=legend)
    write_sheet(page, out, f"{check.job.name}, board {numbers[0]}")
    text = f"Written: {out}\nPrint it unscaled, and hold its rulers against a real one."
    return Answer(text, {"sheet": out, "board": numbers[0]})


def _box(text: str | None) -> tuple[float, float, float, float] | None:
    if text is None:
        return None
    try:
        x0, y0, x1, y1 = (float(word) for word in text.split(","))
    except ValueError:
        raise UsageError(
            f"--legend-box {text} is no rectangle", remedy="write it like --legend-box 0,0,60,40"
        ) from None
    return x0, y0, x1, y1


_DOING = {
    "list": _list, "show": _show, "compare": _compare, "export": _export, "check": _check,
    "report": _report, "sheet": _sheet,
}  # fmt: skip
