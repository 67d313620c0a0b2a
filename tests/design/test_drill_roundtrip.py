"""Holes written in every number format of the family come back where they were."""

from __future__ import annotations

import math

from hypothesis import given, settings
from hypothesis import strategies as st

from drillaid.design.drill import read_drill

MM = {"INCH": 25.4, "METRIC": 1.0}
DIGITS = [(2, 4), (2, 5), (3, 2), (3, 3), (4, 4)]


@st.composite
def boards(draw):
    """(unit, digits, zeros or "point", incremental, holes, sizes, how digits are stated).

    A hole is (tool, (x, y), other end or None) in counts of the last digit.
    """
    unit = draw(st.sampled_from(list(MM)))
    whole, fraction = draw(st.sampled_from(DIGITS))
    reach_mm = min(300.0, 0.49 * 10**whole * MM[unit])  # a step may be twice as long
    limit = int(reach_mm / MM[unit] * 10**fraction)
    count = st.integers(-limit, limit)
    place = st.tuples(count, count)
    end = st.one_of(st.none(), place)
    sizes = draw(st.lists(st.integers(20, 640), min_size=1, max_size=5, unique=True))
    hole = st.tuples(st.integers(1, len(sizes)), place, end)
    return (
        unit,
        (whole, fraction),
        draw(st.sampled_from(["LZ", "TZ", "point"])),
        draw(st.booleans()),
        draw(st.lists(hole, min_size=1, max_size=30)),
        sizes,
        draw(st.sampled_from(["mask", "comment"])),
    )


def number(count: int, digits: tuple[int, int], zeros: str) -> str:
    whole, fraction = digits
    sign, text = "-" if count < 0 else "", f"{abs(count):0{whole + fraction}d}"
    if zeros == "point":
        return f"{sign}{text[:-fraction]}.{text[-fraction:]}"
    stripped = text.rstrip("0") if zeros == "LZ" else text.lstrip("0")
    return sign + (stripped or "0")


def write(board) -> str:
    unit, digits, zeros, incremental, holes, sizes, stated = board
    zero_word = "TZ" if zeros == "point" else zeros
    lines = ["M48"]
    if stated == "comment":
        lines += [f";FILE_FORMAT={digits[0]}:{digits[1]}", f"{unit},{zero_word}"]
    else:
        lines += [f"{unit},{zero_word},{'0' * digits[0]}.{'0' * digits[1]}"]
    lines += [f"T{i:02d}F00S00C{size / 100 / MM[unit]:.6f}" for i, size in enumerate(sizes, 1)]
    lines += ["%", "G91" if incremental else "G90"]
    here, tool_now = (0, 0), 0
    for tool, place, end in holes:
        if tool != tool_now:
            lines.append(f"T{tool}")
            tool_now = tool
        text = ""
        for target in (place, end):
            if target is None:
                continue
            step = [t - h if incremental else t for t, h in zip(target, here, strict=True)]
            if text:
                text += "G85"
            text += "".join(
                letter + number(s, digits, zeros) for letter, s in zip("XY", step, strict=True)
            )
            here = target
        lines.append(text)
    return "\n".join([*lines, "M30", ""])


@settings(max_examples=120, deadline=None)
@given(boards())
def test_written_holes_come_back(board):
    unit, digits, _, _, holes, sizes, _ = board
    found = read_drill(write(board).encode(), "board.drl")
    assert found.warnings == ()
    count_mm = MM[unit] / 10 ** digits[1]
    assert len(found.spots) == len(holes)
    for spot, (tool, place, end) in zip(found.spots, holes, strict=True):
        assert math.isclose(spot.drill_mm, sizes[tool - 1] / 100, abs_tol=2e-5)
        assert math.dist((spot.x_mm, spot.y_mm), [c * count_mm for c in place]) < 1e-6
        if end is None or end == place:
            assert spot.slot_to_mm is None
        else:
            assert math.dist(spot.slot_to_mm, [c * count_mm for c in end]) < 1e-6


@settings(max_examples=80, deadline=None)
@given(
    st.sampled_from(["LZ", "TZ"]),
    st.sampled_from([("INCH", (2, 4)), ("METRIC", (3, 3))]),
    st.sets(st.tuples(st.integers(4, 40), st.integers(4, 30)), min_size=12, max_size=60),
    st.booleans(),
)
def test_a_silent_header_is_never_read_wrong(zeros, unit_digits, grid, with_unit):
    """Boards on a 2.54 mm grid: right, or refused; a wrong reading is the one thing not allowed."""
    from drillaid.errors import DesignError

    unit, digits = unit_digits
    places = [(2.54 * column, 2.54 * row) for column, row in sorted(grid)]
    lines = ["M48", *([unit] if with_unit else []), f"T1C{0.9 / MM[unit]:.4f}", "%", "T1"]
    for x, y in places:
        counts = [round(v / MM[unit] * 10 ** digits[1]) for v in (x, y)]
        lines.append("X{}Y{}".format(*(number(c, digits, zeros) for c in counts)))
    try:
        found = read_drill("\n".join([*lines, "M30"]).encode(), "board.drl")
    except DesignError as error:
        assert "both possible" in error.what
        return
    for spot, place in zip(found.spots, places, strict=True):
        assert math.dist((spot.x_mm, spot.y_mm), place) < 0.003
