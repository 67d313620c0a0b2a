"""Reference marks: known again, and never taken for the test board or the other way about."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calibration.pattern import DICTIONARY as PATTERN_DICTIONARY
from calibration.pattern import Pattern
from drillaid.rig import marks

PX_PER_MODULE = 8


def page() -> tuple[np.ndarray, np.ndarray]:
    """All marks in a row on white, and their drawn corners (COUNT, 4, 2) in px."""
    cell = (marks.MODULES + 6) * PX_PER_MODULE
    paper = np.full((cell, cell * marks.COUNT), 255, np.uint8)
    places = []
    for index in range(marks.COUNT):
        black = np.kron(marks.black_modules(index + 1), np.ones((PX_PER_MODULE,) * 2, bool))
        x = index * cell + 3 * PX_PER_MODULE
        y = 3 * PX_PER_MODULE
        paper[y : y + black.shape[0], x : x + black.shape[1]][black] = 0
        scale = marks.MODULES * PX_PER_MODULE / marks.SIDE_MM
        middle = np.array([x, y]) + black.shape[0] / 2 - 0.5
        places.append(middle + scale * marks.corners_mm())
    return paper, np.array(places)


def found(picture: np.ndarray, dictionary) -> tuple[list[int], np.ndarray]:
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, settings).detectMarkers(picture)
    return ([] if ids is None else ids.ravel().tolist()), np.array(corners).reshape(-1, 4, 2)


def test_each_mark_is_found_where_it_was_drawn():
    paper, drawn = page()
    ids, corners = found(paper, marks.dictionary())
    assert sorted(marks.number_of(i) for i in ids) == list(range(1, marks.COUNT + 1))
    for identity, seen in zip(ids, corners, strict=True):
        assert np.abs(seen - drawn[marks.number_of(identity) - 1]).max() < 0.5  # px; order too


def test_the_test_board_shows_no_reference_mark():
    """All the marks a pattern of the largest kind can carry."""
    picture = Pattern(44, 45, 5.0).board.generateImage((44 * 40, 45 * 40))
    assert not set(found(picture, marks.dictionary())[0]) & set(marks.IDS)


def test_reference_marks_are_no_test_board():
    assert marks.DICTIONARY != PATTERN_DICTIONARY
    patterns = cv2.aruco.getPredefinedDictionary(PATTERN_DICTIONARY)
    assert found(page()[0], patterns)[0] == []


def test_other_marks_are_not_ours():
    assert marks.number_of(marks.FIRST_ID - 1) is None
    assert marks.number_of(marks.IDS[-1] + 1) is None
    assert marks.IDS[-1] < len(marks.dictionary().bytesList)
    for number in (0, marks.COUNT + 1):
        with pytest.raises(ValueError, match="numbered"):
            marks.black_modules(number)
