"""Makes .venv complete, alone, and so that being killed at any moment does no harm."""

from __future__ import annotations

import contextlib
import errno
import os
import re
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from drillaid.startup.debian import need_libraries, need_venv_modules
from drillaid.startup.place import Place, is_ready, write_stamp, write_whole
from drillaid.startup.programs import (
    NEEDED_MB,
    Trouble,
    clean_environment,
    explain,
    run_logged,
    say,
)

VENV_DEADLINE_S = 600
PIP_DEADLINE_S = 2 * 3600  # for a slow line; a dead one pip notices itself, much sooner
OTHERS_DEADLINE_S = 1200  # for another start.py that sets up


def set_up(place: Place, stage: str, *, again: bool = False) -> None:
    """Makes everything complete for a stage ("run", "test"); returns at once if it is.

    again: make it anew even so. Raises Trouble or OSError.
    """
    if again or not is_ready(place, stage):
        with only_one(place) as held:
            if again or not is_ready(place, stage):  # another may have done it meanwhile
                began = time.monotonic()
                _make(place, stage, held, again=again)
                say(f"Set up in {time.monotonic() - began:.0f} s.")
    need_libraries(place)


def _make(place: Place, stage: str, held: int, *, again: bool) -> None:
    claim_folder(place)
    if stage == "test" and is_ready(place, "run") and not again:
        say("Adding what the tests need.")
        install(place, held, place.lock_files("test")[1:])
    else:
        say("Setting drillaid up in the folder .venv; this is needed once.")
        empty_folder(place)
        need_space(place)
        need_venv_modules(place, held)
        make_venv(place, held)
        install(place, held, place.lock_files(stage))
    write_stamp(place, ["run"] if stage == "run" else ["run", "test"])


@contextlib.contextmanager
def only_one(place: Place, deadline_s: float = OTHERS_DEADLINE_S) -> Iterator[int]:
    """Keeps a second start.py out; yields the lock's descriptor.

    The system frees the lock of a dead process, so no stale one can remain.
    Raises Trouble if the other is not done before the deadline.
    """
    handle = os.open(place.lock, os.O_RDWR | os.O_CREAT, 0o644)
    end, told = time.monotonic() + deadline_s, False
    try:
        while not _try_lock(handle):
            if not told:
                say("Another start.py is setting up, or what one left behind still runs: waiting.")
                told = True
            if time.monotonic() > end:
                minutes = f"{deadline_s / 60:.0f} minutes"
                raise Trouble(f"another start.py is not done after {minutes}: end it and go on.")
            time.sleep(0.2)
        yield handle
    finally:
        os.close(handle)


def _try_lock(handle: int) -> bool:
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        # Any other error: a file system that knows no locks. Then we go on without.
        return error.errno not in (errno.EAGAIN, errno.EACCES, errno.EDEADLK)
    return True


def claim_folder(place: Place) -> None:
    """Makes .venv ours. One that somebody else made is moved aside, never deleted."""
    venv = place.venv
    plain = venv.is_dir() and not venv.is_symlink()
    ours = plain and (place.mark.exists() or not any(venv.iterdir()))
    if not ours and os.path.lexists(venv):
        number = 1
        while os.path.lexists(aside := venv.with_name(f".venv-moved-{number}")):
            number += 1
        venv.rename(aside)
        say(f"There was a .venv that start.py did not make; it is now {aside.name}.")
    venv.mkdir(exist_ok=True)
    write_whole(place.mark, "Made by start.py. May be deleted at any time.\n")


def empty_folder(place: Place) -> None:
    """Removes what an earlier or interrupted set-up left; the stamps first."""
    for path in (place.stamp, place.libraries):
        path.unlink(missing_ok=True)
    for path in place.venv.iterdir():
        if path in (place.mark, place.log):
            continue
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()


def need_space(place: Place) -> None:
    """Raises Trouble if the disk would become full half-way."""
    free_mb = shutil.disk_usage(place.root).free // 1_000_000
    if free_mb < NEEDED_MB:
        raise Trouble(
            f"{free_mb} MB are free on this disk and about {NEEDED_MB} MB are needed:"
            " make room and type the same again."
        )


def make_venv(place: Place, held: int | None) -> None:
    """Makes the bare environment, from the Python beneath if we run inside another one."""
    say("Making a Python environment")
    base = getattr(sys, "_base_executable", None) or sys.executable
    command = [base, "-I", "-m", "venv", place.venv]
    how = {"log": place.log, "held": held, "env": clean_environment()}
    status, output = run_logged(command, deadline_s=VENV_DEADLINE_S, **how)
    if status or not place.python.exists():
        raise explain("making the environment", output, place.log)


def install(place: Place, held: int | None, files: list[Path]) -> None:
    """First fetches everything, then installs it: a lost network leaves as is what works."""
    for folder in (place.wheels, place.scratch):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
    locked = ["--require-hashes", "--no-deps", "--only-binary", ":all:"]
    for path in files:
        locked += ["-r", str(path)]
    say("Fetching packages:")
    fetch = ["download", "--progress-bar", "off", "--retries", "3", "-d", str(place.wheels)]
    _pip(place, held, "fetching the packages", fetch + locked, names_in_rows())
    say("Installing them")
    place.stamp.unlink(missing_ok=True)
    local = ["install", "--no-index", "--find-links", str(place.wheels)]
    quiet = ["--no-warn-script-location", "--progress-bar", "off"]
    _pip(place, held, "installing the packages", local + quiet + locked)
    for folder in (place.wheels, place.scratch):
        shutil.rmtree(folder, ignore_errors=True)


def _pip(
    place: Place,
    held: int | None,
    doing: str,
    words: list[str],
    on_line: Callable[[str], None] | None = None,
) -> None:
    env = clean_environment(
        PIP_DISABLE_PIP_VERSION_CHECK="1",
        PIP_ROOT_USER_ACTION="ignore",
        PIP_NO_INPUT="1",
        **dict.fromkeys(("TMPDIR", "TEMP", "TMP"), str(place.scratch)),
    )
    command = [place.python, "-I", "-m", "pip", "--no-color", *words]
    how = {"log": place.log, "held": held, "env": env, "on_line": on_line}
    status, output = run_logged(command, deadline_s=PIP_DEADLINE_S, **how)
    if "Collecting " in output:
        say("")
    if status:
        raise explain(doing, output, place.log)


def names_in_rows(width: int = 78) -> Callable[[str], None]:
    """A listener that shows each package's name when pip comes to it, in rows."""
    column = 0

    def on_line(line: str) -> None:
        nonlocal column
        match = re.match(r"Collecting ([^=\s]+)", line)
        if match is None:
            return
        text = ("  " if column == 0 else " ") + match[1]
        if column + len(text) > width:
            text, column = f"\n  {match[1]}", -1
        column += len(text)
        print(text, end="", file=sys.stderr, flush=True)

    return on_line
