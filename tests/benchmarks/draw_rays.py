"""Draws the rays that train_rays.py learns from: python tests/benchmarks/draw_rays.py rays.npz

Benches of seeds below 160 only (and their habits), so that every other seed may be used to
report. Each is drilled like those of bench_inspection.py; careful and hard benches, lenses
from sharp to blurred, pictures finer and coarser than 0.06 mm a pixel, glare, and holes of
every look, those that are hard to see more often than a workshop has them; pictures as coarse
as a webcam's (0.09 and 0.12 mm a pixel), and boards with many large holes, of which most have
no copper round them; boards of any colour, drilled with other bits than were asked for. Rays start where the program starts them: at the votes, and near the
hole. The same numbers come out each time.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from bench_inspection import OTHER, OTHER_UNFAMILIAR, drill_some, true_placement  # noqa: E402

from drillaid.inspection.holes import (  # noqa: E402
    colours_about,
    features_from,
    places_by_bit,
    starts,
)
from drillaid.inspection.measure import looked_at  # noqa: E402
from drillaid.inspection.posterior import rim_along  # noqa: E402
from drillaid.inspection.rays import TURNS  # noqa: E402
from drillaid.simulation.bore_looks import KINDS, BenchHabits  # noqa: E402
from drillaid.simulation.conditions import (  # noqa: E402
    _that_fits,
    bench_for,
    hard,
    unfamiliar,
)
from drillaid.simulation.designs import Layout, Placed, _fill  # noqa: E402
from drillaid.simulation.optics import Light, Optics  # noqa: E402
from drillaid.simulation.parts import Part, Pin  # noqa: E402
from drillaid.simulation.bench import SimulatedBench  # noqa: E402

TAKES = (70, 40, 60, 50, 150)  # seeds of each kind of bench, from 0
RAYS_KEPT = 10  # of the 48 from one place; neighbours say nearly the same
JITTERS_MM = (0.01, 0.03, 0.10)  # of rays' origins about a hole's true middle, one sigma
NUDGE_MM = 0.015  # one sigma by axis: a registration is never quite right
SIZES = ((1920, 1080), (1920, 1080), (2560, 1440), (1600, 900))
COARSE = ((1280, 720), (960, 540))
AT_HAND = 0.4, 0.06  # shares, as OTHER
LARGE_MM = (2.5, 3.2, 3.2, 3.2, 4.2)


def bench_of(seed: int, take: int) -> SimulatedBench:
    """take 0: ordinary; 1: hard; 2: ordinary but for light and lens; 3: coarse pictures, and
    every other board has many large holes; 4: unfamiliar, of any colour; 5: ordinary, drilled
    with any bit that lay at hand (for `draw_pads.py`)."""
    if take == 4:
        return unfamiliar(seed)
    rng = np.random.default_rng([seed, take, 88])
    if take == 1:
        bench = hard(seed)
    elif take == 3:
        roomy = seed % 2 == 1
        sizes = COARSE + SIZES[:1] * roomy
        size = sizes[int(rng.integers(len(sizes)))]
        bench = bench_for(large_holes(seed) if roomy else _that_fits(seed), seed, size=size)
    else:
        size = SIZES[int(rng.integers(len(SIZES)))]
        bench = bench_for(_that_fits(seed), seed, size=size)
    habits = BenchHabits.drawn(1000 * take + seed)
    if take:
        favoured = rng.dirichlet([0.5, 0.5, 0.5, 1.5, 2.0])
        habits = replace(habits, shares=0.9 * favoured + 0.02)
    if take == 2 or (take == 3 and rng.random() < 0.5):
        bench = relit(bench, rng, seed)
    bench.habits = habits
    return bench


def large_holes(seed: int):
    """A design of 70 mm by 45 mm at the most with six to ten large holes among its parts."""
    rng = np.random.default_rng([seed, 89])
    width, height = float(rng.uniform(50, 70)), float(rng.uniform(36, 45))
    layout = Layout((width, height), 0.4)
    wanted, tries = int(rng.integers(6, 11)), 0
    while len(layout.holes) < wanted and tries < 200:
        tries += 1
        drill = float(rng.choice(LARGE_MM))
        size = None if rng.random() < 0.75 else (drill + 2.8, drill + 2.8)
        part = Part("large hole", (Pin(0.0, 0.0, drill, "round", size),), 3.2)
        placed = Placed(part, *rng.uniform(4.0, [width - 4.0, height - 4.0]))
        if layout.router.free_box(placed.box_mm()):
            layout.place(placed)
    _fill(layout, wanted + 20, rng)
    layout.connect_neighbours(rng, (0.7, 0.8, 1.2), 0.9)
    return layout.design(f"large holes {seed} (invented)")


def relit(bench: SimulatedBench, rng, seed: int) -> SimulatedBench:
    """The same board and camera under glare, uneven light and a worse lens."""
    other = SimulatedBench(
        bench.board, bench.rig, thickness_mm=bench.thickness_mm,
        light=Light(
            level=float(rng.uniform(0.55, 1.2)), gradient=float(rng.uniform(0.2, 0.9)),
            gradient_rad=float(rng.uniform(0, 2 * np.pi)),
            ambient_shine=float(rng.uniform(0.1, 0.7)), glare=int(rng.integers(0, 4)),
            glare_strength=float(rng.uniform(0.3, 1.2)), warmth=float(rng.uniform(-0.8, 1.2)),
        ),
        optics=Optics(
            blur_px=float(rng.uniform(0.5, 1.7)), noise=float(rng.uniform(1.0, 5.0)),
            jpeg=None if rng.random() < 0.4 else int(rng.integers(60, 96)),
        ),
        occluders=bench.occluders, sheet=bench.sheet, clutter=bench.clutter, seed=seed,
    )  # fmt: skip
    other.pose = bench.pose
    return other


def other_bits(take: int) -> tuple[float, float]:
    """As for `drill_some`: careful people take the bit that was asked for."""
    return (OTHER, OTHER, (0.1, 0.06), (0.1, 0.06), OTHER_UNFAMILIAR, AT_HAND)[take]


def of_benches(work, takes) -> list:
    """[(take, seed, work(seed, take))] over all benches, on all processors, in their order."""
    benches = [(take, seed) for take, count in enumerate(takes) for seed in range(count)]
    with ProcessPoolExecutor(initializer=cv2.setNumThreads, initargs=(1,)) as pool:
        done = [(take, seed, pool.submit(work, seed, take)) for take, seed in benches]
        for take, seed, result in done:
            print(f"take {take}, seed {seed}: {len(result.result()[1])}", flush=True)
    return [(take, seed, result.result()) for take, seed, result in done]


def rays_of(seed: int, take: int) -> tuple[np.ndarray, np.ndarray]:
    """Of one bench: features float16 (M, F), and where the rim is (M,) mm from the expected
    radius, NaN where none is to be seen."""
    rng = np.random.default_rng([seed, take, 78])
    bench = bench_of(seed, take)
    done = drill_some(bench, rng, share=0.7, other=other_bits(take))
    picture, hidden = bench.render(), bench.occlusion()
    design = bench.board.design
    placement = true_placement(bench, rng.normal(0, NUDGE_MM, 2))
    board, places, noise = looked_at(
        picture, design, placement, bench.rig, bench.thickness_mm, design.drill_mm
    )
    groups = places_by_bit(board, places)
    colours = colours_about(places, groups)
    xs, ts = [], []
    for group in groups:
        reach = np.array([places[i].reach_mm for i in group.rows])
        voted = starts(group, colours, reach, noise)
        rows, origins, circles = [], [], []
        for k, i in enumerate(group.rows):
            if design.holes[i].slot_to_mm is not None:
                continue
            circle = None
            begun = list(voted[k])
            if i in done:
                off, diameter = done[i]
                at = bench.truth(np.add(design.xy_mm[i], off))[0]
                circle = np.array([*(at - group.stack.middles_mm[k]), diameter / 2])
                begun = [begun[0], begun[int(rng.integers(1, len(begun)))]]
                begun += [circle[:2] + rng.normal(0, s, 2) for s in JITTERS_MM]
            for origin in begun:
                rows.append(k)
                origins.append(origin)
                circles.append(circle)
        if not rows:
            continue
        x = features_from(board, group, colours, np.array(rows), np.array(origins))
        along = rims(bench, group, rows, np.array(origins), circles, hidden)
        for n in range(len(rows)):
            kept = rng.choice(len(TURNS), RAYS_KEPT, replace=False)
            xs.append(x[n, kept].astype(np.float16))
            ts.append(along[n, kept])
    return np.concatenate(xs), np.concatenate(ts).astype(np.float32)


def rims(bench, group, rows, origins, circles, hidden) -> np.ndarray:
    """(M, RAYS) where each ray meets its true circle, NaN where it does not or is covered."""
    out = np.full((len(rows), len(TURNS)), np.nan)
    height, width = hidden.shape
    for n, (k, origin, circle) in enumerate(zip(rows, origins, circles, strict=True)):
        if circle is None:
            continue
        shifted = np.array([[*(circle[:2] - origin), circle[2]]])
        if np.hypot(*shifted[0, :2]) >= circle[2]:
            continue  # from outside a ray would meet the rim twice
        along = rim_along(shifted, group.bit_mm / 2)[0]
        angles = TURNS * circle[2] + circle[:2] + group.stack.middles_mm[k]
        # covered is told where the rim is; the ray of that turn passes nearly there
        u, v = np.rint(bench.rig.to_pixels(angles, bench.thickness_mm)).astype(int).T
        seen = (u >= 0) & (v >= 0) & (u < width) & (v < height)
        seen[seen] &= ~hidden[v[seen], u[seen]]
        out[n] = np.where(seen, along, np.nan)
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out")
    parser.add_argument(
        "--seeds", type=int, nargs=5, default=TAKES, metavar="N",
        help="benches of each kind: ordinary, hard, ordinary under a bad lamp and lens, coarse,"
        " unfamiliar",
    )  # fmt: skip
    args = parser.parse_args()
    xs, ts, boards = [], [], []
    for _, seed, (x, t) in of_benches(rays_of, args.seeds):
        xs.append(x)
        ts.append(t)
        boards.append(np.full(len(t), seed, np.int16))
    np.savez(args.out, X=np.concatenate(xs), T=np.concatenate(ts), board=np.concatenate(boards))


if __name__ == "__main__":
    main()
