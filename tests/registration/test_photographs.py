"""Three real photographs of home-etched boards, taken by hand, without any rig.

The references were fitted by us, without a lens model, and are good to about 0.12 mm;
so this tells right from wrong, not hundredths.
"""

from __future__ import annotations

import json
import os

import cv2
import numpy as np
import pytest

from drillaid.design.read import read_design
from drillaid.registration.register import register_picture

BOARDS = [
    "monokeith",
    "sinsonte",
    "dimmer",
]
OTHER = {"bottom": "top", "top": "bottom"}
SLOW = pytest.mark.skipif(
    not os.environ.get("DRILLAID_SLOW"), reason="a minute: DRILLAID_SLOW=1"
)


def job(shared_data, name: str, face: str | None = None):
    """The photograph, the design read for a face (default: the one that is up), the reference."""
    folder = shared_data / "etched" / name
    reference = json.loads((folder / "reference.json").read_text())
    files = sorted(str(p) for p in folder.iterdir() if p.suffix in (".drl", ".gbr"))
    face = face or reference["face"]
    return cv2.imread(str(folder / "photo.jpg")), read_design(files, face=face), reference, face


def off_mm(got, design, reference) -> np.ndarray:
    homography = np.array(reference["homography_design_mm_to_px"])
    at = np.column_stack([design.xy_mm, np.ones(len(design.holes))]) @ homography.T
    px = at[:, :2] / at[:, 2:]
    return np.linalg.norm(got.placement.pixels - px, axis=1) / reference["px_per_mm"]


@pytest.mark.parametrize("name", BOARDS)
def test_each_is_found(shared_data, name):
    """Asked for the face that is up; a refusal here is as much a fault as a wrong place."""
    image, design, reference, face = job(shared_data, name)
    got = register_picture(image, design, face=face)
    assert got.ok, got.message
    off = off_mm(got, design, reference)
    assert np.median(off) <= 0.15
    # Corners of a board seen aslant, where the reference has no lens.
    assert off.max() <= 0.5
    assert got.placement.expected_error_mm.shape == (len(design.holes),)
    assert got.placement.matrix is None and got.placement.bench_mm is None


@pytest.mark.parametrize(
    "name",
    [
        "monokeith",
        "sinsonte",
        "dimmer",
    ],
)
def test_the_wrong_face_is_never_registered(shared_data, name):
    face = OTHER[job(shared_data, name)[2]["face"]]
    image, design, _, face = job(shared_data, name, face)
    got = register_picture(image, design, face=face)
    assert not got.ok, got.message


@pytest.mark.parametrize(
    ("photograph", "drill_list"),
    [
        ("dimmer", "sinsonte"),
        ("dimmer", "monokeith"),
        pytest.param("monokeith", "dimmer", marks=SLOW),
        pytest.param("sinsonte", "dimmer", marks=SLOW),
        pytest.param("sinsonte", "monokeith", marks=SLOW),
        pytest.param("monokeith", "sinsonte", marks=SLOW),
    ],
)
def test_another_boards_drill_list_is_never_registered(shared_data, photograph, drill_list):
    image, _, _, face = job(shared_data, photograph)
    _, design, _, _ = job(shared_data, drill_list, face)
    assert not register_picture(image, design, face=face).ok
