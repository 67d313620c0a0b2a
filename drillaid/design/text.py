"""Bytes of a design file as numbered lines, whatever wrote them."""

from __future__ import annotations

import codecs
import re

from drillaid.errors import DesignError

_LINE_END = re.compile(r"\r\n|\r|\n")
MAX_LINES = 150_000  # several lines for each of the 20,000 holes we take
MAX_LINE = 2_000
_BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


def decode(data: bytes, name: str) -> str:
    """Text from UTF-8 or UTF-16 with a byte order mark, UTF-8, else Latin-1.

    Raises DesignError for data that is no text at all (zero bytes in it).
    """
    for bom, encoding in _BOMS:
        if data.startswith(bom):
            return data[len(bom) :].decode(encoding, errors="replace")
    if b"\0" in data:
        raise DesignError(
            "is not a text file",
            file=name,
            remedy="give a drill file, a CSV or an IPC-D-356A netlist",
        )
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def numbered_lines(data: bytes, name: str) -> list[tuple[int, str]]:
    """(line number from 1, text without surrounding blanks) of every line that is not blank.

    LF, CRLF and CR all end a line, and nothing else does: form feeds and the
    like would put our line numbers out of step with the person's editor.
    Raises DesignError for more lines, or longer ones, than a design file has.
    """
    if data.count(b"\n") + data.count(b"\r") > 2 * MAX_LINES:
        raise _too_long(name, None)
    lines = _LINE_END.split(decode(data, name))
    if len(lines) > MAX_LINES:
        raise _too_long(name, None)
    numbered = []
    for number, line in enumerate(lines, start=1):
        if len(line) > MAX_LINE:
            raise _too_long(name, number)
        if stripped := line.strip():
            numbered.append((number, stripped))
    return numbered


def _too_long(name: str, line: int | None) -> DesignError:
    what = f"has more than {MAX_LINES:,} lines"
    if line is not None:
        what = f"has a line of more than {MAX_LINE:,} characters"
    return DesignError(
        what, file=name, line=line, remedy="give the file with the board's holes alone"
    )
