"""Where the reference marks are in a picture, to a small part of a pixel.

`find_marks` looks everywhere. `read_mark` looks only where a mark should be and is quick:
the picture about it is drawn upright on a grid, and the mark's own picture m is laid on
it by least squares over light that varies evenly (gain a, offset b, each with its
slopes) and a projective change of place,

    I(W(x)) = a m(x) + b + a grad m(x) . d(x),     d(x) = D (1, x, y)^T - x (g . x),

in Gauss-Newton steps with one fixed matrix for each mark (inverse composition, after
Baker and Matthews, "Lucas-Kanade 20 years on", IJCV 56(3), 2004; from memory). What
is said is a place only where picture and mark correlate well: a hand over a part of
a mark makes it unreadable, not moved.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from drillaid.geometry import Homography, as_points
from drillaid.rig import marks
from drillaid.rig.rig import Rig

GRID = 40  # samples along a side
# Half the side of what is compared. With GRID samples of FINE parts each, the borders
# between modules fall between two parts: else the mark's own picture is too large.
REACH_MM, FINE = 2 * marks.SIDE_MM / 3, 8
BLUR_MM = 0.45  # sigma of the mark's own picture; wide enough to be drawn in
LEAST_LIKENESS = 0.93  # correlation; another mark has up to 0.8, one covered by a tenth 0.9
STEPS = 10
FINE_PX_PER_MM = 6.0  # finer pixels are drawn together first
FLOOR_PX = 0.02  # one sigma of a corner along either axis that noise does not explain
SEARCH_MM = 3.0  # how far off a mark is found that is looked for
COARSE_PX = 40.0  # five pixels a module


@dataclass(frozen=True, eq=False)
class SeenMark:
    """number: as printed beside it; px: (4, 2) corners as in `marks.corners_mm`

    sigma_px: of each coordinate of a corner, the middle is known twice as well
    likeness: correlation with what it should look like
    """

    number: int
    px: np.ndarray
    sigma_px: float
    likeness: float


def find_marks(grey: np.ndarray, lens: Rig | None = None) -> tuple[SeenMark, ...]:
    """All reference marks in a uint8 picture (H, W), each number at most once.

    lens: its bend is taken out; without it a large mark near the picture's corner comes
    out some tenths of a pixel off
    """
    found: dict[int, list[SeenMark]] = {}
    for number, px in [*_proposed(grey, 3, 43, 10), *_proposed(grey, 5, 17, 4)]:
        here = found.setdefault(number, [])
        if any(np.abs(px - other.px).max() < np.ptp(px) / 4 for other in here):
            continue
        seen = read_mark(grey, number, px, lens=lens)
        if seen is not None:
            here.append(seen)
    # The same number twice: two prints are on the table, and none says which was meant.
    return tuple(seen[0] for _, seen in sorted(found.items()) if len(seen) == 1)


def find_marks_quickly(
    grey: np.ndarray, side_px: float, lens: Rig | None = None, most: int = 2
) -> tuple[SeenMark, ...]:
    """At most so many marks of about side_px, wherever they are; for use between two pictures.

    Looked for in a picture made so small that a mark is COARSE_PX wide.
    """
    scale = min(1.0, COARSE_PX / side_px)
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    seen: dict[int, SeenMark | None] = {}
    for number, px in _proposed(small, 5, 13, 8):
        if number in seen or len(seen) == most:
            continue
        seen[number] = read_mark(grey, number, (px + 0.5) / scale - 0.5, lens=lens)
    return tuple(mark for mark in seen.values() if mark is not None)


def _proposed(grey: np.ndarray, least: int, most: int, step: int):
    """(number, (4, 2) px) of what the image library takes for marks, by its windows' widths."""
    settings = cv2.aruco.DetectorParameters()
    settings.adaptiveThreshWinSizeMin, settings.adaptiveThreshWinSizeMax = least, most
    settings.adaptiveThreshWinSizeStep = step
    settings.minMarkerPerimeterRate = 0.02
    # Else the paper's rim, which lies about the mark's, is looked at instead of it.
    settings.minMarkerDistanceRate = 0.02
    corners, ids, _ = cv2.aruco.ArucoDetector(marks.dictionary(), settings).detectMarkers(grey)
    for px, identity in zip(corners, [] if ids is None else ids.ravel(), strict=True):
        number = marks.number_of(int(identity))
        if number is not None:
            yield number, np.asarray(px, dtype=np.float64).reshape(4, 2)


