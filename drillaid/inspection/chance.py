"""How probable it is that a part goes in, when its holes are known or foretold with errors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import erfc

from drillaid.geometry import as_points
from drillaid.inspection.cones import can_be_met
from drillaid.inspection.fit import Pin, Task, fit_part

DRAWS = 400  # a probability near a half is then known to 0.025, one sigma
SURE = 1e-4  # nearer to 0 or 1 than this, nothing is drawn


def chance_of_fit(
    hole_centres_mm,
    hole_diameters_mm,
    nominal_mm,
    pin: Pin,
    *,
    centre_error_mm,
    diameter_error_mm,
    rng: np.random.Generator,
    along_rad: float | None = None,
    draws: int = DRAWS,
) -> float:
    """The probability, 0 to 1, that there is a placement of the part.

    The first four and along_rad: as for `fit_part`. centre_error_mm: (N,) one sigma of
    the distance between stated and true middle, equal in all directions;
    diameter_error_mm: (N,) one sigma. Errors are normal and independent from hole to
    hole; what shifts or turns all holes together does not matter to a part. Pins share
    one size, drawn evenly within the tolerance.

    Where the play is so large, or lacks so much, that no likely error changes the
    verdict, that is the answer: no play changes by more than the largest change of a
    distance and a radius together.
    """
    centre = np.asarray(centre_error_mm, dtype=np.float64) / 2**0.5
    radius = np.asarray(diameter_error_mm, dtype=np.float64) / 2
    places = hole_centres_mm, hole_diameters_mm, nominal_mm
    middling = replace(pin, tolerance_mm=0.0)
    fit = fit_part(*places, middling, along_rad=along_rad)
    slack = abs(fit.play_mm) - 0.75 * pin.tolerance_mm
    if slack > 0 and _some_error_beyond(slack, centre, radius) < SURE:
        return 1.0 if fit.fits else 0.0
    count = len(as_points(nominal_mm))
    moved = rng.normal(size=(draws, count, 2)) * centre[:, None]
    wider = rng.normal(size=(draws, count)) * radius
    thicker = rng.uniform(-1, 1, draws) * pin.tolerance_mm
    task = Task.of(*places, middling, along_rad)
    blocks = task.blocks(fit.turn_rad)
    offsets = task.placed(fit.shift_mm, fit.turn_rad) - moved[:, task.hole]
    # a section larger by v on both sides carries its corners v/sqrt(2) outwards
    share = 0.5 if pin.shape == "round" else 2**-0.5
    radii = task.radii + wider[:, task.hole] - share * thicker[:, None]
    return float(can_be_met(blocks, offsets, radii).mean())


def _some_error_beyond(slack_mm: float, centre: np.ndarray, radius: np.ndarray) -> float:
    """At most this probable: some hole's middle and radius together err by more than slack_mm.

    centre: sigma by axis; by Cauchy's inequality r + d <= hypot(r/a, d/b) hypot(a, b),
    and the sum of three squared normals is chi-square of three.
    """
    scale = np.hypot(centre, radius)
    z = slack_mm / scale[scale > 0]
    # the upper tail of chi-square with three degrees of freedom, in closed form
    return float((erfc(z / 2**0.5) + (2 / np.pi) ** 0.5 * z * np.exp(-z * z / 2)).sum())
