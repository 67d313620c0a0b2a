from __future__ import annotations

import sys

import pytest

from ui.screen import why_no_screen

linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="others always have one")


@linux
def test_a_screen_that_nobody_serves_is_none(tmp_path):
    assert "DISPLAY" in why_no_screen({})
    assert ":4711" in why_no_screen({"DISPLAY": ":4711"})
    gone = {"WAYLAND_DISPLAY": "wayland-0", "XDG_RUNTIME_DIR": str(tmp_path)}
    assert why_no_screen(gone) is not None
    (tmp_path / "wayland-0").touch()
    assert why_no_screen(gone) is None


def test_pictures_need_no_screen():
    assert why_no_screen({"QT_QPA_PLATFORM": "offscreen:size=800x600"}) is None
