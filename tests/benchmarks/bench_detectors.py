"""Our pad finder beside general detectors: python tests/benchmarks/bench_detectors.py

Simulated benches, ordinary and hard, each seen from straight above and made grey as
registration does it; every finder gets that same picture. A pad counts as found when
something lies within 0.3 mm of its middle, where registration's matching ends.
"Generous" settings find the most pads with at most 3,000 findings a picture; "strict"
ones have the best F1 of recall and precision. Ours, generous, are the sightings that
registration starts from; strict, those with a clearer rim and with exact centres.
"""

from __future__ import annotations

import sys
import time
from functools import partial
from pathlib import Path

import cv2
import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[k]) for k in (2, 1)]

from support.bench_table import Table, arguments  # noqa: E402
from support.general_detectors import MOST, as_bytes, blobs, hough, laplacian  # noqa: E402
from support.pad_score import Score, inside, visible_lands  # noqa: E402

from drillaid.simulation.conditions import hard, ordinary  # noqa: E402
from drillaid.vision.centres import find_centres  # noqa: E402
from drillaid.vision.channel import grey_of  # noqa: E402
from drillaid.vision.discs import find_discs  # noqa: E402
from drillaid.vision.plane import RigPlane, flatten  # noqa: E402

PX_PER_MM = 8.0  # of the flat picture, as registration has it
OURS = "ours"


def our_sightings(grey: np.ndarray) -> np.ndarray:
    """As registration looks for them with a rig."""
    return find_discs(grey, radius_px=(0.25 * PX_PER_MM, 3.2 * PX_PER_MM))


def our_centres(grey: np.ndarray, noise: float) -> np.ndarray:
    """Discs of which 80 % of the rim show, measured from opposite sides of the rim; the two
    limits were chosen as the others' settings were."""
    discs = our_sightings(grey)
    discs = discs[discs[:, 4] >= 0.8]
    got = find_centres(
        grey, np.asarray, discs[:, :2], discs[:, 2], discs[:, 3], noise=noise, unit_px=1.0
    )
    return np.column_stack([got.xy, got.radius])[got.found & (got.cover >= 0.5)]


GENERAL = {
    "blob detector": {
        "generous": partial(blobs, circularity=0, convexity=0, inertia=0, step=5),
        "strict": partial(blobs, circularity=0, convexity=0.7, inertia=0.3, step=5),
    },
    "Hough": {
        "generous": partial(hough, method=cv2.HOUGH_GRADIENT, edge=160, votes=15, coarse=1, blur=1),
        "strict": partial(hough, method=cv2.HOUGH_GRADIENT, edge=160, votes=20, coarse=1, blur=1),
    },
    "Hough, alternative": {
        "generous": partial(
            hough, method=cv2.HOUGH_GRADIENT_ALT, edge=60, votes=0.1, coarse=1.5, blur=1
        ),
        "strict": partial(
            hough, method=cv2.HOUGH_GRADIENT_ALT, edge=150, votes=0.7, coarse=1.5, blur=1
        ),
    },
    "Laplacian": {
        "generous": partial(laplacian, least=8, scales=10, finest=2.5),
        "strict": partial(laplacian, least=60, scales=6, finest=3.5),
    },
}

KINDS = (ordinary, hard)
ROWS = tuple(
    f"{what}, {kind.__name__} benches"
    for kind in KINDS
    for what in (
        "pads found by generous settings (precision)",
        "pads found by strict settings (precision)",
        "centre of a pad off by, median (rms), generous",
        "centre of a pad off by, median (rms), strict",
        "time for a picture, generous",
    )
)


def one_picture(bench, scores: dict[tuple[str, str], Score]) -> None:
    """Every finder in both settings on one picture."""
    view = RigPlane(bench.rig, bench.thickness_mm)
    flat = flatten(bench.render(), view, PX_PER_MM)
    grey = grey_of(flat.image)
    lands, _ = visible_lands(bench)
    pads = flat.to_plane.inverse(bench.truth(lands))
    finders = {
        (OURS, "generous"): partial(our_sightings, grey.image),
        (OURS, "strict"): partial(our_centres, grey.image, grey.noise),
    }
    for name, settings in GENERAL.items():
        for setting, find in settings.items():
            # Theirs is a picture of bytes, made in the time counted.
            finders[name, setting] = lambda find=find: find(as_bytes(grey.image, flat.valid))
    for key, find in finders.items():
        start = time.process_time()
        found = find()[:MOST]
        seconds = time.process_time() - start
        score = scores.setdefault(key, Score())
        score.add(inside(found, flat.valid), pads, flat.px_per_unit, seconds)


def micrometres(score: Score) -> str:
    if not score.off_mm:
        return "nothing found"
    off = 1000 * np.array(score.off_mm)
    return f"{np.median(off):.0f} ({np.sqrt(np.mean(off**2)):.0f}) µm"


def report(kind, boards: int, first: int, table: Table) -> None:
    """One kind of bench: a line for each finder, and its rows."""
    scores: dict[tuple[str, str], Score] = {}
    for seed in range(first, first + boards):
        one_picture(kind(seed), scores)
    pads = next(iter(scores.values())).pads
    print(f"{kind.__name__}: {boards} pictures, {pads} pads to be seen")
    for (name, setting), s in sorted(scores.items(), key=lambda item: item[0][1]):
        print(f"  {name:20s} {setting:9s} recall {s.recall:.3f}, among the first two for each pad "
              f"{s.early / s.pads:.3f}; precision {s.precision:.3f}; "
              f"{s.findings / boards:6.0f} findings; off {micrometres(s):16s} "
              f"{1000 * np.median(s.seconds):6.0f} ms", flush=True)  # fmt: skip

    def row(what: str, setting: str, tell) -> None:
        beside = "; ".join(f"{name} {tell(scores[name, setting])}" for name in GENERAL)
        table.add(f"{what}, {kind.__name__} benches", tell(scores[OURS, setting]), beside)

    for setting in ("generous", "strict"):
        row(f"pads found by {setting} settings (precision)", setting,
            lambda s: f"{100 * s.recall:.0f} % ({100 * s.precision:.0f} %)")  # fmt: skip
        row(f"centre of a pad off by, median (rms), {setting}", setting, micrometres)
    row("time for a picture, generous", "generous",
        lambda s: f"{1000 * np.median(s.seconds):.0f} ms")  # fmt: skip


def main() -> None:
    args = arguments(__doc__, boards=6, first=0)
    cv2.setNumThreads(1)
    table = Table(ROWS)
    for kind in KINDS:
        report(kind, args.boards, args.first, table)
    table.finish(args.table)


if __name__ == "__main__":
    main()
