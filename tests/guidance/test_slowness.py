from __future__ import annotations

from drillaid.guidance.slowness import BACK_MS, FRAMES, LIMIT_MS, Slowness


def said(slowness, latency_ms, times=FRAMES):
    for _ in range(times):
        told = slowness.look(latency_ms)
    return told


def test_a_quick_computer_is_never_called_slow():
    slowness = Slowness()
    assert said(slowness, 40.0, 200) is None
    assert slowness.look(900.0) is None  # one late picture
    assert said(slowness, 40.0) is None


def test_a_slow_one_is_told_until_it_is_quick_again():
    slowness = Slowness()
    assert said(slowness, 1.5 * LIMIT_MS, FRAMES - 1) is None
    told = slowness.look(1.5 * LIMIT_MS)
    assert "0.3 s old" in told
    assert slowness.look(None) == told  # no new picture, nothing new
    assert said(slowness, (LIMIT_MS + BACK_MS) / 2, 2 * FRAMES) is not None  # no flicker
    assert said(slowness, BACK_MS - 20, 2 * FRAMES) is None
    assert said(slowness, (LIMIT_MS + BACK_MS) / 2, 2 * FRAMES) is None
