"""The design as a picture for the map, the way round in which the hand sees the board."""

from __future__ import annotations

from PyQt6.QtGui import QImage

from drillaid.design.picture import placed_picture
from drillaid.geometry import Affine
from drillaid.guidance.job import Job
from ui.running.guiding import image_of

PX_PER_MM = 12.0


def board_picture(job: Job) -> tuple[QImage, Affine]:
    """The picture, and design mm -> its pixels."""
    picture, to_px = placed_picture(job.design, PX_PER_MM, face=job.face)
    return image_of(picture), to_px
