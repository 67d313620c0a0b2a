"""Starts the window: Qt's own plugins, never those of another wheel, and a net for faults."""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from drillaid.errors import StorageError

# opencv's wheel brings a Qt of its own and points Qt at it; that one aborts the window.
_FOREIGN = ("QT_QPA_PLATFORM_PLUGIN_PATH", "QT_QPA_FONTDIR")


def drop_foreign_plugins() -> None:
    """Takes back what importing the image library has put into the environment."""
    for name in _FOREIGN:
        if "cv2" in os.environ.get(name, "").replace("\\", "/").split("/"):
            del os.environ[name]


def run(
    paths: Sequence[str] = (), *, data: str | None = None, camera: str | None = None, rig=None,
    rig_path: str = "", mark=None, practice=None, resume: bool = False, lines=None, **wanted,
) -> int:  # fmt: skip
    """Opens the window and returns its exit status when it is closed.

    paths: a design to begin with; data: the journal's folder
    camera, rig (a `Rig`), mark (a `SpindleMark`): the bench to begin with; None: ask for it
    practice: (job, seed) -> SimulatedBench, instead of an ordinary one
    resume: goes on with the unfinished board of this design; lines: `EventLines` to write
    wanted: settings for this time
    """
    import cv2  # noqa: F401 - so that what it sets can be taken back before Qt looks

    drop_foreign_plugins()
    from dataclasses import replace

    from PyQt6.QtCore import QLocale
    from PyQt6.QtWidgets import QApplication

    from ui.job import Bench, JobState
    from ui.settings import load
    from ui.window import Window

    app = QApplication.instance() or QApplication(sys.argv[:1])
    app.setApplicationName("drillaid")
    QLocale.setDefault(QLocale.system())
    job = JobState(replace(load(), **wanted), data)
    if practice is not None:
        job.make_practice = practice
    if lines is not None:
        job.listen = line_writer(lines)
    if camera is not None:
        job.set_bench(Bench(camera, rig, rig_path, mark))
    job.resume_next = resume
    window = Window(job)
    catch_faults(window)
    window.resize(1366, 768)
    window.show()
    if paths:
        window.open_paths(list(paths))
    return app.exec()


def line_writer(lines):
    """For `LiveGuidance.listen`: each guidance's events, until the file cannot be written."""

    def listen(guidance) -> None:
        try:
            lines.write(*guidance.events)
        except StorageError as error:
            logging.getLogger("drillaid").warning(str(error))

    return listen


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
