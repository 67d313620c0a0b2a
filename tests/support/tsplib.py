"""Published drilling problems: TSPLIB, G. Reinelt, ORSA Journal on Computing 3 (1991) 376-384."""

from __future__ import annotations

from pathlib import Path

import numpy as np

DATA = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "tsplib"


def read_problem(name: str) -> np.ndarray:
    """(N, 2), in the file's own unit."""
    rows = (line.split() for line in (DATA / f"{name}.tsp").read_text().splitlines())
    return np.array([(float(r[1]), float(r[2])) for r in rows if len(r) == 3 and r[0].isdigit()])
