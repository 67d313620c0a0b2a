"""Gerber text to the library's tokens: statement by statement, with line numbers and limits.

Around the library's grammar stands what it lacks:

- plain coordinate statements become tokens directly: the grammar takes 0.3 ms for
  each of the thousands in a pour, four fifths of the whole reading time;
- trailing-zero omission, several commands in one %…%, a missing end of file;
- the state after a repeat or block, which the library forgets;
- a refusal wherever a command would be ignored or drawn wrongly;
- limits against hostile files.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache

from drillaid.errors import DesignError

MAX_STATEMENTS = 100_000  # about 12 s
MAX_COPIES = 20_000  # objects made by blocks and repeats; the library copies each
MAX_PIECES = 300_000  # parts of macros, over all flashes
REEXPORT = "export the layer again in a plain dialect (absolute, leading zeros omitted)"

_COORDINATES = re.compile(
    r"(?:X([+-]?\d{1,10}))?(?:Y([+-]?\d{1,10}))?(?:I([+-]?\d{1,10}))?(?:J([+-]?\d{1,10}))?(?:D0*([123]))?"
)
_FORMAT = re.compile(
    r"FS([LTD]?)([AI]?)(?:N\d)?(?:G\d)?X([0-7])([0-7])Y([0-7])([0-7])(?:D\d)?(?:M\d)?"
)
_STATEMENT = re.compile(r"%([^%]*)%|([^*%]+)\*", re.S)
# Deprecated image commands are skipped where they change nothing and refused where they would.
_HARMLESS = re.compile(
    r"(?:T[FAOD].*|IN.*|LN.*|IPPOS|ASAXBY|OF(?:A0*\.?0*)?(?:B0*\.?0*)?|MI(?:A0)?(?:B0)?|IR0*"
    r"|SF(?:A1(?:\.0*)?)?(?:B1(?:\.0*)?)?|IJ.*)", re.S
)  # fmt: skip
_FOR_THE_LIBRARY = re.compile(r"(?:ADD|AB|FS|SR|L[MPRS]|MOMM$|MOIN$)")


@lru_cache(maxsize=1)
def _tokenizer():
    """The library's grammar; building it takes 25 ms."""
    from pygerber.gerberx3.tokenizer.tokenizer import Tokenizer

    return Tokenizer()


