"""`drillaid records bits`: holes by bit, and whether a bit wanders more than it did."""

from __future__ import annotations

import argparse

from drillaid.commands import Answer, say

SUMMARY = "holes drilled by bit, and whether a bit wanders more than it did"
EXAMPLE = "drillaid records bits --new 0.8"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--new", type=float, metavar="MM", help="records that a new bit of this size was fitted"
    )
    parser.add_argument(
        "--data", metavar="DIR", help="the folder of the journal (default: $DRILLAID_DATA or yours)"
    )


def run(args: argparse.Namespace) -> Answer:
    from drillaid.design.bits import checked_bits
    from drillaid.inspection.learning import bit_trends
    from drillaid.inspection.recording import drilled_holes
    from drillaid.inspection.wear import bit_uses, record_new_bit
    from drillaid.journal.journal import Journal

    with Journal.open(args.data) as journal:
        if journal.notice:
            say(journal.notice)
        if args.new is not None:
            (size,) = checked_bits([args.new])
            record_new_bit(journal, size)
        uses = bit_uses(journal)
        since = {use.bit_mm: use.since_s for use in uses}
        measured = [
            hole
            for hole in drilled_holes(journal).holes
            if hole.at_s >= since.get(hole.bit_mm, 0.0)
        ]
        trends = {trend.bit_mm: trend for trend in bit_trends(measured)}
    lines = [use.sentence for use in uses] or ["No hole is recorded yet."]
    lines += [trend.sentence for trend in trends.values()]
    data = {
        "bits": [
            {"bit_mm": use.bit_mm, "holes": use.holes, "since_new": use.since_new, "new": use.new}
            | _trend(trends.get(use.bit_mm))
            for use in uses
        ]
    }
    return Answer("\n".join(lines), data)


def _trend(trend) -> dict:
    if trend is None:
        return {"measured": 0, "wandering": None}
    return {
        "measured": trend.holes,
        "first_mm": trend.first_mm,
        "last_mm": trend.last_mm,
        "chance": trend.chance,
        "wandering": trend.rising,
    }
