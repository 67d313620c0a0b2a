"""Draws the pads that train_judge.py learns from: python tests/benchmarks/draw_pads.py pads.npz

The benches of draw_rays.py (seeds below 160), measured as the program does with the rays'
network it has; each pad with its traits and what it is: drilled, not drilled, or covered. Over
some boards lies a hand, of any colour. Pads that are half covered are left out, as are covered
ones whose rim was found all the same (a soft shadow covers nothing).
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from bench_inspection import covered, drill_some, true_placement  # noqa: E402
from draw_rays import NUDGE_MM, bench_of, of_benches, other_bits  # noqa: E402

from drillaid.inspection.holes import look_at  # noqa: E402
from drillaid.inspection.measure import looked_at  # noqa: E402

TAKES = (140, 60, 60, 60, 160, 80)  # seeds of each kind of bench, from 0
DRILLED, UNDRILLED, COVERED = range(3)
SOME, MOST = 0.15, 0.7  # of a hole that is covered
FOUND_MM = 0.06
HANDS = 0.3  # of the boards have a hand over them
HAND_SHARE = (0.2, 0.7)  # of the pads under it, about


def with_hand(picture, pads_px, reach_px, rng) -> tuple[np.ndarray, np.ndarray]:
    """The picture with a hand, or nothing, over it, and (N,) the share of each pad that it hides.

    pads_px: (N, 2) middles; reach_px: (N,) radii
    """
    covering = np.zeros(len(pads_px))
    if rng.random() > HANDS:
        return picture, covering
    turn = rng.uniform(0, 2 * np.pi)
    across = np.array([np.cos(turn), np.sin(turn)])
    edge = np.quantile(pads_px @ across, rng.uniform(*HAND_SHARE))
    v, u = np.mgrid[: picture.shape[0], : picture.shape[1]].astype(np.float32)
    along = v * across[0] - u * across[1]
    wave = rng.uniform(0, 15) * np.sin(along / rng.uniform(30, 120) + rng.uniform(0, 6))
    hand = u * across[0] + v * across[1] + wave < edge
    for i, ((x, y), reach) in enumerate(zip(pads_px, reach_px, strict=True)):
        near = np.s_[max(int(y - reach), 0) : int(y + reach) + 2,
                     max(int(x - reach), 0) : int(x + reach) + 2]  # fmt: skip
        disc = hand[near][(u[near] - x) ** 2 + (v[near] - y) ** 2 < reach**2]
        covering[i] = disc.mean() if disc.size else 0.0
    red = rng.uniform(110, 240)
    skin = red * np.array([rng.uniform(0.35, 0.7), rng.uniform(0.6, 0.85), 1.0])
    colour = skin if rng.random() < 0.6 else rng.uniform(30, 230, 3)
    shade = 1 + rng.uniform(0, 0.25) * np.sin(u / rng.uniform(60, 400) + rng.uniform(0, 6))
    noise = rng.normal(0, rng.uniform(0, 4), picture.shape)
    drawn = shade[..., None] * colour + noise
    soft = cv2.GaussianBlur(hand.astype(np.float32), (0, 0), 1.0)[..., None]
    mixed = soft * drawn + (1 - soft) * picture
    return np.clip(np.rint(mixed), 0, 255).astype(np.uint8), covering


def pads_of(seed: int, take: int) -> tuple[np.ndarray, np.ndarray]:
    """Of one bench: traits (M, F) and what each pad is (M,)."""
    rng = np.random.default_rng([seed, take, 79])
    bench = bench_of(seed, take)
    done = drill_some(bench, rng, share=0.5, other=other_bits(take))
    picture, cover = bench.render(), covered(bench)
    design = bench.board.design
    xs, ys = [], []
    placement = true_placement(bench, rng.normal(0, NUDGE_MM, 2))
    reach = design.drill_mm / 2 * placement.px_per_mm + 2
    other = np.random.default_rng([seed, take, 80])
    picture, covering = with_hand(picture, placement.pixels, reach, other)
    cover = np.maximum(cover, covering)
    board, places, noise = looked_at(
        picture, design, placement, bench.rig, bench.thickness_mm, design.drill_mm
    )
    for i, seen in enumerate(look_at(board, places, noise)):
        if seen is None or seen.look.inside < 0.9 or design.holes[i].slot_to_mm is not None:
            continue
        found = False
        if i in done:
            at = bench.truth(np.add(design.xy_mm[i], done[i][0]))[0]
            found = np.hypot(*(seen.xy_mm - at)) < FOUND_MM and seen.support > 0.5
        if cover[i] <= SOME:
            what = DRILLED if i in done else UNDRILLED
        elif cover[i] > MOST and not found:
            what = COVERED
        else:
            continue
        xs.append(seen.traits)
        ys.append(what)
    return np.array(xs, np.float32), np.array(ys, np.int8)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out")
    parser.add_argument("--seeds", type=int, nargs=6, default=TAKES, metavar="N")
    args = parser.parse_args()
    xs, ys, boards = [], [], []
    for _, seed, (x, y) in of_benches(pads_of, args.seeds):
        xs.append(x)
        ys.append(y)
        boards.append(np.full(len(y), seed, np.int16))
    np.savez(args.out, X=np.concatenate(xs), Y=np.concatenate(ys), board=np.concatenate(boards))


if __name__ == "__main__":
    main()
