"""Lines of an NC drill file to a `Program`: every code is obeyed, noted or refused, none skipped.

Meanings of the codes: IPC-NC-349 family as described in public manuals of the
format (secondary sources; see tests/published/test_drill_decodings.py).
"""

from __future__ import annotations

import re

from drillaid.design import drill_program as program_of
from drillaid.design.drill_header import (
    is_harmless,
    read_comment,
    read_header_line,
    read_tool_definition,
)
from drillaid.design.drill_program import Program, Step
from drillaid.design.drill_words import LONGEST_NUMBER, Words, read_words
from drillaid.design.text import numbered_lines

_POINT = re.compile(r"X([-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))Y([-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))")
_TEXT_CODE = re.compile(r"^(M4[57]|M9[789]),?(.*)$")

_IGNORED_G = {4, 7, 40}  # dwell, feed override, no cutter compensation
_IGNORED_M = {6, 9, 18, 60, 61, 62, 63}  # stops and machine checks
# format 1 numbers its M codes differently: -> the format 2 code of the same meaning
_FORMAT_1_M = {0: 9, 1: 6, 2: 0, 24: 1, 26: 2, 27: 8}


def parse(data: bytes, name: str) -> Program:
    """Reads a whole file. Raises DesignError with the line for what cannot be obeyed."""
    body = _Body(Program(name))
    lines = numbered_lines(data, name)
    body.in_header = any(text.upper().startswith("M48") for _, text in lines)
    for number, text in lines:
        body.read_line(text, number)
    body.finish(lines[-1][0] if lines else 1)
    return body.program


