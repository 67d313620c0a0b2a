#!/usr/bin/env python3
"""Sets drillaid up beside itself and runs it; see OVERVIEW. Standard library only.

Everything lands in the folder .venv, which may be deleted at any time; how it
is made is told in drillaid/startup. This file is written so that an old
Python, even 2.7, can read it far enough to be told that it is too old.
"""

from __future__ import print_function

import sys

OLDEST = (3, 11)
OVERVIEW = """usage: python3 start.py WHAT [options]

Sets everything up in the folder .venv the first time, then runs WHAT:
  demo      the whole job on a simulated bench, ending with a report
  test      the tests; further words go to pytest
  bench     the measurements of speed and accuracy in tests/benchmarks
  window    the window
  setup     the set-up only; setup --again makes .venv anew
or any other command of drillaid: %s
"""
OWN_WORDS = ("test", "bench", "window", "setup")


def too_old(version, program):
    """The sentence for a Python that cannot run drillaid; None if it can."""
    if tuple(version[:2]) >= OLDEST:
        return None
    return (
        "start.py: drillaid needs Python 3.11 or newer, and this is Python %s (%s).\n"
        "Start it with a newer one, for example: python3.11 start.py demo\n"
        "Debian 12, Ubuntu 24.04 and later bring one: sudo apt-get install python3 python3-venv\n"
        "For other systems: https://www.python.org/downloads/"
    ) % (".".join(str(part) for part in version[:3]), program)


if too_old(sys.version_info, sys.executable):
    sys.exit(too_old(sys.version_info, sys.executable))

import os
import pathlib
import subprocess

ROOT = pathlib.Path(os.path.abspath(__file__)).parent
sys.path.insert(0, str(ROOT))

from drillaid.cli import COMMANDS
from drillaid.startup.install import set_up
from drillaid.startup.place import Place
from drillaid.startup.programs import Trouble, explain_os, say


def overview():
    firsts = {name.split()[0] for name in COMMANDS} - {"demo"}
    return OVERVIEW % ", ".join(sorted(firsts))


def is_known(word):
    """False for what is certainly no command: better said now than after the set-up."""
    firsts = {name.split()[0] for name in COMMANDS}
    return word in OWN_WORDS or word in firsts or word.startswith("-")


def processors():
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()


def spread(words, count):
    """Options that share tests out among processors, unless the person wants to follow them."""
    alone = ("-n", "-s", "-p", "--pdb", "--trace", "--capture", "--collect-only", "--co")
    if (count or 1) < 2 or any(word.startswith(alone) for word in words):
        return []
    return ["-n", str(min(count, 8)), "--dist", "worksteal"]


def module_and_words(words):
    """What the environment's Python is to run: (module with its words, folder or None)."""
    first, rest = words[0], words[1:]
    if first == "test":
        return ["pytest"] + spread(rest, processors()) + rest, ROOT
    if first == "bench":
        files = ["-o", "python_files=bench_*.py test_*.py"]
        return ["pytest", "tests/benchmarks", "-s", "--timeout=0"] + files + rest, ROOT
    return ["drillaid"] + (rest if first == "window" else words), None


def launch(place, words):
    """Hands over to the environment's Python; returns the status only where it must wait."""
    what, folder = module_and_words(words)
    command = [str(place.python), "-P", "-m"] + what
    env = dict(os.environ, PYTHONPATH=str(ROOT))
    env.pop("PYTHONHOME", None)
    say("Running: " + " ".join(what))
    if folder is not None:
        os.chdir(folder)
    if os.name != "nt":
        sys.stdout.flush()
        os.execve(command[0], command, env)
    try:
        return subprocess.call(command, env=env)
    except KeyboardInterrupt:
        return 130


def main(words, place=None):
    place = place or Place(ROOT)
    if not words or words[0] in ("-h", "--help", "help"):
        print(overview(), end="")
        return 0
    if not is_known(words[0]):
        say("start.py: there is no command '%s'.\n\n%s" % (words[0], overview()))
        return 2
    stage = "test" if words[0] in ("test", "bench") else "run"
    try:
        set_up(place, stage, again=words[0] == "setup" and "--again" in words)
    except Trouble as trouble:
        say("start.py: %s" % trouble)
        return 1
    except OSError as error:
        say("start.py: %s" % explain_os(error, place.venv))
        return 1
    except KeyboardInterrupt:
        say("\nstart.py: stopped; type the same again to go on.")
        return 130
    if words[0] == "setup":
        say("Everything is in place.")
        return 0
    return launch(place, words)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
