"""Without a rig: which search follows which, and when one is enough."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from drillaid.registration import search as module
from drillaid.registration.evidence import Evidence
from drillaid.registration.laying import BENT, MORE_BENT
from drillaid.registration.search import search


def found(
    agreeing: int, *, of: int = 22, by: str = "rims", plausible: bool = True, chance: float = 0.02
) -> SimpleNamespace:
    """A place at which so many of the holes agree."""
    evidence = Evidence(agreeing, of, chance)
    return SimpleNamespace(
        by=by, plausible=plausible, evidence=evidence, support=evidence.support()
    )


def steps_taken(monkeypatch, first, further=(), *, copper=()) -> list[str]:
    """What was searched, where the first two steps come upon what is given."""
    taken = []

    def step(name: str, *results):
        left = list(results)

        def take(*words):
            taken.append(name)
            return list(left.pop(0)) if left else []

        return take

    monkeypatch.setattr(module, "_laid", step("laid", first))
    monkeypatch.setattr(module, "_further_rims", step("further", further))
    monkeypatch.setattr(module, "_by_sightings", step("sightings"))
    monkeypatch.setattr(module, "lands_through_lens", lambda image, design, r: r)
    task = SimpleNamespace(
        mirrored=True, pads=(), design=SimpleNamespace(copper=dict.fromkeys(copper)), image=None
    )
    search(task, Scenes())
    return taken


class Scenes(list):
    calibrated = False

    def __init__(self) -> None:
        super().__init__([None, None, None])


def test_where_most_holes_show_a_rim_the_likeliest_places_are_enough(monkeypatch):
    assert steps_taken(monkeypatch, [found(20)]) == ["laid"]


@pytest.mark.parametrize(
    "first",
    [[], [found(16)], [found(20, plausible=False)], [found(19, chance=0.03)]],
    ids=["nothing", "16 of 22", "empty", "chance"],
)
def test_else_those_after_them_are_looked_at(monkeypatch, first):
    """16 of 22 convince by themselves, but so did a row of small pads."""
    assert steps_taken(monkeypatch, first, [found(20)]) == ["laid", "further"]


def test_what_only_convinces_is_never_enough_before_all_is_searched(monkeypatch):
    """On a photograph 17 of 22 agreed 21 mm aside; the right place was come upon last."""
    every = ["laid", "further", "laid", "laid", "sightings"]
    assert steps_taken(monkeypatch, [found(16)]) == every
    assert steps_taken(monkeypatch, []) == every


def test_on_a_large_blotched_board_fewer_are_enough(monkeypatch):
    """Of 155 holes 100: more than ever agreed at a wrong place, though not most."""
    assert steps_taken(monkeypatch, [found(100, of=155)]) == ["laid"]


def test_known_copper_has_no_rims_to_look_for(monkeypatch):
    assert steps_taken(monkeypatch, [], copper=["bottom"]) == ["laid", "laid", "laid"]


def test_the_likely_places_are_worked_out_once(monkeypatch):
    asked, laid = [], []
    monkeypatch.setattr(module, "likely_places", lambda *w, **k: asked.append(1) or list(range(40)))
    monkeypatch.setattr(module, "laid_at", lambda scene, rims, holes, places, **k: laid.append(places))
    monkeypatch.setattr(module, "look_at_rims", lambda task, trials: [])
    design = SimpleNamespace(xy_mm=np.zeros((3, 2)), drill_mm=np.ones(3), copper={})
    clock = SimpleNamespace(match=0.0, fit=0.0)
    task = SimpleNamespace(mirrored=True, design=design, known={}, clock=clock)
    scenes = [object()]
    module._laid(task, scenes, range(1), False)
    module._further_rims(task, scenes)
    assert len(asked) == 1
    assert laid == [list(range(BENT)), list(range(BENT, MORE_BENT))]
