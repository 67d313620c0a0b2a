"""How often boards are found, how exactly, and how fast: python tests/benchmarks/bench_registration.py

Simulated benches as `drillaid.simulation.conditions` draws them, each registered
with its Gerber copper and by its drill list alone. Right: every hole within 0.1 mm.
What must be refused: an empty bench, another design's board, the wrong face asked
for, and a dual row by its drill list, which half a turn does not change.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from drillaid.registration.register import register_picture  # noqa: E402
from drillaid.simulation import parts  # noqa: E402
from drillaid.simulation.conditions import (  # noqa: E402
    bench_for,
    hard,
    ordinary,
    without_board,
)
from drillaid.simulation.designs import Layout, Placed, random_design  # noqa: E402

RIGHT_MM = 0.1


@dataclass(frozen=True, eq=False)
class Outcome:
    """off_mm, stated_mm: by hole, empty where refused; seconds of processor time."""

    seed: int
    status: str
    off_mm: np.ndarray
    stated_mm: np.ndarray
    seconds: float

    @property
    def wrong(self) -> bool:
        return len(self.off_mm) > 0 and bool(self.off_mm.max() >= RIGHT_MM)


def drill_list_of(design):
    """Without its Gerber."""
    return replace(design, copper={}, lands=())


def one(bench, image, design, seed: int, face: str = "bottom") -> Outcome:
    """One picture registered; held against the bench's truth where a board lies on it."""
    start = time.process_time()
    got = register_picture(image, design, rig=bench.rig, thickness_mm=bench.thickness_mm, face=face)
    seconds = time.process_time() - start
    off = stated = np.zeros(0)
    if got.ok:
        truth = None if bench.board is None or bench.board.design.name != design.name else bench.truth
        right_face = bench.board is not None and face == bench.board.face
        at = got.placement.bench_mm
        # On a bench without this board any place is as wrong as can be.
        known = truth is not None and right_face
        off = np.linalg.norm(at - truth(design.xy_mm), axis=1) if known else np.full(len(at), 99.0)
        stated = got.placement.expected_error_mm
    return Outcome(seed, got.status, off, stated, seconds)


def dual_row():
    """28 pins in two rows, nothing else."""
    part = parts.dual_row(28)
    xy = np.array([(pin.dx_mm, pin.dy_mm) for pin in part.pins])
    middle = (xy.min(axis=0) + xy.max(axis=0)) / 2
    layout = Layout((50.0, 24.0))
    layout.place(Placed(part, 25 + middle[1], 12 - middle[0], 1))
    return layout.design("dual row")


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(values)))) if len(values) else float("nan")


HEAD = f"{'what':34s} {'n':>4s} {'right':>6s} {'refused':>8s} {'wrong':>6s}"


def line(name: str, done: list[Outcome]) -> str:
    """A row of the table of boards that should be found."""
    right = [o for o in done if o.status == "registered" and not o.wrong]
    wrong = [o for o in done if o.wrong]
    off = np.concatenate([o.off_mm for o in right]) if right else np.full(1, np.nan)
    stated = np.concatenate([o.stated_mm for o in right]) if right else np.full(1, np.nan)
    seconds = [o.seconds for o in done]
    text = (
        f"{name:34s} {len(done):4d} {len(right):6d} {len(done) - len(right) - len(wrong):8d}"
        f" {len(wrong):6d}   {np.median(off):7.4f} {np.quantile(off, 0.95):7.4f}"
        f" {rms(stated) / rms(off):6.2f}   {np.median(seconds):6.2f} {max(seconds):6.2f}"
    )
    missed = [f"{o.seed}{'!' if o.wrong else ''}" for o in done if o not in right]
    return text + (f"   not right: {' '.join(missed)}" if missed else "")


def refusals(name: str, done: list[Outcome]) -> str:
    """A row of the table of cases that must be refused."""
    accepted = [o.seed for o in done if o.status == "registered"]
    kinds = {s: sum(o.status == s for o in done) for s in sorted({o.status for o in done})}
    said = ", ".join(f"{count} {status}" for status, count in kinds.items())
    seconds = [o.seconds for o in done]
    text = f"{name:34s} {len(done):4d}   accepted {len(accepted):3d}   {said}"
    text += f"   {np.median(seconds):.2f} s, worst {max(seconds):.2f} s"
    return text + (f"   accepted: {accepted}" if accepted else "")


def boards(conditions, seeds) -> None:
    """Every bench with and without Gerber."""
    with_copper, without = [], []
    for seed in seeds:
        bench = conditions(seed)
        image, design = bench.render(), bench.board.design
        with_copper.append(one(bench, image, design, seed))
        without.append(one(bench, image, drill_list_of(design), seed))
    print(line(f"{conditions.__name__}, with Gerber", with_copper), flush=True)
    print(line(f"{conditions.__name__}, drill list alone", without), flush=True)


def to_be_refused(seeds) -> None:
    """Half of the cases with Gerber, half by the drill list alone."""
    table: dict[str, list[Outcome]] = {}
    twin = dual_row()
    for seed in seeds:
        bench = ordinary(seed)
        image, own, other = bench.render(), bench.board.design, random_design(seed + 5000)
        if seed % 2:
            own, other = drill_list_of(own), drill_list_of(other)
        empty = without_board(seed)
        turned = bench_for(twin, seed)
        cases = {
            "empty bench": (empty, empty.render(), own, "bottom"),
            "another design's board": (bench, image, other, "bottom"),
            "the wrong face asked for": (bench, image, own, "top"),
            "dual row, drill list alone": (turned, turned.render(), drill_list_of(twin), "bottom"),
        }
        for name, (where, picture, design, face) in cases.items():
            table.setdefault(name, []).append(one(where, picture, design, seed, face))
    for name, done in table.items():
        print(refusals(name, done), flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boards", type=int, default=5, help="of each kind (default: 5)")
    parser.add_argument("--first", type=int, default=0, help="seed of the first")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    seeds = range(args.first, args.first + args.boards)
    print("right: all holes within 0.1 mm; errors of those; s of processor time, one thread")
    print(f"{HEAD}   {'median':>7s} {'95 % mm':>7s} {'stated':>6s}   {'s':>6s} {'worst':>6s}")
    for conditions in (ordinary, hard):
        boards(conditions, seeds)
    print("\nto be refused")
    to_be_refused(seeds)


if __name__ == "__main__":
    main()
