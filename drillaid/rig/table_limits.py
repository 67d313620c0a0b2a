"""What the rig file's [table] may say. Each key may be absent; `table.setup` says what is needed.

The ranges catch other units and swapped numbers, not bad tables.
"""

from __future__ import annotations

import numpy as np

from drillaid.rig.limits import _bad, _number, _numbers

LENGTH_MM = 5_000.0
SCALE = (0.2, 5.0)  # bench mm per table mm, whatever the steps per mm were set to
BACKLASH_MM = 5.0
_REMEDY = "make it with drillaid calibrate table"

# key -> (how many numbers, least, most)
_LISTS = {
    "backlash_mm": (2, 0.0, BACKLASH_MM),
    "backlash_sigma_mm": (2, 0.0, BACKLASH_MM),
    "repeatability_mm": (2, 0.0, BACKLASH_MM),
    "view_mm": (2, -LENGTH_MM, LENGTH_MM),
    "speed_mm_s": (3, 0.01, 2_000.0),
    "acceleration_mm_s2": (3, 0.1, 50_000.0),
}
_SINGLE = {
    "safe_z_mm": (-LENGTH_MM, LENGTH_MM),
    "surface_z_mm": (-LENGTH_MM, LENGTH_MM),
    "spindle_rpm": (0.0, 200_000.0),
    "spin_up_s": (0.0, 60.0),
    "settle_s": (0.0, 10.0),
    "feed_mm_min": (1.0, 10_000.0),
    "peck_mm": (0.05, 100.0),
    "matrix_sigma": (0.0, 1.0),
    "lost_mm_per_stop": (0.0, BACKLASH_MM),
}
_WORDS = {"arrangement": ("board", "spindle"), "z": ("controller", "lever")}


def check_table(table: dict) -> None:
    """RigError, by key, for what is there and cannot be."""
    for name, allowed in _WORDS.items():
        if name in table and table[name] not in allowed:
            raise _bad(f"table.{name}", f'must be "{allowed[0]}" or "{allowed[1]}"')
    if "dialect" in table and not isinstance(table["dialect"], str):
        raise _bad("table.dialect", "must be a name or a file")
    for name, (count, low, high) in _LISTS.items():
        if name in table:
            for value in _numbers(table, f"table.{name}", count, max(abs(low), abs(high))):
                _within(f"table.{name}", value, low, high)
    for name, (low, high) in _SINGLE.items():
        if name in table:
            value = _number(f"table.{name}", table[name], max(abs(low), abs(high)))
            _within(f"table.{name}", value, low, high)
    if "matrix" in table:
        _check_matrix(table["matrix"])
    if "limits_mm" in table:
        _check_limits(table)


def _within(key: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise _bad(key, f"holds {value:g}, which is out of {low:g} to {high:g}")


def _rows(value, key: str, count: int) -> np.ndarray:
    if not isinstance(value, list | tuple) or len(value) != count:
        raise _bad(key, f"must have {count} rows of 2 numbers")
    name = key.rpartition(".")[2]
    return np.array([_numbers({name: row}, key, 2, LENGTH_MM) for row in value])


def _check_matrix(value) -> None:
    stretch = np.linalg.svd(_rows(value, "table.matrix", 2), compute_uv=False)
    if not (SCALE[0] <= stretch.min() and stretch.max() <= SCALE[1]):
        raise _bad("table.matrix", f"moves {stretch.min():.3g} to {stretch.max():.3g} mm for each "
                   f"mm sent, out of {SCALE[0]:g} to {SCALE[1]:g}", _REMEDY)  # fmt: skip


def _check_limits(table: dict) -> None:
    limits = _rows(table["limits_mm"], "table.limits_mm", 3)
    for name, (low, high) in zip("xyz", limits, strict=True):
        if not low < high:
            raise _bad("table.limits_mm", f"holds {low:g} to {high:g} for {name}, least first")
    for key in ("safe_z_mm", "surface_z_mm"):
        if key in table and not limits[2, 0] <= table[key] <= limits[2, 1]:
            raise _bad(f"table.{key}", "is outside limits_mm of z")
    if "safe_z_mm" in table and "surface_z_mm" in table:
        if not table["safe_z_mm"] >= table["surface_z_mm"] + 1.0:
            raise _bad("table.safe_z_mm", "must be at least 1 mm above surface_z_mm")
    if "view_mm" in table:
        view = np.asarray(table["view_mm"])
        if not ((limits[:2, 0] <= view) & (view <= limits[:2, 1])).all():
            raise _bad("table.view_mm", "is outside limits_mm")
