"""Ports of every kind through pyserial: sockets, pseudo-terminals, and how each one fails."""

from __future__ import annotations

import os
import select
import socket
import threading
import time

import pytest

from drillaid.errors import PortLost, PortTimeout, UsageError
from drillaid.table.framing import Line
from drillaid.table.link import Link


@pytest.fixture
def peer():
    """(URL, the other end once someone has come)."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(5)
        held = []

        def accept():
            held.append(server.accept()[0])
            held[0].settimeout(5)

        thread = threading.Thread(target=accept)
        thread.start()

        def other_end() -> socket.socket:
            thread.join(5)
            return held[0]

        yield f"socket://127.0.0.1:{server.getsockname()[1]}", other_end
        thread.join(6)
        for end in held:
            end.close()


def test_lines_go_both_ways_and_are_noted(peer):
    url, other_end = peer
    with Link.open(url) as link:
        end = other_end()
        link.send(b"G0 X1\n")
        assert end.recv(100) == b"G0 X1\n"
        end.sendall(b"ok\r\nis re")
        assert link.line(5) == Line("ok")
        end.sendall(b"sting\n")
        assert link.line(5) == Line("is resting")
        assert [(h.sent, h.text) for h in link.dialogue] == [
            (True, "G0 X1\\n"), (False, "ok"), (False, "is resting")
        ]  # fmt: skip
        assert "->" in str(link.dialogue[0]) and "<-" in str(link.dialogue[1])


def test_silence_is_a_timeout_that_says_what_was_waited_for(peer):
    with Link.open(peer[0]) as link:
        assert link.poll(0.01) is None
        with pytest.raises(PortTimeout, match="No greeting from socket.* within 0.01 s"):
            link.line(0.01, "greeting")


def test_the_other_end_gone_is_a_lost_port_again_and_again(peer):
    url, other_end = peer
    with Link.open(url) as link:
        other_end().close()
        for _ in range(2):
            with pytest.raises(PortLost, match="is gone"):
                link.line(5)


def test_what_came_before_the_end_is_still_heard(peer):
    url, other_end = peer
    with Link.open(url) as link:
        other_end().sendall(b"alarm:x\n")
        other_end().close()
        assert link.line(5) == Line("alarm:x")


def test_closing_ends_the_reader_and_may_be_done_twice(peer):
    link = Link.open(peer[0])
    link.close()
    link.close()
    with pytest.raises(PortLost):
        link.line(1)
    with pytest.raises(PortLost):
        link.send(b"x")


@pytest.mark.parametrize("url", ["", "a\0b", "nonsense://x", "socket://nowhere", "sim"])
def test_what_is_no_port(url):
    with pytest.raises((UsageError, PortLost)):
        Link.open(url)


def test_a_port_that_is_not_there(tmp_path):
    with pytest.raises(PortLost, match="cannot be opened"):
        Link.open(str(tmp_path / "ttyS9"))


def test_nobody_listens():
    with socket.create_server(("127.0.0.1", 0)) as server:
        number = server.getsockname()[1]
    with pytest.raises(PortLost, match="cannot be opened"):
        Link.open(f"socket://127.0.0.1:{number}")


@pytest.mark.skipif(os.name == "nt", reason="pseudo-terminals are POSIX")
def test_a_pseudo_terminal_is_a_port():
    import pty

    master, slave = pty.openpty()
    try:
        with Link.open(os.ttyname(slave)) as link:
            link.send(b"\x05\x13")
            assert _read(master, 2) == b"\x05\x13"
            os.write(master, b"is resting\r\n")
            assert link.line(5) == Line("is resting")
            os.close(slave)
            os.close(master)
            master = slave = None
            with pytest.raises(PortLost):
                link.line(5)
    finally:
        for descriptor in (master, slave):
            if descriptor is not None:
                os.close(descriptor)


def _read(descriptor: int, count: int) -> bytes:
    data, end = b"", time.monotonic() + 5
    while len(data) < count and (left := end - time.monotonic()) > 0:
        if select.select([descriptor], [], [], left)[0]:
            data += os.read(descriptor, count)
    return data
