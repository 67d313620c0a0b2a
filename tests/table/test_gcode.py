"""Every file is read back by `support.rs274`, which knows the published rules and not us."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.rs274 import Machine

from drillaid.design.model import Design, Hole
from drillaid.errors import CannotPlace, OutOfReach, RigError, UsageError
from drillaid.geometry import Affine, Homography
from drillaid.guidance.order import Order, Run
from drillaid.guidance.work import Work
from drillaid.registration.result import Placement
from drillaid.simulation.rigs import nominal_rig
from drillaid.table.dialect_file import load_dialect
from drillaid.table.gcode import Cut, check_depths, comment_text, write_program
from drillaid.table.gcode_places import PHOTO, on_bench, on_table, vouch, worst_mm
from drillaid.table.setup import TableSetup

ROUNDING_MM = 0.0005 * math.sqrt(2) + 1e-9  # three decimals on each axis
TABLE = {
    "matrix": [[1.01, -0.008], [0.012, 0.99]],
    "matrix_sigma": 0.0004,
    "backlash_mm": [0.15, 0.1],
    "backlash_sigma_mm": [0.005, 0.005],
    "repeatability_mm": [0.02, 0.02],
    "limits_mm": [[-200.0, 200.0], [-200.0, 200.0], [-30.0, 0.0]],
    "view_mm": [10.0, 5.0],
    "safe_z_mm": -12.0,
    "surface_z_mm": -20.0,
    "spindle_rpm": 20000.0,
}
BITS = (0.8, 1.0, 1.3)
LINE = load_dialect("line-ack")


def rig_with(**changes):
    rig = nominal_rig(1280, 720, 0.08)
    table = {k: v for k, v in (TABLE | changes).items() if v is not None}
    return replace(rig, axis_mm=np.array([1.0, -2.0]), extra={**rig.extra, "table": table})


def placed(design: Design, matrix: Affine, error_mm: float = 0.02) -> Placement:
    n = len(design.holes)
    return Placement(
        "rigid", Homography(np.eye(3)), matrix, np.zeros((n, 2)), matrix(design.xy_mm),
        np.full(n, error_mm), np.ones(n, bool), 0.01, 10.0,
    )  # fmt: skip


def work_for(design: Design, bits) -> Work:
    """Bit by bit, as listed; the order is no matter of these tests."""
    runs = [
        Run(bit, tuple(h.number for h, b in zip(design.holes, bits, strict=True) if b == bit), 0.0)
        for bit in sorted(set(bits))
    ]
    return Work.of(design, Order(tuple(runs), 0.0))


PLAIN = Design("plain", tuple(Hole(n, 2.54 * n, 3.0 * (n % 3), 0.8) for n in range(1, 8)))
AT = Affine.from_parts(rotation_rad=0.4, offset=(6.0, -3.0), mirrored=True)


def program(cut: dict | None = None, design=PLAIN, bits=None, matrix=AT, rig=None, dialect=LINE):
    rig = rig or rig_with()
    setup = TableSetup.of(rig)
    work = work_for(design, bits or [0.8] * len(design.holes))
    places = on_table(work, placed(design, matrix), rig, setup, 1.6, stood_mm=setup.view_mm)
    made = Cut.of(setup, 1.6, **cut or {})
    return write_program(work, places, made, dialect), work, places, made


def held_against_the_rules(text: str, work: Work, places, cut: Cut) -> Machine:
    """All that a file promises, by what the interpreter says a machine would do."""
    done = Machine(at=(3.0, -7.0, -4.0), block_delete=False).run(text)
    assert done.ended and not done.spinning
    assert done.at[2] == pytest.approx(cut.safe_z_mm)
    plunges = []
    for move in done.moves:
        if move.start[:2] != move.end[:2]:
            assert min(move.start[2], move.end[2]) >= cut.safe_z_mm - 1e-9, move
            assert move.rapid
        if not move.rapid:
            assert move.spinning is (cut.spindle_rpm > 0)
            assert move.end[2] < move.start[2]
            if move.start[2] <= cut.surface_z_mm + 0.51 and (
                not plunges or plunges[-1][0] != move.end[:2] or plunges[-1][2]
            ):
                halts = len(done_halts(done, move.line))
                plunges.append([move.end[:2], move.end[2], False, halts, 0])
            plunges[-1][4] += 1
            plunges[-1][1] = min(plunges[-1][1], move.end[2])
        elif move.end[2] < cut.surface_z_mm:
            raise AssertionError(f"a rapid into the board: {move}")
        if plunges and move.end[2] >= cut.safe_z_mm - 1e-9:
            plunges[-1][2] = True  # out of the hole
    assert len(plunges) == len(work.stops)
    bits = {bit: k for k, bit in enumerate(work.bits_mm, 1)}
    per_bit = 1 if cut.spindle_rpm > 0 else 2
    for (xy, z, _, halts, pecks), stop, want in zip(plunges, work.stops, places.xy_mm, strict=True):
        assert math.dist(xy, want) <= ROUNDING_MM
        assert halts == per_bit * bits[stop.bit_mm]  # its own bit was asked for, and no later one
        assert z == pytest.approx(cut.pass_of(stop.bit_mm).drill_z_mm, abs=0.0006)
        assert pecks == cut.pass_of(stop.bit_mm).pecks  # and no sliver left for one more
    for halt in done.halts:
        assert not halt.spinning and halt.at[2] >= cut.safe_z_mm - 1e-9 and halt.messages
    for bit in work.bits_mm:
        assert sum(f"Fit {bit:g} mm bit" in " ".join(h.messages) for h in done.halts) == 1
    return done


def done_halts(done: Machine, line: int):
    return [halt for halt in done.halts if halt.line < line]


@st.composite
def boards(draw):
    """(design, bits): holes, now and then a slot, no two places the same."""
    grid = draw(
        st.sets(st.tuples(st.integers(-12, 12), st.integers(-9, 9)), min_size=1, max_size=20)
    )
    holes = []
    for n, (x, y) in enumerate(sorted(grid), 1):
        size = draw(st.sampled_from(BITS))
        dx = draw(st.floats(0, 0.4))
        slot = (
            (2.54 * x + dx + draw(st.floats(1.0, 2.0)), 2.54 * y) if draw(st.booleans()) else None
        )
        holes.append(Hole(n, 2.54 * x + dx, 2.54 * y, size, slot_to_mm=slot))
    return Design("random", tuple(holes)), [hole.drill_mm for hole in holes]


@settings(max_examples=60)
@given(
    board=boards(), turn=st.floats(-3.2, 3.2), mirrored=st.booleans(), spell=st.booleans(),
    peck=st.sampled_from([None, 0.0, 0.37]), rpm=st.sampled_from([0.0, 20000.0]),
    backlash=st.booleans(), dialect=st.sampled_from(["line-ack", "numbered-ack"]),
)  # fmt: skip
def test_random_boards_are_drilled_hole_by_hole(
    board, turn, mirrored, spell, peck, rpm, backlash, dialect
):
    design, bits = board
    rig = rig_with(spindle_rpm=rpm, backlash_mm=[0.15, 0.1] if backlash else [0.0, 0.0])
    matrix = Affine.from_parts(rotation_rad=turn, offset=(4.0, -9.0), mirrored=mirrored)
    cut = {"spell_out": spell} | ({} if peck is None else {"peck_mm": peck})
    text, work, places, made = program(
        cut, design, bits, matrix, rig, load_dialect(dialect)
    )  # fmt: skip
    done = held_against_the_rules(text, work, places, made)
    assert ("G81" in text or "G83" in text) is not spell
    if backlash:  # each place is come to from smaller X and Y
        for before, move in zip(done.moves, done.moves[1:], strict=False):
            if not move.rapid and before.rapid and before.start[2] > move.end[2]:
                way = [m for m in done.moves[: done.moves.index(move)] if m.start[:2] != m.end[:2]]
                assert np.all(np.subtract(way[-1].end[:2], way[-1].start[:2]) > 0)


@pytest.mark.parametrize("arrangement", ["board", "spindle"])
def test_places_are_where_the_table_brings_each_hole_under_the_spindle(arrangement):
    """By the definition of the matrix: moving the table by t moves the board by M t, or, under
    a spindle that moves with its camera, as seen from there, by - M t."""
    _, work, places, _ = program(rig=rig_with(arrangement=arrangement))
    matrix = np.array(TABLE["matrix"]) * (1 if arrangement == "board" else -1)
    for stop, at in zip(work.stops, places.xy_mm, strict=True):
        moved = AT(stop.xy_mm)[0] + matrix @ (at - TABLE["view_mm"])
        assert moved == pytest.approx([1.0, -2.0], abs=1e-9)


def test_origin_at_the_photograph_is_the_same_shifted():
    rig = rig_with()
    setup = TableSetup.of(rig)
    work = work_for(PLAIN, [0.8] * 7)
    here = np.array([20.0, 30.0])
    table, photo = (
        on_table(work, placed(PLAIN, AT), rig, setup, 1.6, stood_mm=here, origin=origin)
        for origin in ("table", PHOTO)
    )
    assert table.xy_mm - photo.xy_mm == pytest.approx(np.tile(here, (7, 1)))
    assert photo.park_mm == pytest.approx([0, 0]) and table.park_mm == pytest.approx(here)


def test_a_bench_that_is_no_table():
    work = work_for(PLAIN, [0.8] * 7)
    places = on_bench(work, placed(PLAIN, AT), nominal_rig(1280, 720, 0.08), 1.6)
    assert places.xy_mm == pytest.approx(AT(PLAIN.xy_mm))
    cut = Cut(5.0, 0.0, spindle_rpm=12000.0)
    held_against_the_rules(write_program(work, places, cut, LINE), work, places, cut)


def test_expected_error_holds_against_drawn_errors():
    """Matrix, backlash and places drawn from what the rig file says of them."""
    rng = np.random.default_rng(3)
    rig = rig_with()
    setup = TableSetup.of(rig)
    far = replace(PLAIN, holes=tuple(replace(h, x_mm=10 * h.x_mm) for h in PLAIN.holes))
    work = work_for(far, [0.8] * 7)
    places = on_table(work, placed(far, AT), rig, setup, 1.6, stood_mm=setup.view_mm)
    off = []
    for _ in range(1500):
        matrix = setup.matrix + rng.normal(0, TABLE["matrix_sigma"], (2, 2))
        seen = AT(work.xy_mm) + rng.normal(0, 0.02 / math.sqrt(2), (7, 2))
        went = places.xy_mm + rng.normal(0, 0.005, (7, 2)) + rng.normal(0, 0.005, (7, 2))
        off.append(seen + (went - setup.view_mm) @ matrix.T - [1.0, -2.0])
    real = np.sqrt((np.square(off).sum(axis=2)).mean(axis=0))
    print("real/stated", (real / places.expected_error_mm).round(2))
    assert (np.abs(real / places.expected_error_mm - 1) < 0.06).all()
    assert places.expected_error_mm[-1] > 1.5 * places.expected_error_mm.min()


def test_steps_lost_on_the_way_count_hole_by_hole():
    errors = program(rig=rig_with(lost_mm_per_stop=0.02))[2].expected_error_mm
    plain = program()[2].expected_error_mm
    assert errors**2 - plain**2 == pytest.approx(0.02**2 * np.arange(1, 8))


def test_dry_run_stays_up_and_off():
    text, work, places, cut = program({"dry_run": True})
    done = Machine(at=(0.0, 0.0, -12.0)).run(text)
    assert all(m.end[2] == -12.0 and not m.spinning for m in done.moves)
    visited = {tuple(np.round(m.end[:2], 3)) for m in done.moves}
    assert visited >= {tuple(np.round(xy, 3)) for xy in places.xy_mm}
    assert len(done.halts) == 1 and done.ended


def test_heights_feeds_and_pecks_are_those_asked_for():
    text, *_ = program({"drill_z_mm": -25.0, "feed_mm_min": 90.0, "peck_mm": 0.0})
    lines = [line for line in text.splitlines() if line.startswith("G81")]
    assert len(lines) == 7 and all("Z-25.000 R-19.500 F90" in line for line in lines)
    text, *_, cut = program({"peck_mm": 1.0})
    assert cut.pass_of(0.8).pecks == 3 and text.count("G83") == 7  # 1.6 + tip + 0.3 mm


@pytest.mark.parametrize(
    "values",
    [{"safe_z_mm": -19.5}, {"drill_z_mm": -19.0}, {"feed_mm_min": 0.0}, {"peck_mm": -1.0}],
)
def test_cuts_that_cannot_be(values):
    with pytest.raises(UsageError, match="safe height|drill-z|feed|peck"):
        Cut(**({"safe_z_mm": -12.0, "surface_z_mm": -20.0} | values))


def test_beyond_the_soft_limits_is_refused():
    rig = rig_with(limits_mm=[[0.0, 12.0], [0.0, 60.0], [-21.0, 0.0]])
    with pytest.raises(CannotPlace, match="soft limits"):
        program(rig=rig)
    setup = TableSetup.of(rig)
    with pytest.raises(OutOfReach):
        check_depths(Cut.of(setup, 1.6), setup, [0.8])
    with pytest.raises(RigError, match="calibrate spindle"):
        program(rig=replace(rig_with(), axis_mm=None))


def test_nobody_vouches_for_a_table_that_was_not_calibrated():
    _, work, places, _ = program()
    vouch(work, places, 0.2)
    far = replace(PLAIN, holes=tuple(replace(h, x_mm=10 * h.x_mm) for h in PLAIN.holes))
    rig = rig_with(matrix_sigma=None)
    _, work, places, _ = program(design=far, rig=rig)
    assert worst_mm(places) > 0.5
    with pytest.raises(CannotPlace, match="calibrate table"):
        vouch(work, places, 0.2)


@given(st.text())
def test_no_text_can_leave_its_comment(text):
    said = comment_text(text)
    assert said.isascii() and said.isprintable() and not set("()%;") & set(said)


def test_a_line_too_long_for_the_controller_is_refused():
    with pytest.raises(UsageError, match="longer than"):
        program(dialect=replace(LINE, longest=20))
