"""The scripts that make the networks' weights: exact gradients, and rays whose rims are known."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from drillaid.inspection.rays import BINS, Network

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "benchmarks"))

import draw_rays  # noqa: E402
import train_judge  # noqa: E402
import train_rays  # noqa: E402


def some_layers(rng, *sizes):
    return [
        [rng.normal(0, 0.4, (a, b)), rng.normal(0, 0.1, b)]
        for a, b in zip(sizes, sizes[1:], strict=False)
    ]


def cross_entropy(layers, x, y) -> float:
    z = train_rays.forward(layers, x)[-1]
    decay = 0.5e-5 * sum((w**2).sum() for w, _ in layers)
    return float((np.log(np.exp(z).sum(axis=1)) - (z * y).sum(axis=1)).mean() + decay)


def test_the_gradients_are_those_of_the_cross_entropy():
    rng = np.random.default_rng(1)
    layers = some_layers(rng, 7, 5, 4, 3)
    x, y = rng.normal(size=(6, 7)), rng.dirichlet([1, 1, 1], 6)
    found = train_rays.gradients(layers, x, y)
    for p, grad in zip([p for layer in layers for p in layer], found, strict=True):
        for at in [tuple(rng.integers(0, n) for n in p.shape) for _ in range(4)]:
            kept, values = p[at], []
            for step in (1e-5, -1e-5):
                p[at] = kept + step
                values.append(cross_entropy(layers, x, y))
            p[at] = kept
            assert grad[at] == pytest.approx((values[0] - values[1]) / 2e-5, abs=1e-7)


def test_networks_laid_side_by_side_give_the_mean_of_their_answers():
    rng = np.random.default_rng(2)
    members = [some_layers(rng, 6, 4, 3) for _ in range(3)]
    x, mean, spread = rng.normal(3, 2, (5, 6)), rng.normal(size=6), rng.uniform(0.5, 2, 6)
    apart = [train_rays.forward(m, (x - mean) / spread)[-1] for m in members]
    one = train_rays.forward(train_judge.together(members, mean, spread), x)[-1]
    assert one == pytest.approx(np.mean(apart, axis=0))


def test_the_kept_network_knows_the_rays_that_are_drawn():
    """On a board that no weight was set by (seed 19 is left out): the rim within two bins on
    nearly every ray that shows one. Rays drawn twice are the same."""
    x, along = draw_rays.rays_of(19, 0)
    again, _ = draw_rays.rays_of(19, 0)
    assert np.array_equal(x, again)
    odds = Network.kept().log_odds(x.astype(np.float32))
    goal = train_rays.targets(along)
    shown = goal[:, BINS] == 0
    assert 0.3 < shown.mean() < 0.9
    off = np.abs(odds[shown, :BINS].argmax(axis=1) - goal[shown, :BINS].argmax(axis=1))
    assert (off <= 2).mean() > 0.85
    said_none = odds[~shown].argmax(axis=1) == BINS
    assert said_none.mean() > 0.8
