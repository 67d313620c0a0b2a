"""The rig file that is being looked at or made, shared by all pages."""

from __future__ import annotations

import json
from pathlib import Path

import platformdirs
from PyQt6.QtCore import QObject, pyqtSignal

from calibration.bench_plane import MEASURED_SHARE, PRINTED_SHARE
from calibration.pattern import Pattern, parse_counts
from calibration.rig_draft import RigDraft, read_draft
from drillaid.errors import DrillaidError
from drillaid.rig.rig import Rig
from ui.job import PRACTICE, JobState
from ui.running.background import Background
from ui.running.workshop import Workshop
from ui.words import number, tr

RECENT = 6
PRACTICE_FILE = "practice-rig.toml"


class RigWork(QObject):
    """source: of the camera; path, draft: of the rig file, draft None without one or where it
    cannot be read; error: why it cannot

    changed(): another file, or another state of this one; written(path): it was saved
    """

    changed = pyqtSignal()
    written = pyqtSignal(str)
    failed = pyqtSignal(str)

    def __init__(self, job: JobState) -> None:
        super().__init__()
        self.job = job
        self.source = PRACTICE
        self.path, self.error = "", ""
        self.draft: RigDraft | None = None
        self._rig_of: RigDraft | None = None
        self._rig: Rig | None = None
        self.workshop = Workshop(job.settings.seed)
        self._saving = Background(self)
        self._saving.done.connect(self._saved)
        self._saving.failed.connect(self.failed)

    @property
    def practising(self) -> bool:
        return self.source == PRACTICE

    def open(self, path: str) -> None:
        """Reads what the file says; "" for none."""
        self.path, self.error, self.draft = path, "", None
        if path:
            try:
                if self.practising:
                    Path(path).parent.mkdir(parents=True, exist_ok=True)
                self.draft = read_draft(path)
            except DrillaidError as error:
                self.error = str(error)
            except OSError as error:
                self.error = tr("{path}: the folder cannot be made ({why}).", path=path,
                                why=error.strerror or error)  # fmt: skip
        self.changed.emit()

    def rig(self) -> Rig | None:
        """Where it has come as far as lens and bench plane; the spindle may still be unknown."""
        draft = self.draft
        if draft is None:
            return None
        if self._rig_of is not draft:  # asked with every picture
            self._rig_of = draft
            try:
                self._rig = draft.rig()
            except DrillaidError:
                self._rig = None
        return self._rig

    def save(self, draft: RigDraft) -> None:
        """Whole or not at all, beside the window; then `written`, or `failed` with a sentence."""

        def work() -> str:
            draft.save()
            return str(draft.path)

        self._saving.start(work)

    def _saved(self, path: str) -> None:
        self.open(path)
        if not self.practising:
            self.remember()
        self.written.emit(path)

    def close(self) -> None:
        self._saving.close()

    # -- files used lately ---------------------------------------------------------------

    def recent(self) -> list[str]:
        """Rig files, the last one first; those that are gone are left out."""
        try:
            known = json.loads(self.job.settings.rigs or "[]")
            paths = [str(path) for path in known if isinstance(path, str)]
        except (ValueError, TypeError):
            paths = []
        if self.job.settings.rig and self.job.settings.rig not in paths:
            paths.insert(0, self.job.settings.rig)
        return [path for path in paths if Path(path).is_file()]

    def remember(self) -> None:
        """This one is the last one."""
        if self.path and self.draft is not None:
            others = [path for path in self.recent() if path != self.path]
            rigs = json.dumps([self.path, *others][:RECENT], ensure_ascii=False)
            self.job.remember(rig=self.path, rigs=rigs)

    @staticmethod
    def practice_path() -> Path:
        """Of the simulated workshop's rig: never mistaken for that of a real bench."""
        return Path(platformdirs.user_data_dir("drillaid")) / PRACTICE_FILE

    # -- the sheet -------------------------------------------------------------------------

    def drawn(self) -> Pattern:
        """The test board as it was drawn."""
        if self.practising:
            return self.workshop.pattern
        settings = self.job.settings
        try:
            return Pattern(*parse_counts(settings.squares), settings.square_mm)
        except DrillaidError:
            return Pattern()

    def pattern(self) -> Pattern:
        """At its true size, as far as that was measured."""
        drawn = self.drawn()
        return (drawn.measured(self.bar_mm) if self.bar_mm else None) or drawn

    @property
    def bar_mm(self) -> float:
        """The ruler bar as measured; 0 if it was not."""
        return 0.0 if self.practising else self.job.settings.ruler_mm

    @property
    def scale_share(self) -> float:
        """How well the sheet's size is known."""
        return MEASURED_SHARE if self.bar_mm or self.practising else PRINTED_SHARE

    def sheet_words(self) -> str:
        drawn = self.drawn()
        words = tr("Sheet: {c} × {r} squares of {s} mm", c=drawn.columns, r=drawn.rows,
                   s=number(drawn.square_mm, 1))  # fmt: skip
        if self.practising:
            return tr("{sheet} (simulated, exact).", sheet=words)
        if self.bar_mm:
            return tr("{sheet}; its ruler bar measures {b} mm.", sheet=words,
                      b=number(self.bar_mm, 2))  # fmt: skip
        return tr("{sheet}; its ruler bar was not measured, so the size is a guess.", sheet=words)
