"""The drilling sequence on the simulated table with an eye that knows the truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.table_bench import QUICK, SPINDLE, TableBench, broken_invariants, setup_for

from drillaid.errors import UnsafeNow
from drillaid.guidance import events as ev
from drillaid.guidance.work import Stop, Work
from drillaid.table import job as j
from drillaid.table.afterwards import HIDDEN_MM, Afterwards

HOME_MADE = replace(
    QUICK, backlash_mm=(0.15, 0.15), skew_deg=0.5, scale=(1.01, 0.99), lost_chance=0.05
)


# The figures of the brief for the simulated table, here with an eye of 0.002 mm of noise; with
# drawn pictures they are held in tests/simulation/test_table_bench.py.
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_home_made_table(sign):
    rng = np.random.default_rng(5)
    holes = rng.uniform(-18, 18, (40, 2))
    mechanics = replace(HOME_MADE, turn_deg=0.0 if sign > 0 else 180.0)
    setup = setup_for(mechanics, matrix=sign * np.eye(2))  # roughly right
    bench = TableBench(mechanics=mechanics, setup=setup, holes=holes, bits=[0.8] * 40)
    outcome = bench.run(steps=50_000)
    assert outcome.reason == "finished"
    off = bench.off_mm()
    looks = len(bench.camera.times) / 40
    print(
        f"worst {off.max():.3f} mm, 95 % within {np.quantile(off, 0.95):.3f} mm, {looks:.1f} looks"
    )
    assert len(off) == 40 and off.max() <= 0.05 and np.quantile(off, 0.95) <= 0.035
    assert not broken_invariants(bench)
    assert looks <= 1 + 3.0  # one of them after the bit is out: has the board stayed?


def test_a_matrix_that_is_wrong_is_noticed_at_the_first_move():
    bench = TableBench(setup=setup_for(QUICK, matrix=np.diag([1.0, -1.0])))
    outcome = bench.run()
    assert outcome.reason == "BoardLost" and "matrix is wrong" in outcome.message
    assert bench.bores == []


def test_lands_that_are_not_seen_are_asked_about_before_anything_is_drilled():
    """All but those that the chuck may cover; whoever confirms has looked."""
    corners = np.array([[-16.0, -16.0], [16.0, -16.0], [16.0, 16.0], [-16.0, 16.0], [0.0, 0.0]])
    bench = TableBench(holes=corners, bits=[0.8] * 5)
    look = bench.finder.look

    def without_lands(image):
        found = look(image)
        if found.placement is None:
            return found
        bare = np.ones(len(bench.xy), dtype=bool)
        return replace(found, placement=replace(found.placement, land_missing=bare))

    bench.finder.look = without_lands
    asked = []
    act = bench.job.act

    def noted(action):
        if isinstance(action, ev.Confirm):
            asked.append((bench.job.view.state, bench.job.view.message, len(bench.bores)))
        return act(action)

    bench.job.act = noted
    assert bench.run().reason == "finished"
    about = [row for row in asked if "No land is to be seen" in row[1]]
    assert len(about) == 1 and "at 4 holes" in about[0][1] and about[0][0] == j.CAUTIONS and about[0][2] == 0
    assert not broken_invariants(bench)


def test_dry_run_goes_everywhere_turns_nothing_and_writes_nothing():
    written = []
    bench = TableBench(settings=j.JobSettings(dry_run=True), record=lambda *e: written.extend(e))
    outcome = bench.run()
    assert outcome.reason == "finished" and "4 of 4 holes checked" in outcome.message
    assert bench.bores == [] and written == []
    assert not [h for h in bench.table.log if h.what == "spindle"]
    assert bench.table.axes.z >= -12.01
    places = [h.end for h in bench.table.log if h.what == "motion"]
    assert len({p[:2] for p in places}) >= 5


def test_each_hole_is_written_down_before_the_next_motion():
    bench = TableBench()
    written = []

    def record(*events):
        for event in events:
            written.append((event.event, event.hole, bench.clock.now(), len(bench.bores)))

    bench.job._record = record
    bench.run()
    done = [(hole, bores) for name, hole, _, bores in written if name == "hole_done"]
    assert done == [(1, 1), (2, 2), (3, 3), (4, 4)]
    assert [name for name, *_ in written if name != "hole_done"] == [
        "bit_change", "bit_fitted", "bit_change", "bit_fitted", "finished"
    ]  # fmt: skip


def test_what_is_recorded_of_a_hole():
    written = []
    bench = TableBench(record=lambda *e: written.extend(e))
    bench.run()
    hole = next(e for e in written if e.event == "hole_done")
    assert hole.distance_mm <= 0.03 and hole.expected_error_mm == pytest.approx(0.02)
    assert hole.detail["by"] == "table" and hole.detail["bit_mm"] == 0.8
    assert hole.matrix is not None and hole.to_json()["off_mm"] is not None


@pytest.mark.parametrize("lever", [False, True])
@pytest.mark.parametrize("push_mm", [0.05, 0.3])
def test_a_board_that_moves_while_it_is_drilled_is_told_for_that_hole(lever, push_mm):
    """No picture tells it before; afterwards one does, and the hole is no silent mistake."""
    written = []
    bench = TableBench(
        setup=setup_for(QUICK, lever=lever), record=lambda *events: written.extend(events)
    )

    def push(b: TableBench) -> None:
        now = b.job.view
        down = now.state == j.LEVER if lever else b.table.axes.z < b.setup.surface_z_mm
        if down and now.hole == 2 and not b.pushed.any():
            b.pushed = np.array([0.6, -0.8]) * push_mm

    outcome = bench.run(before_step=push)
    assert outcome.reason == "BoardSlipped"
    assert "while hole 2 was drilled" in outcome.message and "clamps" in outcome.message
    assert outcome.safe.spindle_off and outcome.safe.held
    # it is drilled, so it counts; and nothing was drilled after it
    assert [e.hole for e in written if e.event == "hole_done"] == [1, 2]


def test_where_a_hole_lies_is_seen_once_more_when_the_bit_is_out():
    told = []
    bench = TableBench()
    listen = bench.job._publish

    def publish():
        view = listen()
        told.extend(e for e in view.events if e.event == "stayed")
        return view

    bench.job._publish = publish
    assert bench.run().reason == "finished"
    assert [e.hole for e in told] == [1, 2, 3, 4]
    seen = np.array([e.detail["off_mm"] for e in told])
    true = [bench.pose.linear @ (at - xy) for (at, _), xy in zip(bench.bores, bench.xy, strict=True)]
    # two noises of 0.002 mm on each axis: of this look, and none of the truth
    assert np.abs(seen - true).max() < 4 * 0.002
    pictures = np.array(bench.camera.times)
    for h in bench.table.log:
        if h.what == "drill":  # a picture since, before the next motion of x and y
            following = min(m.time_s for m in [*bench.table.log, Late] if m.what == "motion"
                            and m.time_s > h.time_s and _sideways(m))  # fmt: skip
            assert ((pictures > h.time_s) & (pictures <= following)).any()


class Late:
    """After everything."""

    what, time_s, start, end = "motion", np.inf, (0.0, 0.0, 0.0), (1.0, 0.0, 0.0)


def _sideways(motion) -> bool:
    return bool(np.abs(np.subtract(motion.end, motion.start))[:2].max() > 1e-6)


def test_a_slot_is_drilled_place_by_place():
    bench = TableBench(bits=(0.8,) * 4)
    stops = tuple(Stop(1, (float(x), 0.0), 0.8, k, 3) for k, x in enumerate((0, 2.5, 1.25), 1))
    bench.job._plan = lambda to_table, here: Work(stops)
    written = []
    bench.job._record = lambda *e: written.extend(e)
    assert bench.run().reason == "finished"
    assert [e.event for e in written if "done" in e.event] == [
        "stop_done",
        "stop_done",
        "hole_done",
    ]
    assert len(bench.bores) == 3


def test_the_lever_waits_for_a_person_and_bores_nothing_by_itself():
    bench = TableBench(setup=setup_for(QUICK, lever=True, spindle_rpm=0.0))
    states, done = [], []

    def listen(view):
        states.append(view.state)
        done.extend(e for e in view.events if e.event == "hole_done")

    bench.job._listen = listen
    assert bench.run().reason == "finished"
    assert j.LEVER in states and bench.bores == []
    assert all(event.distance_mm <= 0.03 for event in done) and len(done) == 4
    assert not [h for h in bench.table.log if h.what == "line" and "Z" in h.text]
    assert not [h for h in bench.table.log if h.what == "line" and h.text.startswith("M3")]


def run_until(bench: TableBench, state: str, hole: int | None = None) -> None:
    for _ in range(5000):
        view = bench.job.step()
        assert bench.job.outcome is None, bench.job.outcome
        if view.state == state and (hole is None or view.hole == hole):
            return
        bench.answer(view)
    pytest.fail(f"never {state}")


def test_nothing_moves_before_the_cautions_are_confirmed():
    bench = TableBench()
    for _ in range(200):
        view = bench.job.step()
    assert view.state == j.CAUTIONS and len(view.cautions) >= 8
    assert any("no emergency stop" in c.text and "wired" in c.text for c in view.cautions)
    assert not [h for h in bench.table.log if h.what in ("motion", "home", "line", "urgent")]


def test_a_pause_takes_effect_between_holes_with_the_spindle_off():
    bench = TableBench()
    run_until(bench, j.DRILLING, 1)
    bench.job.act(ev.Pause())
    run_until(bench, j.PAUSED)
    assert len(bench.bores) == 1 and not bench.table.spinning
    moved = len([h for h in bench.table.log if h.what == "motion"])
    for _ in range(100):
        bench.job.step()
    assert len([h for h in bench.table.log if h.what == "motion"]) == moved
    bench.pushed = np.array([2.0, 1.0])  # somebody moves the board meanwhile
    bench.job.act(ev.Resume())
    assert bench.run().reason == "finished"
    assert len(bench.bores) == 4 and bench.off_mm().max() < 0.04


def test_stop_holds_at_once_and_raises_the_bit():
    bench = TableBench()
    run_until(bench, j.DRILLING, 2)
    while bench.table.axes.z > -20.5:
        bench.job.step()
    view = bench.job.act(j.Stop())
    assert view.state == j.STOPPED and bench.job.outcome.reason == "stopped"
    assert bench.table.axes.z == pytest.approx(-12, abs=0.01) and not bench.table.spinning
    assert bench.job.act(ev.Confirm()).refusal == "the job has ended."
    assert bench.job.step().state == j.STOPPED


def test_leaving_the_job_is_a_stop_even_by_an_exception():
    bench = TableBench()
    with pytest.raises(KeyboardInterrupt):
        with bench.job:
            run_until(bench, j.DRILLING, 1)
            raise KeyboardInterrupt
    assert bench.job.outcome.safe.spindle_off and not bench.table.spinning


def test_a_fault_of_our_own_leaves_the_table_safe_too():
    bench = TableBench()
    run_until(bench, j.DRILLING, 1)
    bench.finder.look = None
    with pytest.raises(TypeError):
        for _ in range(1000):
            bench.answer(bench.job.step())
    assert not bench.table.spinning and bench.table.axes.z == pytest.approx(-12, abs=0.01)


def test_skipping():
    bench = TableBench()
    assert bench.job.act(ev.Skip()).refusal is not None
    run_until(bench, j.LOOKING, 2)
    assert bench.job.act(ev.Skip()).refusal is None
    assert bench.run().reason == "finished"
    assert len(bench.bores) == 3 and bench.job.view.progress.skipped == 1


def test_holes_out_of_reach_are_refused_before_anything_is_drilled():
    bench = TableBench(holes=((0, 0), (2, 0), (90, 0), (0, 5)))
    outcome = bench.run()
    assert outcome.reason == "CannotPlace" and "soft limits" in outcome.message
    assert bench.bores == []


def test_corrections_are_counted_and_given_up():
    bench = TableBench(noise_mm=0.08)
    outcome = bench.run()
    assert outcome.reason == "CannotPlace" and "after 5 corrections" in outcome.message
    # with such an eye a hole may look right by chance; it is then as right as the eye is


def test_a_drilled_hole_is_measured_once_it_is_out_from_under_the_spindle():
    bench = TableBench(settings=j.JobSettings(look_again=True))
    asked = []

    def measure(look, hole, bit_mm):
        far = np.hypot(*(look.bench_mm(bench.xy[hole - 1]) - SPINDLE))
        asked.append((hole, bit_mm, far))
        return {"drilled_off_mm": [0.01, 0.0]}

    bench.job._afterwards = Afterwards(measure, SPINDLE)
    events = []
    bench.job._listen = lambda view: events.extend(view.events)
    assert bench.run().reason == "finished"
    assert sorted(hole for hole, _, _ in asked) == [1, 2, 3, 4]
    assert all(far > HIDDEN_MM for hole, _, far in asked if hole != 4)
    told = [e for e in events if e.event == "measured"]
    assert told[0].detail == {"drilled_off_mm": [0.01, 0.0]} and told[3].hole == 4


@pytest.mark.parametrize("bad", [{"tolerance_mm": 0.001}, {"tolerance_mm": float("nan")},
                                 {"corrections": -1}])  # fmt: skip
def test_settings_out_of_range(bad):
    with pytest.raises(ValueError):
        j.JobSettings(**bad)


def test_actions_that_are_none():
    with pytest.raises(TypeError):
        TableBench().job.act(ev.Undo())


def test_the_machine_refuses_what_the_job_would_never_ask():
    bench = TableBench()
    run_until(bench, j.CHANGE_BIT)
    with pytest.raises(UnsafeNow):
        next(bench.machine.travel(50, 40))
