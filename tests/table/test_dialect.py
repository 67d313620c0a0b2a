"""Dialects: the shipped ones, a user's own, and bad files told in one sentence."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drillaid.errors import DialectError
from drillaid.table import dialect as d
from drillaid.table.dialect_file import dialect_text, load_dialect, parse_dialect, shipped
from drillaid.table.framing import NOT_TEXT, Line

NAMES = ("line-ack", "numbered-ack")


def test_two_are_shipped_and_say_what_they_are_for():
    assert tuple(shipped()) == NAMES
    assert all(shipped().values())


@pytest.mark.parametrize(
    ("name", "text", "kind"),
    [
        ("line-ack", "ok", d.ACKNOWLEDGE),
        ("line-ack", "ok ok", d.UNKNOWN),
        ("line-ack", "error:12", d.ERROR),
        ("line-ack", "alarm:limit switch", d.ALARM),
        ("line-ack", "ready, table controller 1", d.GREETING),
        ("line-ack", "note: hello", d.IGNORED),
        ("line-ack", "is resting at 1 2 nan", d.UNKNOWN),
        ("line-ack", "is resting at 1 2 x", d.UNKNOWN),
        ("line-ack", "is asleep at 1 2 3", d.UNKNOWN),
        ("numbered-ack", "ok N7", d.ACKNOWLEDGE),
        ("numbered-ack", "ok", d.UNKNOWN),
        ("numbered-ack", "no N7 checksum", d.ERROR),
        ("numbered-ack", "fault limit", d.ALARM),
        ("numbered-ack", "start", d.GREETING),
        ("numbered-ack", "busy", d.IGNORED),
    ],
)
def test_what_a_line_means(name, text, kind):
    assert load_dialect(name).read(Line(text)).kind == kind


def test_status_and_numbers_are_read():
    reply = load_dialect("line-ack").read(Line("is moving at 1.5 -2 0.25"))
    assert (reply.state, reply.position_mm) == (d.MOVING, (1.5, -2.0, 0.25))
    reply = load_dialect("numbered-ack").read(Line("X1.5 Y-2 Z0 HOLD"))
    assert (reply.state, reply.position_mm) == (d.HELD, (1.5, -2.0, 0.0))
    assert load_dialect("numbered-ack").read(Line("ok N12")).line == 12
    assert load_dialect("numbered-ack").read(Line("no N3 checksum")).reason == "checksum"


@pytest.mark.parametrize("name", NAMES)
def test_a_faulty_line_never_means_anything(name):
    assert load_dialect(name).read(Line("ok", NOT_TEXT)).kind == d.UNKNOWN


@given(st.text(alphabet=st.characters(min_codepoint=32, max_codepoint=126), max_size=40))
def test_noise_is_no_answer(text):
    """Whatever is understood holds one of the dialect's own words."""
    for name, words in (("line-ack", "ok error alarm ready note is"),
                        ("numbered-ack", "ok no fault start busy X")):  # fmt: skip
        reply = load_dialect(name).read(Line(text))
        assert reply.kind == d.UNKNOWN or text.startswith(tuple(words.split()))


def test_lines_as_they_go_out():
    assert load_dialect("line-ack").line_bytes("G0 X1") == b"G0 X1\n"
    sent = load_dialect("numbered-ack").line_bytes("G0 X1", 3)
    assert sent == b"N3 G0 X1&%02X\n" % (sum(b"N3 G0 X1") % 256)
    assert d.check_of("abc", "xor") == ord("a") ^ ord("b") ^ ord("c")


# RS-274/NGC knows plain decimal numbers only, no exponents (from memory; the report was not seen).
@given(st.floats(-5000, 5000))
def test_coordinates_have_no_exponent_and_no_negative_zero(value):
    text = load_dialect("line-ack").number(value)
    assert "e" not in text and text != "-0.000"
    assert abs(float(text) - value) <= 0.0005 + 1e-9


def test_a_move_names_only_the_axes_that_move():
    dialect = load_dialect("line-ack")
    assert dialect.move("G0", x=1.0, y=-2.0) == "G0 X1.000 Y-2.000"
    assert dialect.move("G1", z=-0.5, feed=120.4) == "G1 Z-0.500 F120"


@pytest.mark.parametrize("text", ["G0\nG1", "x" * 200, "G0 \x18", "Ü"])
def test_what_is_no_line_is_not_sent(text):
    with pytest.raises(ValueError):
        load_dialect("line-ack").line_bytes(text)


GOOD = dialect_text("line-ack")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('format = "drillaid-dialect/1"', 'format = "x"', "format must be"),
        ("acknowledge = \"ok\"", "acknowledge = '('", "replies.acknowledge is no regular"),
        ("acknowledge = \"ok\"", "acknowledge = '.*'", "matches anything"),
        ("acknowledge = \"ok\"", "acknowledge = 3", "must be a text"),
        ("acknowledge = \"ok\"", "acknowledge = 'ok'\nwelcome = 'x'", "welcome is not known"),
        ("(?P<y>", "(?P<w>", "lacks (?P<y>"),
        ('resting = ["resting"]', 'resting = ["moving"]', "another state"),
        ('resting = ["resting"]', "resting = []", "must each name"),
        ("longest = 100 ", "longest = 30 ", "too short for a move"),
        ("longest = 100 ", "longest = true ", "must be a number"),
        ("decimals = 3", "decimals = 9", "must be 2 to 6"),
        ('ending = "\\n"', 'ending = "x"', "must be one of"),
        ('spindle_off = "M5"', "", "go together"),
        ('"M3 S{speed}"', '"M3 S{power}"', "one field"),
        ('home = "HOME"', 'home = "a\\nb"', "plain text on one line"),
        ('hold = "\\u0013"', 'hold = "§"', "plain text"),
        ("[seconds]", "[hours]", "hours is not known"),
        ("[line]", "line = 3\n[lines]", "is not"),
        ("[line]", "[line", "is not TOML"),
        ('ask = "\\u0005"', "", "status.ask is missing"),
        ("outside_lines = true", "outside_lines = 1", "must be true or false"),
    ],
)  # fmt: skip
def test_bad_files_are_refused_in_one_sentence(old, new, told):
    assert old in GOOD
    with pytest.raises(DialectError) as refused:
        parse_dialect(GOOD.replace(old, new, 1), "mine")
    text = str(refused.value)
    assert told in text and text.startswith("mine.toml") and text.endswith(".")
    assert "\n" not in text


def test_the_line_of_a_fault_is_named(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(GOOD.replace("decimals = 3", "decimals = 9"))
    with pytest.raises(DialectError, match=r"mine\.toml, line \d+: line\.decimals"):
        load_dialect(path)


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"a" * 200_000])
def test_files_that_are_none(tmp_path, content):
    path = tmp_path / "x.toml"
    path.write_bytes(content)
    with pytest.raises(DialectError):
        load_dialect(path)


def test_no_such_dialect_names_those_there_are():
    with pytest.raises(DialectError, match="line-ack and numbered-ack"):
        load_dialect("nothing")


def test_a_users_own_copy_is_read(tmp_path):
    path = tmp_path / "garage.toml"
    path.write_text(GOOD.replace('acknowledge = "ok"', "acknowledge = 'done'"))
    dialect = load_dialect(path)
    assert dialect.name == "garage"
    assert dialect.read(Line("done")).kind == d.ACKNOWLEDGE


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text):
    try:
        parse_dialect(text, "mine")
    except DialectError as error:
        assert "\n" not in str(error)
