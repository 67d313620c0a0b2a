"""How quick the window is: python tests/benchmarks/bench_window.py [--seconds N] [--live]

A recorded video of the simulated bench (so that drawing the bench costs nothing now) is
played at 30 frames a second in 1080p, with guidance running in the drilling view. Printed:
time until the window stands, frames a second that reach the screen, from a picture's being
taken to its being painted (50th and 95th percentile), the longest time the window was
deaf to input, processor time for each picture, and how memory grew. --live: the simulated
bench itself, drawn as it goes. Runs offscreen; nothing here is judged.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import threading
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[k]) for k in (2, 1)]
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

FPS, FRAMES, TICK_MS = 30.0, 45, 5
STEP_MM = 0.5  # the board's movement from picture to picture


class Recorded:
    """A live camera that plays pictures to and fro, paced by the clock."""

    name, live = "recorded bench", True

    def __init__(self, pictures) -> None:
        self._pictures = pictures
        self._start, self._number = time.monotonic(), 0
        self._closed = threading.Event()

    def read(self, timeout_s: float = 2.0):
        from drillaid.errors import CameraLost
        from drillaid.rig.frame import Frame

        now = time.monotonic()
        due = self._start + self._number / FPS
        if due < now - 1 / FPS:  # late: the pictures between are lost, as with a camera
            self._number += int((now - due) * FPS)
            due = self._start + self._number / FPS
        if self._closed.wait(max(0.0, due - now)):
            raise CameraLost("The recorded bench was closed.")
        count = len(self._pictures)
        place = self._number % (2 * count - 2)
        image = self._pictures[place if place < count else 2 * count - 2 - place]
        self._number += 1
        return Frame(image, self._number, time.monotonic())

    def reopen(self) -> None:
        """Never lost."""

    def close(self) -> None:
        self._closed.set()


def recorded(bench) -> Recorded:
    """Pictures of the board going to and fro by some 20 mm."""
    pictures = []
    for _ in range(FRAMES):
        bench.move(STEP_MM, 0.1 * STEP_MM)
        image = bench.render()
        image.setflags(write=False)
        pictures.append(image)
    return Recorded(pictures)


def memory_mb() -> float:
    """Resident, now; 0 where the system does not say."""
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
    except OSError:
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def measure(seconds: float, *, live: bool = False, settle_s: float = 3.0) -> dict[str, float]:
    """The figures by their names."""
    started = time.perf_counter()
    import cv2  # noqa: F401

    from ui.app import drop_foreign_plugins

    drop_foreign_plugins()
    from PyQt6.QtCore import QElapsedTimer, Qt, QTimer
    from PyQt6.QtTest import QTest
    from PyQt6.QtWidgets import QApplication

    from ui.job import PRACTICE, Bench, JobState
    from ui.settings import Settings
    from ui.window import Window

    app = QApplication.instance() or QApplication([])
    folder = tempfile.mkdtemp()
    job = JobState(Settings(), folder)
    window = Window(job)
    window.resize(1920, 1080)
    window.show()
    app.processEvents()
    up_s = time.perf_counter() - started

    from support.small_board import small_design

    from drillaid.guidance.events import BitFitted
    from drillaid.guidance.job import prepare
    from drillaid.rig.reader import NewestFrame
    from drillaid.simulation.conditions import bench_for
    from drillaid.simulation.export import write_fabrication_files

    paths = [str(p) for p in write_fabrication_files(small_design(), Path(folder), "small")]
    made = prepare(paths, face="bottom", thickness_mm=1.6, bits_mm=(0.8, 1.0, 1.3, 3.2),
                   tolerance_mm=0.2)  # fmt: skip
    bench = bench_for(made.design, 3)
    bench.place(-10.0, 0.0, 0.3)
    job.make_practice = lambda *_: bench
    job.set_job(made)
    job.set_bench(Bench(PRACTICE))
    if not live:
        source = recorded(bench)
        job.bench = Bench("recorded", bench.rig)
        job.camera = NewestFrame(source)
    job.cautions_read = True
    job.set(found=True)
    window.go("drilling")
    stage = window.stages["drilling"]
    end = time.monotonic() + 60
    while (stage.sight is None or stage.sight.guidance.aim is None) and time.monotonic() < end:
        QTest.qWait(20)
        if stage.sight is not None and stage.sight.guidance.bit_change is not None:
            stage.thread.act(BitFitted(stage.sight.guidance.bit_change.bit_mm))

    ages, deaf = [], []
    shown = {"taken": None}
    paint = stage.picture.paintEvent

    def painted(event) -> None:
        paint(event)
        sight = stage.sight
        if sight is not None and sight.taken_s != shown["taken"]:
            shown["taken"] = sight.taken_s
            ages.append(time.monotonic() - sight.taken_s)

    stage.picture.paintEvent = painted
    clock, ticker = QElapsedTimer(), QTimer()
    ticker.setTimerType(Qt.TimerType.PreciseTimer)
    ticker.setInterval(TICK_MS)
    ticker.timeout.connect(lambda: deaf.append(clock.restart() - TICK_MS))
    QTest.qWait(round(1000 * settle_s))
    ages.clear()
    clock.start()
    ticker.start()
    before_mb, cpu, begun = memory_mb(), time.process_time(), time.monotonic()
    QTest.qWait(round(1000 * seconds))
    ticker.stop()
    passed = time.monotonic() - begun
    cpu = time.process_time() - cpu
    after_mb = memory_mb()
    window.close()
    ages.sort()
    deaf.sort()
    return {
        "window up, s": up_s,
        "frames a second on the screen": len(ages) / passed,
        "frame to screen, ms, median": 1000 * ages[len(ages) // 2],
        "frame to screen, ms, 95 %": 1000 * ages[int(0.95 * len(ages))],
        "input waited, ms, 99 %": float(deaf[int(0.99 * len(deaf))]),
        "input waited, ms, longest": float(deaf[-1]),
        "processor time a frame, ms": 1000 * cpu / max(1, len(ages)),
        "memory grew, MB": after_mb - before_mb,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--live", action="store_true")
    options, _ = parser.parse_known_args()
    for name, value in measure(options.seconds, live=options.live).items():
        print(f"{name:32} {value:8.1f}")


if __name__ == "__main__":
    main()
