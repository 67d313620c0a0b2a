"""How well drilled holes are measured on simulated boards: python tests/benchmarks/bench_inspection.py

Ordinary benches at 0.06 mm a pixel; about three holes of four drilled, wandering
by 0.1 mm a coordinate (one in thirty by 0.4 mm), diameters 0 to 6 % over the bit.
The placement is the truth, so that the errors are those of the measurement alone.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from drillaid.geometry import Affine, Homography  # noqa: E402
from drillaid.inspection.measure import measure_holes  # noqa: E402
from drillaid.registration.result import Placement  # noqa: E402
from drillaid.simulation.conditions import hard, ordinary  # noqa: E402


def true_placement(bench, nudge_mm=(0.0, 0.0), error_mm: float = 1e-4) -> Placement:
    truth = bench.truth
    matrix = Affine(np.column_stack([truth.linear, truth.offset + nudge_mm]))
    rig, thickness = bench.rig, bench.thickness_mm
    at = matrix(bench.board.design.xy_mm)
    count = len(at)
    return Placement(
        "affine", rig.plane(thickness) @ Homography.of(matrix), matrix,
        rig.to_pixels(at, thickness), at, np.full(count, error_mm), np.ones(count, bool), 0.0,
        rig.px_per_mm(thickness),
    )  # fmt: skip


def drill_some(bench, rng, share: float = 0.75) -> dict[int, tuple[np.ndarray, float]]:
    """Drills; returns by hole index the true offset (design mm) and diameter."""
    done = {}
    for i, hole in enumerate(bench.board.design.holes):
        if rng.random() > share or hole.slot_to_mm is not None:
            continue
        sigma = 0.4 if rng.random() < 1 / 30 else 0.1
        off = np.clip(rng.normal(0, sigma, 2), -0.5, 0.5)
        diameter = hole.drill_mm * rng.uniform(1.0, 1.06)
        bench.board.drill(np.add(hole.xy_mm, off), diameter)
        done[i] = off, diameter
    return done


def one_board(seed: int, conditions=ordinary) -> dict:
    rng = np.random.default_rng([seed, 77])
    bench = conditions(seed)
    done = drill_some(bench, rng)
    picture = bench.render()
    start = time.perf_counter()
    found = measure_holes(
        picture, bench.board.design, true_placement(bench), bench.rig,
        face=bench.board.face, thickness_mm=bench.thickness_mm,
    )  # fmt: skip
    out = {"seconds": time.perf_counter() - start, "holes": len(found), "bench": bench,
           "right": 0, "hidden": 0, "false_drilled": 0, "missed": 0, "wrong": [],
           "off": [], "stated": [], "diameter": [], "diameter_stated": [], "found": found,
           "picture": picture, "done": done}  # fmt: skip
    # The bit covers what it stands over: those holes have no right answer but these two.
    for i, finding in enumerate(found):
        drilled = i in done
        if finding.state == "hidden":
            out["hidden"] += 1
        elif (finding.state == "drilled") == drilled:
            out["right"] += 1
        else:
            out["missed" if drilled else "false_drilled"] += 1
            out["wrong"].append((finding.hole, finding.state, finding.reason))
        if drilled and finding.state == "drilled":
            off, diameter = done[i]
            out["off"].append(np.subtract(finding.off_mm, off))
            out["stated"].append(finding.centre_error_mm)
            out["diameter"].append(finding.diameter_mm - diameter)
            out["diameter_stated"].append(finding.diameter_error_mm)
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boards", type=int, default=30)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--hard", action="store_true")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    boards = []
    for seed in range(args.first, args.first + args.boards):
        b = one_board(seed, hard if args.hard else ordinary)
        e = np.hypot(*np.array(b["off"]).reshape(-1, 2).T)
        look = b["bench"].board.look
        print(f"{seed:3d} {look.finish:9s} {look.laminate:6s} holes {b['holes']:3d} right {b['right']:3d}"
              f" hidden {b['hidden']:2d} missed {b['missed']:2d} false {b['false_drilled']:2d}"
              f" 95% {np.quantile(e, 0.95) if len(e) else np.nan:.4f} max {e.max(initial=0):.3f}"
              f" dia {np.mean(b['diameter'] or [np.nan]):+.4f} {b['seconds']:.1f} s", flush=True)  # fmt: skip
        boards.append({k: v for k, v in b.items() if k not in ("bench", "picture", "found")})
    total = {k: sum(b[k] for b in boards)
             for k in ("holes", "right", "hidden", "missed", "false_drilled")}  # fmt: skip
    off = np.vstack([b["off"] for b in boards if b["off"]])
    far = np.hypot(*off.T)
    stated = np.concatenate([b["stated"] for b in boards])
    diameter = np.concatenate([b["diameter"] for b in boards])
    print(total, f"state right {100 * total['right'] / total['holes']:.2f} %")
    print(f"centre: mean {off.mean(axis=0).round(4)}, rms {np.sqrt((far**2).mean()):.4f}, "
          f"95 % {np.quantile(far, 0.95):.4f}, 99 % {np.quantile(far, 0.99):.4f}, worst {far.max():.3f} mm")  # fmt: skip
    size = np.concatenate([b["diameter_stated"] for b in boards])
    print(f"diameter: mean {diameter.mean():+.4f}, 95 % {np.quantile(abs(diameter), 0.95):.4f} mm, "
          f"stated/real {np.sqrt((size**2).mean()) / np.sqrt((diameter**2).mean()):.2f}")  # fmt: skip
    print(f"stated/real rms {np.sqrt((stated**2).mean()) / np.sqrt((far**2).mean()):.2f}, median "
          f"{np.median(stated) / np.median(far) * 1.1774:.2f}; within 2 sigma "
          f"{100 * (far < 2 * stated).mean():.1f} % (86.5 % were the errors Gaussian)")  # fmt: skip


if __name__ == "__main__":
    main()
