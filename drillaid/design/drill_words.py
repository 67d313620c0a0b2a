"""One line of an NC drill body: letters with numbers, sorted by what they are for."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from drillaid.design.drill_program import Program

_WORD = re.compile(r"([A-Z])([-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)|)")
LONGEST_NUMBER = 15
_LONGEST_LINE = 500

_OPEN_TOO = "export holes and straight slots only, or delete the line and drill that place by eye"
_REFUSED_G = {
    2: "G02 routs an arc, which a hand drill cannot follow",
    3: "G03 routs an arc, which a hand drill cannot follow",
    32: "G32 routs a circle, which a hand drill cannot follow",
    33: "G33 routs a circle, which a hand drill cannot follow",
    41: "G41 shifts the route sideways by the tool's radius",
    42: "G42 shifts the route sideways by the tool's radius",
    82: "G82 stands for a whole row pattern whose holes are not listed",
    83: "G83 stands for a whole pattern whose holes are not listed",
    84: "G84 stands for a circle of holes that are not listed",
    87: "G87 routs a stepped slot",
}


@dataclass
class Words:
    """at: the line's X and Y as written; start: those before a G85; tool: (number, as written).

    strange: a letter that has no place in a drill file
    """

    at: dict[str, str] = field(default_factory=dict)
    start: dict[str, str] | None = None
    g_codes: list[int] = field(default_factory=list)
    m_codes: list[int] = field(default_factory=list)
    tool: tuple[int, str] | None = None
    repeats: int | None = None
    strange: bool = False


def read_words(program: Program, text: str, line: int) -> Words | None:
    """The words of an upper-case line without blanks, None where it is not made of words.

    Raises DesignError for what no drill list may hold: arcs, canned patterns, Z.
    """
    pairs = _split(program, text, line)
    if pairs is None:
        return None
    words = Words()
    for letter, value in pairs:
        if letter in "XY":
            if letter in words.at:
                raise program.error(f"has two {letter} values", line, "split the line")
            words.at[letter] = value
        elif letter == "G":
            _add_g(program, words, _whole(program, letter, value, line), line)
        elif letter == "M":
            words.m_codes.append(_whole(program, letter, value, line))
        elif letter == "T":
            words.tool = _whole(program, letter, value, line), value
        elif letter == "R":
            words.repeats = _whole(program, letter, value, line)
        elif letter in "IJA" and words.at:
            raise program.error(_REFUSED_G[2].removeprefix("G02 "), line, _OPEN_TOO)
        elif letter == "Z":
            raise program.error(
                "has a Z value, so this is a milling program and no drill list",
                line,
                "export NC drill (with a tool table) instead of G-code",
            )
        elif letter not in "NFSHBC":
            words.strange = True
    return words


def _add_g(program: Program, words: Words, code: int, line: int) -> None:
    if code in _REFUSED_G:
        raise program.error(_REFUSED_G[code], line, _OPEN_TOO)
    if code == 85:
        words.start, words.at = words.at, {}
    words.g_codes.append(code)


def _split(program: Program, text: str, line: int) -> list[tuple[str, str]] | None:
    if len(text) > _LONGEST_LINE:
        return None
    pairs, at = [], 0
    while at < len(text):
        match = _WORD.match(text, at)
        if match is None:
            return None
        if len(match[2]) > LONGEST_NUMBER:
            raise program.error(
                f"'{match[0][:24]}…' has too many digits", line, "correct the line"
            )
        pairs.append((match[1], match[2]))
        at = match.end()
    return pairs


def _whole(program: Program, letter: str, value: str, line: int) -> int:
    if value.isdigit() and len(value) <= 9:
        return int(value)
    raise program.error(f"{letter} needs a whole number, not '{value}'", line, "correct the line")
