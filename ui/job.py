"""What the window works on: design, bench, camera, board. Holds what the core decided."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from queue import SimpleQueue

import numpy as np
from PyQt6.QtCore import QObject, pyqtSignal

from drillaid.errors import DrillaidError
from drillaid.guidance.finder import BoardFinder
from drillaid.guidance.job import Job, board_details
from drillaid.guidance.keeping import Keeper
from drillaid.guidance.live import LiveGuidance
from drillaid.guidance.seen_hole import HoleWatch
from drillaid.guidance.session import Session
from drillaid.guidance.spindle_mark import SpindleMark
from drillaid.guidance.unrigged import SPINDLE_MM, UnriggedFinder
from drillaid.guidance.view import View, hands_px_per_mm, upright_px_per_mm
from drillaid.inspection.recheck import Recheck
from drillaid.journal.journal import SIMULATED, BoardRecord, Journal, design_hash
from drillaid.journal.resume import resume, start
from drillaid.rig.budget import budget_within, spindle_error_mm
from drillaid.rig.frame import Camera
from drillaid.rig.pictures import check_size
from drillaid.rig.reader import NewestFrame
from drillaid.rig.rig import Rig
from drillaid.rig.sources import open_camera
from drillaid.rig.still_true import RigWatch
from ui.settings import Settings

PRACTICE = "sim"  # the camera that looks at the simulated bench


@dataclass(frozen=True, eq=False)
class Bench:
    """Where pictures come from and what is known of the place.

    rig and its file; or mark: the spindle axis in the picture of a camera without a rig
    """

    source: str
    rig: Rig | None = None
    rig_path: str = ""
    mark: SpindleMark | None = None

    @property
    def complete(self) -> bool:
        """Enough to guide by."""
        if self.source == PRACTICE:
            return True
        if self.rig is not None:
            return self.rig.axis_mm is not None
        return self.mark is not None


class JobState(QObject):
    """Signals: changed() whenever a step may stand differently.

    job: the design made ready, or None; bench; found: the board was seen at the last look;
    board: its number in the journal once drilling has begun; finished: nothing is left to drill
    """

    changed = pyqtSignal()
    remembered = pyqtSignal(object)  # Settings

    def __init__(self, settings: Settings, data: str | Path | None = None, parent=None) -> None:
        super().__init__(parent)
        self.settings = settings
        self.data = data
        self.job: Job | None = None
        self.bench: Bench | None = None
        self.practice = None  # drillaid.simulation.bench.SimulatedBench, behind its camera
        self.practice_table: dict | None = None  # [table] as measured on the practice bench
        self.board: int | None = None
        self.found = False
        self.finished = False
        self.cautions_read = False
        self.camera: Camera | None = None
        self.journal: Journal | None = None
        self.make_practice: Callable[[Job, int], object] | None = None
        self.listen: Callable[[object], None] | None = None  # as LiveGuidance takes it
        self.let_go: Callable[[], object] = lambda: None  # waits until nobody else has the camera
        self.repair_wanted = False  # the bench's stage opens where a knocked rig is repaired
        self.resume_next = False  # the unfinished board of the next design is gone on with
        self.recheck = False  # the board is gone on with: it is held against the record first
        self.session: Session | None = None
        self.errands: SimpleQueue[Callable[[], object]] = SimpleQueue()  # of the practice hand
        self.opening = threading.RLock()  # one stage at a time opens or closes the camera
        self._finder = None  # goes from stage to stage: what was pointed out stays settled
        self._boards = 0  # of one design, one after the other

    def set(self, **values) -> None:
        """Sets attributes and says so once."""
        for name, value in values.items():
            if not hasattr(self, name):
                raise AttributeError(name)
            setattr(self, name, value)
        self.changed.emit()

    def remember(self, **values) -> None:
        """For the next day."""
        self.settings = replace(self.settings, **values)
        self.remembered.emit(self.settings)

    def set_job(self, job: Job) -> None:
        """Another design: nothing of the former board counts."""
        self.close_camera()
        self._boards = 0
        self.set(job=job, board=None, found=False, finished=False, session=None, recheck=False)

    @property
    def boards_before(self) -> int:
        """Of this design, since the program was started."""
        return self._boards

    def set_bench(self, bench: Bench) -> None:
        """Another camera or rig."""
        self.close_camera()
        self.set(bench=bench, found=False)

    def next_board(self) -> None:
        """Another board of the same design."""
        self._boards += 1
        self.board = None
        self.close_camera()
        self.set(board=None, found=False, finished=False, session=None, recheck=False)

    # -- the record ------------------------------------------------------------------

    def open_journal(self) -> Journal:
        if self.journal is None:
            self.journal = Journal.open(self.data)
        return self.journal

    def unfinished(self) -> BoardRecord | None:
        """The last board of this design that was begun and not finished."""
        name, key = self._recorded_design().name, design_hash(self.job.design)
        mine = [
            board
            for board in self.open_journal().unfinished()
            if board.design_hash == key and board.design_name == name and board.done
        ]
        return mine[0] if mine else None

    def _recorded_design(self):
        design = self.job.design
        if self.bench is not None and self.bench.source == PRACTICE:
            return replace(design, name=design.name + SIMULATED)
        return design

    # -- what guides -------------------------------------------------------------------

    def spindle_mm(self) -> np.ndarray:
        rig = self.bench.rig
        return np.asarray(SPINDLE_MM if rig is None else rig.spindle_mm(self.job.thickness_mm))

    def spindle_error_mm(self) -> float:
        """Of axis and thickness, as the rig file says; a mark's is the finder's to count."""
        rig = self.bench.rig
        return 0.0 if rig is None else spindle_error_mm(rig, self.job.thickness_mm)

    def make_session(self) -> Session:
        """Of the board at hand: as recorded if one was begun, else a new one."""
        error_mm = self.spindle_error_mm()
        if self.board is not None:
            return resume(
                self.open_journal(), self.board, self.spindle_mm(), self.job.settings,
                design=self.job.design, spindle_error_mm=error_mm,
            )  # fmt: skip
        return Session(
            self.job.work, self.spindle_mm(), self.job.settings, spindle_error_mm=error_mm
        )

    def begin_board(self, tell, work=None, **details) -> Keeper:
        """From here on all is recorded; raises StorageError where it cannot be.

        work: None for the hand's own order; details: as `drillaid.journal.resume.start`
        """
        journal, job = self.open_journal(), self.job
        if self.board is None:
            self.board = start(
                journal, self._recorded_design(), job.work if work is None else work,
                **board_details(job, self.bench.source, self.bench.rig_path), **details,
                spindle_mm=[float(value) for value in self.spindle_mm()],
            )  # fmt: skip
            self.changed.emit()
        return Keeper(journal, self.board, tell)

    def open_camera(self) -> Camera:
        """The camera of the bench, opened once; CameraError where it is not there."""
        if self.camera is not None:
            return self.camera
        self.let_go()  # who looked through it before; a device has one user
        bench, job = self.bench, self.job
        if bench.source == PRACTICE:
            camera = self._practice_camera(job)
        else:
            size = {} if bench.rig is None else {"size": (bench.rig.width, bench.rig.height)}
            camera = open_camera(bench.source, **size)
        self.camera = NewestFrame(camera) if camera.live else camera
        return self.camera

    def _practice_camera(self, job: Job):
        from ui.running.practice import drilled_before, practice_bench, practice_camera

        if self.practice is None:
            rig = self.bench.rig if self.bench.rig_path else None
            make = self.make_practice or partial(practice_bench, rig=rig)
            self.practice = make(job, self.settings.seed + self._boards)
            self.bench = replace(self.bench, rig=self.practice.rig)
            if self.board is not None:
                drilled_before(self.practice, self.make_session().progress)
        self.bench = replace(self.bench, rig=self.practice.rig)
        return practice_camera(self.practice, self.errands)

    def close_camera(self) -> None:
        """Gives the camera back; the practice bench stays as it lies for the same board."""
        with self.opening:
            self.part_with_camera()()
            if self.board is None:
                self.practice = None

    def part_with_camera(self) -> Callable[[], None]:
        """No longer the job's; what is returned closes it, which may take as long as a picture."""
        with self.opening:
            camera, self.camera = self.camera, None
            self._finder = None

        def close() -> None:
            if camera is not None:
                camera.close()
                inner = getattr(camera, "camera", None)
                if inner is not None:
                    inner.close()

        return close

    def forget_practice(self) -> None:
        """The simulated bench is laid anew: another board is to lie on it."""
        if self.bench.source == PRACTICE:
            self.close_camera()
            self.practice = None

    def make_finder(self, *, hurry: bool):
        job, bench = self.job, self.bench
        if bench.rig is not None:
            return BoardFinder.of(
                job.design, bench.rig, face=job.face, thickness_mm=job.thickness_mm, hurry=hurry
            )
        return UnriggedFinder(
            job.design, bench.mark, face=job.face, thickness_mm=job.thickness_mm, hurry=hurry
        )

    def make_live(self) -> LiveGuidance:
        """A LiveGuidance on the open camera; raises DrillaidError where that cannot be.

        May take its time, and be called from any thread that holds `opening`.
        """
        camera = self.open_camera()
        self.session = self.make_session()
        if self._finder is None:
            self._finder = self.make_finder(hurry=camera.live)
        return LiveGuidance(
            camera, self._finder, self.session, listen=self.listen,
            clock=self._clock(camera),
            stopwatch=None if camera.live else time.perf_counter,
            check=self._check, watch=self._watch(), hole_watch=self._hole_watch(),
        )  # fmt: skip

    def _hole_watch(self) -> HoleWatch | None:
        return HoleWatch(self._eye()) if self.settings.seen else None

    def rechecking(self) -> Recheck | None:
        """Of a board that is gone on with, until it has been held against its record."""
        if not self.recheck or self.board is None:
            return None
        job = self.job
        bits = [choice.bit_mm for choice in job.choices]
        return Recheck(job.design, bits, self._eye(), face=job.face)

    def _eye(self):
        """() -> (rig, thickness in its axes) of what the finder sees through, or None so far."""
        finder, rig, thickness = self._finder, self.bench.rig, self.job.thickness_mm

        def eye():
            if rig is not None:
                return rig, thickness
            made = finder.makeshift
            return None if made is None else (made.rig, 0.0)

        return eye

    def _watch(self) -> RigWatch | None:
        """Of the rig's marks; the practice bench has none on it."""
        rig = self.bench.rig
        return None if rig is None or self.bench.source == PRACTICE else RigWatch.of(rig)

    def _clock(self, camera):
        """The clock that stamps the frames."""
        if not camera.live:
            return None
        inner = camera.camera
        return (lambda: inner.time_s) if self.bench.source == PRACTICE else time.monotonic

    def _check(self, frame) -> None:
        if self.bench.rig is not None:
            check_size(self.bench.rig, frame)

    # -- how it is seen ------------------------------------------------------------------

    def hands(self, registration=None) -> np.ndarray | None:
        """(2, 2) photograph's px per mm of the hand's axes, None while that is not known."""
        rig = self.bench.rig if self.bench is not None else None
        if rig is not None:
            at = self.spindle_mm() if rig.axis_mm is not None else np.zeros(2)
            return hands_px_per_mm(rig, at, self.job.thickness_mm if self.job else 0.0)
        place = None if registration is None else registration.placement
        if place is None:
            return None
        return upright_px_per_mm(place.px_per_mm, self.settings.turns)

    def limit_of(self, guidance, registration) -> str:
        """What limits the place of the hole in hand, as a sentence; "" where no rig says it."""
        rig, place = self.bench.rig, registration.placement
        if rig is None or place is None or place.matrix is None or rig.axis_mm is None:
            return ""
        return budget_within(
            rig, place.matrix, self.job.design.xy_mm, guidance.target.xy_mm,
            self.job.thickness_mm, guidance.expected_error_mm,
        ).short()  # fmt: skip

    def spindle_px(self) -> np.ndarray | None:
        bench = self.bench
        if bench.rig is not None and bench.rig.axis_mm is not None:
            return bench.rig.to_pixels([self.spindle_mm()], self.job.thickness_mm)[0]
        return None if bench.mark is None else np.asarray(bench.mark.px, dtype=np.float64)

    def near_view(self, size: tuple[int, int], frame, registration, across: float) -> View:
        """About the spindle axis where that is known, else the whole picture."""
        hands, spindle = self.hands(registration), self.spindle_px()
        if hands is None or spindle is None:
            return self.whole_view(size, frame, registration)
        return View.hands(hands, spindle, size, across)

    def whole_view(self, size: tuple[int, int], frame, registration) -> View:
        height, width = frame.image.shape[:2]
        hands = self.hands(registration)
        if hands is None:
            hands = upright_px_per_mm(1.0, self.settings.turns)
        return View.whole((width, height), size, hands)

    def close(self) -> None:
        """Camera and record are given back."""
        self.close_camera()
        if self.journal is not None:
            self.journal.close()
            self.journal = None


def reason_of(error: Exception) -> str:
    """A sentence for a person, whatever went wrong."""
    if isinstance(error, DrillaidError):
        return str(error)
    return "Something went wrong inside the program; what was done is kept."
