"""Colour fringes: a lens draws red, green and blue at slightly different scales.

What edges stand out in most may be one colour alone (tinned copper on brown board in blue),
and then the board would be measured at that colour's scale, while a rig is calibrated in
brightness: a cheap lens is a pixel apart at the picture's corners. So the scales of blue and
red beside green are read from the picture's own edges, all of them, and the colours laid over
each other, such that brightness stays where it is.

An edge at q px from the picture's middle along its own normal is moved along it by a q, where
a is how much larger that colour is drawn (to first order; what is left over grows with the
cube of the distance and is far smaller in lenses one can buy; common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.vision.edges import edge_threshold, find_edges
from drillaid.vision.sampling import along_lines, sample

BRIGHTNESS = np.array([0.114, 0.587, 0.299])  # of B, G, R (ITU-R BT.601), as calibration reads
EDGES, SHRINK = 2500, 3
REACH_PX, STEP_PX = 4.0, 0.5
LEAST_STEP = 10.0  # grey levels, in each colour
FIRST_GAIN, LEAST_GAIN = 0.6, 0.2  # of a shift, that windows give back
MOST_PX = 2.0  # between two colours of one edge; further apart they are two edges
NEIGHBOURS = 8.0  # edge points that see the same grain
LEAST = 60  # edges that tell something
PLAIN_PX, PLAIN_SIGMAS = 0.12, 3.0  # at the picture's corner: less does no harm
# What may be left of what was taken away: cameras mix neighbouring colours, each in its way.
LEFT = 0.4


@dataclass(frozen=True)
class Fringes:
    """blue, red: by what share larger than green; sigma: of each; size_px: (width, height)"""

    blue: float
    red: float
    sigma: tuple[float, float]
    size_px: tuple[int, int]

    @property
    def plain(self) -> bool:
        """Are they wide enough to matter, and surely there?"""
        corner = float(np.hypot(*self.size_px)) / 2
        return any(
            abs(grown) * corner > PLAIN_PX and abs(grown) > PLAIN_SIGMAS * doubt
            for grown, doubt in zip((self.blue, self.red), self.sigma, strict=True)
        )

    def doubt_px(self, px: np.ndarray) -> np.ndarray:
        """(N,) one sigma of what may be left at places (N, 2) of the picture."""
        if not self.plain:
            return np.zeros(len(px))
        away = np.linalg.norm(px - (np.array(self.size_px) - 1) / 2, axis=1)
        return LEFT * max(abs(self.blue), abs(self.red)) * away

    def removed(self, image: np.ndarray) -> np.ndarray:
        """The picture with its colours laid over each other; the same where nothing is plain."""
        if not self.plain:
            return image
        grown = np.array([self.blue, 0.0, self.red])
        grown = grown - BRIGHTNESS @ grown
        width, height = self.size_px
        out = np.empty_like(image)
        for k, share in enumerate(grown):
            # A pixel of the result is fetched from where this colour has drawn it. (The
            # library's cubic interpolation knows places to 1/32 px only, and is biased.)
            scale = 1.0 + share
            shift = (1.0 - scale) * np.array([(width - 1) / 2, (height - 1) / 2])
            matrix = np.array([[scale, 0.0, shift[0]], [0.0, scale, shift[1]]])
            out[..., k] = cv2.warpAffine(
                np.ascontiguousarray(image[..., k]), matrix, (width, height),
                flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE,
            )  # fmt: skip
        return out


def fringes_of(image: np.ndarray) -> Fringes:
    """How far the colours of a picture lie apart; image: uint8 (H, W, 3) BGR."""
    height, width = image.shape[:2]
    size = width, height
    # Where edges are is told well enough by a picture a third as large: each colour is then
    # read in the picture itself.
    blue, green, red = cv2.split(image)  # once: each look at one of three would copy it again
    small = cv2.resize(
        green[: height - height % SHRINK, : width - width % SHRINK],
        (width // SHRINK, height // SHRINK), interpolation=cv2.INTER_AREA,
    ).astype(np.float32)  # fmt: skip
    edges = find_edges(small, threshold=max(edge_threshold(small, 1.0), 5.0))
    if len(edges) < LEAST:
        return Fringes(0.0, 0.0, (1.0, 1.0), size)
    kept = np.random.default_rng(0).permutation(len(edges))[:EDGES]
    px = SHRINK * edges.px[kept].astype(np.float64) + (SHRINK - 1) / 2
    normal = edges.normal[kept].astype(np.float64)
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    q = ((px - middle) * normal).sum(axis=1)
    t = np.arange(-REACH_PX, REACH_PX + STEP_PX / 2, STEP_PX)
    where, clear = _steps(_profile(green, px, normal, t), t)
    found = []
    for plane in (blue, red):

        def left(share: float, plane=plane) -> tuple[float, float]:
            """How much larger this colour still is, read where `share` would have drawn it."""
            there, step = _steps(_profile(plane, middle + (px - middle) * (1 + share), normal, t), t)
            return _grown(there - where, q, step & clear)

        found.append(_zero_of(left))
    (share_blue, doubt_blue), (share_red, doubt_red) = found
    return Fringes(share_blue, share_red, (doubt_blue, doubt_red), size)


def _profile(plane: np.ndarray, px: np.ndarray, normal: np.ndarray, t: np.ndarray) -> np.ndarray:
    return sample(plane, along_lines(px, normal, t)).astype(np.float64)


def _zero_of(left) -> tuple[float, float]:
    """(share, sigma) at which nothing is left: windows give back a part of a shift only, and a
    second look tells which part."""
    share, (rest, sigma) = 0.0, left(0.0)
    if abs(rest) < 2 * sigma:
        return rest, sigma
    gain = FIRST_GAIN
    for _ in range(3):
        step = rest / gain
        before, share = rest, share + step
        rest, sigma = left(share)
        gain = float(np.clip((before - rest) / step, LEAST_GAIN, 1.0))
    return share + rest / gain, sigma / gain


def _steps(seen: np.ndarray, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Of profiles (K, T): where the step is (K,) px, and whether it is one."""
    rise = np.diff(seen, axis=1)
    total = rise.sum(axis=1)
    between = (t[1:] + t[:-1]) / 2
    window = np.exp(-0.5 * (between / (REACH_PX / 2)) ** 2)[None]
    weight = np.clip(rise * np.sign(total)[:, None], 0.0, None) * window
    mass = weight.sum(axis=1)
    where = (weight * between[None]).sum(axis=1) / np.maximum(mass, 1e-9)
    burnt = (seen.max(axis=1) >= 250) | (seen.min(axis=1) <= 2)
    return where, (np.abs(total) > LEAST_STEP) & ~burnt


def _grown(apart: np.ndarray, q: np.ndarray, clear: np.ndarray) -> tuple[float, float]:
    """(share, sigma) by which one colour is larger: robust least squares of apart = share q."""
    clear = clear & (np.abs(apart) < MOST_PX)
    if clear.sum() < LEAST:
        return 0.0, 1.0
    d, q = apart[clear], q[clear]
    weight, share, scale = np.ones(len(d)), 0.0, 1.0
    for _ in range(8):
        power = float(weight @ q**2)
        share = float(weight @ (q * d)) / max(power, 1e-9)
        off = d - share * q
        scale = max(1.4826 * float(np.median(np.abs(off))), 0.02)
        weight = np.square(np.clip(1 - np.square(off / (4 * scale)), 0.0, None))
    return share, scale / float(np.sqrt(max(weight @ q**2, 1e-9))) * np.sqrt(NEIGHBOURS)

