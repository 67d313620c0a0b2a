"""Reads a dialect's TOML; whatever is wrong with it is told in one sentence, with its key."""

from __future__ import annotations

import re
import tomllib
from importlib import resources
from pathlib import Path

from drillaid.errors import DialectError
from drillaid.table.dialect import ALARMED, HELD, MOVING, RESTING, Dialect

FORMAT = "drillaid-dialect/1"
DEFAULT = "line-ack"
MAX_BYTES = 100_000
LONGEST_PATTERN = 200
_SECTIONS = {
    "line": {"ending", "numbered", "checksum", "checksum_text", "longest", "decimals"},
    "replies": {"acknowledge", "error", "alarm", "greeting", "ignore"},
    "status": {"ask", "outside_lines", "reply", RESTING, MOVING, HELD, ALARMED},
    "urgent": {"outside_lines", "hold", "resume", "reset"},
    "words": {
        "begin", "home", "rapid", "feed", "spindle_on", "spindle_off", "acknowledged_when",
    },
    "seconds": {"acknowledge", "status", "home", "greeting"},
}  # fmt: skip
_REMEDY = "compare with the dialects that drillaid table probe --dialects shows"


def shipped() -> dict[str, str]:
    """Name -> what kind of controller it is for."""
    return {name: load_dialect(name).about for name in _shipped_files()}


def dialect_text(name: str) -> str:
    """A shipped dialect's file, to copy and change."""
    return _shipped_files()[name].read_text(encoding="utf-8")


def load_dialect(name: str | Path) -> Dialect:
    """A shipped dialect by its name, or a file. Raises DialectError."""
    files = _shipped_files()
    if str(name) in files:
        return parse_dialect(files[str(name)].read_text(encoding="utf-8"), str(name))
    path = Path(name)
    try:
        with open(path, "rb") as file:
            raw = file.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a file name"
        raise DialectError(
            f"is neither a shipped dialect nor a file that can be read ({reason})",
            file=name, remedy=f"shipped are {' and '.join(sorted(files))}",
        ) from None  # fmt: skip
    if len(raw) > MAX_BYTES:
        raise DialectError(f"is larger than {MAX_BYTES:,} bytes", file=path)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise DialectError("is not text in UTF-8", file=path) from None
    return parse_dialect(text, path.stem, file=path)


def parse_dialect(text: str, name: str, *, file: str | Path | None = None) -> Dialect:
    """The dialect a text describes. Raises DialectError with the key and its line."""
    file = file or f"{name}.toml"
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        line = re.search(r"at line (\d+)", str(error))
        raise DialectError(
            "is not TOML", file=file, line=int(line.group(1)) if line else None,
            remedy="correct the line; patterns go between single quotes",
        ) from None  # fmt: skip
    try:
        return _dialect(data, name)
    except _Bad as bad:
        raise DialectError(
            f"{bad.key} {bad.what}", file=file, line=_line_of(text, bad.key), remedy=_REMEDY
        ) from None


class _Bad(Exception):
    def __init__(self, key: str, what: str) -> None:
        self.key, self.what = key, what


def _dialect(data: dict, name: str) -> Dialect:
    if data.get("format") != FORMAT:
        raise _Bad("format", f'must be "{FORMAT}"')
    for key in data:
        if key not in ("format", "about", *_SECTIONS):
            raise _Bad(key, "is not known")
    for section, keys in _SECTIONS.items():
        if not isinstance(data.get(section, {}), dict):
            raise _Bad(section, "must be a section")
        for key in data.get(section, {}):
            if key not in keys:
                raise _Bad(f"{section}.{key}", "is not known")
    f = _Fields(data)
    dialect = Dialect(
        name=name,
        about=f.text("about", ""),
        ending=f.one_of("line.ending", ("\n", "\r", "\r\n"), "\n"),
        numbered=f.truth("line.numbered", False),
        checksum=f.one_of("line.checksum", ("none", "sum", "xor"), "none"),
        checksum_text=f.text("line.checksum_text", "*{check:d}"),
        longest=int(f.number("line.longest", 100, 20, 256)),
        decimals=int(f.number("line.decimals", 3, 2, 6)),
        acknowledge=f.pattern("replies.acknowledge"),
        error=f.pattern("replies.error"),
        alarm=f.pattern("replies.alarm"),
        greeting=f.pattern("replies.greeting", optional=True),
        ignore=f.patterns("replies.ignore"),
        ask=f.text("status.ask"),
        status_outside_lines=f.truth("status.outside_lines", False),
        status=f.pattern("status.reply", groups=("state", "x", "y", "z")),
        states=f.states(),
        urgent_outside_lines=f.truth("urgent.outside_lines", False),
        hold=f.text("urgent.hold"),
        resume=f.text("urgent.resume"),
        reset=f.text("urgent.reset"),
        begin=f.texts("words.begin"),
        home=f.text("words.home"),
        rapid=f.text("words.rapid", "G0"),
        feed=f.text("words.feed", "G1"),
        spindle_on=f.text("words.spindle_on", ""),
        spindle_off=f.text("words.spindle_off", ""),
        acknowledged_when=f.one_of("words.acknowledged_when", ("accepted", "finished"), "accepted"),
        acknowledge_s=f.number("seconds.acknowledge", 2.0, 0.05, 60.0),
        status_s=f.number("seconds.status", 1.0, 0.05, 60.0),
        home_s=f.number("seconds.home", 60.0, 1.0, 600.0),
        greeting_s=f.number("seconds.greeting", 3.0, 0.0, 60.0),
    )
    _check_together(dialect)
    return dialect


