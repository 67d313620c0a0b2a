"""`table probe`: the raw dialogue, and nothing that moves anything."""

from __future__ import annotations

import json

import pytest

from drillaid.cli import main
from drillaid.simulation.table import SimulatedTable
from drillaid.simulation.table_port import TableServer
from drillaid.table.dialect_file import parse_dialect


def test_a_table_in_the_computer_is_listened_to_and_asked(capsys):
    words = ["--dialect", "line-ack", "--ask", "--send", "M5", "--send", "G99"]
    assert main(["table", "probe", "--port", "sim", *words, "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["dialogue"]
    assert [(r["sent"], r["text"], r.get("means")) for r in rows] == [
        (False, "ready, table controller (simulated)", "greeting"),
        (True, "\\x05", None),
        (False, "is resting at 40.000 32.000 0.000", "status: resting"),
        (True, "M5\\n", None),
        (False, "ok", "acknowledge"),
        (True, "G99\\n", None),
        (False, "error:3", "error"),
    ]
    assert rows[2]["t"] > rows[1]["t"]


def test_numbered_lines_get_their_number(capsys):
    words = ["--dialect", "numbered-ack", "--ask", "--send", "M5", "--json"]
    assert main(["table", "probe", "--port", "sim", *words]) == 0
    rows = json.loads(capsys.readouterr().out)["dialogue"]
    assert [r.get("means") for r in rows if not r["sent"]] == [
        "greeting", "status: resting", "acknowledge", "acknowledge"
    ]  # fmt: skip


def test_without_a_line_to_send_nothing_is_sent(capsys):
    with TableServer(lambda now: SimulatedTable(now)) as server:
        assert main(["table", "probe", "--port", server.url, "--seconds", "0.2"]) == 0
        with server.lock:
            assert not [h for h in server.table.log if h.what in ("line", "urgent", "motion")]
    told = capsys.readouterr()
    assert "<- ready, table controller" in told.out
    assert "emergency stop" in told.err


def test_silence_says_what_to_try(capsys):
    def mute(now):
        table = SimulatedTable(now)
        table.replies.silent = True
        return table

    with TableServer(mute) as server:
        assert main(["table", "probe", "--port", server.url, "--seconds", "0.1"]) == 0
    assert "check baud rate" in capsys.readouterr().out


def test_the_shipped_dialects_are_shown_to_be_copied(capsys):
    assert main(["table", "probe", "--dialects", "--json"]) == 0
    texts = json.loads(capsys.readouterr().out)["dialects"]
    assert set(texts) == {"line-ack", "numbered-ack"}
    for name, text in texts.items():
        assert parse_dialect(text, name).name == name


@pytest.mark.parametrize(
    ("words", "status", "told"),
    [
        ([], 2, "no port"),
        (["--port", "sim", "--ask"], 2, "--dialect"),
        (["--port", "sim", "--send", "a\nb"], 2, "plain text"),
        (["--port", "sim", "--seconds", "nan"], 2, "--seconds"),
        (["--port", "sim", "--dialect", "nothing"], 2, "shipped"),
        (["--port", "/dev/nothing-here"], 4, "cannot be opened"),
    ],
)
def test_mistakes(words, status, told, capsys):
    assert main(["table", "probe", *words]) == status
    err = capsys.readouterr().err
    assert told in err and "Traceback" not in err
