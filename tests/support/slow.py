"""Cases of a test that take many seconds, of which another one runs always."""

from __future__ import annotations

import os

import pytest


def slow(*values):
    """A case of `pytest.mark.parametrize` that runs where DRILLAID_SLOW is set."""
    skipped = pytest.mark.skipif(
        not os.environ.get("DRILLAID_SLOW"), reason="ten seconds: DRILLAID_SLOW=1"
    )
    return pytest.param(*values, marks=(pytest.mark.slow, skipped))
