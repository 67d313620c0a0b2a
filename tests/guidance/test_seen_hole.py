from __future__ import annotations

import os

import numpy as np
import pytest
from support.bench_job import Job, work_of
from support.seen_bench import drill_some

from drillaid.guidance.events import Seen, Undo
from drillaid.guidance.seen_hole import HOLE, NOT_SURE, UNTOUCHED, compare
from drillaid.inspection.patch import Patch


@pytest.fixture
def job():
    made = Job(work_of((0.8, 3)))
    made.fit(0.8)
    return made


def test_a_hole_that_is_seen_counts_and_says_by_what(job):
    job.hold()
    job.see(off=(4.0, 0.0), frames=200)  # long after the pedal's grace
    guidance = job.act(Seen())
    assert guidance.refusal is None and guidance.progress.done == 1
    event = next(e for e in guidance.events if e.event == "hole_done")
    assert event.detail["by"] == "seen" and event.detail["forced"] is False
    assert event.distance_mm == pytest.approx(0.0, abs=1e-9)  # where it was drilled
    assert job.act(Undo()).progress.done == 0


def test_one_that_was_never_on_target_does_not(job):
    job.see(off=(4.0, 0.0))
    assert job.act(Seen()).refusal is not None


def test_no_hole_is_seen_where_none_was_drilled_and_most_where_one_was():
    """A few boards of the simulated bench; DRILLAID_SLOW=1 takes many more."""
    slow = bool(os.environ.get("DRILLAID_SLOW"))
    cases = [
        c for seed in range(30 if slow else 2) for c in drill_some(seed, 16 if slow else 8, 0.3)
    ]
    drilled = [c for c in cases if c.drilled]
    others = [c for c in cases if not c.drilled]
    seen = sum(c.seen for c in drilled)
    print(f"{seen} of {len(drilled)} drilled holes seen, {sum(c.seen for c in others)} of "
          f"{len(others)} others")  # fmt: skip
    assert not any(c.seen for c in others)
    # Dark pads are left to the pedal: never a hole too many comes before many seen.
    assert seen >= 0.6 * len(drilled)


def patch_of(image: np.ndarray) -> Patch:
    side = image.shape[0]
    return Patch(image, np.ones((side, side), bool), np.full(2, -(side - 1) / 2 / 30.0), 30.0)


def pad(rng, *, disc=None, light=1.0) -> np.ndarray:
    """Copper-coloured noise, (91, 91, 3) at 30 px/mm; disc: (radius mm, (dx, dy) mm) dark."""
    image = np.empty((91, 91, 3), np.float32)
    image[:] = np.array([80.0, 110.0, 180.0]) * light
    image += rng.normal(0, 3, image.shape)
    if disc is not None:
        radius, at = disc
        y, x = (np.mgrid[:91, :91] - 45) / 30.0
        image[np.hypot(x - at[0], y - at[1]) < radius] = 25.0
    return image


@pytest.mark.parametrize(
    ("disc", "light", "verdict"),
    [
        ((0.4, (0.0, 0.0)), 1.0, HOLE),
        ((0.4, (0.2, -0.2)), 1.0, HOLE),  # drilled off its place: a hole all the same
        ((0.4, (0.1, 0.0)), 0.7, HOLE),  # a cloud meanwhile
        (None, 1.0, UNTOUCHED),
        (None, 0.7, UNTOUCHED),
        ((0.15, (0.0, 0.0)), 1.0, None),  # a dent of the bit's tip
        ((0.9, (0.0, 0.0)), 1.0, None),  # a finger, a washer
        ((0.4, (0.9, 0.0)), 1.0, None),  # beside the pad
    ],
)
def test_only_a_round_patch_of_the_bits_size_in_its_place_is_a_hole(disc, light, verdict):
    rng = np.random.default_rng(1)
    before = [pad(rng) for _ in range(4)]
    look = compare(before, patch_of(pad(rng, disc=disc, light=light)), (0.0, 0.0), 0.8)
    assert look.verdict == verdict if verdict is not None else look.verdict != HOLE


def test_a_bit_that_passed_over_the_pad_before_makes_no_hole():
    rng = np.random.default_rng(2)
    before = [pad(rng, disc=(0.4, (0.0, 0.0))), pad(rng), pad(rng)]
    assert compare(before, patch_of(pad(rng)), (0.0, 0.0), 0.8).verdict == UNTOUCHED


def test_what_is_too_dark_is_not_judged():
    rng = np.random.default_rng(3)
    dark = patch_of(pad(rng, light=0.05))
    assert compare([pad(rng)], dark, (0.0, 0.0), 0.8).verdict == NOT_SURE
