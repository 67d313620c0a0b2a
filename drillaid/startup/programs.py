"""Runs pip, venv and apt-get out of sight, and turns their failures into one sentence."""

from __future__ import annotations

import os
import platform
import re
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from pathlib import Path

NEEDED_MB = 1000  # measured with the tests' packages: 720 MB, and 230 MB of downloads meanwhile

# What the programs write when it goes wrong -> what to tell. The first that fits counts.
_TROUBLES = (
    (
        r"No space left on device|Errno 28\b|Errno 122\b|Disk quota exceeded",
        f"the disk is full: make about {NEEDED_MB} MB free and type the same again",
    ),
    (
        r"CERTIFICATE_VERIFY_FAILED|SSLError",
        "the package index was reached, but its certificate was not accepted: set this machine's"
        " clock right, or name your proxy's certificate in PIP_CERT, and type the same again",
    ),
    (
        r"NewConnectionError|NameResolutionError|[Nn]ame resolution|Name or service not known|"
        r"getaddrinfo failed|Could not resolve|Connection refused|ConnectTimeout|ReadTimeout|"
        r"timed out|ProxyError|Network is unreachable|Connection broken|Connection reset|"
        r"RemoteDisconnected|Failed to fetch|ProtocolError|Unable to locate package",
        "there is no network, or a proxy is in the way; connect this machine (behind a proxy set"
        " HTTPS_PROXY) and type the same again; the network is needed for the set-up only",
    ),
    (
        r"DO NOT MATCH THE HASHES",
        "a package that came is not the one we locked, so it was not installed: type the same"
        " again; if it happens again, do not trust the line or the mirror it came over",
    ),
    (
        r"No matching distribution found|is not a supported wheel",
        "there is no ready-made package for this Python"
        f" ({platform.python_implementation()} {platform.python_version()},"
        f" {platform.machine()}): use a 64 bit CPython 3.11 to 3.14 on Linux, macOS or Windows",
    ),
    (
        r"Permission denied|Read-only file system|Errno 13\b|Errno 30\b",
        "this folder cannot be written to: copy drillaid to a folder of your own, start it there",
    ),
)

# Would send pip's packages elsewhere or feed it, and the environment's Python, other modules.
_MISLEADING = (
    "PYTHONHOME",
    "PYTHONPATH",
    "PIP_TARGET",
    "PIP_PREFIX",
    "PIP_ROOT",
    "PIP_USER",
    "PIP_NO_BINARY",
    "PIP_REQUIRE_VIRTUALENV",
    "__PYVENV_LAUNCHER__",
)


class Trouble(Exception):
    """The set-up cannot go on; the text says why and what to do."""


def say(text: str) -> None:
    """Tells the person; standard output belongs to the command's answer."""
    print(text, file=sys.stderr, flush=True)


def clean_environment(**more: str) -> dict[str, str]:
    """The person's environment without what would mislead, with `more`."""
    env = {name: value for name, value in os.environ.items() if name not in _MISLEADING}
    return {**env, **more}


def run_logged(
    command: Sequence[str | Path],
    *,
    log: Path,
    deadline_s: float,
    held: int | None = None,
    env: dict[str, str] | None = None,
    on_line: Callable[[str], None] | None = None,
) -> tuple[int, str]:
    """Runs a program with its output appended to the log; returns (status, output).

    held: descriptor of the set-up's lock. The program inherits it, so that when
    we are killed nobody else begins while it still writes.
    After the deadline the program is killed and its status is negative.
    """
    keep = {} if os.name == "nt" or held is None else {"pass_fds": (held,)}
    words = [str(word) for word in command]
    lines = []
    with (
        open(log, "a", encoding="utf-8") as book,
        subprocess.Popen(
            words,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            env=env,
            **keep,
        ) as child,
    ):
        book.write(f"\n$ {' '.join(words)}\n")
        clock = threading.Timer(deadline_s, child.kill)
        clock.start()
        try:
            for raw in child.stdout:
                line = raw.decode("utf-8", "replace")
                lines.append(line)
                book.write(line)
                book.flush()
                if on_line is not None:
                    on_line(line)
            status = child.wait()
        finally:
            clock.cancel()
            clock.join()
            if child.poll() is None:  # we were interrupted
                child.terminate()
    return status, "".join(lines)


def explain(doing: str, output: str, log: Path) -> Trouble:
    """The trouble behind a failed program's output."""
    for pattern, sentence in _TROUBLES:
        if re.search(pattern, output):
            return Trouble(f"{doing} failed: {sentence}.\n(All that was said stands in {log}.)")
    tail = "\n".join(f"    {line}" for line in output.strip().splitlines()[-12:])
    return Trouble(f"{doing} failed; the last that was said:\n{tail}\nAll of it stands in {log}.")


def explain_os(error: OSError, folder: Path) -> Trouble:
    """The trouble behind an error of the file system."""
    where = error.filename or folder
    for pattern, sentence in _TROUBLES:
        if re.search(pattern, f"Errno {error.errno} "):
            return Trouble(f"{sentence} ({where}).")
    return Trouble(f"{error.strerror or error} ({where}).")
