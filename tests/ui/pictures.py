"""Takes a picture of every stage and page, in both themes and two sizes, to be looked at.

    python tests/ui/pictures.py --out FOLDER [--size 1366x768] [--theme dark] [--only drilling]

Under Xvfb where it is installed, else on Qt's offscreen platform. The board is the small invented
one, the bench is simulated.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
SIZES, THEMES = ("1366x768", "1920x1080"), ("dark", "light")
WAIT_S = 60.0


def main() -> int:
    """The exit status; 1 where a stage was not reached."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", required=True, type=Path)
    parser.add_argument("--size", action="append", choices=SIZES)
    parser.add_argument("--theme", action="append", choices=THEMES)
    parser.add_argument("--only", action="append", metavar="NAME")
    parser.add_argument("--scale", type=float, default=1.0, help="of the type")
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    if "DRILLAID_PICTURES" not in os.environ and shutil.which("xvfb-run"):
        return subprocess.call(
            ["xvfb-run", "-a", "-s", "-screen 0 1920x1080x24", sys.executable, *sys.argv],
            env={**os.environ, "DRILLAID_PICTURES": "xvfb"},
        )
    if os.environ.get("DRILLAID_PICTURES") != "xvfb":
        os.environ["QT_QPA_PLATFORM"] = "offscreen"
    with tempfile.TemporaryDirectory() as home:
        os.environ |= {"HOME": home, "XDG_CONFIG_HOME": home, "XDG_DATA_HOME": home}
        return _all(args, Path(home))


def _all(args, home: Path) -> int:
    import cv2  # noqa: F401 - before Qt, so that its plug-ins can be taken back

    from ui.app import drop_foreign_plugins

    drop_foreign_plugins()
    from PyQt6.QtWidgets import QApplication

    app = QApplication.instance() or QApplication([])
    missed = 0
    for theme in args.theme or THEMES:
        for size in args.size or SIZES:
            folder = home / f"{theme}-{size}"
            missed += Walk(app, args, theme, size, folder).run()
    return int(missed > 0)


class Walk:
    """Once through the job, a picture at each stop."""

    def __init__(self, app, args, theme: str, size: str, folder: Path) -> None:
        from support.drilled_board import drilled_bench, small_job

        from ui.job import JobState
        from ui.settings import Settings
        from ui.window import Window

        folder.mkdir()
        self.app, self.args, self.ending = app, args, f"{theme}-{size}.png"
        self.job = small_job(folder)
        self.bench = drilled_bench(self.job, tuple(range(1, 1000)))
        state = JobState(Settings(theme=theme, type_scale=args.scale), folder / "data")
        state.make_practice = lambda job, seed: self.bench
        self.window = Window(state)
        self.window.resize(*map(int, size.split("x")))
        self.window.show()
        self.missed = 0

    def run(self) -> int:
        """How many stops were not reached."""
        from ui.job import PRACTICE, Bench

        window, state = self.window, self.window.job
        self.take("empty")
        window.open_paths(list(self.job.paths))
        self.wait(lambda: state.job is not None, "design")
        window.go("bench")
        self.take("bench")
        window.stages["bench"].show_page("table")
        self.take("table-limits")
        window.stages["bench"].show_page("home")
        state.set_bench(Bench(PRACTICE))
        window.go("finding")
        risks = window.stages["finding"].risks
        self.wait(lambda: state.found and not risks.busy, "finding")
        window.go("drilling")
        stage = window.stages["drilling"]
        self.wait(stage.cautions.isVisible, "cautions")
        stage.cautions.buttons[0].click()
        self.wait(stage.card.isVisible, "bit")
        stage.card.buttons[0].click()
        self.wait(lambda: stage.sight is not None and not stage.card.isVisible(), "drilling")
        for name in window.pages:
            window.open_page(name)
            self.take(name)
        window.close_page()
        self._after()
        self._table()
        window.close()
        return self.missed

    def _after(self) -> None:
        """The board comes back drilled, but for one hole."""
        from support.drilled_board import drilled_bench, record_holes

        window, state = self.window, self.window.job
        if state.board is None:
            self.missed += 1
            return
        record_holes(state.open_journal(), state.board, self.job, (6,))
        state.close_camera()
        state.practice = drilled_bench(self.job, (6,))
        window.go("after")
        stage = window.stages["after"]
        if self.wait(
            lambda: stage.sight is not None and stage.sight.image is not None, "photograph"
        ):
            stage.take.click()
            self.wait(lambda: stage.looked is not None, "after")

    def _table(self) -> None:
        """Another board, by table: its cautions, measured, and what was measured."""
        from calibration.table_tour import Plan

        window = self.window
        stage = window.stages["table"]
        stage.paced, stage.plan = False, Plan(targets=3, runs=2)
        window.job.next_board()
        window.job.set(found=True)
        window.go("table")
        if not self.wait(lambda: stage.thread is not None and stage.thread.sight is not None
                         and stage.thread.sight.image is not None, "table"):  # fmt: skip
            return
        stage.panel.measuring.click()
        self.wait(stage.card.isVisible, "table-cautions")
        stage.card.buttons[0].click()
        self.wait(lambda: (stage.thread.sight.runs or (0, 0))[0] > 0, "table-measuring")
        self.wait(stage.figures.isVisible, "table-figures")

    def wait(self, reached, name: str) -> bool:
        """Until that holds, then a picture."""
        end = time.monotonic() + WAIT_S
        while not reached() and time.monotonic() < end:
            self._rest(0.05)
        if not reached():
            print(f"not reached: {name} ({self.ending})", file=sys.stderr)
            self.missed += 1
        self._rest(0.5)
        self.take(name)
        return bool(reached())

    def take(self, name: str) -> None:
        self._rest(0.1)
        if not self.args.only or name in self.args.only:
            self.window.grab().save(str(self.args.out / f"{name}-{self.ending}"))

    def _rest(self, seconds: float) -> None:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self.app.processEvents()
            time.sleep(0.01)


if __name__ == "__main__":
    sys.exit(main())