class _Body:
    """The reader's state between lines."""

    def __init__(self, program: Program):
        self.program = program
        self.steps = program.steps
        self.in_header = False
        self.tool: int | None = None
        self.routing = False
        self.route_code = 0  # the modal G00 or G01
        self.tool_down = False
        self.cut_since_down = False
        self.pattern = "none"  # "open" from M25, "closed" from M01, "copied" from the first M02
        self.ended_in_line: int | None = None
        self.skip_point_after_text = False

    def read_line(self, text: str, line: int) -> None:
        if text[0] in "X" and not self.in_header and self._plain_hole(text, line):
            return
        text, _, comment = text.partition(";")
        if comment:
            read_comment(self.program, comment.strip(), line)
        text = text.upper()
        special = _TEXT_CODE.match(text)
        if special:
            self._text_code(special, line)
            return
        if text.startswith("(") and text.rstrip().endswith(")"):
            return
        text = "".join(text.split())
        if not text or self._mark(text, line):
            return
        if self.ended_in_line is not None:
            raise self.program.error(
                f"'{text[:20]}' stands after the end of the program in line {self.ended_in_line}",
                line,
                "split the file into one for each program",
            )
        self._statement(text, line)

    def _plain_hole(self, text: str, line: int) -> bool:
        """The common case, X…Y… and nothing else, without the general machinery."""
        match = _POINT.fullmatch(text)
        if (
            match is None
            or len(text) > 2 * LONGEST_NUMBER
            or self.routing
            or not self.tool
            or self.skip_point_after_text
            or self.ended_in_line is not None
        ):
            return False
        self.steps.append(Step(program_of.HOLE, line, self.tool, match[1], match[2]))
        return True

    def _mark(self, text: str, line: int) -> bool:
        """M48, M95 and %: where the header begins and ends."""
        if text == "M48":
            self.in_header = True
            return True
        if text in ("%", "M95"):
            self.in_header = self.in_header and not self._header_seen(line)
            if text == "%" and not self.in_header and self.pattern == "none":
                self._add(program_of.PATTERN_START, line)
            return True
        return False

    def _header_seen(self, line: int) -> bool:
        """False for a % before anything was stated: some files open with one."""
        said = self.program.said
        return bool(said.unit or self.program.tools or line > 2)

    def _statement(self, text: str, line: int) -> None:
        if read_header_line(self.program, text, line):
            if text.startswith("ICI") and not self.in_header:
                on = int(self.program.starts_incremental)
                self._add(program_of.INCREMENTAL, line, count=on)
            return
        defined = read_tool_definition(self.program, text, line)
        if defined is not None:
            if not self.in_header:
                self._take_tool(defined, str(defined), line)
            return
        if is_harmless(text) and (self.in_header or text[0] in "SFZ"):
            return
        words = read_words(self.program, text, line)
        if words is None or words.strange:
            self._not_understood(text, line)
        else:
            self._obey(words, line)

    def _not_understood(self, text: str, line: int) -> None:
        if self.in_header:
            self.program.note(f"'{text[:24]}' is not known here and was ignored", line)
            return
        remedy = "correct or delete the line"
        if text.startswith("/"):
            remedy = "delete the line if the block is not wanted, or the / if it is"
        raise self.program.error(f"'{text[:24]}' is not understood", line, remedy)

    # -- one line of words ------------------------------------------------

    def _obey(self, words: Words, line: int) -> None:
        if words.tool is not None:
            self._take_tool(*words.tool, line)
        x, y = words.at.get("X"), words.at.get("Y")
        for code in words.g_codes:
            if code in (92, 93):
                self._zero_set(x, y, line)
            elif code not in _IGNORED_G:
                self._preparatory(code, line)
        if {4, 92, 93} & set(words.g_codes):  # a dwell's X is a time, a zero set's is used up
            x = y = None
        m_codes = words.m_codes
        if self.program.format_1:
            m_codes = [_FORMAT_1_M.get(code, code) for code in m_codes]
        if 2 in m_codes:
            self._copy_pattern(m_codes, x, y, words.repeats, line)
            return
        if words.start is not None:
            self._slot(words.start, x, y, words.repeats, line)
        elif words.repeats is not None:
            self._repeat(words.repeats, x, y, line)
        elif x is not None or y is not None:
            if {0, 6, 9, 30} & set(m_codes):  # the place where the machine stops, no hole
                self._add(program_of.MOVE, line, x, y)
            else:
                self._point(x, y, line)
        for code in m_codes:
            self._miscellaneous(code, line)

    # -- places -----------------------------------------------------------

    def _add(self, kind: str, line: int, x=None, y=None, count: int = 0) -> None:
        self.steps.append(Step(kind, line, self.tool or 0, x, y, count))

    def _need_tool(self, line: int) -> None:
        if not self.tool:
            raise self.program.error(
                "drills before a tool is chosen",
                line,
                "add the tool line (such as T01) above it, and T01C0.8 in the header",
            )

    def _point(self, x: str | None, y: str | None, line: int) -> None:
        if self.skip_point_after_text:
            self.skip_point_after_text = False
            return
        if self.in_header:
            raise self.program.error(
                "has coordinates inside the header", line, "add a line with % above it"
            )
        if not self.routing:
            self._need_tool(line)
            self._add(program_of.HOLE, line, x, y)
        elif self.route_code == 0:
            if self.tool_down:
                raise self.program.error(
                    "G00 moves with the tool down", line, "add M16 above it, or write G01"
                )
            self._add(program_of.MOVE, line, x, y)
        else:
            self._cut(x, y, line)

    def _cut(self, x, y, line: int) -> None:
        if not self.tool_down:
            raise self.program.error(
                "G01 moves with the tool up, so nothing says whether it cuts",
                line,
                "add M15 above it for a slot, or write G00",
            )
        self._need_tool(line)
        self.cut_since_down = True
        self._add(program_of.SLOT, line, x, y)

    def _slot(self, start, x, y, repeats, line: int) -> None:
        self._need_tool(line)
        if self.routing or repeats is not None:
            raise self.program.error(
                "G85 stands inside a route or a repeat", line, "write each slot on its own line"
            )
        if start:
            self._add(program_of.MOVE, line, start.get("X"), start.get("Y"))
        self._add(program_of.SLOT, line, x, y)

    def _repeat(self, count: int, x, y, line: int) -> None:
        self._need_tool(line)
        if self.routing:
            raise self.program.error("repeats inside a route", line, "list the slots one by one")
        if x is None and y is None:
            raise self.program.error("R repeats a hole but gives no step", line, "add X or Y")
        self._add(program_of.REPEAT, line, x, y, count)

    def _zero_set(self, x, y, line: int) -> None:
        if x is not None or y is not None:
            self._add(program_of.ZERO, line, x or "0", y or "0")

    # -- codes ------------------------------------------------------------

    def _take_tool(self, number: int, written: str, line: int) -> None:
        if len(written) == 4 and number not in self.program.tools:
            number = int(written[:2])  # T0101: tool 01 with its compensation index 01
        if self.in_header:
            return
        if self.tool_down:
            raise self.program.error("changes the tool while it is down", line, "add M16 above it")
        self.tool = number or None

    def _preparatory(self, code: int, line: int) -> None:
        if code in (0, 1):
            self.routing, self.route_code = True, code
        elif code in (5, 81):
            self._lift(line)
            self.routing = False
        elif code in (90, 91):
            self._add(program_of.INCREMENTAL, line, count=code - 90)
        elif code == 85:
            pass  # the line's two places follow
        elif 34 <= code <= 39 or 45 <= code <= 48:
            raise self.program.error(
                f"G{code} steers a machine by its own camera", line, "export without it"
            )
        else:
            raise self.program.error(
                f"G{code:02d} is not known in a drill file", line, "delete it if it moves nothing"
            )

    def _lift(self, line: int) -> None:
        if self.tool_down and not self.cut_since_down:
            self._need_tool(line)
            self._add(program_of.PLUNGE, line)
        self.tool_down = False

    def _miscellaneous(self, code: int, line: int) -> None:
        if code in (0, 30):
            self._lift(line)
            self.ended_in_line = line
        elif code in (14, 15):
            self._lift(line)
            self.tool_down, self.cut_since_down = True, False
        elif code in (16, 17):
            self._lift(line)
        elif code in (71, 72):
            read_header_line(self.program, f"M{code}", line)
        elif code == 25:
            self._open_pattern(line)
        elif code == 1:
            self._close_pattern(line)
        elif code == 8:
            self.pattern = "none"
        elif code in (48, 95):
            raise self.program.error(f"M{code} shares its line", line, "put it on its own line")
        elif code in (31, 50, 51, 52, 70, 80, 90):
            raise self.program.error(
                f"M{code} repeats, swaps or mirrors in a way we do not follow",
                line,
                "export the holes one by one",
            )
        elif code not in _IGNORED_M:
            self.program.note(f"M{code:02d} is not known here and was ignored", line)

    def _text_code(self, match: re.Match, line: int) -> None:
        if match[1] in ("M45", "M47"):
            return  # a message for the operator
        if match[1] == "M99":
            raise self.program.error(
                "M99 calls a pattern stored in the machine", line, "export the holes one by one"
            )
        self.program.note("text drilled as rows of holes (M97, M98) is left out", line)
        self.skip_point_after_text = re.search(r"X[-+]?[0-9.]*Y[-+0-9.]*$", match[2]) is None

    # -- patterns ---------------------------------------------------------

    def _open_pattern(self, line: int) -> None:
        if self.pattern == "open":
            raise self.program.error(
                "M25 opens a pattern inside a pattern", line, "export the holes one by one"
            )
        self.pattern = "open"
        self._add(program_of.PATTERN_START, line)

    def _close_pattern(self, line: int) -> None:
        if self.pattern in ("closed", "copied"):
            raise self.program.error(
                "M01 nests a pattern in a pattern", line, "export the holes one by one"
            )
        self.pattern = "closed"
        self._add(program_of.PATTERN_END, line)

    def _copy_pattern(self, m_codes, x, y, repeats, line: int) -> None:
        if {70, 80, 90} & set(m_codes):
            raise self.program.error(
                "M02 with M70, M80 or M90 turns or mirrors the pattern",
                line,
                "export the holes one by one",
            )
        if x is None and y is None:
            return  # the counter reset that ends a list of copies
        if self.pattern == "none" or self.pattern == "open":
            raise self.program.error(
                "M02 repeats a pattern that no M25 and M01 have marked",
                line,
                "put M25 above and M01 below the pattern",
            )
        self.pattern = "copied"
        self._add(program_of.COPY, line, x, y, 1 if repeats is None else repeats)

    def finish(self, last_line: int) -> None:
        """Checks what only the end can show."""
        if self.tool_down:
            raise self.program.error(
                "ends with the tool down", last_line, "export it again: the file is cut short"
            )
        if self.pattern == "open":
            raise self.program.error(
                "ends inside a pattern (M25 without M01)", last_line, "export it again"
            )
        if self.ended_in_line is None:
            self.program.note("the file ends without M30; check that it is complete", last_line)
