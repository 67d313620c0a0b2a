"""What an etched board looks like: its finish, its laminate and its faults."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.simulation.textures import layered_noise, rgb, soft_noise, streaks

FINISHES = ("bright", "tarnished", "tinned", "resist")
LAMINATES = ("yellow", "white", "green", "brown")

_LAMINATE = {
    "yellow": rgb(176, 164, 112),
    "white": rgb(205, 204, 192),
    "green": rgb(96, 128, 84),
    "brown": rgb(128, 78, 42),
}
# How much darker the laminate looks over copper on its other side.
GHOST = {"yellow": 0.08, "white": 0.06, "green": 0.04, "brown": 0.0}
# Light that comes through from below.
_GLOW = {
    "yellow": rgb(226, 206, 122),
    "white": rgb(236, 230, 206),
    "green": rgb(150, 196, 110),
    "brown": rgb(150, 74, 26),
}
_COPPER = {
    "bright": rgb(186, 122, 86),
    "tarnished": rgb(136, 84, 66),
    "tinned": rgb(158, 160, 162),
    "resist": rgb(52, 52, 56),
}
_SHINE = {"bright": 150.0, "tarnished": 60.0, "tinned": 170.0, "resist": 22.0}


@dataclass(frozen=True)
class Look:
    """One board's appearance.

    etch_mm: how far every copper edge has moved in (over-etched, +) or out (−)
    ragged_mm: one sigma of the edge's waviness
    centre_marks_mm: diameter of the dot etched in each land's centre, 0 for none
    scratches: how many
    lost: numbers of the holes whose land came off; lost_fraction: of the others, at random
    residue: 0 … 1, copper haze left between the tracks and pinholes in it (half-etched)
    tone: 0 … 1, how strongly colours are mottled
    cut_mm: how crooked the board was sawn
    resist_tint: the resist's colour, for finish "resist"
    copper_rgb, laminate_rgb: instead of the usual colours
    bare: this is the side without copper; the pattern on the other shows through faintly
    """

    finish: str = "bright"
    laminate: str = "yellow"
    etch_mm: float = 0.0
    ragged_mm: float = 0.012
    centre_marks_mm: float = 0.0
    scratches: int = 12
    lost: tuple[int, ...] = ()
    lost_fraction: float = 0.0
    residue: float = 0.0
    tone: float = 0.5
    cut_mm: float = 0.6
    resist_tint: tuple[int, int, int] | None = None
    copper_rgb: tuple[float, float, float] | None = None
    laminate_rgb: tuple[float, float, float] | None = None
    bare: bool = False

    def __post_init__(self):
        if self.finish not in FINISHES:
            raise ValueError(f"finish must be one of {FINISHES}, not {self.finish!r}")
        if self.laminate not in LAMINATES:
            raise ValueError(f"laminate must be one of {LAMINATES}, not {self.laminate!r}")


def _colour(usual: np.ndarray, own: tuple[float, float, float] | None) -> np.ndarray:
    return usual if own is None else rgb(*own)


def copper_bgr(look: Look) -> np.ndarray:
    """The pattern's colour, float32 (3,), before light and texture."""
    if look.finish == "resist" and look.resist_tint is not None:
        return rgb(*look.resist_tint)
    return _colour(_COPPER[look.finish], look.copper_rgb)


def laminate_bgr(look: Look) -> np.ndarray:
    """The bare board's colour, as `copper_bgr`."""
    return _colour(_LAMINATE[look.laminate], look.laminate_rgb)


