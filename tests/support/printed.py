"""What a printed sheet shows, read back by programs that did not draw it."""

from __future__ import annotations

import cv2
import numpy as np
import pypdfium2

from calibration.pattern import Pattern


def pdf_picture(data: bytes, px_per_mm: float) -> tuple[np.ndarray, tuple[float, float]]:
    """A PDF's first page as grey uint8, and its size in mm as the file says."""
    document = pypdfium2.PdfDocument(data)
    try:
        page = document[0]
        size = tuple(side * 25.4 / 72 for side in page.get_size())
        bitmap = page.render(scale=px_per_mm * 25.4 / 72, grayscale=True)
        picture = np.array(bitmap.to_numpy(), copy=True)
        bitmap.close()
        page.close()
    finally:
        document.close()
    return picture.reshape(picture.shape[:2]), size


def corners_px(picture: np.ndarray, pattern: Pattern) -> tuple[np.ndarray, np.ndarray]:
    """(ids, (N, 2) px) of a coded pattern's inner corners as the image library finds them."""
    found, ids, _, _ = cv2.aruco.CharucoDetector(pattern.board).detectBoard(picture)
    if ids is None:
        return np.empty(0, int), np.empty((0, 2))
    return ids.ravel(), found.reshape(-1, 2).astype(float)


def scale_of(places_px: np.ndarray, places_mm: np.ndarray) -> tuple[np.ndarray, float]:
    """(2x2 linear part, worst residual in px) of the least-squares affine map mm -> px."""
    known = np.column_stack([places_mm, np.ones(len(places_mm))])
    map_, *_ = np.linalg.lstsq(known, places_px, rcond=None)
    worst = np.hypot(*(known @ map_ - places_px).T).max()
    return map_[:2].T, float(worst)


def black_spans(line: np.ndarray, px_per_mm: float) -> list[tuple[float, float]]:
    """[(start, end)] in mm of what is black along one line of a grey picture.

    The line starts white; black it ends with is left out. Edges are put where half of the black
    is reached between the middles of pixels: right to 0.1 px where pixels hold shares.
    """
    black = 1 - line.astype(float) / 255
    edges = []
    for k in range(1, len(black)):
        if (black[k - 1] - 0.5) * (black[k] - 0.5) < 0:
            part = (0.5 - black[k - 1]) / (black[k] - black[k - 1])
            edges.append((k - 1 + part + 0.5) / px_per_mm)
    return list(zip(edges[::2], edges[1::2], strict=False))
