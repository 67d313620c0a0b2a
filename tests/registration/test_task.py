"""When only a placement's own twins need still be looked at."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from drillaid.registration.evidence import COPPER_ENOUGH, ENOUGH, FREELY_ENOUGH, Evidence
from drillaid.registration.task import beyond_doubt


@pytest.mark.parametrize(
    ("by", "calibrated", "agreeing", "of", "enough", "sure"),
    [
        ("rims", True, 18, 22, ENOUGH, True),
        ("rims", True, 100, 155, ENOUGH, False),
        ("rims", False, 20, 22, FREELY_ENOUGH, False),  # as many agreed at a wrong place
        ("rims", False, 100, 155, FREELY_ENOUGH, True),
        ("copper", False, 60, 100, COPPER_ENOUGH, True),
        ("marks", True, 60, 100, COPPER_ENOUGH, False),
        ("marks", True, 80, 100, COPPER_ENOUGH, True),
    ],
)
def test_by_share_or_by_support(by, calibrated, agreeing, of, enough, sure):
    evidence = Evidence(agreeing, of, 0.02, enough=enough)
    scene = SimpleNamespace(calibrated=calibrated)
    r = SimpleNamespace(
        by=by, plausible=True, evidence=evidence, hypothesis=SimpleNamespace(scene=scene)
    )
    assert beyond_doubt(r) is sure
