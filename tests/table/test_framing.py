"""The framer under half lines, two at once, noise, other encodings and lines without an end."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drillaid.table.framing import NOT_TEXT, OVER_LONG, Framer, Line


def fed(*parts: bytes, longest: int = 256) -> list[Line]:
    framer = Framer(longest)
    return [line for part in parts for line in framer.feed(part)]


@pytest.mark.parametrize("end", [b"\n", b"\r", b"\r\n", b"\n\r", b"\n\n\r\r"])
def test_every_line_ending_ends_a_line_once(end):
    assert fed(b"ok" + end + b"error:3" + end) == [Line("ok"), Line("error:3")]


def test_half_a_line_waits_for_the_other_half():
    framer = Framer()
    assert framer.feed(b"is rest") == []
    assert framer.held == b"is rest"
    assert framer.feed(b"ing\r") == [Line("is resting")]
    assert framer.feed(b"\nok\n") == [Line("ok")]


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        (b"o\xffk\n", "o\\xffk"),
        (b"\x00ok\n", "\\x00ok"),
        ("ok".encode("utf-16") + b"\n", "\\xff\\xfeo\\x00k\\x00"),
        ("ök\n".encode(), "\\xc3\\xb6k"),
        ("ök\n".encode("latin-1"), "\\xf6k"),
        (b"\x1b[31mok\n", "\\x1b[31mok"),
    ],
)
def test_noise_and_other_encodings_make_a_line_faulty_and_are_shown(raw, shown):
    assert fed(raw) == [Line(shown, NOT_TEXT)]


def test_a_line_without_an_end_costs_no_more_memory_and_is_faulty():
    framer = Framer(8)
    for _ in range(1000):
        assert framer.feed(b"x" * 1000) == []
        assert len(framer.held) == 8
    assert framer.feed(b"\nok\n") == [Line("xxxxxxxx", OVER_LONG), Line("ok")]


def test_a_line_as_long_as_allowed_is_whole():
    assert fed(b"12345678\n", longest=8) == [Line("12345678")]
    assert fed(b"123456789\n", longest=8) == [Line("12345678", OVER_LONG)]


def test_forgetting_half_a_line():
    framer = Framer(4)
    framer.feed(b"noise noise")
    framer.reset()
    assert framer.feed(b"ok\n") == [Line("ok")]


def test_a_line_has_at_least_one_byte():
    with pytest.raises(ValueError, match="at least one"):
        Framer(0)


BYTES = st.lists(st.sampled_from([b"ok", b"\n", b"\r", b"\xff", b" ", b"\t", b"a" * 9, b"\x00"]))


@given(BYTES.map(b"".join), st.lists(st.integers(0, 80)))
def test_lines_do_not_depend_on_how_they_were_cut(data, cuts):
    ends = sorted({0, len(data), *(c for c in cuts if c < len(data))})
    parts = [data[a:b] for a, b in zip(ends, ends[1:], strict=False)]
    assert fed(*parts, longest=10) == fed(data, longest=10)


# What the framer shall do, said in another way: split, strip, judge.
@given(BYTES.map(b"".join))
def test_against_a_plain_split(data):
    want = []
    for raw in data.replace(b"\r", b"\n").split(b"\n")[:-1]:
        if len(raw) > 10:
            want.append(OVER_LONG)
        elif raw.strip(b" \t"):
            clean = all(32 <= b < 127 or b == 9 for b in raw)
            want.append(None if clean else NOT_TEXT)
    assert [line.fault for line in fed(data, longest=10)] == want


@given(st.binary(max_size=400))
def test_any_bytes_give_printable_ascii(data):
    for line in fed(data, b"\n"):
        assert line.text.isascii() and line.text.isprintable()