def _own_tint(colour: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """No two makes are alike."""
    return colour * (1 + 0.06 * rng.standard_normal() + 0.022 * rng.standard_normal(3)).astype(
        np.float32
    )


def laminate_texture(
    look: Look, rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float
) -> tuple[np.ndarray, np.ndarray]:
    """(BGR float32 (H, W, 3), shine float32 (H, W)) of the bare base material."""
    base = _own_tint(laminate_bgr(look), rng)
    cloud = layered_noise(rng, shape, 14 * px_per_mm, 4)
    grain = soft_noise(rng, shape, 1.6)
    shade = 1 + 0.035 * look.tone * cloud + 0.025 * grain
    if look.laminate != "brown":
        shade += 0.02 * _weave(rng, shape, px_per_mm)
    colour = shade[..., None] * base
    # Mottling also changes hue a little: dull copper or etchant left in the weave.
    stain = layered_noise(rng, shape, 12 * px_per_mm, 3) * np.float32(2.2 * look.tone)
    colour[..., 2] += stain
    colour[..., 0] -= stain * 0.6
    shine = np.clip(16 + 5 * grain + 4 * cloud, 0, 255).astype(np.float32)
    return colour, shine


def _weave(rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float) -> np.ndarray:
    """Glass cloth: two crossed yarns, about 0.5 mm apart, irregular."""
    height, width = shape
    pitch = 0.52 * px_per_mm
    wobble = soft_noise(rng, shape, 3 * px_per_mm) * np.float32(0.5)
    x = np.arange(width, dtype=np.float32) * np.float32(2 * np.pi / pitch)
    y = np.arange(height, dtype=np.float32) * np.float32(2 * np.pi / (1.1 * pitch))
    return np.sin(x[None, :] + wobble) * np.sin(y[:, None] - wobble)


def copper_texture(
    look: Look, rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float
) -> tuple[np.ndarray, np.ndarray]:
    """(BGR float32 (H, W, 3), shine float32 (H, W)) of the pattern's upper surface."""
    base = _own_tint(_colour(_COPPER[look.finish], look.copper_rgb), rng)
    angle = rng.uniform(-0.5, 0.5) + rng.choice([0.0, np.pi / 2])
    brush = streaks(rng, shape, angle, 60) * 0.7 + streaks(rng, shape, angle + 0.9, 90) * 0.5
    cloud = layered_noise(rng, shape, 7 * px_per_mm, 4)
    grain = soft_noise(rng, shape, 1.5)
    shine = np.float32(_SHINE[look.finish])
    if look.finish == "bright":
        colour = (1 + 0.06 * look.tone * cloud + 0.055 * brush + 0.03 * grain)[..., None] * base
        dull = np.clip(0.9 * cloud - 0.9, 0, 1)[..., None] * np.float32(0.5 * look.tone)
        colour = colour * (1 - dull) + dull * rgb(120, 78, 66)
        gloss = shine * (1 + 0.28 * brush + 0.1 * cloud)
    elif look.finish == "tarnished":
        colour = (1 + 0.16 * look.tone * cloud + 0.05 * brush + 0.05 * grain)[..., None] * base
        spot = layered_noise(rng, shape, 3 * px_per_mm, 3)
        dark = np.clip(spot - 0.6, 0, 1)[..., None] * np.float32(0.7)
        violet = np.clip(cloud, 0, 1)[..., None] * np.float32(0.25)
        colour = colour * (1 - dark) + dark * rgb(66, 44, 40)
        colour = colour * (1 - violet) + violet * rgb(128, 84, 96)
        gloss = shine * (1 + 0.25 * brush - 0.3 * np.clip(spot, 0, 2))
    elif look.finish == "tinned":
        lumps = layered_noise(rng, shape, 1.3 * px_per_mm, 2)
        colour = (1 + 0.08 * cloud + 0.06 * lumps + 0.03 * brush + 0.03 * grain)[..., None] * base
        gloss = shine * (1 + 0.22 * lumps + 0.1 * brush + 0.15 * cloud)
    else:
        tint = base if look.resist_tint is None else rgb(*look.resist_tint)
        specks = layered_noise(rng, shape, 0.5 * px_per_mm, 2)
        colour = (1 + 0.12 * cloud + 0.08 * grain)[..., None] * tint
        bare = np.clip((specks - 2.1) * 3, 0, 1)[..., None]
        colour = colour * (1 - bare) + bare * _COPPER["bright"]
        gloss = shine * (1 + 0.3 * cloud) + bare[..., 0] * 60
    return colour.astype(np.float32, copy=False), np.clip(gloss, 0, 255).astype(np.float32)


def gloss_tint(look: Look) -> tuple[float, float, float]:
    """BGR of light mirrored by the pattern: metals colour what they mirror."""
    return {"tinned": (1.0, 1.0, 0.98), "resist": (1.0, 1.0, 1.0)}.get(
        look.finish, (0.66, 0.82, 1.0)
    )


def glow_colour(look: Look) -> np.ndarray:
    """BGR of light through the bare laminate."""
    return _GLOW[look.laminate]
