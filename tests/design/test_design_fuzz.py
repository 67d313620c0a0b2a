"""Damaged design files end in a design or in a DesignError, never in anything else."""

from __future__ import annotations

import random

import pytest
from support.mutated import GERBER_OUTLINE, PLAIN, mutate, zipped

from drillaid.design.model import Design
from drillaid.design.read import design_of
from drillaid.design.sources import Piece, unpack
from drillaid.errors import DesignError

TEXT_FILES, ZIP_FILES, WITH_OUTLINE = 19_000, 1_500, 60


def read(pieces: list[Piece]) -> str:
    """"design" or "refused"; anything but a DesignError goes up to pytest."""
    try:
        design = design_of(pieces, "mutant")
    except DesignError as error:
        assert error.what and error.remedy, f"no advice in: {error}"
        assert len(str(error)) < 600 and "\n" not in str(error)
        return "refused"
    assert isinstance(design, Design) and 0 < len(design.holes) <= 20_000
    assert all(0 < hole.drill_mm <= 50 for hole in design.holes)
    assert abs(design.xy_mm).max() < 1e6
    return "design"


@pytest.mark.parametrize("part", range(4))
def test_mutated_text_files(part):
    random_source = random.Random(part)
    outcomes = {"design": 0, "refused": 0}
    for _ in range(TEXT_FILES // 4):
        data = mutate(random_source.choice(PLAIN), random_source)
        outcomes[read([Piece("mutant.txt", data, named=True)])] += 1
    # both outcomes must occur often, or the mutations test only one path
    assert min(outcomes.values()) > TEXT_FILES / 4 * 0.1, outcomes


def test_mutated_archives():
    random_source = random.Random(7)
    outcomes = {"design": 0, "refused": 0}
    for _ in range(ZIP_FILES):
        inner = random_source.choice(PLAIN)
        data = zipped({"a.drl": inner, "readme.md": b"text"}, packed=random_source.random() < 0.5)
        data = mutate(data, random_source) if random_source.random() < 0.9 else data
        try:
            pieces = unpack(data, "a.zip")
        except DesignError:
            outcomes["refused"] += 1
            continue
        outcomes[read(pieces)] += 1
    assert min(outcomes.values()) > ZIP_FILES * 0.05, outcomes


def test_mutated_drill_files_beside_an_outline():
    random_source = random.Random(11)
    for _ in range(WITH_OUTLINE):
        data = mutate(random_source.choice(PLAIN[:3]), random_source)
        read([Piece("a.drl", data), Piece("edge.gbr", GERBER_OUTLINE)])
