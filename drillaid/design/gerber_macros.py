"""Macro primitives the Gerber library draws wrongly or not at all, through its own hooks.

Release 2.4.3: primitive 5 (polygon) takes an inch diameter for millimetres and
drops the rotation; 1 (circle) ignores its rotation; 7 (thermal) and 22 (lower
left line) draw nothing. The hooks put outlines in their place. 6 (moiré) and 2
are refused: both are long obsolete and no pad is made of them.
"""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
from pygerber.gerberx3.math.offset import Offset
from pygerber.gerberx3.math.vector_2d import Vector2D
from pygerber.gerberx3.parser2.apertures2.circle2 import Circle2
from pygerber.gerberx3.parser2.command_buffer2 import CommandBuffer2
from pygerber.gerberx3.parser2.commands2.line2 import Line2
from pygerber.gerberx3.parser2.commands2.region2 import Region2
from pygerber.gerberx3.parser2.parser2hooks import Parser2Hooks
from pygerber.gerberx3.parser2.state2 import ApertureTransform
from pygerber.gerberx3.state_enums import Mirroring, Polarity
from pygerber.gerberx3.tokenizer.aperture_id import ApertureID

from drillaid.design.gerber_objects import box, circle, regular, rotated


def hooks() -> Parser2Hooks:
    """The library's own hooks with the corrected primitives in place."""
    return _Hooks()


def _outline(context, points: np.ndarray, *, dark: bool) -> None:
    """Adds one filled polygon, given in the file's unit, to the macro being evaluated."""
    transform = ApertureTransform(
        polarity=Polarity.Dark if dark else Polarity.Clear,
        mirroring=Mirroring.NoMirroring,
        rotation=Decimal(0),
        scaling=Decimal(1),
    )
    unit = context.get_draw_units()
    corners = [
        Vector2D(x=Offset.new(float(x), unit), y=Offset.new(float(y), unit)) for x, y in points
    ]
    pen = Circle2(identifier=ApertureID("outline"), diameter=Offset.NULL, hole_diameter=None)
    lines = [
        Line2(transform=transform, aperture=pen, start_point=a, end_point=b)
        for a, b in zip(corners, corners[1:] + corners[:1], strict=True)
    ]
    region = Region2(transform=transform, command_buffer=CommandBuffer2(lines).get_readonly())
    context.get_macro_eval_buffer().add_command(region)


class _Hooks(Parser2Hooks):
    class MacroEvalHooks(Parser2Hooks.MacroEvalHooks):
        def on_code_1_circle(self, context, primitive) -> None:
            def value(expression) -> float:
                return float(expression.on_parser2_eval_expression(context))

            centre = np.array([[value(primitive.center_x), value(primitive.center_y)]])
            turn = getattr(primitive, "rotation", None)
            centre = rotated(centre, math.radians(value(turn) if turn is not None else 0.0))
            diameter = value(primitive.diameter)
            if diameter > 0:
                _outline(context, circle(centre[0], diameter), dark=value(primitive.exposure) != 0)

        def on_code_5_polygon(self, context, primitive) -> None:
            def value(expression) -> float:
                return float(expression.on_parser2_eval_expression(context))

            corners = round(value(primitive.number_of_vertices))
            if not 3 <= corners <= 12:
                raise ValueError("a polygon has 3 to 12 corners")
            shape = regular(value(primitive.diameter), corners, 0.0)
            shape = shape + (value(primitive.center_x), value(primitive.center_y))
            turn = math.radians(value(primitive.rotation))
            _outline(context, rotated(shape, turn), dark=value(primitive.exposure) != 0)

        def on_code_7_thermal(self, context, primitive) -> None:
            """A ring with four gaps: four quarters, so nothing under it is erased."""

            def value(expression) -> float:
                return float(expression.on_parser2_eval_expression(context))

            outer, inner = value(primitive.outer_diameter), value(primitive.inner_diameter)
            gap, turn = value(primitive.gap), math.radians(value(primitive.rotation))
            if not outer > inner >= 0 or gap >= outer / math.sqrt(2):
                raise ValueError("a thermal has an outer and an inner diameter and a gap")
            centre = (value(primitive.center_x), value(primitive.center_y))
            quarter = _quarter(outer / 2, max(inner / 2, 1e-9), gap / 2)
            for k in range(4):
                piece = rotated(quarter, k * math.pi / 2) + centre
                _outline(context, rotated(piece, turn), dark=True)

        def on_code_22_lower_left_line(self, context, primitive) -> None:
            def value(expression) -> float:
                return float(expression.on_parser2_eval_expression(context))

            w, h = value(primitive.width), value(primitive.height)
            corner = (value(primitive.lower_left_x) + w / 2, value(primitive.lower_left_y) + h / 2)
            turn = math.radians(value(primitive.rotation))
            dark = value(primitive.exposure) != 0
            _outline(context, rotated(box(w, h) + corner, turn), dark=dark)

        def on_code_6_moire(self, context, primitive) -> None:
            raise ValueError("moiré primitives are not supported")

        def on_code_2_vector_line(self, context, primitive) -> None:
            raise ValueError("macro primitive 2 is not supported, 20 replaced it")


def _quarter(outer: float, inner: float, gap: float) -> np.ndarray:
    """The part of the ring in the first quadrant beyond `gap` of both axes."""
    far = np.linspace(math.asin(gap / outer), math.acos(gap / outer), 33)
    ring = outer * np.column_stack([np.cos(far), np.sin(far)])
    if inner <= gap * math.sqrt(2):
        return np.vstack([ring, [[gap, gap]]])
    near = np.linspace(math.acos(gap / inner), math.asin(gap / inner), 33)
    return np.vstack([ring, inner * np.column_stack([np.cos(near), np.sin(near)])])
