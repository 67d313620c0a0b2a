"""Our matcher beside general point set registration: python tests/benchmarks/bench_matching.py

Invented designs as points, turned by any angle, printed 0.4 % large or small at most,
up to 40 % of the pads unseen, sightings off by 0.05 mm a coordinate, and false ones
strewn over the bench. No start is given. Success: the first answer has its holes
within 0.5 mm of the truth (root mean square), from where the exact step takes over.
Order: sightings come best first, and a pad stands before a false one with the odds
that were seen in simulated pictures (3 : 1), or in no order at all. The general
methods take no notice of order. All know the scale, as a rig gives it, and the face.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[k]) for k in (2, 1)]

from support.bench_table import Table, arguments  # noqa: E402
from support.point_sets import drift, ransac  # noqa: E402

from drillaid.geometry import Affine  # noqa: E402
from drillaid.registration.correlation import Correlator, all_rotations  # noqa: E402
from drillaid.registration.rims import rims  # noqa: E402
from drillaid.simulation.designs import random_design  # noqa: E402

VIEW_MM = np.array([115.2, 64.8])
RIGHT_MM = 0.5
RIM_MM, PX_PER_MM = 0.9, 8.0
FALSE = (0, 200, 1000, 5000)
ROWS = tuple(f"placed right among {false:,} false sightings" for false in FALSE)


@dataclass(frozen=True, eq=False)
class Case:
    """holes (N, 2) mm, as they look from above; xy (n, 2) mm, the sightings; true (N, 2)."""

    holes: np.ndarray
    xy: np.ndarray
    true: np.ndarray
    false_share: float

    def right(self, placed: np.ndarray) -> bool:
        return bool(np.sqrt(np.mean(np.sum((placed - self.true) ** 2, axis=1))) < RIGHT_MM)


def draw(seed: int, false: int, *, ordered: bool) -> Case:
    rng = np.random.default_rng([seed, false, 41])
    count = int(np.exp(rng.uniform(np.log(40), np.log(300))))
    xy = random_design(seed, count).xy_mm
    holes = (xy - xy.mean(axis=0)) * [-1, 1]  # the bottom face
    turn, scale = rng.uniform(0, 2 * np.pi), 1 + rng.uniform(-0.004, 0.004)
    linear = scale * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    true = holes @ linear.T + rng.normal(0, 4, 2)
    seen = true[rng.random(len(true)) >= rng.uniform(0, 0.4)]
    strewn = rng.uniform(-VIEW_MM / 2, VIEW_MM / 2, (false, 2))
    both = np.concatenate([seen + rng.normal(0, 0.05, seen.shape), strewn])
    # Two normal scores 0.95 sigma apart: the higher is the pad's in three of four pairs.
    score = rng.normal(0, 1, len(both))
    if ordered:
        score[: len(seen)] += 0.954
    return Case(holes, both[np.argsort(-score)], true, false / len(both))


def ours(case: Case) -> list[np.ndarray]:
    """As registration lays holes over a picture with a rig: every sighting is drawn as the
    rim of a land; only places are used."""
    drawn = rims(case.xy, np.full(len(case.xy), RIM_MM))
    low = -VIEW_MM / 2 - 2
    width, height = np.ceil((VIEW_MM + 4) * PX_PER_MM).astype(int)
    px = (drawn.xy - low) * PX_PER_MM
    u, v = np.rint(px[:, 0]).astype(int), height - 1 - np.rint(px[:, 1]).astype(int)
    inside = (u >= 0) & (u < width) & (v >= 0) & (v < height)
    double = (drawn.normal[:, 0] + 1j * drawn.normal[:, 1]) ** 2
    field = np.zeros((height, width), np.complex64)
    np.add.at(field, (v[inside], u[inside]), double[inside])
    to_mm = Affine([[1 / PX_PER_MM, 0, low[0]], [0, -1 / PX_PER_MM, low[1] + (height - 1) / PX_PER_MM]])
    see = Correlator(field, to_mm)
    model = rims(case.holes, np.full(len(case.holes), RIM_MM))
    peaks = see.peaks(model, sides=(False,), px_per_mm=3.0, rotations_rad=all_rotations(1.5), keep=8)
    settled = [see.settled(model, p.placement, turn_deg=1.1, shift_mm=0.5) for p in peaks]
    settled.sort(key=lambda p: -p.score)
    return [p.placement(case.holes) for p in settled]


def by_ransac(case: Case, seed: int) -> list[np.ndarray]:
    rng = np.random.default_rng([seed, 43])
    return [ransac(case.xy, case.holes, rng, tolerance=0.3)(case.holes)]


def by_drift(case: Case, starts: int) -> list[np.ndarray]:
    """Told what share of the sightings is false."""
    turns = np.arange(starts) * (2 * np.pi / starts)
    share = float(np.clip(case.false_share, 0.05, 0.98))
    return [drift(case.xy, case.holes, outliers=share, starts_rad=turns)(case.holes)]


class Tally:
    """first, any: how often the first answer or any of those handed on was right."""

    def __init__(self) -> None:
        self.first, self.any, self.seconds = 0, 0, []

    def run(self, case: Case, method, *words) -> None:
        start = time.process_time()
        placed = method(case, *words)
        self.seconds.append(time.process_time() - start)
        right = [case.right(xy) for xy in placed]
        self.first += bool(right and right[0])
        self.any += any(right)

    def __str__(self) -> str:
        seconds = f"{np.median(self.seconds):.2f} s, worst {max(self.seconds):.2f} s"
        return f"{self.first} of {len(self.seconds)}, {seconds}"


def level(false: int, boards: int, first: int) -> tuple[Tally, Tally, Tally, Tally]:
    """(ours in order, ours in no order, RANSAC, coherent point drift)"""
    tallies = tuple(Tally() for _ in range(4))
    # Its cost is holes times sightings, for each start.
    starts = 16 if false <= 1000 else 4
    for seed in range(first, first + boards):
        tallies[0].run(draw(seed, false, ordered=True), ours)
        case = draw(seed, false, ordered=False)
        tallies[1].run(case, ours)
        tallies[2].run(case, by_ransac, seed)
        tallies[3].run(case, by_drift, starts)
    return tallies


def main() -> None:
    args = arguments(__doc__, boards=4, first=0)
    cv2.setNumThreads(1)
    table = Table(ROWS)
    for false, row in zip(FALSE, ROWS, strict=True):
        ordered, mixed, pairs, cpd = level(false, args.boards, args.first)
        print(f"{false:5d} false: ours {ordered} (right among those handed on: {ordered.any}); "
              f"in no order {mixed} ({mixed.any}); RANSAC {pairs}; drift {cpd}",
              flush=True)  # fmt: skip
        table.add(
            row, f"{ordered}; in no order {mixed}",
            f"RANSAC over pairs {pairs}; coherent point drift {cpd}",
        )  # fmt: skip
    table.finish(args.table)


if __name__ == "__main__":
    main()
