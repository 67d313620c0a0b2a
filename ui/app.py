"""Starts the window: Qt's own plugins, never those of another wheel, and a net for faults."""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Sequence
from pathlib import Path

# opencv's wheel brings a Qt of its own and points Qt at it; that one aborts the window.
_FOREIGN = ("QT_QPA_PLATFORM_PLUGIN_PATH", "QT_QPA_FONTDIR")


def drop_foreign_plugins() -> None:
    """Takes back what importing the image library has put into the environment."""
    for name in _FOREIGN:
        if "cv2" in os.environ.get(name, "").replace("\\", "/").split("/"):
            del os.environ[name]


def run(paths: Sequence[str] = (), *, data: str | None = None, **wanted) -> int:
    """Opens the window and returns its exit status when it is closed.

    paths: a design to begin with; data: the journal's folder; wanted: settings for this time
    """
    import cv2  # noqa: F401 - so that what it sets can be taken back before Qt looks

    drop_foreign_plugins()
    from dataclasses import replace

    from PyQt6.QtWidgets import QApplication

    from ui.job import JobState
    from ui.settings import load
    from ui.window import Window

    app = QApplication.instance() or QApplication(sys.argv[:1])
    app.setApplicationName("drillaid")
    window = Window(JobState(replace(load(), **wanted), data))
    catch_faults(window)
    window.resize(1366, 768)
    window.show()
    if paths:
        window.open_paths(list(paths))
    return app.exec()


def log_path() -> Path:
    """Where faults are written."""
    import platformdirs

    return Path(platformdirs.user_log_dir("drillaid")) / "window.log"


def catch_faults(window) -> None:
    """An unexpected error becomes a sentence and a line in the log; the job stays."""
    log = logging.getLogger("drillaid")
    try:
        path = log_path()
        path.parent.mkdir(parents=True, exist_ok=True)
        handler: logging.Handler = logging.FileHandler(path, encoding="utf-8", delay=True)
        where = f" It is written down in {path}."
    except OSError:
        handler, where = logging.StreamHandler(), ""
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    log.addHandler(handler)

    def caught(kind, error, trace) -> None:
        log.error("unexpected", exc_info=(kind, error, trace))
        window.tell(f"Something went wrong inside the program; your work is kept.{where}")

    sys.excepthook = caught
