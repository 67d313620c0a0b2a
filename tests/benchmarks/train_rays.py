"""Makes drillaid/inspection/rays.npz from the rays that draw_rays.py draws.

    python tests/benchmarks/draw_rays.py rays.npz
    python tests/benchmarks/train_rays.py rays.npz drillaid/inspection/rays.npz

The same rays give the same weights on one machine (with one thread), and nearly the same on
another, whose sums round otherwise. How good they are is told by boards that were left out.
Plain gradient descent (Adam: Kingma and Ba 2014, from memory) on the cross-entropy
between where the rim is and where the network says.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from drillaid.inspection.rays import ALONG, BINS, STEP_MM  # noqa: E402

WIDTHS = (160, 64)
EPOCHS = 13
HELD = 20  # every so manieth board is left out


def targets(along_mm: np.ndarray) -> np.ndarray:
    """Where the rim is (mm from the expected radius, NaN for none) as probabilities."""
    off = (ALONG - along_mm[:, None]) / (0.6 * STEP_MM)
    weight = np.exp(-0.5 * np.nan_to_num(off, nan=99.0) ** 2)
    total = weight.sum(axis=1, keepdims=True)
    known = (total > 0.3)[:, 0]
    out = np.zeros((len(along_mm), BINS + 1), np.float32)
    out[known, :BINS] = (weight / np.maximum(total, 1e-9))[known]
    out[~known, BINS] = 1
    return out


def train(x, along_mm, board, epochs: int, seed: int = 0, batch: int = 512):
    """x: (M, F); board: (M,) which board each ray is of, every HELD-th is left out and judged by.

    Returns the layers, [weights, bias] each, and the held-out cross-entropy.
    """
    rng = np.random.default_rng(seed)
    y = targets(along_mm)
    sizes = [x.shape[1], *WIDTHS, BINS + 1]
    layers = [
        [rng.normal(0, np.sqrt(2 / a), (a, b)).astype(np.float32), np.zeros(b, np.float32)]
        for a, b in zip(sizes, sizes[1:], strict=False)
    ]
    moments = [[np.zeros_like(p), np.zeros_like(p)] for layer in layers for p in layer]
    held = board % HELD == HELD - 1
    rows, test = np.flatnonzero(~held), np.flatnonzero(held)
    steps, step, loss = epochs * (len(rows) // batch), 0, np.nan
    for epoch in range(epochs):
        rng.shuffle(rows)
        for k in range(0, len(rows) - batch + 1, batch):
            part = rows[k : k + batch]
            grads = gradients(layers, x[part].astype(np.float32), y[part])
            step += 1
            rate = 2e-3 * (0.5 + 0.5 * np.cos(np.pi * step / steps)) + 1e-5
            flat = [p for layer in layers for p in layer]
            for p, g, m in zip(flat, grads, moments, strict=True):
                m[0] += 0.1 * (g - m[0])
                m[1] += 0.001 * (g * g - m[1])
                p -= rate * (m[0] / (1 - 0.9**step)) / (np.sqrt(m[1] / (1 - 0.999**step)) + 1e-8)
        loss = held_out(layers, x[test], y[test])
        print(f"epoch {epoch + 1}: held-out cross-entropy {loss:.4f}", flush=True)
    return layers, loss


def forward(layers, x) -> list[np.ndarray]:
    """What each layer gives, x first; rectified but for the last."""
    values = [x]
    for i, (w, b) in enumerate(layers):
        z = values[-1] @ w + b
        values.append(np.maximum(z, 0) if i + 1 < len(layers) else z)
    return values


def gradients(layers, x, y) -> list[np.ndarray]:
    """Of the mean cross-entropy (with a little weight decay), in the order of the layers."""
    values = forward(layers, x)
    p = np.exp(values[-1] - values[-1].max(axis=1, keepdims=True))
    p /= p.sum(axis=1, keepdims=True)
    back, grads = (p - y) / len(x), []
    for i in range(len(layers) - 1, -1, -1):
        grads = [values[i].T @ back + 1e-5 * layers[i][0], back.sum(axis=0), *grads]
        back = (back @ layers[i][0].T) * (values[i] > 0)
    return grads


def held_out(layers, x, y) -> float:
    total = 0.0
    for k in range(0, len(x), 20_000):
        z = forward(layers, x[k : k + 20_000].astype(np.float32))[-1]
        z -= z.max(axis=1, keepdims=True)
        total += float((np.log(np.exp(z).sum(axis=1)) - (z * y[k : k + 20_000]).sum(axis=1)).sum())
    return total / max(len(x), 1)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rays", help="as draw_rays.py writes them")
    parser.add_argument("out")
    parser.add_argument("--epochs", type=int, default=EPOCHS)
    args = parser.parse_args()
    with np.load(args.rays) as file:
        x, along, board = file["X"], file["T"], file["board"]
    print(len(x), "rays of", x.shape[1], "features")
    layers, _ = train(x, along, board, args.epochs)
    arrays = {f"{n}{k}": p.astype(np.float16) for k, layer in enumerate(layers)
              for n, p in zip("wb", layer, strict=True)}  # fmt: skip
    np.savez_compressed(args.out, **arrays)


if __name__ == "__main__":
    main()
