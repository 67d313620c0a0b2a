"""Camera, finder, session and record joined: every fault on the way, and nothing counted twice
or unrecorded."""

from __future__ import annotations

import itertools
import time

import numpy as np
import pytest
from support.bench_job import SPINDLE, Job, work_of
from support.scripted_camera import ScriptedCamera, WrittenFinder, registered, unseen

from drillaid.design.model import Design, Hole
from drillaid.errors import CameraLost, CameraTimeout, RigError, StorageError
from drillaid.guidance import guidance as g
from drillaid.guidance.events import AsSeen, BitFitted, Confirm, Resume, Skip, Undo
from drillaid.guidance.keeping import Keeper
from drillaid.guidance.live import LiveGuidance
from drillaid.guidance.session import Session
from drillaid.inspection.agreement import Agreement
from drillaid.journal.journal import Journal, holes_now
from drillaid.journal.resume import resume, start
from drillaid.rig.frame import Frame
from drillaid.rig.reader import NewestFrame

FRAME = 0.05
DESIGN_8 = Design("eight", tuple(Hole(n, 2.54 * n, 0.0, 0.8) for n in range(1, 9)))


class Bench:
    """A live guidance over a script; the target lies `off` from the spindle, if it is seen."""

    def __init__(self, script, *, session=None, keeper=None, reopen_fails=0, **more) -> None:
        self.work = work_of((0.8, 5), (1.0, 3))
        self.session = session or Session(self.work, SPINDLE)
        self.job = Job(self.work, self.session)
        self.off, self.seen = (0.0, 0.0), True
        self.camera = ScriptedCamera(script, reopen_fails=reopen_fails)
        self.finder = WrittenFinder(self.answer)
        self.events, self.told = [], []
        more.setdefault("clock", lambda: self.camera.time_s)
        self.live = LiveGuidance(
            self.camera, self.finder, self.session, keeper=keeper, listen=self.listen, **more
        )

    def answer(self):
        return registered(self.job.view(off=self.off)) if self.seen else unseen()

    def listen(self, guidance) -> None:
        self.events += guidance.events

    def run(self, steps: int):
        for _ in range(steps):
            guidance = self.live.step()
        return guidance

    def names(self) -> list[str]:
        return [event.event for event in self.events if event.event != "frame"]


def with_bit(bench: Bench) -> Bench:
    bench.live.act(BitFitted(0.8))
    return bench


def test_a_target_held_still_is_on_target_and_counts():
    bench = with_bit(Bench([FRAME] * 10))
    assert bench.run(10).state == g.ON_TARGET
    after = bench.live.act(Confirm())
    assert after.refusal is None and after.progress.done == 1
    assert bench.names() == ["bit_fitted", "registered", "on_target", "hole_done"]


def test_the_end_of_a_recording_is_no_picture():
    bench = Bench([FRAME, None])
    bench.live.step()
    assert bench.live.step() is None
    assert bench.live.ended


def test_a_lost_camera_is_told_once_and_what_was_known_is_forgotten():
    lost = [CameraLost("The camera is gone.")] * 4
    bench = with_bit(Bench([FRAME] * 10 + lost + [FRAME] * 10, reopen_fails=2))
    assert bench.run(10).state == g.ON_TARGET
    guidance = bench.run(4)
    assert guidance.state == g.LOST
    assert "gone" in guidance.message
    assert bench.camera.reopened == 4
    assert bench.finder.forgotten == 1
    first = bench.run(1)
    assert bench.live.trouble is None
    assert first.state == g.HOLD  # steady is earned anew
    assert bench.run(9).state == g.ON_TARGET
    assert bench.names().count("camera_lost") == bench.names().count("camera_back") == 1


def test_a_camera_that_stays_away_says_why_it_cannot_be_opened():
    bench = Bench([FRAME] + [CameraLost("gone")] * 2, reopen_fails=5)
    bench.run(2)
    assert "still unplugged" in bench.live.trouble


def test_a_picture_that_is_late_is_no_trouble_but_none_at_all_is():
    late = CameraTimeout("no picture")
    bench = with_bit(Bench([FRAME] * 10 + [late] * 12))
    bench.run(11)
    assert bench.live.trouble is None
    assert bench.run(11).state == g.LOST
    assert bench.live.trouble is not None and bench.finder.forgotten == 1


