"""Sentences of the core that name commands and options, in the words of the window.

The core speaks to people at a terminal; here the same thing is a button. What no rule
knows is left as it is.
"""

from __future__ import annotations

import re

from drillaid.rig.still_true import REMEDY
from ui.words import tr


def plain(message: str) -> str:
    """The message without command lines."""
    for pattern, words in _rules():
        message = re.sub(pattern, words, message)
    return message


def _rules() -> list[tuple[str, str]]:
    """In this order: whole remedies first, then what is left of commands and options."""
    return [
        (re.escape(REMEDY), tr("put the arm back, or repair the rig with one picture of the marks "
                               "(the spindle axis is kept)")),
        (r"or give --new-frame and calibrate the spindle again afterwards",
         tr("or tick “A new frame” and measure the spindle axis again afterwards")),
        (r"Measure the sheet's ruler bar and give --ruler-mm",
         tr("Measure the sheet's ruler bar and type it under “Print the sheets”")),
        (r"print them with drillaid calibrate target --marks", tr("print them here")),
        (r"Guide with --spindle [^,]+,[^,]+, boards", tr("Boards")),
        (r"(made|make it) (by|with) drillaid calibrate( \w+)?", r"\1 " + tr("here")),
        (r"run drillaid calibrate lens", tr("make the lens")),
        (r"(then|run) drillaid calibrate bench", r"\1 " + tr("the bench plane")),
        (r"(then|run) drillaid calibrate spindle", r"\1 " + tr("the spindle axis")),
        (r"run the (bench plane|spindle axis)", tr("make") + r" the \1"),
        (r"or say which with --(spindle|hole) U,V", tr("or click on the hole in the picture")),
        (r"give its counts with --squares", tr("type its counts under “Print the sheets”")),
        (r"give one --thickness", tr("take scrap of one thickness")),
        (r" and give it with --thickness", ""),
    ]  # fmt: skip
