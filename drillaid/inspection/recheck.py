"""Is that the board of the record? Looked at once, before a job that was left off goes on.

After a crash, a power cut or a night another board may lie under the camera, a hole may have
been drilled that nobody wrote down, or one written down that was not drilled. So the first
picture in which the board is found is held against the record. It changes nothing: what
differs is told, and the person decides.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from drillaid.design.model import Design
from drillaid.inspection.agreement import Agreement, agreement
from drillaid.inspection.measure import measure_holes
from drillaid.inspection.result import DRILLED, UNDRILLED, HoleFinding
from drillaid.registration.result import Registration
from drillaid.rig.rig import Rig

SHOWN = 0.6  # of the recorded holes must be seen drilled or not; else the next picture is looked at
# A record is hardly ever wrong: what speaks against it must be that much surer than a look at a
# board of which nothing is known, or each coarse picture would bring a false alarm.
AGAINST_RECORD = 0.98
LOOKS = 4  # at most; what stays hidden is told as not seen


class Recheck:
    """bits_mm: of each hole, in the design's order
    eye: the rig and the thickness of the board in its axes, or None while that is not known
    """

    def __init__(
        self, design: Design, bits_mm: Sequence[float],
        eye: Callable[[], tuple[Rig, float] | None], *, face: str = "bottom",
    ) -> None:  # fmt: skip
        self._design, self._bits, self._face = design, list(bits_mm), face
        self._eye = eye
        self._looks = 0
        self._known: dict[int, HoleFinding] = {}

    def look(
        self, image: np.ndarray, registration: Registration, done: frozenset[int]
    ) -> Agreement | None:
        """What this picture settles; None: the board, or too much of it, is not to be seen yet.

        image: uint8 (H, W, 3) BGR; done: numbers of the holes recorded as drilled
        """
        eye = self._eye()
        if not registration.ok or eye is None:
            return None
        rig, thickness_mm = eye
        self._looks += 1
        for hole in measure_holes(
            image, self._design, registration.placement, rig, face=self._face,
            thickness_mm=thickness_mm, bits_mm=self._bits,
        ):  # fmt: skip
            if hole.state in (DRILLED, UNDRILLED) or hole.hole not in self._known:
                self._known[hole.hole] = hole
        agreed = agreement(done, self._known.values(), AGAINST_RECORD)
        if len(agreed.unseen) > (1 - SHOWN) * len(done) and self._looks < LOOKS:
            return None
        return agreed
