"""Lenses calibrated against cameras that are known: python tests/benchmarks/bench_calibration.py

`--rigs N` cameras at 1080p over a sheet of 26 x 16 squares of 5 mm, 14 views each, by
projection: every corner off by noise of about 0.03 px, whose stated sigma is itself off
by a factor, and every view by a smooth error as of a sheet that is not quite flat.
`--rendered N` more are drawn and measured by the program itself. Reported: how far the
values lie from truth, and how often within 2.5 of the sigma stated for them.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from pathlib import Path

import cv2
import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[k]) for k in (2, 1)]

from support.bench_table import Table, arguments  # noqa: E402
from support.lens_views import (  # noqa: E402
    SHEET,
    projected_views,
    random_pose,
    truth_of,
    unevenly,
)

from calibration.bundle import NAMES, Seen  # noqa: E402
from calibration.lens_fit import fit_lens  # noqa: E402
from calibration.practice import sheet_of  # noqa: E402
from calibration.views import PatternView, find_pattern  # noqa: E402
from drillaid.simulation.optics import Light, Optics  # noqa: E402
from drillaid.simulation.rigs import nominal_rig  # noqa: E402
from drillaid.simulation.sheet import SheetCamera  # noqa: E402

ROWS = (
    "lens, 1080p, 14 views: focal length and centre within 2.5 stated sigma",
    "the same, photographs drawn and measured",
)
SIZE = 1920, 1080
VIEWS = 14
SMOOTH_PX = 0.015  # sigma of each view's smooth error at the rim of the sheet


def drawn_views(seed: int) -> tuple:
    """(true rig, views) measured in drawn photographs, each with its own light and blur."""
    rng = np.random.default_rng([seed, 6])
    rig = nominal_rig(seed=seed)
    optics = Optics(blur_px=rng.uniform(0.5, 1.0), noise=rng.uniform(1.5, 4.0))
    light = Light(level=rng.uniform(0.75, 1.1), gradient=rng.uniform(0.1, 0.5))
    camera = SheetCamera(rig, sheet_of(SHEET), optics=optics, light=light, seed=seed)
    views = []
    while len(views) < VIEWS:
        found = find_pattern(camera.picture(*random_pose(rng)), SHEET)
        if isinstance(found, PatternView) and len(found) >= 30:
            views.append(Seen(found.corners_mm, found.corners_px, found.sigma_px))
    return rig, views


def judged(name: str, rigs: list[tuple]) -> tuple[str, str]:
    """Prints the figures of all rigs; (measured, beside) for the table."""
    wrong, ratio, terms, seconds, dropped, typical = [], [], Counter(), [], 0, []
    for rig, views in rigs:
        begun = time.perf_counter()
        fit = fit_lens(views, SIZE)
        seconds.append(time.perf_counter() - begun)
        off = fit.values - truth_of(rig)
        wrong.append(off)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio.append(np.where(fit.sigma > 0, off / fit.sigma, np.nan))
        terms[fit.terms] += 1
        dropped += int((~fit.used).sum())
        typical.append(fit.typical)
    wrong, ratio = np.array(wrong), np.array(ratio)
    print(f"{name}: {len(rigs)} rigs, terms {dict(terms)}, {dropped} views left out, residual "
          f"over sigma {np.mean(typical):.2f}, {np.median(seconds):.2f} s a fit")  # fmt: skip
    for column, key in enumerate(NAMES):
        known = np.isfinite(ratio[:, column])
        if known.any():
            part = ratio[known, column]
            inside = 100 * (abs(part) < 2.5).mean()
            print(f"  {key}: rms error {np.sqrt((wrong[:, column] ** 2).mean()):.5f}, worst "
                  f"{np.abs(wrong[:, column]).max():.5f}; over its sigma rms "
                  f"{np.sqrt((part**2).mean()):.2f}, within 2.5: {inside:.1f} %")  # fmt: skip
    within = 100 * (np.abs(ratio[:, :4]) < 2.5).mean(axis=0)
    focal = 100 * np.abs(wrong[:, :2]).max() / 1500
    measured = f"{within.min():.0f} to {within.max():.0f} %"
    beside = (
        f"worst focal length {focal:.3f} % off, worst centre "
        f"{np.abs(wrong[:, 2:4]).max():.2f} px off, {len(rigs)} rigs"
    )
    return measured, beside


def main() -> None:
    args = arguments(__doc__, rigs=100, rendered=6)
    cv2.setNumThreads(1)
    table = Table(ROWS)
    projected = []
    for seed in range(args.rigs):
        rig, views = projected_views(seed, VIEWS)
        projected.append((rig, unevenly(views, seed, SMOOTH_PX)))
    table.add(ROWS[0], *judged("projected", projected))
    table.add(ROWS[1], *judged("drawn", [drawn_views(500 + k) for k in range(args.rendered)]))
    table.finish(args.table)


if __name__ == "__main__":
    main()
