"""Whole benches drawn at random: ordinary work, hard cases, and no board at all."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from drillaid.design.model import Design
from drillaid.rig.rig import Rig
from drillaid.simulation.bench import Light, Occluders, Optics, SimulatedBench
from drillaid.simulation.board import SimulatedBoard
from drillaid.simulation.designs import random_design
from drillaid.simulation.bore_looks import BenchHabits
from drillaid.simulation.look import FINISHES, LAMINATES, Look, copper_bgr, laminate_bgr
from drillaid.simulation.rigs import nominal_rig
from drillaid.simulation.scenery import SHEETS

_RESISTS = ((44, 44, 48), (34, 62, 132), (30, 96, 74), (120, 40, 96))
_VIEW_MM = (1920 * 0.06, 1080 * 0.06)


def ordinary(seed: int) -> SimulatedBench:
    """What a careful operator's bench looks like.

    0.06 mm/px at 1920 × 1080, camera within 6° of upright, uneven light, etch
    within ±0.08 mm, print within ±0.4 %; all holes in view, nothing over them
    but at times the raised bit.
    """
    return bench_for(_that_fits(seed), seed)


def bench_for(
    design: Design,
    seed: int,
    *,
    face: str = "bottom",
    thickness_mm: float = 1.6,
    size: tuple[int, int] = (1920, 1080),
    rig: Rig | None = None,
) -> SimulatedBench:
    """An ordinary bench with this board on it.

    size: (width, height) px of the picture; the camera stands as high as the board
    needs, 0.06 mm/px or coarser. rig: instead of one drawn by the seed.
    """
    rng = np.random.default_rng([seed, 10])
    tilt, side = math.radians(rng.uniform(0, 6)), rng.uniform(0, 2 * math.pi)
    if rig is None:
        ring = design.xy_mm if design.outline is None else design.outline.rings_mm[0]
        long, short = sorted(np.ptp(ring, axis=0), reverse=True)
        # 115 x 65 mm are seen at 0.06 mm/px; `_that_fits` keeps within these shares of it.
        mm_per_px = max(0.06 * 1920 / size[0], long / 0.95 / size[0], short / 0.88 / size[1])
        rig = nominal_rig(*size, mm_per_px, tilt, side, seed=seed)
    look = _look(rng, etch_mm=0.08, ragged_mm=(0.005, 0.02), residue=0.15)
    scale = 1 + rng.uniform(-0.004, 0.004, 2)
    board = SimulatedBoard(
        design,
        look,
        print_scale=(float(scale[0]), float(scale[1])),
        shear=float(rng.normal(0, 0.0008)),
        face=face,
        seed=seed,
        px_per_mm=float(np.clip(1.2 * rig.px_per_mm(thickness_mm), 4, 24)),
    )
    bench = SimulatedBench(
        board,
        rig,
        thickness_mm=thickness_mm,
        light=Light(
            level=float(rng.uniform(0.8, 1.1)),
            gradient=float(rng.uniform(0.1, 0.6)),
            gradient_rad=float(rng.uniform(0, 2 * math.pi)),
            ambient_shine=float(rng.uniform(0.15, 0.5)),
            warmth=float(rng.uniform(-0.5, 0.9)),
        ),
        optics=Optics(
            blur_px=float(rng.uniform(0.5, 0.9)),
            noise=float(rng.uniform(1.0, 3.0)),
            jpeg=None if rng.random() < 0.5 else int(rng.integers(82, 96)),
        ),
        occluders=Occluders(bit=bool(rng.random() < 0.4), swarf=int(rng.integers(0, 15))),
        sheet=str(rng.choice(SHEETS[:5])),
        clutter=int(rng.integers(3, 14)),
        seed=seed,
    )
    _place_in_view(bench, rng, share=1.0)
    return bench


def hard(seed: int) -> SimulatedBench:
    """Everything a bench can be blamed for, at once.

    Camera up to 18° aslant, fingers over up to 30 % of the holes, glare, blur up
    to 2 px, etch within ±0.15 mm, print within ±1 %, lost lands, at times light
    from below; at least half of the holes in view.
    """
    rng = np.random.default_rng([seed, 11])
    tilt, side = math.radians(rng.uniform(4, 18)), rng.uniform(0, 2 * math.pi)
    rig = nominal_rig(tilt_rad=tilt, tilt_direction_rad=side, seed=seed)
    design = random_design(seed)
    look = _look(rng, etch_mm=0.15, ragged_mm=(0.015, 0.04), residue=0.9, lost=0.06)
    scale = 1 + rng.uniform(-0.01, 0.01, 2)
    board = SimulatedBoard(design, look, print_scale=tuple(scale),
                           shear=float(rng.normal(0, 0.002)), seed=seed)  # fmt: skip
    backlit = float(rng.uniform(0.5, 0.9)) if rng.random() < 0.2 else 0.0
    bench = SimulatedBench(
        board,
        rig,
        light=Light(
            level=float(rng.uniform(0.5, 1.25)),
            gradient=float(rng.uniform(0.4, 1.1)),
            gradient_rad=float(rng.uniform(0, 2 * math.pi)),
            ambient_shine=float(rng.uniform(0.1, 0.8)),
            glare=int(rng.integers(0, 4)),
            glare_strength=float(rng.uniform(0.6, 1.3)),
            warmth=float(rng.uniform(-0.8, 1.2)),
            backlight=backlit,
        ),
        optics=Optics(
            blur_px=float(rng.uniform(0.7, 2.0)),
            noise=float(rng.uniform(2.0, 6.0)),
            jpeg=None if rng.random() < 0.3 else int(rng.integers(55, 92)),
        ),
        occluders=Occluders(
            bit=bool(rng.random() < 0.5),
            chuck=bool(rng.random() < 0.25),
            fingers=float(rng.uniform(0, 0.3)) if rng.random() < 0.8 else 0.0,
            swarf=int(rng.integers(0, 60)),
        ),
        sheet=str(rng.choice(SHEETS[:5])),
        clutter=int(rng.integers(8, 30)),
        seed=seed,
    )
    _place_in_view(bench, rng, share=float(rng.uniform(0.55, 1.0)))
    return bench


def unfamiliar(seed: int) -> SimulatedBench:
    """A careful bench of which nothing is like the others': copper, laminate, floor and walls of
    bores of any colour, marks up to 0.65 mm; lenses from wide to long; at times a hand, and a
    camera that sharpens and smears colours."""
    rng = np.random.default_rng([seed, 13])
    tilt, side = math.radians(rng.uniform(0, 8)), rng.uniform(0, 2 * math.pi)
    # The longer the lens, the less of a bore's wall is to be seen.
    focal = float(np.exp(rng.uniform(np.log(0.7), np.log(3.5))))
    rig = nominal_rig(tilt_rad=tilt, tilt_direction_rad=side, seed=seed, focal_share=focal)
    look = _look(rng, etch_mm=0.08, ragged_mm=(0.005, 0.03), residue=0.2)
    if look.centre_marks_mm:
        look = replace(look, centre_marks_mm=float(rng.uniform(0.3, 0.65)))
    while True:
        own = _any_colours(rng)
        drawn = replace(look, **own)
        if np.abs(copper_bgr(drawn) - laminate_bgr(drawn)).max() > 35:
            break
    scale = 1 + rng.uniform(-0.004, 0.004, 2)
    board = SimulatedBoard(_that_fits(seed), drawn, print_scale=tuple(scale), seed=seed)
    fingers = float(rng.uniform(0.05, 0.25)) if rng.random() < 0.25 else 0.0
    bench = SimulatedBench(
        board,
        rig,
        light=Light(
            level=float(rng.uniform(0.55, 1.2)),
            gradient=float(rng.uniform(0.1, 0.9)),
            gradient_rad=float(rng.uniform(0, 2 * math.pi)),
            ambient_shine=float(rng.uniform(0.1, 0.6)),
            glare=int(rng.integers(0, 2)),
            glare_strength=float(rng.uniform(0.2, 0.9)),
            warmth=float(rng.uniform(-0.8, 1.2)),
        ),
        optics=Optics(
            blur_px=float(rng.uniform(0.5, 1.3)),
            noise=float(rng.uniform(0.8, 4.0)),
            jpeg=None if rng.random() < 0.4 else int(rng.integers(70, 96)),
            sharpened=float(rng.uniform(0.2, 1.0)) if rng.random() < 0.5 else 0.0,
            colour_px=float(rng.uniform(0.6, 1.6)) if rng.random() < 0.5 else 0.0,
        ),
        occluders=Occluders(fingers=fingers, swarf=int(rng.integers(0, 15))),
        sheet=str(rng.choice(SHEETS[:5])),
        clutter=int(rng.integers(3, 14)),
        seed=seed,
    )
    bench.habits = BenchHabits.unfamiliar(seed, copper_bgr(drawn))
    _place_in_view(bench, rng, share=1.0)
    return bench


def _any_colours(rng: np.random.Generator) -> dict:
    """Colours of copper, resist and laminate, each at times left as they usually are."""

    def drawn(low: float, high: float, least: float) -> tuple[float, ...]:
        return tuple(rng.uniform(low, high) * rng.uniform(least, 1.0, 3))

    copper = rng.uniform(60, 215) * np.array([1.0, rng.uniform(0.5, 1.0), rng.uniform(0.35, 1.0)])
    own = {"resist_tint": drawn(30, 190, 0.2)}
    if rng.random() < 0.6:
        own["copper_rgb"] = tuple(copper)
    if rng.random() < 0.5:
        own["laminate_rgb"] = drawn(70, 230, 0.55)
    return own


def without_board(seed: int) -> SimulatedBench:
    """A cluttered bench with nothing on it to be found."""
    rng = np.random.default_rng([seed, 12])
    tilt, side = math.radians(rng.uniform(0, 12)), rng.uniform(0, 2 * math.pi)
    return SimulatedBench(
        None,
        nominal_rig(tilt_rad=tilt, tilt_direction_rad=side, seed=seed),
        light=Light(
            level=float(rng.uniform(0.7, 1.1)),
            gradient=float(rng.uniform(0.1, 0.8)),
            gradient_rad=float(rng.uniform(0, 2 * math.pi)),
        ),  # fmt: skip
        optics=Optics(
            blur_px=float(rng.uniform(0.5, 1.3)),
            noise=float(rng.uniform(1, 4)),
            jpeg=None if rng.random() < 0.5 else 85,
        ),  # fmt: skip
        occluders=Occluders(bit=bool(rng.random() < 0.5), chuck=bool(rng.random() < 0.2)),
        sheet=str(rng.choice(SHEETS[:5])),
        clutter=int(rng.integers(10, 60)),
        seed=seed,
    )


def _that_fits(seed: int):
    """A random design small enough to lie in the view at any turn that `_place_in_view` tries."""
    design = random_design(seed)
    holes = len(design.holes)
    while (
        max(design.outline.size_mm) > 0.95 * _VIEW_MM[0]
        or min(design.outline.size_mm) > 0.88 * _VIEW_MM[1]
    ):
        holes = int(holes * 0.8)
        design = random_design(seed, holes)
    return design


def _look(rng, *, etch_mm: float, ragged_mm, residue: float, lost: float = 0.0) -> Look:
    return Look(
        finish=str(rng.choice(FINISHES, p=[0.4, 0.25, 0.2, 0.15])),
        laminate=str(rng.choice(LAMINATES, p=[0.4, 0.2, 0.2, 0.2])),
        etch_mm=float(rng.uniform(-etch_mm, etch_mm)),
        ragged_mm=float(rng.uniform(*ragged_mm)),
        centre_marks_mm=float(rng.uniform(0.3, 0.6)) if rng.random() < 0.5 else 0.0,
        scratches=int(rng.integers(2, 40)),
        lost_fraction=float(rng.uniform(0, lost)),
        residue=float(rng.uniform(0, residue)) if rng.random() < 0.5 else 0.0,
        tone=float(rng.uniform(0.3, 1.0)),
        cut_mm=float(rng.uniform(0, 1.5)),
        resist_tint=_RESISTS[int(rng.integers(len(_RESISTS)))],
    )


def _place_in_view(bench: SimulatedBench, rng: np.random.Generator, share: float) -> None:
    """Any turn and place with at least `share` of the holes in view; else the best one met."""
    best, best_seen = None, -1.0
    for attempt in range(300):
        turn = rng.uniform(-math.pi, math.pi)
        if attempt > 150:
            # A large board fits only along the picture.
            turn = rng.choice([0.0, math.pi]) + rng.normal(0, 0.03)
        spread = 18.0 * (1 - attempt / 300)
        bench.place(*rng.normal(0, spread, 2), turn)
        seen = float(bench.in_view(10).mean())
        if seen > best_seen:
            best, best_seen = bench.pose, seen
        if seen >= share:
            break
    bench.pose = best
