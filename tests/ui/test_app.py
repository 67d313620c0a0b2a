from __future__ import annotations

import os

from ui.app import drop_foreign_plugins


def test_the_image_librarys_qt_is_not_loaded(monkeypatch):
    monkeypatch.setenv("QT_QPA_PLATFORM_PLUGIN_PATH", "/somewhere/cv2/qt/plugins")
    monkeypatch.setenv("QT_QPA_FONTDIR", "/usr/share/fonts")
    drop_foreign_plugins()
    assert "QT_QPA_PLATFORM_PLUGIN_PATH" not in os.environ
    assert os.environ["QT_QPA_FONTDIR"] == "/usr/share/fonts"
