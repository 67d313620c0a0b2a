"""Copper that does not convince at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drillaid.registration import close_looks, on_bench
from drillaid.registration.register import register_picture
from drillaid.registration.result import NOT_FOUND, REGISTERED
from drillaid.simulation.conditions import hard, ordinary


def found(bench, image):
    return register_picture(
        image, bench.board.design, rig=bench.rig, face=bench.board.face, thickness_mm=bench.thickness_mm
    )


def found_only_by_a_second_look(monkeypatch, bench, most_sigmas: float) -> None:
    image = bench.render()
    got = found(bench, image)
    assert got.status == REGISTERED, got.message
    off = np.linalg.norm(got.placement.bench_mm - bench.truth(bench.board.design.xy_mm), axis=1)
    assert off.max() < 0.05 and off.max() < most_sigmas * got.placement.expected_error_mm.max()
    monkeypatch.setattr(on_bench, "AGAIN", 0)
    assert found(bench, image).status == NOT_FOUND


@pytest.mark.parametrize("seed", [10165, 10292])
def test_blotched_copper_that_does_not_convince_at_first_is_looked_at_again(monkeypatch, seed):
    """The one is led astray where the pattern is stretched; on the other only letters tell, and
    show where the picture is unlike bare board."""
    found_only_by_a_second_look(monkeypatch, ordinary(seed), 4)


@pytest.mark.parametrize("seed", [12342, 12611])
def test_a_place_that_convinces_but_is_known_roughly_is_looked_at_again(monkeypatch, seed):
    """Tinned copper that is brighter than the board here and darker there: most of it agrees, but
    says too little of where."""
    found_only_by_a_second_look(monkeypatch, hard(seed), 2)


def test_what_convinces_is_not_looked_at_again(monkeypatch):
    bench = ordinary(3)
    image = bench.render()

    def never(self, peak, first):
        raise AssertionError("looked at again")

    monkeypatch.setattr(close_looks.Looks, "at_copper_again", never)
    assert found(bench, image).status == REGISTERED


@pytest.mark.parametrize(
    ("seed", "where", "name", "less"),
    [(13348, close_looks, "OTHER_COLOURS", 0), (13316, on_bench, "RIMS_SETTLED", 8)],
    ids=["copper as bright as the board", "lands no wider than their tracks"],
)
def test_lands_that_hardly_show_are_found_by_the_holes_alone(monkeypatch, seed, where, name, less):
    """In the mixture of colours that shows most of the picture these show no rims, or at the first
    look other places show as many."""
    bench = ordinary(seed)
    image, holes = bench.render(), replace(bench.board.design, copper={}, lands=())
    got = register_picture(image, holes, rig=bench.rig, thickness_mm=bench.thickness_mm)
    assert got.status == REGISTERED, got.message
    off = np.linalg.norm(got.placement.bench_mm - bench.truth(holes.xy_mm), axis=1)
    assert off.max() < 0.06 and np.median(off) < 0.02
    monkeypatch.setattr(where, name, less)
    got = register_picture(image, holes, rig=bench.rig, thickness_mm=bench.thickness_mm)
    assert got.status == NOT_FOUND
