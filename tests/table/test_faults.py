"""Sixty faults, five moments each: every one ends safe, with its own message, and nothing is
drilled beside its place. Judged by the simulated table's log, not by what the program believes."""

from __future__ import annotations

import pytest
from support.table_bench import QUICK, TableBench, broken_invariants, setup_for
from support.table_faults import FAULTS, MOMENTS, ran

# tolerance 0.03 mm, pictures with 0.002 mm of noise on each axis, steps of 0.005 mm
BESIDE_MM = 0.03 + 4 * 0.002 + 0.005


@pytest.mark.parametrize("moment", MOMENTS, ids=str)
@pytest.mark.parametrize("fault", FAULTS, ids=str)
def test_fault(fault, moment):
    bench = ran(fault, moment)
    outcome = bench.job.outcome
    assert bench.put_in or outcome.reason == "finished"
    assert not broken_invariants(bench)
    # Noise of half a millimetre fools any eye; and what shifts after the last picture, while the
    # bit goes down or is in the board, spoils that hole, whatever a program does: but it is told.
    shifts = ("a few steps lost", "many steps lost", "board pushed a little", "board pushed far")
    torn = fault.name in shifts and moment.name == "bit in the board"
    beside = bench.off_mm() > BESIDE_MM
    if torn:
        assert outcome.reason == "BoardSlipped" and f"hole {len(bench.bores)} " in outcome.message
        assert not beside[:-1].any()
    elif fault.name != "pictures too noisy":
        assert not beside.any()
    if bench.put_in:
        assert outcome.reason in fault.ends, outcome
    if outcome.reason == "finished":
        assert len(bench.bores) + bench.job.view.progress.skipped == len(bench.xy)
        return
    assert outcome.message.count(".") >= 2  # what happened, and what to do
    if outcome.reason == fault.ends[0]:
        assert not fault.words or any(word in outcome.message for word in fault.words)
    promised_is_true(bench)


def promised_is_true(bench: TableBench) -> None:
    """What the person is told about spindle, bit and motion is so."""
    safe, table = bench.job.outcome.safe, bench.table
    if safe.spindle_off:
        assert not table.spinning
    if safe.z_up:
        assert table.axes.z >= bench.setup.safe_z_mm - 0.06
    bench.clock.advance(60)  # a move that was under way comes to its end, as it must
    table.catch_up()
    before = table.axes.motor.copy()
    bench.clock.advance(60)
    table.catch_up()
    assert (table.axes.motor == before).all()
    if not (safe.spindle_off and safe.held):
        assert "emergency stop" in bench.job.outcome.message


def test_there_are_sixty_and_each_has_a_name():
    assert len({fault.name for fault in FAULTS}) >= 60
    assert len(MOMENTS) == 5


def test_every_kind_of_failure_has_its_own_message():
    said = {}
    for fault in FAULTS:
        outcome = ran(fault, MOMENTS[1]).job.outcome
        if outcome.reason not in ("finished", "stopped"):
            said.setdefault(outcome.reason, set()).add(outcome.message.split(".")[0])
    assert len(said) >= 10
    sentences = [text for texts in said.values() for text in texts]
    assert len(sentences) == len(set(sentences))


@pytest.mark.parametrize("fault", FAULTS[::4], ids=str)
def test_the_other_dialect(fault):
    bench = ran(fault, MOMENTS[3], dialect="numbered-ack")
    assert not broken_invariants(bench)
    if "lost" not in fault.name and "pushed" not in fault.name and "noisy" not in fault.name:
        assert (bench.off_mm() <= BESIDE_MM).all()
    if bench.job.outcome.reason != "finished":
        promised_is_true(bench)


@pytest.mark.parametrize("fault", FAULTS[1::5], ids=str)
def test_a_table_with_a_lever(fault):
    bench = ran(fault, MOMENTS[1], setup=setup_for(QUICK, lever=True))
    assert not broken_invariants(bench)
    assert bench.bores == []  # here nobody pulls it