def test_a_frozen_picture_guides_nobody():
    class Hung:
        name, live = "hung camera", True

        def __init__(self):
            self.numbers = itertools.count()
            self.image = np.full((32, 32, 3), 9, np.uint8)

        def read(self, timeout_s=2.0):
            time.sleep(0.005)
            return Frame(self.image, next(self.numbers), time.monotonic())

        def close(self):
            pass

    bench = Bench([])
    with NewestFrame(Hung(), frozen_after_s=0.05) as camera:
        live = LiveGuidance(camera, bench.finder, bench.session, clock=time.monotonic)
        live.act(BitFitted(0.8))
        deadline = time.monotonic() + 20
        while live.trouble is None and time.monotonic() < deadline:
            guidance = live.step(0.2)
        assert "frozen" in live.trouble
        assert guidance.state == g.LOST and "frozen" in guidance.message
        assert guidance.aim is None


def test_a_board_that_is_gone_gives_the_reason_and_comes_back():
    bench = with_bit(Bench([FRAME] * 40))
    bench.run(10)
    bench.seen = False
    guidance = bench.run(5)
    assert guidance.state == g.LOST and "too few pads" in guidance.message
    assert guidance.matrix is None and bench.live.trouble is None
    bench.seen = True
    assert bench.run(10).state == g.ON_TARGET


def test_a_camera_whose_clock_begins_anew_starts_from_nothing():
    bench = with_bit(Bench([FRAME] * 10 + [-0.4] + [FRAME] * 10, clock=None))
    assert bench.run(10).state == g.ON_TARGET
    assert bench.run(1).state == g.HOLD
    assert bench.finder.forgotten == 1
    assert bench.run(9).state == g.ON_TARGET


def test_pictures_that_do_not_suit_the_rig_are_refused():
    def check(frame):
        raise RigError("the picture has another size")

    with pytest.raises(RigError):
        Bench([FRAME], check=check).live.step()


def test_work_on_a_picture_of_a_recording_counts_as_latency():
    ticks = itertools.count(0, 0.012)
    bench = Bench([FRAME], clock=None, stopwatch=lambda: next(ticks))
    assert bench.live.step().latency_ms == pytest.approx(12)
    assert [event.latency_ms for event in bench.events if event.event == "frame"] == [
        pytest.approx(12)
    ]


# --- the record -------------------------------------------------------------------------------


class Record:
    """Keeps what was recorded; fails while `full`."""

    def __init__(self) -> None:
        self.full, self.kept = False, []

    def record(self, board, *events) -> None:
        if self.full:
            raise StorageError("the disk is full; make room.")
        self.kept += [event for event in events if event.event != "frame"]

    def facts(self):
        return [(e.event, e.hole, e.detail) for e in self.kept]


def kept_bench(script):
    record, told = Record(), []
    bench = Bench(script, keeper=Keeper(record, 1, told.append))
    bench.record, bench.told = record, told
    return with_bit(bench)


def test_events_are_on_the_disk_before_anyone_hears_of_them():
    bench = kept_bench([FRAME] * 10)
    heard = []
    bench.live._listen = lambda guidance: heard.append(
        [e for e in guidance.events if e.event != "frame" and e not in bench.record.kept]
    )
    bench.run(10)
    bench.live.act(Confirm())
    assert heard and not any(heard)


def test_a_hole_that_cannot_be_written_down_does_not_count():
    bench = kept_bench([FRAME] * 40)
    bench.run(10)
    bench.record.full = True
    after = bench.live.act(Confirm())
    assert "hole 1 does not count" in after.refusal and "disk is full" in after.refusal
    assert after.progress.done == 0 and after.hole == 1
    assert "hole_done" not in bench.names()
    assert bench.told and "full" in bench.told[0]
    bench.record.full = False
    bench.run(10)
    assert bench.live.act(Confirm()).progress.done == 1
    assert "again" in bench.told[-1]
    assert_replays(bench)


def test_the_last_hole_is_not_finished_until_it_is_written():
    bench = kept_bench([FRAME] * 200)
    for _ in range(7):
        bench.live.act(Skip())
    bench.live.act(BitFitted(1.0))
    bench.run(10)
    bench.record.full = True
    assert bench.live.act(Confirm()).state != g.FINISHED
    bench.record.full = False
    bench.run(10)
    assert bench.live.act(Confirm()).state == g.FINISHED
    assert bench.names().count("finished") == 1
    assert_replays(bench)


def test_what_only_steers_is_written_later_and_in_order():
    bench = kept_bench([FRAME] * 40)
    bench.run(10)
    bench.live.act(Confirm())
    bench.record.full = True
    assert bench.live.act(Undo()).progress.done == 0
    bench.record.full = False
    bench.run(10)
    bench.live.act(Confirm())
    facts = [name for name, _, _ in bench.record.facts() if name in ("hole_done", "undone")]
    assert facts == ["hole_done", "undone", "hole_done"]
    assert_replays(bench)