def _check_together(d: Dialect) -> None:
    for key, text, outside in (
        ("status.ask", d.ask, d.status_outside_lines),
        ("urgent.hold", d.hold, d.urgent_outside_lines),
        ("urgent.resume", d.resume, d.urgent_outside_lines),
        ("urgent.reset", d.reset, d.urgent_outside_lines),
        *(("words.begin", line, False) for line in d.begin),
        *((f"words.{k}", getattr(d, k), False) for k in ("home", "rapid", "feed")),
    ):
        if not text.isascii() or not (outside or text.isprintable()):
            raise _Bad(key, "must be plain text on one line")
    if bool(d.spindle_on) != bool(d.spindle_off):
        raise _Bad("words.spindle_off", "and spindle_on go together")
    for key, text, field in (
        ("words.spindle_on", d.spindle_on, r"(\{speed\})?"),
        ("line.checksum_text", d.checksum_text, r"\{check(:[0-9]{0,2}[dxX])?\}"),
    ):
        if not re.fullmatch(rf"[ -z|~]*{field}[ -z|~]*", text):
            raise _Bad(key, "may hold plain text and one field, {speed} or {check}")
    try:
        d.line_bytes(d.move(d.feed, x=-1000.0, y=-1000.0, z=-1000.0, feed=10000), 99999)
    except ValueError:
        raise _Bad("line.longest", "is too short for a move") from None


class _Fields:
    """Values by "section.key", each checked as it is taken."""

    def __init__(self, data: dict) -> None:
        self._data = data

    def _get(self, key: str, default):
        section, _, name = key.rpartition(".")
        value = (self._data.get(section, {}) if section else self._data).get(name, default)
        if value is None:
            raise _Bad(key, "is missing")
        return value

    def text(self, key: str, default: str | None = None) -> str:
        value = self._get(key, default)
        if not isinstance(value, str) or (default is None and not value):
            raise _Bad(key, "must be a text")
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        value = self._get(key, [])
        if not isinstance(value, list) or not all(isinstance(v, str) and v for v in value):
            raise _Bad(key, "must be a list of texts")
        return tuple(value)

    def truth(self, key: str, default: bool) -> bool:
        value = self._get(key, default)
        if not isinstance(value, bool):
            raise _Bad(key, "must be true or false")
        return value

    def one_of(self, key: str, allowed: tuple[str, ...], default: str) -> str:
        value = self._get(key, default)
        if value not in allowed:
            raise _Bad(key, f"must be one of {', '.join(map(repr, allowed))}")
        return value

    def number(self, key: str, default: float, low: float, high: float) -> float:
        value = self._get(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise _Bad(key, "must be a number")
        if not low <= value <= high:
            raise _Bad(key, f"must be {low:g} to {high:g}")
        return float(value)

    def pattern(self, key: str, *, groups: tuple[str, ...] = (), optional: bool = False):
        if optional and self._get(key, ""):
            optional = False
        return None if optional else self._compiled(key, self.text(key), groups)

    def patterns(self, key: str) -> tuple[re.Pattern[str], ...]:
        return tuple(self._compiled(key, text) for text in self.texts(key))

    def _compiled(self, key: str, text: str, groups: tuple[str, ...] = ()) -> re.Pattern[str]:
        if len(text) > LONGEST_PATTERN:
            raise _Bad(key, f"is longer than {LONGEST_PATTERN} characters")
        try:
            pattern = re.compile(text, re.ASCII)
        except (re.error, RecursionError, OverflowError) as error:
            raise _Bad(key, f"is no regular expression ({error})") from None
        lacking = [group for group in groups if group not in pattern.groupindex]
        if lacking:
            raise _Bad(key, f"lacks (?P<{lacking[0]}>…)")
        if pattern.fullmatch("") or (pattern.fullmatch("~ 1") and pattern.fullmatch("zz zz")):
            raise _Bad(key, "matches anything, so noise would pass for an answer")
        return pattern

    def states(self) -> dict[str, str]:
        words: dict[str, str] = {}
        for state in (RESTING, MOVING, HELD, ALARMED):
            for word in self.texts(f"status.{state}"):
                if word in words:
                    raise _Bad(f"status.{state}", f"names {word!r}, which is another state too")
                words[word] = state
        if RESTING not in words.values() or MOVING not in words.values():
            raise _Bad("status.resting", "and moving must each name a word")
        return words


def _shipped_files() -> dict:
    folder = resources.files("drillaid.table.dialects")
    files = (entry for entry in folder.iterdir() if entry.name.endswith(".toml"))
    return {
        entry.name.removesuffix(".toml"): entry for entry in sorted(files, key=lambda e: e.name)
    }


def _line_of(text: str, key: str) -> int | None:
    section, _, name = key.rpartition(".")
    here = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if header := re.match(r"\s*\[\s*([\w.]+)\s*\]", line):
            here = header.group(1)
            if here == key:
                return number
        elif here == section and re.match(rf"\s*{re.escape(name)}\s*=", line):
            return number
    return None