def read_mark(
    grey: np.ndarray, number: int, guess_px, *, search: bool = False, lens: Rig | None = None
) -> SeenMark | None:
    """The mark near guess_px (4, 2), or None where it does not look like it.

    search: it may lie SEARCH_MM from there, of its own size; lens: see `find_marks`
    """
    guess = as_points(guess_px)
    inside = (guess > 2).all() and (guess < [grey.shape[1] - 3, grey.shape[0] - 3]).all()
    if not inside:
        return None
    straight = guess if lens is None else lens.undistort(guess)
    if not np.isfinite(straight).all():
        return None
    to_px = _upright(straight)
    if search:
        to_px = _searched(grey, number, to_px, _bend(lens, to_px, _WIDE))
    before = to_px
    fit = _laid(grey, number, to_px, _bend(lens, to_px, _NEAR))
    if fit is None:
        return None
    if (
        lens is not None
        and np.abs(fit[0](marks.corners_mm()) - before(marks.corners_mm())).max() > 3
    ):
        fit = _laid(grey, number, fit[0], _bend(lens, fit[0], _NEAR))  # bent as it is there
        if fit is None:
            return None
    to_px, likeness, sigma_mm = fit
    at = to_px(marks.corners_mm())
    at = at if lens is None else lens.distort(at)
    if not np.isfinite(at).all():
        return None
    scale = np.sqrt(abs(cv2.contourArea(at.astype(np.float32)))) / marks.SIDE_MM
    return SeenMark(number, at, float(np.hypot(sigma_mm * scale, FLOOR_PX)), likeness)


def _upright(px: np.ndarray) -> Homography:
    corners = marks.corners_mm().astype(np.float32)
    return Homography.scaled_for(
        cv2.getPerspectiveTransform(corners, px.astype(np.float32)), marks.corners_mm()
    )


# Half side in mm and samples along a side, of what is fitted and of what is searched.
_NEAR = REACH_MM, GRID
_WIDE = REACH_MM + SEARCH_MM, round(GRID * (1 + SEARCH_MM / REACH_MM) / 2)


def _bend(lens: Rig | None, to_px: Homography, grid: tuple[float, int]) -> np.ndarray | None:
    """(n, 2) px by which the lens shifts what lies on the grid; it changes slowly."""
    if lens is None:
        return None
    reach, count = grid
    few = 9
    px = to_px(_grid(reach * (1 + 1 / (few - 1)), few))
    by = np.nan_to_num(lens.distort(px) - px).reshape(few, few, 2)
    # The few points' middles span the grid's; enlarge and keep the part that is the grid.
    line = (_grid(reach, count)[:count, 0] / reach / (1 + 1 / (few - 1)) + 1) * few / 2 - 0.5
    u, v = np.meshgrid(line.astype(np.float32), line.astype(np.float32))
    return cv2.remap(by, u, v, cv2.INTER_LINEAR).reshape(-1, 2)


@cache
def _grid(reach_mm: float = REACH_MM, count: int = GRID) -> np.ndarray:
    """(count * count, 2) mm of the mark, row by row."""
    line = (np.arange(count) + 0.5) * (2 * reach_mm / count) - reach_mm
    return np.stack(np.meshgrid(line, line), axis=-1).reshape(-1, 2)


@cache
def _picture(number: int) -> np.ndarray:
    """The mark as it looks, 0 ink to 1 paper, (GRID, GRID), softened by BLUR_MM."""
    step = 2 * REACH_MM / (GRID * FINE)
    line = (np.arange(GRID * FINE) + 0.5) * step - REACH_MM
    cell = np.floor((line + marks.SIDE_MM / 2) / (marks.SIDE_MM / marks.MODULES)).astype(int)
    inside = (cell >= 0) & (cell < marks.MODULES)
    ink = marks.black_modules(number)[np.ix_(cell.clip(0, 7), cell.clip(0, 7))]
    ink = ink & inside[:, None] & inside[None, :]
    soft = cv2.GaussianBlur(1.0 - ink.astype(np.float32), (0, 0), BLUR_MM / step)
    return cv2.resize(soft, (GRID, GRID), interpolation=cv2.INTER_AREA).astype(np.float64)


