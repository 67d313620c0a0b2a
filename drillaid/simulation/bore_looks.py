"""How each drilled hole looks on one bench: what lies under it, how it is lit, what clogs it.

No two benches drill alike: a sacrificial board of dark or pale stuff, a lamp
that reaches down the bore or does not, a bit that cuts clean or tears, a vacuum
cleaner or none. A bench has its habits and each hole its own share of them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from drillaid.simulation.textures import rgb

DARK, BRIGHT, HALF_LIT, BURRED, DUSTY = KINDS = ("dark", "bright", "half lit", "burred", "dusty")

# What lies under the board: dark hardwood, plywood, white laminate, a cutting mat, a gap.
_SPOILS = (
    rgb(58, 44, 32), rgb(176, 142, 100), rgb(226, 224, 214), rgb(52, 96, 104), rgb(20, 19, 18)
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class BoreLook:
    """One hole's look.

    kind: the trait that hampers the eye most, one of KINDS
    spoil: BGR of the floor where light reaches it
    lit: 0 … 1 how much light reaches the floor; shade: (2,) mm, how far the floor's lit
      part is displaced (None: evenly lit)
    wall: factor on the wall's colour; sun_rad: where the light comes from
    dust: 0 … 1 how full; spill: 0 … 1 how much of it lies over the rim; slope: (2,)
      which side the dust lies on
    lip: 0 … 1 how much torn copper stands over the rim; lip_mm: how far it leans in
    wobble: (5, 2) amplitude and phase of dust and lip round the hole
    wall_light: how much brighter the side of the wall that faces the light is
    wall_fall: by what share daylight is weaker one radius down the wall; lamp: None, or the
      slope of a lamp's rays (mm sideways a mm down), which light the wall down to their shadow
    clumps: 0 … 1, dust in lumps rather than evenly; strewn_mm: how far it lies about
    torn: (direction rad, half its width rad, length mm) of copper torn off beside the rim
    """

    kind: str
    spoil: np.ndarray
    lit: float
    shade: np.ndarray | None
    wall: float
    sun_rad: float
    dust: float
    spill: float
    slope: np.ndarray
    lip: float
    lip_mm: float
    wobble: np.ndarray
    wall_light: float = 0.35
    wall_fall: float = 0.0
    lamp: float | None = None
    clumps: float = 0.0
    strewn_mm: float = 0.16
    torn: tuple[float, float, float] | None = None


@dataclass(frozen=True, eq=False)
class BenchHabits:
    """shares: (5,) of the kinds; spoil: BGR; sun_rad: where the light comes from;
    tidy: no dust and no torn lip
    walls: None, or (brightness, how much more on the lit side) of the bores' walls there;
    fall, lamp: as in BoreLook; such a bench is also given dust in lumps, dust strewn about and torn copper."""

    shares: np.ndarray
    spoil: np.ndarray
    sun_rad: float
    tidy: bool = False
    walls: tuple[float, float] | None = None
    fall: float = 0.0
    lamp: float | None = None

    @classmethod
    def drawn(cls, seed: int) -> BenchHabits:
        """A bench at random: each kind is met, one or two are the rule."""
        rng = np.random.default_rng([seed, 5])
        shares = rng.dirichlet(np.full(len(KINDS), 0.9)) * 0.85 + 0.03
        spoil = _SPOILS[int(rng.integers(len(_SPOILS)))] * (0.85 + 0.3 * rng.random())
        return cls(shares, spoil, float(rng.uniform(0, 2 * np.pi)))

    @classmethod
    def only(cls, kind: str, seed: int = 0) -> BenchHabits:
        """A bench on which every hole is of one kind."""
        drawn = cls.drawn(seed)
        return cls(np.array([float(k == kind) for k in KINDS]), drawn.spoil, drawn.sun_rad)

    @classmethod
    def clean(cls, seed: int = 0) -> BenchHabits:
        """Fresh holes over dark wood, cut by a sharp bit and blown clean."""
        return cls(cls.only(DARK, seed).shares, _SPOILS[0], np.arctan2(-0.8, -0.6), tidy=True)

    @classmethod
    def unfamiliar(cls, seed: int, copper_bgr) -> BenchHabits:
        """A floor of any colour, at times copper's own; walls from dark to as bright as the
        board's face; dust in lumps, torn copper."""
        rng = np.random.default_rng([seed, 6])
        floor = (
            np.asarray(copper_bgr) * rng.uniform(0.7, 1.3)
            if rng.random() < 0.25
            else rng.uniform(8, 245) * rng.uniform(0.75, 1.0, 3)
        )
        shares = rng.dirichlet([1.2, 1.2, 0.7, 0.7, 0.7]) * 0.85 + 0.03
        walls = float(rng.uniform(0.5, 1.9)), float(rng.uniform(0.1, 1.2))
        spoil = np.clip(floor, 0, 250).astype(np.float32)
        sun = float(rng.uniform(0, 2 * np.pi))
        fall = float(rng.uniform(0.2, 0.7)) if rng.random() < 0.7 else 0.0
        lamp = float(rng.uniform(0.25, 1.6)) if rng.random() < 0.7 else None
        return cls(shares, spoil, sun, walls=walls, fall=fall, lamp=lamp)

    def look(self, radius_mm: float, rng: np.random.Generator) -> BoreLook:
        """The look of the hole whose generator this is: always the same number of draws."""
        kind = KINDS[int(rng.choice(len(KINDS), p=self.shares / self.shares.sum()))]
        u = rng.random(8)
        spoil = self.spoil if kind != BRIGHT else np.maximum(self.spoil, rgb(150, 130, 100))
        lit = {DARK: 0.12 + 0.5 * u[0], BRIGHT: 0.75 + 0.35 * u[0]}.get(kind, 0.2 + 0.8 * u[0])
        sun = self.sun_rad + 0.25 * (u[1] - 0.5)
        shade = None
        if kind == HALF_LIT:
            shade = (0.5 + 0.9 * u[2]) * radius_mm * np.array([np.cos(sun), np.sin(sun)])
            lit = 0.9 + 0.4 * u[0]
        dust = 0.45 + 0.65 * u[3] if kind == DUSTY else 0.25 * max(0.0, u[3] - 0.6)
        lip = 0.5 + 0.5 * u[4] if kind == BURRED else 0.25 * u[4]
        wall = 0.7 + 0.6 * u[5]
        if self.tidy:
            dust = lip = 0.0
            lit, wall = 0.45 + 0.9 * u[0], 0.75 + 0.5 * u[5]
        own = {} if self.walls is None else self._unfamiliar(rng)
        made = BoreLook(
            kind=kind, spoil=spoil, lit=lit, shade=shade, wall=wall, sun_rad=sun,
            dust=min(dust, 1.0), spill=dust * u[6] ** 2, slope=rng.normal(0, 0.5, 2), lip=lip,
            lip_mm=(0.03 + 0.05 * u[7]) * (1.0 if kind == BURRED else 0.3),
            wobble=np.column_stack([rng.normal(0, 0.5, 5), rng.uniform(0, 2 * np.pi, 5)]),
        )  # fmt: skip
        return replace(made, **own)

    def _unfamiliar(self, rng: np.random.Generator) -> dict:
        wall, light = self.walls
        made = {"wall": wall * rng.uniform(0.8, 1.2), "wall_light": light * rng.uniform(0.6, 1.2)}
        made["wall_fall"], made["lamp"] = self.fall, self.lamp
        made["clumps"] = float(rng.uniform(0, 1)) if rng.random() < 0.5 else 0.0
        made["strewn_mm"] = float(rng.uniform(0.1, 0.45))
        if rng.random() < 0.08:
            made["torn"] = (
                float(rng.uniform(0, 2 * np.pi)), float(rng.uniform(0.3, 1.0)), float(rng.uniform(0.15, 0.7)),
            )  # fmt: skip
        return made
