"""Centres of blurred discs against the Cramer-Rao bound: python tests/benchmarks/bench_bounds.py

Discs of contrast 100 at places known exactly, in several sizes, blurs and noises. The
ratio is the root mean square error of a coordinate over the least that any
measurement could reach (`support.disc_bound`). Beside ours the centre of gravity of the
thresholded disc, and general detectors, all told the place to within half a pixel.
"""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np
from scipy.spatial import cKDTree

sys.path[:0] = [str(Path(__file__).resolve().parents[k]) for k in (2, 1)]

from support.bench_table import Table, arguments  # noqa: E402
from support.disc_bound import blur_with_pixel, exact_bound_px  # noqa: E402
from support.drawn_shapes import disc, picture, plain, scattered  # noqa: E402
from support.general_detectors import hough, laplacian  # noqa: E402

from drillaid.vision.centres import find_centres  # noqa: E402

ROWS = (
    "centre error over the Cramér–Rao bound, lone discs blurred by 0.6 or 1 px",
    "the same, discs blurred by 2 px",
)
CONTRAST = 100.0
# Radii of pads 1.2 to 4.8 mm wide at 0.06 and 0.125 mm per pixel; ordinary to hard pictures.
RADII_PX = (5.0, 8.0, 12.0, 20.0)
BLURS_PX = (0.6, 1.0, 2.0)
NOISES = (1.0, 3.0, 8.0)


def gravity(grey: np.ndarray, places: np.ndarray, radius: float) -> np.ndarray:
    """Centre of gravity of what is brighter than halfway, within 1.5 radii of each place."""
    reach = int(np.ceil(1.5 * radius))
    v, u = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    found = []
    for place in places:
        at = np.rint(place).astype(int)
        part = grey[at[1] - reach : at[1] + reach + 1, at[0] - reach : at[0] + reach + 1]
        inside = (part > 130.0) & (np.hypot(u, v) <= 1.5 * radius)
        found.append(at + [u[inside].mean(), v[inside].mean()])
    return np.array(found)


def nearest(found: np.ndarray, places: np.ndarray) -> np.ndarray:
    """What a detector found nearest to each place; NaN where nothing within 3 px."""
    if not len(found):
        return np.full(places.shape, np.nan)
    distance, index = cKDTree(found[:, :2]).query(places)
    return np.where((distance < 3)[:, None], found[index, :2], np.nan)


def ours(grey: np.ndarray, places: np.ndarray, radius: float, noise: float) -> np.ndarray:
    count = len(places)
    asked = np.rint(places)
    got = find_centres(
        grey, plain, asked, np.full(count, radius), np.ones(count), noise=max(noise, 0.3),
        unit_px=1.0,
    )  # fmt: skip
    return np.where(got.found[:, None], got.xy, np.nan)


def one_kind(radius: float, blur: float, noise: float, times: int) -> dict[str, np.ndarray]:
    """Squared errors over the bound squared, by method; NaN where it found nothing."""
    bound = exact_bound_px(radius, CONTRAST, blur_with_pixel(blur), noise)
    out: dict[str, list] = {}
    for seed in range(times):
        rng = np.random.default_rng([seed, int(10 * radius), int(10 * blur), int(noise)])
        pitch = 4 * radius + 4
        places = scattered(rng, 5, 5, pitch)
        side = int(6 * pitch)
        grey = picture(
            (side, side), [disc(u, v, radius) for u, v in places], rng, blur_px=blur, noise=noise
        )
        flat = np.clip(np.rint(grey), 0, 255).astype(np.uint8)
        centres = {
            "ours": ours(grey, places, radius, noise),
            "centre of gravity": gravity(grey, places, radius),
            "Hough": nearest(
                hough(
                    flat, method=cv2.HOUGH_GRADIENT_ALT, edge=60, votes=0.5, coarse=1.5, blur=1
                ),
                places,
            ),
            "Laplacian": nearest(
                laplacian(flat, least=20, scales=12, finest=2.5, coarsest=18), places
            ),
        }
        for name, at in centres.items():
            out.setdefault(name, []).append((at - places) ** 2 / bound**2)
    return {name: np.concatenate(rows) for name, rows in out.items()}


def ratio(squares: np.ndarray) -> float:
    seen = squares[np.isfinite(squares[:, 0])]
    return float(np.sqrt(seen.mean())) if len(seen) else float("nan")


def told(done: list[dict[str, np.ndarray]], name: str) -> str:
    """Median over kinds of discs (a mean would be that of the quietest), range, share found."""
    ratios = np.array([ratio(kind[name]) for kind in done])
    found = 100 * np.mean([np.isfinite(kind[name][:, 0]).mean() for kind in done])
    text = f"{np.nanmedian(ratios):.1f} ({np.nanmin(ratios):.1f} to {np.nanmax(ratios):.1f})"
    return text + (f", {found:.0f} % found" if found < 99.5 else "")


def main() -> None:
    args = arguments(__doc__, boards=2)
    cv2.setNumThreads(1)
    table = Table(ROWS)
    kinds = {}
    print("rms error over the bound, and discs found in %; 25 discs a picture, "
          f"{args.boards} pictures of each kind")  # fmt: skip
    for radius in RADII_PX:
        for blur in BLURS_PX:
            for noise in NOISES:
                done = one_kind(radius, blur, noise, args.boards)
                kinds[radius, blur, noise] = done
                line = "; ".join(
                    f"{name} {ratio(rows):6.2f} {100 * np.isfinite(rows[:, 0]).mean():3.0f} %"
                    for name, rows in done.items()
                )
                bound = exact_bound_px(radius, CONTRAST, blur_with_pixel(blur), noise)
                print(f"radius {radius:4.0f} blur {blur:.1f} noise {noise:2.0f}: bound "
                      f"{bound:.4f} px; {line}", flush=True)  # fmt: skip
    for row, blurred in zip(ROWS, (False, True), strict=True):
        done = [kind for (_, blur, _), kind in kinds.items() if (blur > 1.5) == blurred]
        beside = "; ".join(f"{name} {told(done, name)}" for name in done[0] if name != "ours")
        table.add(row, told(done, "ours"), beside)
    table.finish(args.table)


if __name__ == "__main__":
    main()