@cache
def _columns(number: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(columns (n, 14): m, 1, by c, a, b of x' = c + a x + b y, the same of y', g, and the
    slopes of gain and offset; solver (14, n); inverse of the normal matrix)."""
    picture, (x, y) = _picture(number), _grid().T
    step = 2 * REACH_MM / GRID
    down, right = (part.ravel() / step for part in np.gradient(picture))
    out = -(x * right + y * down)
    columns = np.column_stack(
        [
            picture.ravel(), np.ones(len(x)),
            right, right * x, right * y, down, down * x, down * y, out * x, out * y,
            x, y, picture.ravel() * x, picture.ravel() * y,
        ]
    )  # fmt: skip
    back = np.linalg.inv(columns.T @ columns)
    return columns, back @ columns.T, back


def _sampled(grey: np.ndarray, px: np.ndarray, count: int) -> np.ndarray:
    where = px.reshape(count, count, 2).astype(np.float32)
    return cv2.remap(grey, where, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def _laid(grey, number: int, to_px: Homography, bend: np.ndarray | None):
    """(mark mm -> straight px; likeness; sigma of a corner, mm) or None.

    bend: from straight px to those photographed, on the grid
    """
    columns, solver, back = _columns(number)
    by = np.zeros((1, 2)) if bend is None else bend
    to_part, smooth = _smoothed(grey, to_px, by)
    matrix, by = to_part @ to_px.matrix, by * to_part[0, 0]
    grid = np.vstack([_grid().T, np.ones(GRID * GRID)])
    for _ in range(STEPS):
        u, v, w = matrix @ grid
        if not (w > 0).all():
            return None
        values = _sampled(smooth, np.column_stack([u / w, v / w]) + by, GRID).ravel()
        fit = solver @ values
        if not fit[0] > 4:  # hardly any contrast, or ink where paper should be
            return None
        c, a, b, f, d, e, g, h = fit[2:10] / fit[0]
        # The mark was found moved by this on the grid: undo it there.
        change = np.array([[1 + a, b, c], [d, 1 + e, f], [g, h, 1.0]])
        if np.abs([c, f]).max() > REACH_MM or not np.linalg.det(change) > 0.3:
            return None
        matrix = matrix @ np.linalg.inv(change)
        if np.abs([c, f]).max() < 5e-4 and np.abs([a, b, d, e]).max() < 2e-4:
            break
    lit = fit.copy()
    lit[[0, *range(2, 10)]] = 0  # what the light alone explains
    likeness = float(np.corrcoef(values - columns @ lit, columns[:, 0])[0, 1])
    if not likeness >= LEAST_LIKENESS:
        return None
    spread = np.std(values - columns @ fit) / fit[0]
    # Neighbours on the grid are no news where it is finer than the blur.
    again = max(1.0, 2 * BLUR_MM * GRID / (2 * REACH_MM))
    half = marks.SIDE_MM / 2
    far = np.array([1.0, half, half, 0, 0, 0, 2 * half * half, 0.0])
    variance = far @ back[2:10, 2:10] @ far
    whole = np.linalg.inv(to_part) @ matrix
    return Homography(whole), likeness, float(spread * again * np.sqrt(variance))


def _smoothed(grey, to_px: Homography, by: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(px -> its px, (3, 3); the part of the picture about the mark, as soft as the mark's own).

    Made smaller where the pixels are finer than that takes.
    """
    rim = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * (REACH_MM + SEARCH_MM)
    px = to_px(rim) + by.mean(axis=0)
    low = np.clip(np.floor(px.min(axis=0)), 0, None).astype(int)
    high = np.ceil(px.max(axis=0)).astype(int) + 1
    part = grey[low[1] : high[1], low[0] : high[0]]
    px_per_mm = float(np.sqrt(abs(np.linalg.det(to_px.jacobian([[0.0, 0.0]])[0]))))
    shrink = max(1, int(px_per_mm / FINE_PX_PER_MM))
    rows, columns = part.shape[0] // shrink, part.shape[1] // shrink
    if shrink > 1 and rows > 8 and columns > 8:
        part = part[: rows * shrink, : columns * shrink]
        part = cv2.resize(part, (columns, rows), interpolation=cv2.INTER_AREA)
    else:
        shrink = 1
    # What lens and pixels have softened already, about 0.8 px, and making it smaller.
    before = 0.8**2 / shrink**2 + (1 - 1 / shrink**2) / 12
    sigma = float(np.sqrt(max((BLUR_MM * px_per_mm / shrink) ** 2 - before, 0.09)))
    half = (shrink - 1) / 2
    to_part = np.array([[1, 0, -low[0] - half], [0, 1, -low[1] - half], [0, 0, shrink]]) / shrink
    return to_part, cv2.GaussianBlur(part, (0, 0), sigma)


def _searched(grey, number: int, to_px: Homography, bend: np.ndarray | None) -> Homography:
    """The place moved to where the mark's picture fits best within SEARCH_MM, roughly."""
    wide, count = _WIDE
    by = 0.0 if bend is None else bend
    seen = _sampled(grey, to_px(_grid(wide, count)) + by, count).astype(np.float32)
    small = cv2.resize(_picture(number), (GRID // 2, GRID // 2), interpolation=cv2.INTER_AREA)
    score = cv2.matchTemplate(seen, small.astype(np.float32), cv2.TM_CCOEFF_NORMED)
    row, column = np.unravel_index(int(np.argmax(score)), score.shape)
    step = 2 * wide / count
    middle = (np.array(score.shape[::-1]) - 1) / 2
    by = (np.array([column, row]) - middle) * step
    return to_px @ Homography([[1, 0, by[0]], [0, 1, by[1]], [0, 0, 1]])
