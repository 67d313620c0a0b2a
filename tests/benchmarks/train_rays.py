"""Makes drillaid/inspection/rays.npz from rays with known rims.

Plain gradient descent (Adam: Kingma and Ba 2014, from memory) on the cross-entropy
between where the rim is and where the network says.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from drillaid.inspection.rays import ALONG, BINS, STEP_MM  # noqa: E402

WIDTHS = (72, 40)


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


def train(x, along_mm, seconds: float, seed: int = 0, batch: int = 512):
    rng = np.random.default_rng(seed)
    y = targets(along_mm)
    sizes = [x.shape[1], *WIDTHS, BINS + 1]
    layers = [
        [rng.normal(0, np.sqrt(2 / a), (a, b)).astype(np.float32), np.zeros(b, np.float32)]
        for a, b in zip(sizes, sizes[1:], strict=False)
    ]
    moments = [[np.zeros_like(p), np.zeros_like(p)] for layer in layers for p in layer]
    held = rng.random(len(x)) < 0.05
    rows, test = np.flatnonzero(~held), np.flatnonzero(held)
    start, step, epoch = time.process_time(), 0, 0
    while (share := (time.process_time() - start) / seconds) < 1:
        rng.shuffle(rows)
        for k in range(0, len(rows) - batch, batch):
            part = rows[k : k + batch]
            values = [x[part].astype(np.float32)]
            for i, (w, b) in enumerate(layers):
                z = values[-1] @ w + b
                values.append(np.maximum(z, 0) if i + 1 < len(layers) else z)
            z = values[-1] - values[-1].max(axis=1, keepdims=True)
            p = np.exp(z)
            p /= p.sum(axis=1, keepdims=True)
            back, grads = (p - y[part]) / batch, []
            for i in range(len(layers) - 1, -1, -1):
                grads = [values[i].T @ back + 1e-5 * layers[i][0], back.sum(axis=0), *grads]
                back = (back @ layers[i][0].T) * (values[i] > 0)
            step += 1
            share = min((time.process_time() - start) / seconds, 1.0)
            rate = 2e-3 * (0.5 + 0.5 * np.cos(np.pi * share)) + 1e-5
            flat = [p for layer in layers for p in layer]
            for p_, g, m in zip(flat, grads, moments, strict=True):
                m[0] += 0.1 * (g - m[0])
                m[1] += 0.001 * (g * g - m[1])
                p_ -= rate * (m[0] / (1 - 0.9**step)) / (np.sqrt(m[1] / (1 - 0.999**step)) + 1e-8)
            if share >= 1:
                break
        epoch += 1
        z = x[test].astype(np.float32)
        for i, (w, b) in enumerate(layers):
            z = z @ w + b
            z = np.maximum(z, 0) if i + 1 < len(layers) else z
        z -= z.max(axis=1, keepdims=True)
        loss = float((np.log(np.exp(z).sum(axis=1)) - (z * y[test]).sum(axis=1)).mean())
        print(f"epoch {epoch}: held-out cross-entropy {loss:.4f}", flush=True)
    return layers


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rays", help="an .npz with X (M, F) features and T (M,) mm or NaN")
    parser.add_argument("out")
    parser.add_argument("--seconds", type=float, default=90)
    args = parser.parse_args()
    with np.load(args.rays) as file:
        x, along = file["X"], file["T"]
    print(len(x), "rays of", x.shape[1], "features")
    layers = train(x, along, args.seconds)
    arrays = {f"{n}{k}": p.astype(np.float16) for k, layer in enumerate(layers)
              for n, p in zip("wb", layer, strict=True)}  # fmt: skip
    np.savez_compressed(args.out, **arrays)


if __name__ == "__main__":
    main()