class Statements:
    """One reading of one file: where we are, and what has been counted."""

    def __init__(self, text: str, name: str) -> None:
        self.text, self.name, self.line = text, name, 1
        self.trailing: tuple[int, int] | None = None  # digits when trailing zeros are omitted
        self.aperture, self.operation = "", "1"
        self.weights: dict[str, int] = {}
        self.block: list[str] = []
        self.counts, self.copies, self.pieces = [0], 0, 0
        self.macros: dict[str, int] = {}  # parts of a macro, and of each aperture made of it
        self.state: dict[str, str] = {}  # what a repeat or block of the library forgets
        self.repeat = 1
        self.mirrored = self.ever_mirrored = self.region = False
        self.statement = ""
        self._known: dict[str, list] = {}
        self.shapes: dict[tuple, tuple] = {}  # for the reader: apertures already turned to pieces

    def refusal(self, what: str, remedy: str = REEXPORT) -> DesignError:
        return DesignError(what, file=self.name, line=self.line, remedy=remedy)

    # -- statements -------------------------------------------------------------------

    def _statements(self) -> Iterator[tuple[bool, str]]:
        position = 0
        for count, found in enumerate(_STATEMENT.finditer(self.text)):
            if self.text[position : found.start()].strip():
                break
            self.line += self.text.count("\n", position, found.start())
            if count >= MAX_STATEMENTS:
                raise self.refusal(f"more than {MAX_STATEMENTS} statements", "simplify the pours")
            raw = found.group(1) if found.group(1) is not None else found.group(2)
            lead = len(raw) - len(raw.lstrip())
            skipped = raw.count("\n", 0, lead)
            self.line += skipped
            yield found.group(1) is not None, raw.strip()
            self.line += raw.count("\n") - skipped
            position = found.end()
        rest = self.text[position:].strip()
        self.line += self.text[position:].rstrip().count("\n")
        if rest.strip("\x1a"):
            raise self.refusal(f"'{rest[:20]}' is no Gerber statement: a * or % is missing",
                               "the file may be cut short: export it again")  # fmt: skip

    def tokens(self) -> Iterator:
        for extended, body in self._statements():
            if extended:
                self.statement = body
                yield from self._extended(body)
                continue
            self.statement = body = re.sub(r"\s+", "", body)
            if re.fullmatch(r"M0*[012]|M30", body):
                break
            yield from self._word(body)
        if self.region or self.block:
            raise self.refusal("a region (G36) or block (AB) is not closed",
                               "the file may be cut short: export it again")  # fmt: skip
        yield from self._repeat("SR")

    def _parsed(self, text: str) -> list:
        if text not in self._known:
            if text.count("(") > 8 or len(text) > 20_000:
                raise self.refusal("an aperture macro is too long or too deeply nested")
            self._known[text] = list(_tokenizer().tokenize_expressions(text))
        return self._known[text]

    def _extended(self, body: str) -> Iterator:
        if body.startswith("AM"):
            flat = re.sub(r"[\r\n]+", "", body)
            macro = re.match(r"AM([^*]+)", flat)
            self.macros[macro.group(1) if macro else ""] = flat.count("*")
            yield from self._parsed(f"%{flat}%")
            return
        for part in filter(None, (re.sub(r"[\r\n]+", "", p).strip() for p in body.split("*"))):
            yield from self._parameter(part)

    def _parameter(self, part: str) -> Iterator:
        if re.match(r"G\d|[XYD]", part):  # some writers put everything between percent signs
            yield from self._word(part)
        elif _FOR_THE_LIBRARY.match(part):
            if part.startswith("FS"):
                part = self._format(part)
            self.mirrored = part != "LMN" if part.startswith("LM") else self.mirrored
            self.ever_mirrored |= self.mirrored
            if part.startswith("SR"):
                yield from self._repeat(part)
                return
            self._count_parameter(part)
            if part[:2] in ("LP", "LM", "LR", "LS", "MO"):
                self.state[part[:2]] = f"%{part}*%"
            yield from self._parsed(f"%{part}*%")
            if part == "AB":
                yield from self._restored()
        elif not _HARMLESS.fullmatch(part):
            raise self.refusal(f"the command '{part[:20]}' is not supported")

    def _format(self, part: str) -> str:
        found = _FORMAT.fullmatch(part)
        if not found:
            raise self.refusal(f"the number format '{part[:20]}' is not understood")
        zeros, mode, *digits = found.groups()
        if mode == "I":
            raise self.refusal("incremental coordinates are not supported")
        x, y = (int(digits[0]) + int(digits[1]), int(digits[2]) + int(digits[3]))
        self.trailing = (x, y) if zeros == "T" else None
        return "FSLAX{}{}Y{}{}".format(*digits)

    def _count_parameter(self, part: str) -> None:
        if found := re.match(r"AB(D\d+)", part):
            self.block.append(found.group(1))
            self.counts.append(0)
        elif part == "AB" and self.block:
            self.weights[self.block.pop()] = self.counts.pop()
        elif found := re.match(r"ADD(\d+)([A-Za-z_.$][^,]*)", part):
            self.macros["D" + found.group(1)] = self.macros.get(found.group(2), 1)

    def _repeat(self, part: str) -> Iterator:
        """A repeat ends the one before; one by one, an old way to say "end", starts none."""
        if self.repeat > 1:
            yield from self._parsed("%SR*%")
            self._add(self.counts.pop() * self.repeat)
            self.repeat = 1
            yield from self._restored()
        if part == "SR":
            return
        found = re.fullmatch(r"SRX(\d{1,6})Y(\d{1,6})I[\d.]+J[\d.]+", part)
        if not found:
            raise self.refusal(f"the step and repeat '{part[:30]}' is not understood")
        copies = int(found.group(1)) * int(found.group(2))
        if copies > MAX_COPIES or self.block:
            raise self.refusal("a step and repeat makes too many copies")
        if copies > 1:
            self.repeat = copies
            self.counts.append(0)
            yield from self._parsed(f"%{part}*%")

    def _restored(self) -> Iterator:
        for text in self.state.values():
            yield from self._parsed(text)

    def _add(self, objects: int) -> None:
        """Counts objects in the block or repeat we are in; single ones cost nothing extra."""
        self.counts[-1] += objects
        self.copies += objects if objects > 1 else 0
        if self.copies > MAX_COPIES:
            raise self.refusal("blocks and repeats make too many objects",
                               "export one board, not a panel")  # fmt: skip

    # -- words: G codes, apertures, coordinates ----------------------------------------

    def _word(self, body: str) -> Iterator:
        while found := re.match(r"G0*(\d{1,2})", body):
            code, body = int(found.group(1)), body[found.end() :]
            if code == 4:
                return
            if code == 91:
                raise self.refusal("incremental coordinates are not supported")
            if code in (54, 55, 90):
                continue
            self.region = {36: True, 37: False}.get(code, self.region)
            kind = {1: "path", 2: "path", 3: "path", 74: "arc", 75: "arc"}.get(code)
            if kind:
                self.state[kind] = f"G{code:02d}*"
            yield from self._parsed(f"G{code:02d}*")
        if not body:
            return
        if found := re.fullmatch(r"D0*(\d{2,6})", body):
            self.aperture = "D" + found.group(1)
            self.state["aperture"] = f"{self.aperture}*"
            yield from self._parsed(self.state["aperture"])
            return
        if not _HARMLESS.fullmatch(body):
            yield self._operation(body)

    def _operation(self, body: str):
        from pygerber.gerberx3.tokenizer.tokens.coordinate import Coordinate, CoordinateType
        from pygerber.gerberx3.tokenizer.tokens.d01_draw import D01Draw
        from pygerber.gerberx3.tokenizer.tokens.d02_move import D02Move
        from pygerber.gerberx3.tokenizer.tokens.d03_flash import D03Flash

        found = _COORDINATES.fullmatch(body)
        if not found:
            raise self.refusal(f"'{body[:20]}' is not understood")
        x, y, i, j, operation = found.groups()
        self.operation = operation = operation or self.operation
        if self.mirrored and operation == "1":
            raise self.refusal("drawing with a mirrored aperture (LM) is not supported")
        self._add(self.weights.get(self.aperture, 1) if operation == "3" else 1)
        self.pieces += self.macros.get(self.aperture, 0) if operation == "3" else 0
        if self.pieces > MAX_PIECES:
            raise self.refusal("the pads are made of too many parts")

        def place(kind: str, digits: str | None):
            if digits is not None and self.trailing:
                size = self.trailing[0 if kind in "XI" else 1]
                sign = digits[0] if digits[0] in "+-" else ""
                digits = sign + digits.lstrip("+-").ljust(size, "0")
            return Coordinate.new(CoordinateType[kind], digits)

        at = {"x": place("X", x), "y": place("Y", y)}
        if operation == "1":
            return D01Draw(body, 0, **at, i=place("I", i), j=place("J", j))
        return (D02Move if operation == "2" else D03Flash)(body, 0, **at)
