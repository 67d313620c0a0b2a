"""By lands nobody has drawn, without a rig: as taken, and as cropped."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from drillaid.registration import refine_rims
from drillaid.registration.refine_rims import refine_by_lands


def fit(share: float, support: float) -> SimpleNamespace:
    return SimpleNamespace(evidence=SimpleNamespace(share=share), support=support)


GOOD, FAIR, POOR = fit(0.95, 90.0), fit(0.8, 70.0), fit(0.6, 40.0)


@pytest.mark.parametrize(
    ("calibrated", "plain", "cropped", "kept", "tries"),
    [
        (False, GOOD, FAIR, GOOD, 1),  # nearly all agree: nothing to gain
        (False, POOR, FAIR, FAIR, 2),
        (False, FAIR, POOR, FAIR, 2),
        (False, None, POOR, POOR, 2),
        (False, None, None, None, 2),
        (True, POOR, GOOD, POOR, 1),  # the rig knows the camera's middle
    ],
)
def test_a_cropped_picture_is_thought_of_where_it_may_help(
    monkeypatch, calibrated, plain, cropped, kept, tries
):
    asked = []

    def refine(*words, cropped_=cropped, **ways):
        asked.append(ways)
        return cropped_ if ways.get("cropped") else plain

    monkeypatch.setattr(refine_rims, "refine_by_rings", refine)
    h = SimpleNamespace(scene=SimpleNamespace(calibrated=calibrated))
    assert refine_by_lands(None, h, None, None, None, 10.0) is kept
    assert len(asked) == tries
