"""From a picture to the corners of the calibration pattern in it, or the reason why not.

A coded sheet may be partly out of the picture; a plain chessboard must be whole.
A plain chessboard looks the same from its mirror image, and, unless columns plus
rows are odd, upside down: then its x axis is taken to point right in the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from calibration.corners import Corners, grey_of, refine_corners
from calibration.marks import LOOK_PX, Marks, agreeing, find_marks, guessed_corners
from calibration.pattern import Pattern
from drillaid.geometry import Homography

MIN_CORNERS = 12
# Half of the window, in squares: on a coded sheet the marks begin at 0.15 squares.
CODED_WINDOW, PLAIN_WINDOW = 0.15, 0.35
KEEP_OFF = 1.3  # blurs that the window keeps off what lies beyond it
MAX_BLUR = 0.25  # sigma of the edges' blur in half windows; above, no window fits
MAX_BLUR_PX = 3.5  # at 1920 px: an expected error is no longer small, and focus moves the lens
MIN_SQUARE_PX = 9.0


@dataclass(frozen=True, eq=False)
class PatternView:
    """What one picture shows of the pattern; rows belong together.

    size_px: (width, height) of the picture
    corners_px: (N, 2) as photographed; corners_mm: (N, 2) pattern mm
    sigma_px: (N,) one sigma along either axis; ids: (N,) rows of pattern.corners_mm
    blur_px: sigma of the edges' blur, median; square_px: side of a square, median
    """

    pattern: Pattern
    size_px: tuple[int, int]
    corners_px: np.ndarray
    corners_mm: np.ndarray
    sigma_px: np.ndarray
    ids: np.ndarray
    blur_px: float
    square_px: float

    def __len__(self) -> int:
        return len(self.ids)

    def only(self, rows) -> PatternView:
        """The same view with some of its corners."""
        return PatternView(
            self.pattern, self.size_px, self.corners_px[rows], self.corners_mm[rows],
            self.sigma_px[rows], self.ids[rows], self.blur_px, self.square_px,
        )  # fmt: skip


@dataclass(frozen=True)
class NoPattern:
    """kind: none, blurred, cropped, wrong, mirrored, overexposed, dark, small

    reason: one sentence without a full stop: what is wrong and what to do
    """

    kind: str
    reason: str


_REASONS = {
    "none": "no calibration pattern is seen; photograph the printed sheet so that it fills "
    "most of the picture",
    "blurred": "the picture is blurred; focus on the sheet, hold it still and give more light",
    "cropped": "too little of the pattern is in the picture; bring more of the sheet into view",
    "wrong": "this is another pattern than the one asked for; give its counts with --squares, "
    "or photograph the sheet that was asked for",
    "mirrored": "the print is mirrored; print the sheet again without mirroring, or show "
    "the printed side and not its back or a mirror image",
    "overexposed": "the picture is overexposed; lower the exposure or the light",
    "dark": "the picture is too dark; give more light",
    "small": "the pattern is too small in the picture; move nearer or print larger squares",
}


_PERHAPS_COPPER = ("none", "wrong", "cropped", "small")


def no_pattern(kind: str, more: str = "") -> NoPattern:
    """The reason in its own words; more: put before what to do."""
    what, _, remedy = _REASONS[kind].partition("; ")
    return NoPattern(kind, f"{what}{more}; {remedy}")


def find_pattern(image: np.ndarray, pattern: Pattern) -> PatternView | NoPattern:
    """Looks for the pattern in a uint8 BGR or grey picture.

    Copper that was left in place of ink is brighter than the laminate in some light: where a
    coded pattern is not seen as it was drawn, it is looked for with light and dark exchanged.
    """
    grey = grey_of(image)
    if not pattern.coded:  # whose negative is another chessboard, turned
        return _find_plain(grey, pattern)
    found = _find_coded(grey, pattern)
    if isinstance(found, NoPattern) and found.kind in _PERHAPS_COPPER:
        inverted = _find_coded(cv2.bitwise_not(grey), pattern)
        if isinstance(inverted, PatternView):
            return inverted
    return found


# --- coded sheet ---------------------------------------------------------------------


def _find_coded(grey: np.ndarray, pattern: Pattern) -> PatternView | NoPattern:
    marks = find_marks(grey, pattern)
    good = agreeing(marks, pattern)
    if good.sum() < 4 and max(grey.shape) > LOOK_PX:  # small squares in a large picture
        marks = find_marks(grey, pattern, max(grey.shape))
        good = agreeing(marks, pattern)
    if good.sum() < 2 or good.sum() < 0.5 * len(marks):
        return _why_not_coded(grey, pattern, marks, int(good.sum()))
    return view_from_marks(grey, pattern, marks.only(good))


def view_from_marks(grey: np.ndarray, pattern: Pattern, marks: Marks) -> PatternView | NoPattern:
    """The corners beside marks that agree, refined in the whole picture."""
    ids, guess, along_x, along_y = guessed_corners(marks, pattern)
    return _refined(grey, pattern, ids, guess, along_x, along_y, CODED_WINDOW)


def _refined(grey, pattern, ids, guess, along_x, along_y, window: float):
    square = _square_px(along_x, along_y) * pattern.square_mm
    reach = 0.2 * square
    blur = _first_blur(grey, guess, along_x, along_y, 0.85 * window * square, reach)
    half = np.maximum(window * square - KEEP_OFF * blur, 2 * blur)
    corners = refine_corners(grey, guess, along_x, along_y, half, reach)
    good = corners.good & (corners.contrast * _darker_quadrant(pattern, ids) > 0)
    good = _alike(corners, good)
    size_px = grey.shape[1], grey.shape[0]
    reason = _why_not(grey, corners, good, square, window)
    if reason is not None:
        return reason
    return PatternView(
        pattern, size_px, corners.px[good], pattern.corners_mm[ids[good]],
        corners.sigma_px[good], ids[good],
        float(np.median(corners.blur_px[good])), float(np.median(square[good])),
    )  # fmt: skip


def _first_blur(grey, guess, along_x, along_y, half, reach) -> float:
    """Sigma of the edges' blur from some of the corners, px; the windows need it beforehand."""
    some = np.arange(0, len(guess), max(1, len(guess) // 40))
    parts = (guess[some], along_x[some], along_y[some], half[some], reach[some])
    corners = refine_corners(grey, *parts)
    return float(np.median(corners.blur_px[corners.good])) if corners.good.any() else 0.6


def _alike(corners: Corners, good: np.ndarray) -> np.ndarray:
    """Without those far less certain or far more blurred than most: hidden, glared, no corners."""
    if not good.any():
        return good
    sigma, blur = np.median(corners.sigma_px[good]), np.median(corners.blur_px[good])
    with np.errstate(invalid="ignore"):
        return good & (corners.sigma_px < 4 * sigma) & (corners.blur_px < 2 * blur + 0.3)


def _square_px(along_x, along_y) -> np.ndarray:
    """The smaller extent of a unit square in the picture: of its sides and its height."""
    area = np.abs(along_x[:, 0] * along_y[:, 1] - along_x[:, 1] * along_y[:, 0])
    return area / np.maximum(np.hypot(*along_x.T), np.hypot(*along_y.T))


def _darker_quadrant(pattern: Pattern, ids: np.ndarray) -> np.ndarray:
    """+1 where the squares towards (+, +) and (-, -) are paper, -1 where they are ink.

    The upper left square is ink, and so is each whose column plus row is even.
    """
    column, row = ids % (pattern.columns - 1) + 1, ids // (pattern.columns - 1) + 1
    return np.where((column + row) % 2 == 0, -1, 1)


def _why_not(grey, corners: Corners, good, square, window: float) -> NoPattern | None:
    size_px = grey.shape[1], grey.shape[0]
    inside = ((corners.px > 8) & (corners.px < np.array(size_px) - 9)).all(axis=1)
    if not len(square) or np.median(square) < MIN_SQUARE_PX:
        return no_pattern("small" if len(square) else "cropped")
    fitted = np.isfinite(corners.blur_px) & inside
    blur = float(np.median(corners.blur_px[good])) if good.sum() >= 4 else np.inf
    limit = MAX_BLUR * window * float(np.median(square))
    limit = min(limit, MAX_BLUR_PX * max(size_px) / 1920)
    if fitted.sum() >= MIN_CORNERS and (good.sum() < 0.4 * fitted.sum() or blur > max(limit, 1.0)):
        return _exposure(grey) or no_pattern("blurred")
    if (
        good.sum() < MIN_CORNERS
        or np.linalg.matrix_rank(
            corners.px[good] - corners.px[good].mean(axis=0), tol=2 * float(np.median(square))
        )
        < 2
    ):
        return no_pattern("cropped", f" ({int(good.sum())} corners)")
    return None


def _exposure(grey: np.ndarray) -> NoPattern | None:
    if (grey >= 252).mean() > 0.5:
        return no_pattern("overexposed")
    return no_pattern("dark") if np.percentile(grey, 95) < 40 else None


def _why_not_coded(grey, pattern: Pattern, marks: Marks, agree: int) -> NoPattern:
    mirror = find_marks(np.ascontiguousarray(grey[:, ::-1]), pattern)
    right = agreeing(mirror, pattern)
    if right.sum() >= 4 and right.sum() > 2 * agree:
        return no_pattern("mirrored")
    if len(marks) >= 4:
        return no_pattern("wrong")
    if (wrong := _exposure(grey)) is not None:
        return wrong
    if edge_blur_px(grey) > MAX_BLUR_PX * max(grey.shape) / 1920:
        return no_pattern("blurred")
    large = cv2.resize(grey, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    if agreeing(find_marks(large, pattern, max(large.shape)), pattern).sum() >= 4:
        return no_pattern("small")
    if agree:
        return no_pattern("cropped")
    if (seen := _any_chessboard(grey)) is None:
        return no_pattern("none")
    if seen[2] < 2 * MIN_SQUARE_PX:  # too small for its marks to be read
        return no_pattern("small")
    return no_pattern("wrong", " (a chessboard without coded marks)")


def edge_blur_px(grey: np.ndarray, window: int = 48) -> float:
    """Sigma of the blur of the strongest edges, in the worse of the two directions.

    An edge of height h blurred by sigma s is h / (s sqrt(2 pi)) steep. Median over
    windows with strong contrast; 0 where there are too few of them.
    """
    height, width = (side // window * window for side in grey.shape)
    if min(height, width) == 0:
        return 0.0
    soft = cv2.GaussianBlur(grey[:height, :width], (3, 3), 0.8).astype(np.float32)

    def tiles(values):
        parts = values.reshape(height // window, window, width // window, window)
        return parts.transpose(0, 2, 1, 3).reshape(-1, window * window)

    rise = np.ptp(tiles(soft), axis=1)
    strong = rise > max(25.0, 0.5 * float(rise.max()))
    if strong.sum() < 6:
        return 0.0
    blurs = []
    for dx, dy in ((1, 0), (0, 1)):
        slope = cv2.Sobel(soft, cv2.CV_32F, dx, dy, ksize=3, scale=1 / 8)
        steep = tiles(np.abs(slope)).max(axis=1)
        blurs.append(np.median((rise / np.maximum(steep, 1e-3))[strong]) / np.sqrt(2 * np.pi))
    return float(max(blurs))


# --- plain chessboard ----------------------------------------------------------------


def _find_plain(grey: np.ndarray, pattern: Pattern) -> PatternView | NoPattern:
    inner = pattern.columns - 1, pattern.rows - 1
    if min(inner) < 3:
        return NoPattern("wrong", "a plain chessboard needs 4 squares along either side at least")
    px = find_chessboard(grey, inner)
    if px is None:
        return _why_not_plain(grey, pattern)
    mm = pattern.corners_mm
    px = _turned(grey, pattern, px)
    matrix, _ = cv2.findHomography(mm, px)
    slope = Homography.scaled_for(matrix, mm).jacobian(mm)
    return _refined(
        grey, pattern, np.arange(len(mm)), px, slope[:, :, 0], slope[:, :, 1], PLAIN_WINDOW
    )


def find_chessboard(
    grey: np.ndarray, inner: tuple[int, int], look_px: int = LOOK_PX, *, thorough: bool = True
) -> np.ndarray | None:
    """(N, 2) px of a whole chessboard's inner corners (across, down), to about a pixel, or None.

    thorough: a second, slower method where the first sees none
    """
    scale = min(1.0, look_px / max(grey.shape))
    small = grey
    if scale < 1:
        small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    flags = cv2.CALIB_CB_ADAPTIVE_THRESH | cv2.CALIB_CB_NORMALIZE_IMAGE | cv2.CALIB_CB_FAST_CHECK
    found, px = cv2.findChessboardCorners(small, inner, flags=flags)
    if not found and thorough:
        found, px = cv2.findChessboardCornersSB(small, inner, flags=cv2.CALIB_CB_NORMALIZE_IMAGE)
    return (px.reshape(-1, 2).astype(float) + 0.5) / scale - 0.5 if found else None


def _turned(grey, pattern: Pattern, px: np.ndarray) -> np.ndarray:
    """The corners in the order of the pattern: not mirrored, ink in the upper left square."""
    rows, columns = pattern.rows - 1, pattern.columns - 1
    grid = px.reshape(rows, columns, 2)
    if np.linalg.det(np.stack([grid[0, -1] - grid[0, 0], grid[-1, 0] - grid[0, 0]])) < 0:
        grid = grid[::-1]
    turned = grid[::-1, ::-1]
    if (pattern.columns + pattern.rows) % 2:
        # Squares on the diagonal through the upper left corner are all ink or all paper.
        return (grid if _diagonal_is_ink(grey, grid) else turned).reshape(-1, 2)
    return (grid if grid[0, -1, 0] >= grid[0, 0, 0] else turned).reshape(-1, 2)


def _diagonal_is_ink(grey, grid) -> bool:
    middles = (grid[:-1, :-1] + grid[1:, 1:]) / 2
    v, u = np.rint(middles[..., 1]).astype(int), np.rint(middles[..., 0]).astype(int)
    levels = grey[v.clip(0, grey.shape[0] - 1), u.clip(0, grey.shape[1] - 1)].astype(float)
    even = np.add.outer(np.arange(levels.shape[0]), np.arange(levels.shape[1])) % 2 == 0
    return bool(levels[even].mean() < levels[~even].mean())


def _why_not_plain(grey, pattern: Pattern) -> NoPattern:
    if (wrong := _exposure(grey)) is not None:
        return wrong
    if edge_blur_px(grey) > MAX_BLUR_PX * max(grey.shape) / 1920:
        return no_pattern("blurred")
    seen = _any_chessboard(grey)
    if seen is None:
        return no_pattern("none")
    if sorted(seen[:2]) > sorted((pattern.columns, pattern.rows)):
        return no_pattern("wrong", f" (a chessboard of {seen[0]} x {seen[1]} squares)")
    return no_pattern("cropped", "; a plain chessboard must be seen whole")


def _any_chessboard(grey: np.ndarray) -> tuple[int, int, float] | None:
    """Squares (across, down) and side in px of whatever chessboard is seen."""
    scale = min(1.0, LOOK_PX / 2 / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    flags = cv2.CALIB_CB_NORMALIZE_IMAGE | cv2.CALIB_CB_LARGER
    found, px, meta = cv2.findChessboardCornersSBWithMeta(small, (3, 3), flags)
    if not found:
        return None
    grid = px.reshape(*meta.shape, 2).astype(float)
    across, down = (
        np.gradient(grid, axis=1).reshape(-1, 2),
        np.gradient(grid, axis=0).reshape(-1, 2),
    )
    square = _square_px(across, down)
    # Bare texture can look like one to the library: its corners must be corners.
    corners = refine_corners(small, grid.reshape(-1, 2), across, down, 0.3 * square)
    if corners.good.mean() < 0.7:
        return None
    return meta.shape[1] + 1, meta.shape[0] + 1, float(np.median(square)) / scale
