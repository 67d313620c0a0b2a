"""Is a land that is missed in plain view, or is everything round about it hidden as well?

A hand, a clamp or glare takes a region: the lands there, and the tracks between them. On a
board of another version the land alone is not there, and the copper about it is. So each hole
is asked how much of the copper round about it shows, its own land left out.
"""

from __future__ import annotations

import numpy as np

from drillaid.geometry import Affine
from drillaid.registration.copper import judge, some, visible
from drillaid.registration.refined import Refined
from drillaid.registration.stretches import Stretches, stretches_seen

LOOKED_AT = 4000  # edge points
ROUND_ABOUT_MM = 2.2, 7.0  # from the hole: beyond its land, and still where a hand would lie
FEWEST = 3  # stretches of edge, by which anything can be said
# Of them: with files of another version so much of the copper showed about 86 % of the lands that
# were missed (2102 lands, 24 benches, two or more times each), under two hands about 5 of 21.
PLAIN = 0.3


def in_plain_view(best: Refined, holes_mm: np.ndarray) -> np.ndarray:
    """(N,) bool: enough of the copper round about the hole shows, or there is none to tell."""
    here, plain = Affine.identity(), np.ones(len(holes_mm), bool)
    part = some(best.edges.only(visible(best.eye, best.to_px, best.edges, here)), LOOKED_AT)
    judged = judge(
        best.eye, best.to_px, part, here, best.px_per_mm, 0.5, reaches=(0.2, 0.2), telling=False
    )
    if judged is None:
        return plain
    part = part.only(judged.in_view)
    seen = stretches_seen(best.eye, best.to_px, part, judged.fit, best.px_per_mm)
    middle = Stretches.of(part).mean(part.xy)
    low, high = ROUND_ABOUT_MM
    for k, hole in enumerate(holes_mm):
        away = np.linalg.norm(middle - hole, axis=1)
        about = seen[(away > low) & (away < high)]
        plain[k] = len(about) < FEWEST or about.mean() > PLAIN
    return plain
