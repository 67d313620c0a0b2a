"""Header lines, tool definitions and comments of an NC drill file."""

from __future__ import annotations

import re

from drillaid.design.drill_program import Program, Tool

_MASK = re.compile(r"^(0+)\.(0+)$")
_TOOL = re.compile(r"^T([0-9]{1,6})((?:,?[BCFHSZ][-+]?[0-9.]*)+)$")
_TOOL_WORD = re.compile(r"([BCFHSZ])([-+]?[0-9.]*)")
_FILE_FORMAT = re.compile(r"FILE_FORMAT\s*=\s*([0-9])\s*:\s*([0-9])")
_FORMAT = re.compile(r"FORMAT\s*=\s*\{\s*([0-9-])\s*:\s*([0-9-])\s*/([^}]*)\}?")
_ATTRIBUTE = re.compile(r"#@!\s*(T[FAD])(?:\.(\w+))?(?:,(.*))?$", re.I)
_HOLE_SIZE = re.compile(
    r"^(?:T([0-9]{1,4}))?\s*HOLESIZE\s+([0-9]{1,4})\.?\s*=\s*([0-9]*\.?[0-9]+)\b"
    r"(?=.*\b(MILS?|MM|INCH(?:ES)?)\b)(?:.*?\b(NON_?PLATED|PLATED))?"
)
_UNIT_MM = {"MIL": 0.0254, "MILS": 0.0254, "MM": 1.0, "INCH": 25.4, "INCHES": 25.4}

# header words that set up a machine and move no hole
_HARMLESS = re.compile(
    r"^(?:AFS|ATC|BLKD|CAN_TEXT_OFF|CCW|CP|DETECT|DN|DTMDIST|EXDA|FSB|HBCK|HPCK|LIMITS|NCSL|OM48"
    r"|OSTOP|OTCLMP|PCKPARAM|PF|PPR|PVS|RC|RCP|RCR|RD|RH|R|RESET|SBK|SG|SIXM|TCST|UP|ZA|ZC|ZS)"
    r"(?:,.*)?$|^Z[-+]?[0-9.]+$|^[SF][0-9.]+$|^[A-Z]{2,}_?[A-Z]*,OFF$"
)


def read_header_line(program: Program, text: str, line: int) -> bool:
    """Takes in one upper-case line without blanks if it is a statement; False if it is not."""
    head, *options = text.split(",")
    if head in ("METRIC", "INCH", "M71", "M72"):
        _unit(program, "metric" if head in ("METRIC", "M71") else "inch", options, line)
    elif head == "FMAT":
        _format_number(program, options, line)
    elif head == "ICI" or text in ("ICION", "ICIOFF"):
        program.starts_incremental = text in ("ICI", "ICI,ON", "ICION")
    elif head == "VER":
        if options and options[0] not in ("1", ""):
            raise program.error(
                f"VER,{options[0]} turns or mirrors the machine's axes",
                line,
                "export with VER,1 or without a VER line",
            )
    else:
        return False
    return True


def is_harmless(text: str) -> bool:
    """A machine set-up word that moves no hole."""
    return _HARMLESS.match(text) is not None


def _unit(program: Program, unit: str, options: list[str], line: int) -> None:
    said = program.said
    if said.unit is not None and said.unit.value != unit:
        raise program.error(
            f"says {unit} where line {said.unit.line} says {said.unit.value}",
            line,
            "keep the one that is true and delete the other",
        )
    said.say("unit", unit, line)
    for option in options:
        mask = _MASK.match(option)
        if option in ("LZ", "TZ"):
            said.say("zeros", option, line)
        elif mask and len(option) < 12:
            said.say("digits", (len(mask[1]), len(mask[2])), line)
        elif option:
            program.note(f"'{option[:20]}' is not known here and was ignored", line)


def _format_number(program: Program, options: list[str], line: int) -> None:
    if options not in (["1"], ["2"]):
        raise program.error("FMAT must be 1 or 2", line, "correct the line")
    program.format_1 = options == ["1"]


def read_tool_definition(program: Program, text: str, line: int) -> int | None:
    """The tool's number for a line like `T01C0.8F200S65` (letters in any order), else None."""
    match = _TOOL.match(text)
    if match is None:
        return None
    number = int(match[1])
    values = dict(_TOOL_WORD.findall(match[2]))
    known = program.tools.get(number)
    diameter = values.get("C")
    if diameter is None:  # feeds and speeds of a tool defined elsewhere
        if known is None and number:
            program.tools[number] = Tool(number, line, None, program.attribute_plated)
        return number
    if known and known.diameter is not None and known.diameter != diameter:
        raise program.error(
            f"tool T{number} gets the diameter {diameter} but had {known.diameter} "
            f"in line {known.line}",
            line,
            "give the two sizes two tool numbers",
        )
    if known is None or known.diameter is None:
        from_comment = known.from_comment_mm if known else None
        program.tools[number] = Tool(number, line, diameter, program.attribute_plated, from_comment)
    return number


def read_comment(program: Program, text: str, line: int) -> None:
    """Takes from a comment what the trade puts there: digits, plating, hole sizes."""
    upper = text.upper()
    if "#@!" in text:
        _attribute(program, text)
    elif match := _FILE_FORMAT.search(upper):
        program.said.say("digits", (int(match[1]), int(match[2])), line)
    elif match := _FORMAT.search(upper):
        _format_comment(program, match, line)
    elif upper.replace(" ", "") in ("TYPE=PLATED", "TYPE=NON_PLATED"):
        program.attribute_plated = "NON" not in upper
    elif match := _HOLE_SIZE.match(upper):
        _hole_size(program, match, line)


def _attribute(program: Program, text: str) -> None:
    match = _ATTRIBUTE.search(text)
    if match is None:
        return
    kind, attribute, value = match[1].upper(), (match[2] or "").lower(), (match[3] or "").lower()
    words = re.split(r"[,\s]+", value)
    plated = False if "nonplated" in words else True if "plated" in words else None
    if kind == "TF" and attribute == "filefunction":
        program.plated = plated
    elif kind == "TA" and attribute == "aperfunction":
        program.attribute_plated = plated
    elif kind == "TD" and attribute in ("", "aperfunction"):
        program.attribute_plated = None


def _format_comment(program: Program, match: re.Match, line: int) -> None:
    said, words = program.said, match[3]
    if match[1].isdigit() and match[2].isdigit():
        said.say("digits", (int(match[1]), int(match[2])), line)
    if "DECIMAL" in words:
        said.say("zeros", "point", line)
    elif "SUPPRESS LEADING" in words:
        said.say("zeros", "TZ", line)
    elif "SUPPRESS TRAILING" in words:
        said.say("zeros", "LZ", line)
    elif "KEEP ZEROS" in words:
        said.say("zeros", "all", line)
    unit = "inch" if "INCH" in words else "metric" if "METRIC" in words else None
    if unit and said.unit is None:
        said.say("unit", unit, line)


def _hole_size(program: Program, match: re.Match, line: int) -> None:
    number = int(match[1] or match[2])
    size_mm = float(match[3]) * _UNIT_MM[match[4]]
    tool = program.tools.setdefault(number, Tool(number, line))
    tool.from_comment_mm = size_mm
    if match[5]:
        tool.plated = not match[5].startswith("NON")
