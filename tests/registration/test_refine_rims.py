"""By lands nobody has drawn, without a rig: as taken, as cropped, and again from there."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from drillaid.registration import refine_rims
from drillaid.registration.refine_rims import PATIENCE, refine_by_lands


def fit(agreeing: int, support: float, *, empty: int = 0) -> SimpleNamespace:
    """Of 20 holes so many agree."""
    evidence = SimpleNamespace(
        share=agreeing / 20, in_view=20, empty=empty, support=lambda: support
    )
    return SimpleNamespace(evidence=evidence, support=support, placement=(agreeing, support))


GOOD, FAIR, POOR = fit(19, 90.0), fit(16, 70.0), fit(12, 40.0)


def refined(monkeypatch, *rounds, calibrated: bool = False):
    """What comes of it where each round, as taken and as cropped, ends as given (the last one
    ever again); and from which placement each try started."""
    starts = []

    def refine(image, h, *words, cropped=False):
        starts.append(h.grown.placement)
        plain, other = rounds[min((len(starts) - 1) // 2, len(rounds) - 1)]
        return other if cropped else plain

    monkeypatch.setattr(refine_rims, "refine_by_rings", refine)
    monkeypatch.setattr(refine_rims, "replace", lambda of, **new: SimpleNamespace(**{**vars(of), **new}))
    h = SimpleNamespace(
        scene=SimpleNamespace(calibrated=calibrated), grown=SimpleNamespace(placement="given")
    )
    return refine_by_lands(None, h, None, None, None, 10.0), starts


@pytest.mark.parametrize(
    ("plain", "cropped", "kept"),
    [(POOR, FAIR, FAIR), (FAIR, POOR, FAIR), (None, POOR, POOR), (None, None, None)],
)
def test_a_cropped_picture_is_thought_of_where_it_may_help(monkeypatch, plain, cropped, kept):
    got, starts = refined(monkeypatch, (plain, cropped))
    assert got is kept and starts[:2] == ["given", "given"]


def test_where_nearly_all_agree_nothing_is_to_be_gained(monkeypatch):
    got, starts = refined(monkeypatch, (GOOD, FAIR))
    assert got is GOOD and len(starts) == 1


def test_a_rig_knows_the_cameras_middle(monkeypatch):
    got, starts = refined(monkeypatch, (POOR, GOOD), calibrated=True)
    assert got is POOR and len(starts) == 1


def test_it_goes_on_from_what_it_came_to_even_by_a_worse_one(monkeypatch):
    """On a photograph right places went through worse ones before all their lands agreed."""
    worse = fit(11, 35.0)
    got, starts = refined(monkeypatch, (POOR, None), (None, worse), (FAIR, None), (GOOD, None))
    assert got is GOOD
    assert starts[2::2] == [POOR.placement, worse.placement, FAIR.placement]


def test_it_stops_when_nothing_better_comes(monkeypatch):
    got, starts = refined(monkeypatch, (FAIR, POOR))
    assert got is FAIR and len(starts) == 2 * (1 + PATIENCE)


@pytest.mark.parametrize("hopeless", [fit(12, 40.0, empty=7), fit(10, 9.0)], ids=["empty", "weak"])
def test_a_place_where_much_is_empty_is_left(monkeypatch, hopeless):
    got, starts = refined(monkeypatch, (hopeless, None))
    assert got is hopeless and len(starts) == 2
