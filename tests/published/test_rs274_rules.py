"""The tests' interpreter of RS-274 against examples and rules published elsewhere.

Source: the documentation of an open descendant of NIST's NGC interpreter (Kramer, Proctor,
Messina, NISTIR 6556, 2000); the two G81 examples stand word for word in several NGC manuals.
"""

from __future__ import annotations

import pytest
from support.rs274 import Machine, Rs274Error


def ends(machine: Machine) -> list[tuple]:
    return [(*(round(v, 9) for v in move.end), move.rapid) for move in machine.moves]


def test_example_1_absolute():
    done = Machine(at=(1, 2, 3)).run("F100\nG90 G81 G98 X4 Y5 Z1.5 R2.8")
    assert ends(done) == [(4, 5, 3, True), (4, 5, 2.8, True), (4, 5, 1.5, False), (4, 5, 3, True)]


def test_example_2_incremental_three_times():
    done = Machine(at=(1, 2, 3)).run("F100\nG91 G81 G98 X4 Y5 Z-0.6 R1.8 L3")
    told = ends(done)
    assert told[0] == (1, 2, 4.8, True)
    fed = [end[:3] for end in told if not end[3]]
    assert fed == [(5, 7, 4.2), (9, 12, 4.2), (13, 17, 4.2)]
    assert told[-1] == (13, 17, 4.8, True)


def test_eight_holes():
    done = Machine(at=(0, 0, 0)).run(
        "F100\nG90 G0 X0 Y0 Z0\nG91 G81 X1 Y0 Z-1 R1 L4\nG90 G0 X0 Y1\nG91 G81 X1 Y0 Z-1 R1 L4"
    )
    holes = [move.end[:2] for move in done.moves if not move.rapid]
    assert holes == [(x, y) for y in (0, 1) for x in (1, 2, 3, 4)]


def test_pecks_go_back_to_r_each_time():
    done = Machine(at=(0, 0, 5)).run("G83 X1 Y1 Z-2 R1 Q1.25 F60 G98")
    assert [m.end[2] for m in done.moves] == [5, 1, -0.25, 1, -1.5, 1, -2, 5]
    done = Machine(at=(0, 0, 5)).run("G83 X1 Y1 Z-2 R1 Q3 F60 G99")
    assert [m.end[2] for m in done.moves] == [5, 1, -2, 1]


def test_units_comments_case_and_block_delete():
    done = Machine().run("g20 (a comment, G1 in it) g0 x 1\n/g0 x9\nG21 ; to the end\nG0 X1")
    assert [m.end[0] for m in done.moves] == [25.4, 1]
    assert [m.end[0] for m in Machine(block_delete=False).run("/G0 X9").moves] == [9]


def test_pause_end_and_what_they_leave():
    done = Machine().run("M3 S1000\n(MSG, fit it)\nM5\nM0\nM3\nG0 X1\nM30\nG0 X5")
    assert [h.messages for h in done.halts] == [("fit it",)] and not done.halts[0].spinning
    assert done.ended and not done.spinning and done.at == (1, 0, 0)


@pytest.mark.parametrize(
    "line",
    [
        "G80 X1",  # axis words while the cycle is cancelled
        "G0 G1 X1",  # one modal group
        "G90 G91",
        "M3 M5",
        "G1 X1",  # no feed
        "G81 X1 Z2 R1 F9",  # R below Z
        "G81 X1 Z-1 R1 F9 L0",
        "G83 X1 Z-1 R1 F9",  # no Q
        "G83 X1 Z-1 R1 F9 Q-1",
        "G4 P-1",
        "G4",
        "G81 X1 R1 F9",
        "G0 X1 X2",
        "G0 X1 (open",
        "G0 X1e3",
        "G77",
    ],
)
def test_what_the_rules_forbid_is_an_error(line):
    with pytest.raises(Rs274Error, match="line 1"):
        Machine().run(line)
