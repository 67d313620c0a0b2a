"""Makes drillaid/inspection/judge.npz from the pads that draw_pads.py draws.

    python tests/benchmarks/draw_pads.py pads.npz
    python tests/benchmarks/train_judge.py pads.npz drillaid/inspection/judge.npz

Drilled, not drilled or covered, from a pad's traits. Pads are few, so several networks are
trained on different boards and their answers averaged by being laid side by side as one.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from train_rays import forward, gradients  # noqa: E402

WIDTH, MEMBERS, EPOCHS = 48, 6, 60
DECAY = 1e-2
WEIGHTS = (1.0, 1.0, 1.0)  # of drilled, undrilled and covered
SPREAD = 1e-3  # traits that hardly vary are not blown up


def trained(x, y, seed: int, epochs: int = EPOCHS, batch: int = 128):
    """One member: layers on normalised x (M, F); y: (M,) 0, 1 or 2."""
    rng = np.random.default_rng(seed)
    sizes = [x.shape[1], WIDTH, 3]
    layers = [
        [rng.normal(0, np.sqrt(1 / a), (a, b)).astype(np.float32), np.zeros(b, np.float32)]
        for a, b in zip(sizes, sizes[1:], strict=False)
    ]
    moments = [[np.zeros_like(p), np.zeros_like(p)] for layer in layers for p in layer]
    goal = np.eye(3, dtype=np.float32)[y]
    share = np.asarray(WEIGHTS)[y] / np.sum(np.asarray(WEIGHTS)[y])
    per_epoch = max(len(x) // batch, 1)
    for step in range(1, epochs * per_epoch + 1):
        part = rng.choice(len(x), batch, p=share)
        noisy = x[part] + rng.normal(0, 0.1, (batch, x.shape[1])).astype(np.float32)
        grads = gradients(layers, noisy, goal[part])
        rate = 1e-3 * (0.5 + 0.5 * np.cos(np.pi * step / (epochs * per_epoch)))
        flat = [p for layer in layers for p in layer]
        for p, g, m in zip(flat, grads, moments, strict=True):
            m[0] += 0.1 * (g - m[0])
            m[1] += 0.001 * (g * g - m[1])
            p -= rate * (m[0] / (1 - 0.9**step)) / (np.sqrt(m[1] / (1 - 0.999**step)) + 1e-8)
            if p.ndim == 2:
                p -= rate * DECAY * p
    return layers


def together(members, mean, spread):
    """One network that gives the mean of the members' logits of plain traits."""
    first = np.concatenate([m[0][0] for m in members], axis=1) / spread[:, None]
    bias = np.concatenate([m[0][1] for m in members]) - mean @ first
    last = np.concatenate([m[1][0] for m in members], axis=0) / len(members)
    return [[first, bias], [last, np.mean([m[1][1] for m in members], axis=0)]]


def judge_of(x, y, board, seeds=range(MEMBERS)):
    """Each member is trained without another sixth of the boards."""
    mean, spread = x.mean(axis=0), np.maximum(x.std(axis=0), SPREAD)
    normal = (x - mean) / spread
    members = [
        trained(normal[board % MEMBERS != k], y[board % MEMBERS != k], k) for k in seeds
    ]
    return together(members, mean, spread)


def confusion(layers, x, y) -> np.ndarray:
    """(3, 3) counts: rows what it is, columns what is said."""
    said = forward(layers, x)[-1].argmax(axis=1)
    table = np.zeros((3, 3), int)
    np.add.at(table, (y, said), 1)
    return table


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pads", help="as draw_pads.py writes them")
    parser.add_argument("out")
    args = parser.parse_args()
    with np.load(args.pads) as file:
        x, y, board = file["X"], file["Y"].astype(int), file["board"].astype(int)
    print(len(x), "pads of", x.shape[1], "traits:", np.bincount(y, minlength=3))
    out = board % 5 == 4
    layers = judge_of(x[~out], y[~out], board[~out])
    print("of boards left out, drilled / undrilled / covered:\n", confusion(layers, x[out], y[out]))
    layers = judge_of(x, y, board)
    arrays = {f"{n}{k}": p.astype(np.float32) for k, layer in enumerate(layers)
              for n, p in zip("wb", layer, strict=True)}  # fmt: skip
    np.savez_compressed(args.out, **arrays)


if __name__ == "__main__":
    main()