def assert_replays(bench) -> None:
    """What is on the disk leads to the very state the operator sees."""
    again = Session.resume(bench.work, SPINDLE, bench.record.facts())
    assert again.progress.done == bench.session.progress.done
    assert again.progress.skipped == bench.session.progress.skipped
    assert again.progress.target == bench.session.progress.target


def test_a_real_journal_on_a_full_disk_and_going_on_after_a_crash(tmp_path):
    from drillaid.design.model import Design, Hole

    design = Design("rows", tuple(Hole(n, float(n), 0.0, 0.8) for n in range(1, 9)))
    bench = Bench([FRAME] * 60)
    with Journal.open(tmp_path / "j.sqlite3") as journal:
        board = start(journal, design, bench.work)
        bench.live._keeper = Keeper(journal, board, bench.told.append)
        with_bit(bench)
        for _ in range(2):
            bench.run(10)
            assert bench.live.act(Confirm()).refusal is None
        bench.run(10)
        pages = journal._store._db.execute("PRAGMA page_count").fetchone()[0]
        journal._store._db.execute(f"PRAGMA max_page_count={pages}")
        refused = None
        for _ in range(200):  # until the pages there are have been filled
            refused = bench.live.act(Skip()).refusal or bench.live.act(Undo()).refusal
            if refused:
                break
        assert refused and "does not count" in refused
    with Journal.open(tmp_path / "j.sqlite3") as journal:
        session = resume(journal, board, SPINDLE, design=design)
        assert session.progress.done == bench.session.progress.done == {0, 1}


# --- a job that is gone on with ---------------------------------------------------------------


class SaidOnce:
    """In place of `Recheck`: the answer comes with the second picture."""

    def __init__(self, agreed) -> None:
        self.agreed, self.asked = agreed, []

    def look(self, image, registration, done):
        self.asked.append(done)
        return None if len(self.asked) < 2 else self.agreed


DIFFERS = Agreement(missing=(1,), extra=(4,), unseen=(), agreeing=1)


def gone_on_with(agreed, **more) -> tuple[Bench, SaidOnce]:
    """Holes 1 and 2 are on record."""
    job = Job(work_of((0.8, 5), (1.0, 3)))
    job.fit(0.8)
    job.act(Confirm(forced=True))
    job.act(Confirm(forced=True))
    facts = [(event.event, event.hole, event.detail) for event in job.events]
    session, recheck = Session.resume(job.work, SPINDLE, facts), SaidOnce(agreed)
    return with_bit(Bench([FRAME] * 30, session=session, recheck=recheck, **more)), recheck


def test_a_record_that_agrees_is_told_once_and_work_goes_on():
    bench, recheck = gone_on_with(Agreement((), (), (), 2))
    assert bench.run(12).state == g.ON_TARGET
    assert recheck.asked == [frozenset({1, 2})] * 2
    (event,) = [e for e in bench.events if e.event == "record_checked"]
    assert event.detail["agrees"] and "paused" not in bench.names()


def test_where_the_record_differs_nothing_is_on_target_until_a_person_decides():
    bench, _ = gone_on_with(DIFFERS)
    guidance = bench.run(15)
    assert guidance.state == g.PAUSED and not guidance.can_confirm
    assert guidance.differs is DIFFERS and guidance.message == DIFFERS.sentence
    assert "on_target" not in bench.names()
    assert bench.live.act(Confirm()).refusal is not None
    assert bench.live.guidance.progress.done == 2  # nothing was changed in silence
    after = bench.live.act(Resume())
    assert after.differs is None and after.progress.done == 2
    assert "record_kept" in bench.names()
    assert bench.run(10).state == g.ON_TARGET


def test_the_record_is_put_right_by_the_board_and_that_is_recorded(tmp_path):
    with Journal.open(tmp_path) as journal:
        bench, _ = gone_on_with(DIFFERS)
        board = start(journal, DESIGN_8, bench.work)
        facts = Job(bench.work)
        facts.fit(0.8)
        facts.act(Confirm(forced=True))
        facts.act(Confirm(forced=True))
        journal.record(board, *facts.events)
        bench.live.keep_with(Keeper(journal, board, print))
        bench.run(3)
        after = bench.live.act(AsSeen(DIFFERS.extra, DIFFERS.missing))
        assert after.differs is None and after.refusal is None and after.state != g.PAUSED
        done, _ = holes_now(journal.events(board))
        assert done == {2, 4}
        assert resume(journal, board, SPINDLE).progress.done == bench.session.progress.done
        names = [e.event for e in journal.events(board)]
        assert names.index("record_checked") < names.index("as_seen")
        bench.live.act(Undo())
        assert holes_now(journal.events(board))[0] == {1, 2}
