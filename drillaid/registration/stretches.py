"""Edges of copper in stretches: what is seen as one, and how much each one tells.

Single edge points err together with their neighbours, and are lost in faint pictures.
So they are judged by stretches, a few millimetres of edge each.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from drillaid.registration.edging import CELL_MM, EdgeFit
from drillaid.vision.contours import EdgeModel
from drillaid.vision.eye import Eye
from drillaid.vision.sampling import along_lines, sample

# Readings of one cell share their errors; and two cells of one track do, a little.
CELLS_PER_VOICE = 2.0
SEEN_REACH_MM, SEEN_STEP_MM = 0.42, 0.04  # across a stretch of edge
ACROSS_MM = np.arange(-SEEN_REACH_MM, SEEN_REACH_MM + 1e-9, SEEN_STEP_MM)
SEEN_MM = 0.13  # a stretch this near to its place is the one meant
RUN_ANGLE_RAD, RUN_WIDTH_MM, RUN_GAP_MM = np.radians(8.0), 0.4, 1.3
TELLING_MM = 3.0  # a straight run longer than this tells no more than one of this length
FAINT_SHARE = 0.2  # of the clear stretches' steepness, below which it is texture


@dataclass(frozen=True, eq=False)
class Stretches:
    """Edge points in groups that are seen as one.

    cell: (M,) the group of each; count: of groups; weight: (count,) how telling a group is:
    the frame of a pour, which any board of that size may have, says little for its length
    """

    model: EdgeModel
    cell: np.ndarray
    count: int

    @classmethod
    def of(cls, model: EdgeModel, place: np.ndarray | int = 0) -> Stretches:
        """By squares of CELL_MM; place: (M,) of edges seen at several places, which of them."""
        square = np.floor(model.xy / CELL_MM).astype(np.int64)
        key = (place * 100_003 + square[:, 0]) * 100_003 + square[:, 1]
        _, cell = np.unique(key, return_inverse=True)
        count = int(cell.max()) + 1 if len(cell) else 0
        return cls(model, cell, count)

    @cached_property
    def weight(self) -> np.ndarray:
        """Worked out when it is asked for, which is for few of those that are judged."""
        runs = np.maximum(straight_runs_mm(self.model), 1e-6)
        telling = np.bincount(self.cell, np.minimum(1.0, TELLING_MM / runs), self.count)
        return telling / np.maximum(np.bincount(self.cell, minlength=self.count), 1)

    @property
    def voices(self) -> float:
        """How many independent readings they amount to."""
        return self.count / CELLS_PER_VOICE

    def mean(self, values: np.ndarray) -> np.ndarray:
        """(count, K) means over the groups of values (M, K)."""
        size = np.bincount(self.cell, minlength=self.count)
        first = np.concatenate([[0], np.cumsum(size)[:-1]])
        by_group = values[np.argsort(self.cell, kind="stable")]
        return np.add.reduceat(by_group, first, axis=0, dtype=np.float64) / size[:, None]


def straight_runs_mm(model: EdgeModel) -> np.ndarray:
    """(M,) how long the straight run of edge is that each point belongs to."""
    if not len(model):
        return np.zeros(0)
    angle = np.arctan2(model.normal[:, 1], model.normal[:, 0])
    longest = np.zeros(len(model))
    # Half a bin apart twice, so that no run is cut by the limits of the bins.
    for half in (0.0, 0.5):
        heading = np.floor(angle / RUN_ANGLE_RAD + half).astype(np.int64)
        mean = _common_angle(angle, heading)
        across = model.xy[:, 0] * np.cos(mean) + model.xy[:, 1] * np.sin(mean)
        along = model.xy[:, 1] * np.cos(mean) - model.xy[:, 0] * np.sin(mean)
        for side in (0.0, 0.5):
            row = np.floor(across / RUN_WIDTH_MM + side).astype(np.int64)
            order = np.lexsort((along, row, heading))
            cut = (
                (np.diff(heading[order]) != 0)
                | (np.diff(row[order]) != 0)
                | (np.diff(along[order]) > RUN_GAP_MM)
            )
            run = np.concatenate([[0], np.cumsum(cut)])
            first = np.concatenate([[0], np.flatnonzero(cut) + 1])
            last = np.concatenate([np.flatnonzero(cut), [len(order) - 1]])
            length = along[order[last]] - along[order[first]]
            longest[order] = np.maximum(longest[order], length[run])
    return longest


def _common_angle(angle: np.ndarray, heading: np.ndarray) -> np.ndarray:
    """(M,) the median angle of each point's bin: where lines run, most share one exactly."""
    order = np.lexsort((angle, heading))
    first = np.flatnonzero(np.diff(heading[order], prepend=heading[order[0]] - 1))
    size = np.diff(first, append=len(order))
    low, high = (angle[order[first + half]] for half in ((size - 1) // 2, size // 2))
    mean = np.empty_like(angle)
    mean[order] = np.repeat((low + high) / 2, size)
    return mean


def voices(model: EdgeModel) -> float:
    """How many independent readings the edge points amount to."""
    return Stretches.of(model).voices


def stretches_seen(eye: Eye, to_px, model: EdgeModel, fit: EdgeFit, px_per_mm: float) -> np.ndarray:
    """(groups,) bool: the stretches of edge that show where `fit` has them.

    The profiles across all edge points of a stretch are averaged before they are read:
    a faint edge adds up over its length, while grain and blotches cancel out.
    """
    groups = Stretches.of(model)
    lines = lines_across(lambda xy: to_px(fit.placement(xy)), fit.as_etched(model))
    profile = groups.mean(sample(eye.grey, lines)) * fit.polarity
    return clear_steps(steps_of(profile, px_per_mm))


def lines_across(to_px, model: EdgeModel) -> np.ndarray:
    """float32 (M, T, 2): places on a line across each edge, from bare to copper."""
    m = len(model)
    ends = to_px(np.concatenate([model.xy, model.xy + 0.1 * model.normal]))
    return along_lines(ends[:m], (ends[m:] - ends[:m]) / 0.1, ACROSS_MM)


def steps_of(profile: np.ndarray, px_per_mm: float) -> np.ndarray:
    """(K,) how steeply profiles (K, T) across edges rise at the edges' places; 0 where they are
    steepest elsewhere, or fall."""
    soft = max(0.35, 0.6 / max(px_per_mm * SEEN_STEP_MM, 1e-6))
    profile = cv2.GaussianBlur(profile, (0, 0), soft * 1.5, sigmaY=1e-6, borderType=cv2.BORDER_REPLICATE)
    inner = np.gradient(profile, axis=1)[:, 2:-2]
    at = np.abs(inner).argmax(axis=1)
    peak = inner[np.arange(len(inner)), at]
    near = np.abs(ACROSS_MM[2:-2][at]) <= SEEN_MM
    return np.where(near, np.maximum(peak, 0.0), 0.0)


def clear_steps(steps: np.ndarray) -> np.ndarray:
    """(K,) bool: those of `steps_of` that are no texture."""
    right = steps > 0
    if not right.any():
        return right
    return right & (steps > FAINT_SHARE * np.quantile(steps[right], 0.8))


def whole_stretches(model: EdgeModel, count: int, seed: int = 0) -> EdgeModel:
    """A seeded draw of whole stretches of edge, together about `count` points.

    A stretch is judged by all its points: with fewer in each it would be seen less well."""
    if len(model) <= count:
        return model
    groups = Stretches.of(model)
    share = count / len(model)
    kept = np.random.default_rng(seed).random(groups.count) < share
    return model.only(kept[groups.cell])
