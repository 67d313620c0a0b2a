"""Keeping hold of a board that has been found, picture by picture.

Each new picture is looked at only where the pads should be: near the last place,
carried on by the last movement. What was learnt at registration (what the pads
look like, the print's scale) stays; only where the board lies is fitted anew.
A board that cannot be vouched for is lost, never guessed.
"""

from __future__ import annotations

import numpy as np

from drillaid.design.model import Design
from drillaid.geometry import Affine
from drillaid.registration.fit import fit_plane, robust_weights
from drillaid.registration.probing import AGREE_MM, Eye, Shapes, probe, weigh_shapes
from drillaid.registration.refining import scatter_between
from drillaid.registration.result import NOT_FOUND, REGISTERED, Placement, Registration
from drillaid.rig.rig import Rig
from drillaid.vision.channel import grey_of
from drillaid.vision.plane import RigPlane

KEEP_SHARE = 0.3  # of the holes in view: up to 70 % may be hidden
KEEP_PADS = 6


class Follower:
    """Follows one board under a calibrated rig, starting from a registration.

    Not for several threads; one call of `follow` for each picture.
    """

    def __init__(self, design: Design, rig: Rig, *, thickness_mm: float = 1.6) -> None:
        self.design = design
        self.rig = rig
        self.thickness_mm = thickness_mm
        self._view = RigPlane(rig, thickness_mm)
        self._print: Affine | None = None  # design -> board as printed, no motion
        self._place: Affine | None = None
        self._motion = Affine.identity()
        self._shapes: Shapes | None = None
        self._weights: np.ndarray | None = None

    @property
    def following(self) -> bool:
        return self._place is not None

    def start(self, registration: Registration, image: np.ndarray) -> None:
        """Takes over from a registration of `image`."""
        if not registration.ok or registration.placement.matrix is None:
            raise ValueError("following starts from a registration with a rig")
        place = registration.placement.matrix
        grey = grey_of(image)
        self._weights = grey.weights
        self._place, self._motion = place, Affine.identity()
        rotation = Affine.from_parts(rotation_rad=place.rotation_rad)
        self._print = Affine(
            np.column_stack([rotation.inverse.linear @ place.linear, [0.0, 0.0]])
        )
        self._shapes = self._learn(Eye(grey.image, grey.noise), registration)

    def _learn(self, eye: Eye, registration: Registration) -> Shapes:
        """Which features tell the pads of this board best: asked once."""
        radii = np.geomspace(0.3, 1.6, 8)
        both = Shapes(np.repeat(radii, 2), np.tile([1.0, -1.0], len(radii)))
        holes = self.design.xy_mm[registration.placement.pad_seen]
        kept, _ = weigh_shapes(
            eye, self._to_px(self._place), holes, both, registration.placement.px_per_mm
        )
        return Shapes(kept.radius_mm[:2], kept.side[:2])

    def _to_px(self, place: Affine):
        return lambda xy: self._view.to_px(place(xy))

    def lose(self) -> None:
        """Forgets the place, for instance because the picture froze."""
        self._place, self._motion = None, Affine.identity()

    def follow(self, image: np.ndarray) -> Registration:
        """The board's place in the next picture, or NOT_FOUND with the reason."""
        total = len(self.design.holes)
        if self._place is None:
            return Registration(NOT_FOUND, "The board is lost; it has to be found again.", None, 0, 0, total)
        grey = grey_of(image, self._weights)
        eye = Eye(grey.image, grey.noise)
        holes = self.design.xy_mm
        ratio = self.rig.px_per_mm(self.thickness_mm)
        place = self._motion @ self._place
        seen = agree = None
        for limit in (0.6, AGREE_MM):
            seen = probe(eye, self._to_px(place), holes, self._shapes, ratio)
            agree = seen.agreeing(limit)
            if agree.sum() < KEEP_PADS:
                return self._lost(int(agree.sum()), total)
            place, variance, rms = self._fit(holes[agree], seen.px[agree], seen.sigma_px[agree] / ratio)
        seen_count = int(seen.in_view.sum())
        if agree.sum() < KEEP_SHARE * seen_count:
            return self._lost(int(agree.sum()), total)
        self._motion = place @ self._place.inverse
        self._place = place
        placement = Placement(
            "similarity",
            self.rig.plane(self.thickness_mm) @ place,
            place,
            self._view.to_px(place(holes)),
            place(holes),
            np.sqrt(variance(holes)),
            agree,
            rms,
            ratio,
        )
        message = f"Following: {int(agree.sum())} of {seen_count} pads in view agree."
        return Registration(REGISTERED, message, placement, seen_count, int(agree.sum()), total)

    def _fit(self, source, px, sigma_mm):
        """Rigid motion of the printed pattern; its scale is known from registration."""
        printed = self._print(source)
        target = self._view.to_plane(px)
        keep = np.ones(len(source), dtype=bool)
        scatter = 0.03
        for _ in range(3):
            sigma = np.hypot(sigma_mm, scatter)
            fit = fit_plane(printed[keep], target[keep], sigma[keep], "rigid", mirrored=False)
            residual = target - fit.transform(printed)
            weight, _ = robust_weights(residual, sigma)
            keep = weight > 0.05
            if keep.sum() < KEEP_PADS - 1:
                keep = np.ones(len(source), dtype=bool)
            scatter = scatter_between(residual[keep], sigma_mm[keep])
        rms = float(np.sqrt(np.mean(residual[keep] ** 2) * 2))
        return fit.transform @ self._print, lambda xy: fit.variance_at(self._print(xy)), rms

    def _lost(self, agreeing: int, total: int) -> Registration:
        self.lose()
        return Registration(
            NOT_FOUND,
            f"The board is lost ({agreeing} pads still agree): let it lie still in view.",
            None,
            0,
            agreeing,
            total,
        )
