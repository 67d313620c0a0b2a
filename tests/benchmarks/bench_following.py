"""What following costs for each picture: python tests/benchmarks/bench_following.py

A board on the simulated bench at 1080p, pushed 5 mm and turned 6.7 degrees from
picture to picture (150 mm/s and 200 degrees/s at 30 a second), then the same with
fingers over up to 70 % of the holes and the bit in the way. Beside it one
undistort-and-grey pass over the same frame. Milliseconds of processor time, one thread.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[k]) for k in (2, 1)]

from support.bench_table import Table, arguments  # noqa: E402

from drillaid.geometry import Homography  # noqa: E402
from drillaid.registration.following import Follower  # noqa: E402
from drillaid.registration.result import REGISTERED, Placement, Registration  # noqa: E402
from drillaid.simulation.bench import Occluders  # noqa: E402
from drillaid.simulation.conditions import bench_for  # noqa: E402
from drillaid.simulation.designs import random_design  # noqa: E402

STEP_MM, STEP_DEG = 5.0, 6.7
FINGERS = 0.7
CASES = {
    f"following, {design}, {view}": (design == "with Gerber", view == "covered")
    for design in ("with Gerber", "drill list alone")
    for view in ("free", "covered")
}
ROWS = tuple(CASES)


def true_registration(bench) -> Registration:
    """The bench's truth as registration would hand it over, so that errors are following's own."""
    matrix, xy = bench.truth, bench.board.design.xy_mm
    at = matrix(xy)
    placement = Placement(
        "affine", bench.rig.plane(bench.thickness_mm) @ Homography.of(matrix), matrix,
        bench.rig.to_pixels(at, bench.thickness_mm), at, np.full(len(xy), 1e-4),
        ~bench.covered(), 0.0, bench.rig.px_per_mm(bench.thickness_mm),
    )  # fmt: skip
    return Registration(REGISTERED, "truth", placement)


def push(bench, rng, mm: float, deg: float) -> None:
    """Any way, but back towards the middle of the picture when far from it."""
    angle = rng.uniform(0, 2 * np.pi)
    step = mm * np.array([np.cos(angle), np.sin(angle)])
    if np.hypot(*(bench.pose.offset + step)) > 10:
        step = -mm * bench.pose.offset / np.hypot(*bench.pose.offset)
    bench.move(*step, np.radians(rng.choice([-deg, deg])), about_mm=bench.pose.offset)


def milliseconds(action) -> tuple[float, float, object]:
    """By the clock, of processor time, and what came of it."""
    start = time.perf_counter(), time.process_time()
    result = action()
    clock, processor = time.perf_counter() - start[0], time.process_time() - start[1]
    return 1000 * clock, 1000 * processor, result


def reference_pass(bench, image, rounds: int) -> np.ndarray:
    """(rounds, 2) ms: the whole frame undistorted by a ready map, and made grey."""
    rig = bench.rig
    maps = cv2.initUndistortRectifyMap(
        rig.matrix, rig.distortion, None, rig.matrix, (rig.width, rig.height), cv2.CV_16SC2
    )

    def once():
        return cv2.cvtColor(cv2.remap(image, *maps, cv2.INTER_LINEAR), cv2.COLOR_BGR2GRAY)

    once()
    return np.array([milliseconds(once)[:2] for _ in range(rounds)])


def one_board(seed: int, frames: int, *, gerber: bool, hidden: bool) -> dict:
    rng = np.random.default_rng([seed, 92])
    bench = bench_for(random_design(seed), seed)
    bench.place(0.0, 0.0, 0.3)
    design = bench.board.design if gerber else replace(bench.board.design, copper={}, lands=())
    follower = Follower(design, bench.rig, thickness_mm=bench.thickness_mm)
    image = bench.render()
    start_ms = milliseconds(lambda: follower.start(true_registration(bench), image))[1]
    if hidden:
        bench.occluders = Occluders(bit=True, fingers=FINGERS)
    spent, errors, stated, lost = [], [], [], 0
    for _ in range(frames):
        push(bench, rng, STEP_MM, STEP_DEG)
        image = bench.render()
        clock, processor, got = milliseconds(lambda image=image: follower.follow(image))
        spent.append((clock, processor))
        if not got.ok:
            lost += 1
            follower.start(true_registration(bench), image)
            continue
        off = got.placement.bench_mm - bench.truth(design.xy_mm)
        errors.append(np.mean(np.sum(off**2, axis=1)))
        stated.append(np.mean(got.placement.expected_error_mm**2))
    return {"spent": np.array(spent), "errors": errors, "stated": stated, "lost": lost,
            "start_ms": start_ms, "reference": reference_pass(bench, image, 15)}  # fmt: skip


def rms(squares) -> float:
    return float(np.sqrt(np.mean(squares))) if len(squares) else float("nan")


def report(name: str, done: list[dict], table: Table) -> None:
    """One case: a line, and its row."""
    spent, reference = (np.concatenate([d[key] for d in done]) for key in ("spent", "reference"))
    errors, stated = (np.concatenate([d[key] for d in done]) for key in ("errors", "stated"))
    lost = sum(d["lost"] for d in done)
    clock, own = np.median(spent, axis=0)
    slow_clock, slow = np.quantile(spent, 0.99, axis=0)
    unit, slow_unit = np.quantile(reference[:, 1], [0.5, 0.99])
    print(f"{name:40s} {own:5.1f} ms, by the clock {clock:5.1f}; 99 % {slow:5.1f}, "
          f"{slow_clock:5.1f}; start {np.median([d['start_ms'] for d in done]):5.0f}; "
          f"undistort and grey {unit:5.1f}, "
          f"99 % {slow_unit:.1f}; rms {rms(errors):.4f} mm, stated/real "
          f"{rms(stated) / rms(errors):.2f}; lost {lost} of {len(spent)}", flush=True)  # fmt: skip
    table.add(
        name, f"{own:.1f} ms, 99 % {slow:.1f} ms; {1000 * rms(errors):.0f} µm rms; "
        f"lost {lost} of {len(spent)} pictures",
        f"undistort and grey {unit:.1f} ms, 99 % {slow_unit:.1f} ms: we take {own / unit:.2f} and "
        f"{slow / slow_unit:.2f} times as long",
    )  # fmt: skip


def main() -> None:
    args = arguments(__doc__, boards=2, frames=15, first=0)
    cv2.setNumThreads(1)
    table = Table(ROWS)
    seeds = range(args.first, args.first + args.boards)
    print(f"{args.boards} boards, {args.frames} pictures each, 1920 x 1080")
    for name, (gerber, hidden) in CASES.items():
        done = [one_board(seed, args.frames, gerber=gerber, hidden=hidden) for seed in seeds]
        report(name, done, table)
    table.finish(args.table)


if __name__ == "__main__":
    main()
