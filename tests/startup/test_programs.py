"""Programs run out of sight: log, deadline, inheritance of the lock, and what failures are told."""

from __future__ import annotations

import os
import sys
import time

import pytest

from drillaid.startup.programs import clean_environment, explain, explain_os, run_logged


def python(code: str) -> list[str]:
    return [sys.executable, "-I", "-c", code]


def test_output_is_logged_and_returned(tmp_path):
    log, lines = tmp_path / "log", []
    code = "import sys; print('out'); print('err', file=sys.stderr); sys.exit(3)"
    status, output = run_logged(python(code), log=log, deadline_s=60, on_line=lines.append)
    assert status == 3
    assert sorted(output.split()) == ["err", "out"]
    assert sorted(line.strip() for line in lines) == ["err", "out"]
    assert "out" in log.read_text() and log.read_text().startswith("\n$ ")


def test_bytes_that_are_no_text_do_no_harm(tmp_path):
    code = r"import sys; sys.stdout.buffer.write(b'\xff\xfe ok\n')"
    status, output = run_logged(python(code), log=tmp_path / "log", deadline_s=60)
    assert status == 0 and "ok" in output


def test_a_program_that_hangs_is_ended(tmp_path):
    status, _ = run_logged(
        python("import time; time.sleep(60)"), log=tmp_path / "log", deadline_s=0.3
    )
    assert status != 0


def test_an_interruption_ends_the_program(tmp_path):
    def interrupt(_):
        raise KeyboardInterrupt

    path = tmp_path / "still-there"
    code = f"import time; print('go', flush=True); time.sleep(5); open({str(path)!r}, 'w')"
    began = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        run_logged(python(code), log=tmp_path / "log", deadline_s=60, on_line=interrupt)
    assert time.monotonic() - began < 5  # it did not wait for the program's own end
    assert not path.exists()


@pytest.mark.skipif(os.name == "nt", reason="there a lock is not inherited")
def test_the_program_inherits_the_lock(tmp_path):
    handle = os.open(tmp_path / "lock", os.O_RDWR | os.O_CREAT)
    try:
        code = f"import os; os.fstat({handle})"
        assert run_logged(python(code), log=tmp_path / "log", deadline_s=60)[0] != 0
        held = run_logged(python(code), log=tmp_path / "log", deadline_s=60, held=handle)
        assert held[0] == 0
    finally:
        os.close(handle)


def test_the_environment_cannot_mislead(monkeypatch):
    monkeypatch.setenv("PYTHONPATH", "/elsewhere")
    monkeypatch.setenv("PIP_TARGET", "/elsewhere")
    monkeypatch.setenv("HTTPS_PROXY", "proxy")
    env = clean_environment(LC_ALL="C")
    assert "PYTHONPATH" not in env and "PIP_TARGET" not in env
    assert env["HTTPS_PROXY"] == "proxy" and env["LC_ALL"] == "C"


# Lines as pip 22 to 26 and apt 2.6 wrote them when we took the network, the disk
# space or the right to write away.
SAID = [
    (
        "WARNING: Retrying (Retry(total=2, connect=None)) after connection broken by"
        " 'NewConnectionError('<pip._vendor.urllib3.connection.HTTPSConnection object>: Failed to"
        " establish a new connection: [Errno -3] Temporary failure in name resolution')'\n"
        "ERROR: Could not find a version that satisfies the requirement numpy==2.4.6\n"
        "ERROR: No matching distribution found for numpy==2.4.6",
        "no network",
    ),
    ("ERROR: Could not install packages due to an OSError: [Errno 28] No space left", "full"),
    ("OSError: [Errno 28] No space left on device", "full"),
    ("ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE.", "not the one"),
    ("ERROR: No matching distribution found for numpy==2.4.6", "no ready-made package"),
    ("SSLError(SSLCertVerificationError(1, '[SSL: CERTIFICATE_VERIFY_FAILED]'", "certificate"),
    ("ERROR: [Errno 13] Permission denied: '/x/.venv/lib'", "cannot be written"),
    ("E: Failed to fetch http://mirror/x.deb  Could not connect", "no network"),
]


@pytest.mark.parametrize(("output", "sentence"), SAID)
def test_failures_are_told_in_one_sentence(tmp_path, output, sentence):
    told = str(explain("fetching", output, tmp_path / "log"))
    assert sentence in told
    assert str(tmp_path / "log") in told
    assert "ERROR" not in told


def test_an_unknown_failure_shows_what_was_said_last(tmp_path):
    output = "\n".join(f"line {number}" for number in range(50))
    told = str(explain("fetching", output, tmp_path / "log"))
    assert "line 49" in told and "line 38" in told and "line 37" not in told


@pytest.mark.parametrize(
    ("number", "sentence"),
    [(28, "disk is full"), (122, "disk is full"), (13, "cannot be written"), (30, "cannot be")],
)
def test_file_system_errors_are_told(tmp_path, number, sentence):
    told = str(explain_os(OSError(number, os.strerror(number), "/x/file"), tmp_path))
    assert sentence in told and "/x/file" in told


def test_other_file_system_errors_keep_their_own_words(tmp_path):
    told = str(explain_os(OSError(5, "Input/output error"), tmp_path))
    assert told == f"Input/output error ({tmp_path})."
