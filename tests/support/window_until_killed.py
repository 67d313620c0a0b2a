"""A window to be killed: drills on the practice bench, and says so after each hole that counts.

arguments: journal folder, the design's files
"""

from __future__ import annotations

import os
import sys

os.environ["QT_QPA_PLATFORM"] = "offscreen"

import cv2  # noqa: F401

from ui.app import drop_foreign_plugins

drop_foreign_plugins()
from PyQt6.QtTest import QTest  # noqa: E402
from PyQt6.QtWidgets import QApplication  # noqa: E402

from drillaid.guidance.events import BitFitted, Confirm  # noqa: E402
from drillaid.guidance.job import prepare  # noqa: E402
from drillaid.simulation.conditions import bench_for  # noqa: E402
from ui.job import PRACTICE, Bench, JobState  # noqa: E402
from ui.settings import Settings  # noqa: E402
from ui.window import Window  # noqa: E402

app = QApplication([])
job = JobState(Settings(), sys.argv[1])
design = prepare(
    sys.argv[2:], face="bottom", thickness_mm=1.6, bits_mm=(0.8, 1.0, 1.3, 3.2), tolerance_mm=0.2
)
job.make_practice = lambda made, _seed: bench_for(made.design, 3, size=(960, 540))
job.set_job(design)
job.set_bench(Bench(PRACTICE))
job.cautions_read = True
job.set(found=True)
window = Window(job)
window.show()
window.go("drilling")
stage, told, asked = window.stages["drilling"], 0, -1
while True:
    QTest.qWait(20)
    if stage.sight is None or stage.thread is None:
        continue
    guidance = stage.sight.guidance
    if guidance.bit_change is not None:
        stage.thread.act(BitFitted(guidance.bit_change.bit_mm))
    elif guidance.aim is not None and guidance.progress.done == told > asked:
        asked = told  # one press a hole, however long it takes to count
        stage.thread.act(Confirm(forced=True))
    if guidance.progress.done > told:
        told = guidance.progress.done
        print(f"done {told}", flush=True)
