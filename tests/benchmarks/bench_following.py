"""What following costs for each picture: python tests/benchmarks/bench_following.py

A board on the simulated bench at 1080p, pushed 4.5 mm and turned 5 degrees from
picture to picture (135 mm/s and 150 degrees/s at 30 a second), then the same with
fingers and the bit in the way. Beside it one undistort-and-grey pass over the frame.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from drillaid.geometry import Homography  # noqa: E402
from drillaid.registration.following import Follower  # noqa: E402
from drillaid.registration.result import REGISTERED, Placement, Registration  # noqa: E402
from drillaid.simulation.bench import Occluders  # noqa: E402
from drillaid.simulation.conditions import bench_for  # noqa: E402
from drillaid.simulation.designs import random_design  # noqa: E402


def true_registration(bench) -> Registration:
    """The bench's truth as registration would hand it over, so that errors are following's own."""
    matrix, xy = bench.truth, bench.board.design.xy_mm
    at = matrix(xy)
    placement = Placement(
        "affine", bench.rig.plane(bench.thickness_mm) @ Homography.of(matrix), matrix,
        bench.rig.to_pixels(at, bench.thickness_mm), at, np.full(len(xy), 1e-4),
        np.ones(len(xy), bool), 0.0, bench.rig.px_per_mm(bench.thickness_mm),
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
        bench.occluders = Occluders(bit=True, fingers=0.4)
    spent, errors, stated, lost = [], [], [], 0
    for _ in range(frames):
        push(bench, rng, 4.5, 5.0)
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


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boards", type=int, default=3)
    parser.add_argument("--frames", type=int, default=20, help="of each board")
    parser.add_argument("--first", type=int, default=0)
    args = parser.parse_args()
    cv2.setNumThreads(1)
    print(f"{args.boards} boards, {args.frames} pictures each, 1920 x 1080, one thread; ms of "
          "processor time (clock)")  # fmt: skip
    for gerber in (True, False):
        for hidden in (False, True):
            done = [one_board(seed, args.frames, gerber=gerber, hidden=hidden)
                    for seed in range(args.first, args.first + args.boards)]  # fmt: skip
            spent = np.concatenate([d["spent"] for d in done])
            reference = np.concatenate([d["reference"] for d in done])
            errors = np.concatenate([d["errors"] for d in done])
            stated = np.concatenate([d["stated"] for d in done])
            name = ("with Gerber" if gerber else "drill list alone") + (
                ", fingers over 40 % and bit" if hidden else "")  # fmt: skip
            clock, processor = np.median(spent, axis=0)
            worst = np.quantile(spent, 0.99, axis=0)
            unit = np.median(reference[:, 1])
            real = np.sqrt(np.mean(errors)) if len(errors) else np.nan
            ratio = np.sqrt(np.mean(stated)) / real if len(errors) else np.nan
            print(f"{name:44s} {processor:5.1f} ({clock:5.1f}), 99 % {worst[1]:5.1f} ({worst[0]:5.1f})"
                  f"; start {np.median([d['start_ms'] for d in done]):5.0f}; undistort and grey "
                  f"{unit:5.1f}: {processor / unit:4.2f} of it; rms {real:.4f} mm, stated/real "
                  f"{ratio:.2f}; lost {sum(d['lost'] for d in done)} of {len(spent)}", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
