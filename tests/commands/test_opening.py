"""Where no window can be opened: one sentence and the right exit status."""

from __future__ import annotations

import sys

import pytest

from drillaid.cli import main


def test_without_qt_the_command_line_is_pointed_to(capsys):
    assert main([]) == 2
    told = capsys.readouterr()
    assert "PyQt6" in told.err and "drillaid --help" in told.err and told.out == ""


@pytest.mark.qt
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="others always have a screen")
def test_without_a_screen_it_is_a_device_that_fails(capsys, monkeypatch):
    pytest.importorskip("PyQt6")
    monkeypatch.delenv("QT_QPA_PLATFORM")
    assert main([]) == 4
    assert "DISPLAY" in capsys.readouterr().err
    monkeypatch.setenv("DISPLAY", ":4711")
    assert main([]) == 4
    assert "nobody answers at DISPLAY :4711" in capsys.readouterr().err
