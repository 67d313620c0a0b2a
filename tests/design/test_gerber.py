"""Gerber layers: every dialect against figures worked out by hand."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from support import etched_board

from drillaid.design.gerber import MAX_PIXELS, classify, read_copper
from drillaid.design.gerber_reader import read_objects
from drillaid.errors import DesignError

MM = "%FSLAX46Y46*%%MOMM*%"
IN = "%FSLAX24Y24*%%MOIN*%"


def copper(text: str):
    return read_copper(text.encode(), "drawn.gbr", "bottom")


def area_mm2(layer) -> float:
    return np.count_nonzero(layer.copper.mask) / layer.copper.px_per_mm**2


def is_copper(layer, x, y) -> bool:
    column, row = np.round(layer.copper.to_design.inverse([[x, y]])[0]).astype(int)
    return bool(layer.copper.mask[row, column])


def only_pad(text: str):
    (pad,) = copper(text).pads
    return pad


# -- shapes: area and edges ------------------------------------------------------------------

OCTAGON = 2 * math.sqrt(2)  # area over the square of the radius to a corner
SHAPES = [
    # commands, area in mm² by hand, (shape, size)
    ("%ADD10C,1.6*%D10*X0Y0D03*", math.pi * 0.64, ("round", (1.6, 1.6))),
    ("%ADD10C,1.6X0.8*%D10*X0Y0D03*", math.pi * (0.64 - 0.16), ("round", (1.6, 1.6))),
    ("%ADD10R,2.0X1.0*%D10*X0Y0D03*", 2.0, ("rectangle", (2.0, 1.0))),
    ("%ADD10O,3.0X1.0*%D10*X0Y0D03*", 2 + math.pi / 4, ("oblong", (3.0, 1.0))),
    ("%ADD10O,1.0X3.0*%D10*X0Y0D03*", 2 + math.pi / 4, ("oblong", (1.0, 3.0))),
    ("%ADD10P,2.0X8X22.5*%D10*X0Y0D03*", OCTAGON, ("octagon", (1.8478, 1.8478))),
    ("%AMA*5,1,8,0,0,2.0,22.5*%%ADD10A*%D10*X0Y0D03*", OCTAGON, ("octagon", (1.8478, 1.8478))),
    ("%AMA*21,1,2.0,1.0,0,0,30*%%ADD10A*%D10*X0Y0D03*", 2.0, ("rectangle", (2.0, 1.0))),
    ("%AMA*20,1,0.5,-1,0,1,0,0*%%ADD10A*%D10*X0Y0D03*", 1.0, ("rectangle", (2.0, 0.5))),
    ("%AMA*4,1,4,-1,-1,1,-1,1,1,-1,1,-1,-1,0*%%ADD10A*%D10*X0Y0D03*", 4.0, ("rectangle", (2, 2))),
    ("%AMA*1,1,2.0,0,0*1,0,1.0,0,0*%%ADD10A*%D10*X0Y0D03*", math.pi * 0.75, ("round", (2, 2))),
    ("%AMA*1,1,$1,0,0*$2=$1x0.5*1,0,$2,0,0*%%ADD10A,2.0*%D10*X0Y0D03*",
     math.pi * 0.75, ("round", (2, 2))),
    ("G36*X0Y0D02*G01*X2000000D01*Y3000000D01*X0D01*Y0D01*G37*", 6.0, ("rectangle", (2.0, 3.0))),
    ("G36*G75*X0Y0D02*G02*X0Y0I1000000J0D01*G37*", math.pi, ("round", (2.0, 2.0))),
    ("%ADD10C,1.0*%D10*X0Y0D02*X2000000D01*", 2 + math.pi / 4, ("oblong", (3.0, 1.0))),
    ("%ADD10R,1.0X1.0*%D10*X0Y0D02*X2000000D01*", 3.0, ("rectangle", (3.0, 1.0))),
    ("%ADD10R,2.0X1.0*%%LR30*%D10*X0Y0D03*", 2.0, ("rectangle", (2.0, 1.0))),
    ("%ADD10C,1.0*%%LS2*%D10*X0Y0D03*", math.pi, ("round", (2.0, 2.0))),
]  # fmt: skip


@pytest.mark.parametrize("commands, area, land", SHAPES)
def test_shapes(commands, area, land):
    layer = copper(MM + commands + "M02*")
    # half a pixel round a shape of this size: 3 % of the area at 32 px/mm
    assert area_mm2(layer) == pytest.approx(area, rel=0.03)
    (pad,) = layer.pads
    assert pad.shape == land[0]
    assert sorted(pad.size_mm) == pytest.approx(sorted(land[1]), abs=0.01)


def test_upright_sizes_keep_their_axes():
    assert only_pad(MM + "%ADD10O,1.0X3.0*%D10*X0Y0D03*M02*").size_mm == (1.0, 3.0)
    turned = only_pad(MM + "%AMA*21,1,2.0,1.0,0,0,30*%%ADD10A*%D10*X0Y0D03*M02*")
    assert turned.size_mm == pytest.approx((2.0, 1.0), abs=0.01)
    assert math.degrees(turned.rotation_rad) == pytest.approx(30, abs=0.2)


def test_a_thermal_has_four_gaps_and_an_open_middle():
    layer = copper(MM + "%AMT*7,0,0,3.0,2.0,0.4,0*%%ADD10T*%D10*X0Y0D03*M02*")
    c = 1.25 / math.sqrt(2)
    assert all(is_copper(layer, sx * c, sy * c) for sx in (-1, 1) for sy in (-1, 1))
    assert not any(is_copper(layer, x, y) for x, y in ((1.25, 0), (0, 1.25), (-1.25, 0), (0, 0)))
    # ring of 1.0 … 1.5 mm without four gaps 0.4 mm wide
    assert area_mm2(layer) == pytest.approx(math.pi * (2.25 - 1) - 4 * 0.4 * 0.5, rel=0.04)


def test_edges_lie_where_the_file_puts_them():
    """The largest error of the picture of a 10 × 5 mm block, all four edges, at 32 px/mm."""
    layer = copper(MM + "%ADD10R,10X5*%D10*X1234567Y-7654321D03*M02*")
    rows, columns = np.nonzero(layer.copper.mask)
    to = layer.copper.to_design
    half = 0.5 / layer.copper.px_per_mm
    low = to([[columns.min(), rows.max()]])[0] - half
    high = to([[columns.max(), rows.min()]])[0] + half
    expected = np.array([[1.234567 - 5, -7.654321 - 2.5], [1.234567 + 5, -7.654321 + 2.5]])
    assert np.abs(np.array([low, high]) - expected).max() < 0.02


def test_round_pads_have_their_size_in_the_picture():
    """Radius from the area, 40 pads of 0.8 to 3 mm anywhere on the pixel grid, 32 px/mm."""
    rng = random.Random(3)
    off = []
    for _ in range(40):
        size = rng.uniform(0.8, 3.0)
        x, y = (rng.uniform(0, 1e6) for _ in "xy")
        layer = copper(MM + f"%ADD10C,{size:.6f}*%D10*X{x:.0f}Y{y:.0f}D03*M02*")
        off.append(math.sqrt(area_mm2(layer) / math.pi) - size / 2)
        rows, columns = np.nonzero(layer.copper.mask)
        centre = layer.copper.to_design([[columns.mean(), rows.mean()]])[0]
        assert np.hypot(*(centre - (x / 1e6, y / 1e6))) < 0.02
    assert abs(np.mean(off)) < 0.006 and np.abs(off).max() < 0.01


def test_the_picture_is_not_mirrored_and_has_large_y_on_top():
    layer = copper(MM + "%ADD10C,1*%D10*X0Y0D03*X10000000Y0D03*X0Y5000000D03*M02*")
    mask = layer.copper.mask
    assert mask[: mask.shape[0] // 2].any() and mask[:, -mask.shape[1] // 4 :].any()
    quarter = mask[: mask.shape[0] // 2, mask.shape[1] // 2 :]
    assert not quarter.any()  # nothing is drawn upper right
    assert layer.copper.to_design.determinant < 0


# -- drawing order, copies, arcs ---------------------------------------------------------------


def test_clear_polarity_erases_what_came_before_only():
    text = "%ADD10C,4*%%ADD11C,2*%%ADD12C,1*%D10*X0Y0D03*%LPC*%D11*X0Y0D03*%LPD*%D12*X0Y0D03*M02*"
    layer = copper(MM + text)
    assert is_copper(layer, 0, 0) and not is_copper(layer, 0.75, 0) and is_copper(layer, 1.5, 0)
    assert [p.size_mm[0] for p in layer.pads] == [4, 1]  # a clear flash is no pad


def test_openings_of_a_macro_do_not_erase_what_lies_below():
    donut = "%AMA*1,1,2,0,0*1,0,1,0,0*%%ADD10A*%%ADD11C,0.5*%D11*X0Y0D03*D10*X0Y0D03*M02*"
    layer = copper(MM + donut)
    assert is_copper(layer, 0, 0) and not is_copper(layer, 0.4, 0) and is_copper(layer, 0.75, 0)


def test_step_and_repeat():
    layer = copper(MM + "%ADD10C,1*%%SRX3Y2I5.0J4.0*%D10*X0Y0D03*%SR*%X20000000Y0D03*M02*")
    centres = sorted(tuple(np.round(p.centre_mm, 6)) for p in layer.pads)
    assert centres == sorted([(5 * i, 4 * j) for i in range(3) for j in range(2)] + [(20, 0)])


def test_many_flashes_of_a_macro_are_an_ordinary_board():
    macro = "%AMA*" + "21,1,0.5,0.2,0,0,0*" * 9 + "%%ADD10A*%D10*"
    flashes = "".join(f"X{k % 60}000000Y{k // 60}000000D03*" for k in range(3000))
    assert len(copper(MM + macro + flashes + "M02*").pads) == 3000


def test_what_was_set_inside_a_repeat_stays_set():
    layer = copper(
        MM + "%ADD10C,1*%%ADD11C,2*%D10*%SRX2Y1I5J0*%D11*X0Y0D03*%SR*%X20000000Y0D03*M02*"
    )
    assert [p.size_mm[0] for p in layer.pads] == [2, 2, 2]


def test_an_old_one_by_one_repeat_is_harmless():
    layer = copper(MM + "%SRX1Y1I0J0*%%ADD10C,1*%D10*X0Y0D03*M02*")
    assert len(layer.pads) == 1


def test_block_apertures():
    text = "%ADD10C,1*%%ABD11*%D10*X0Y0D03*X3000000D03*%AB*%D11*X0Y0D03*X0Y9000000D03*M02*"
    centres = sorted(p.centre_mm for p in copper(MM + text).pads)
    assert centres == [(0, 0), (0, 9), (3, 0), (3, 9)]


@pytest.mark.parametrize(
    "arc, on, off",
    [
        ("G75*X10000000Y0D02*G03*X0Y10000000I-10000000J0D01*", 45, 225),
        ("G75*X10000000Y0D02*G02*X0Y10000000I-10000000J0D01*", 225, 45),
        ("G74*X10000000Y0D02*G03*X0Y10000000I10000000J0D01*", 45, 225),
    ],
)
def test_arcs_go_the_way_they_are_told(arc, on, off):
    layer = copper(MM + "%ADD10C,0.4*%D10*" + arc + "M02*")
    there = [(10 * math.cos(math.radians(a)), 10 * math.sin(math.radians(a))) for a in (on, off)]
    assert is_copper(layer, *there[0])
    column, row = layer.copper.to_design.inverse([there[1]])[0]
    inside = 0 <= round(row) < layer.copper.mask.shape[0]
    inside &= 0 <= round(column) < layer.copper.mask.shape[1]
    assert not inside or not is_copper(layer, *there[1])


def test_a_region_may_have_several_contours():
    two = "G36*X0Y0D02*G01*X2000000D01*Y2000000D01*X0D01*Y0D01*"
    two += "X5000000Y0D02*X6000000D01*Y2000000D01*X5000000D01*Y0D01*G37*"
    assert area_mm2(copper(MM + two + "M02*")) == pytest.approx(6.0, rel=0.02)


# -- dialects ----------------------------------------------------------------------------------

INCH_FLASH = [
    IN + "%ADD10C,0.05*%D10*X10000Y10000D03*M02*",
    "G70*%FSLAX24Y24*%%ADD10C,0.05*%G54D10*X10000Y10000D03*M02*",
    "%FSLAX24Y24*MOIN*ADD10C,0.05*%D10*X10000Y10000D03*M02*",
    "%FSTAX24Y24*%%MOIN*%%ADD10C,0.05*%D10*X01Y01D03*M02*",
    "%ASAXBY*%%FSLAX24Y24*%%MOIN*%%OFA0B0*%%IPPOS*%%SFA1.0B1.0*%%INxy*%%LNxy*%%ADD10C,0.05*%"
    "D10*X10000Y10000D03*M02*",
    IN + "%AMC*5,1,12,0,0,0.05,0*%%ADD10C,0.05*%D10*G01X10000Y10000D02*D03*",
    IN + "\n%ADD10C,0.05*%\r\nG04 hello, world*\r\nD10*\nX10000\nY10000D3*\nM02*\n",
]


@pytest.mark.parametrize("text", INCH_FLASH)
def test_one_inch_in_every_spelling(text):
    pad = only_pad(text)
    assert pad.centre_mm == pytest.approx((25.4, 25.4))
    assert pad.size_mm[0] == pytest.approx(1.27)


def test_macro_polygon_in_inches():
    """The octagon of one exporter: 1.08239 x diameter over corners, in inches."""
    text = IN + "%AMOC8*5,1,8,0,0,1.08239X$1,22.5*%%ADD10OC8,0.05*%D10*X0Y0D03*M02*"
    pad = only_pad(text)
    assert pad.shape == "octagon"
    assert pad.size_mm == pytest.approx((1.27, 1.27), abs=0.005)
    assert pad.rotation_rad == pytest.approx(0, abs=0.01) or pad.rotation_rad == pytest.approx(
        math.pi / 4, abs=0.01
    )


def test_a_coordinate_without_operation_repeats_the_last():
    text = MM + "%ADD10C,0.2*%D10*X0Y0D02*X1000000D01*Y1000000*X0*M02*"
    assert [d.kind for d in read_objects(text.encode(), "x")] == ["stroke"] * 3


@pytest.mark.parametrize(
    "text, line, says",
    [
        ("%FSLIX24Y24*%%MOIN*%%ADD10C,1*%D10*X0Y0D03*M02*", 1, "incremental"),
        (MM + "\n%ADD10C,1*%\nD12*\nX0Y0D03*\nM02*", 4, "aperture"),
        (MM + "\nD10*\nX0Y0D01*\nM02*", 3, "aperture"),
        (MM + "\n%IPNEG*%\nM02*", 2, "IPNEG"),
        (MM + "\n%OFA1.5B0*%\nM02*", 2, "OFA1.5"),
        (MM + "\n%ADD10Q,1*%\nD10*X0Y0D03*M02*", 2, "ADD10Q"),
        (MM + "\n%ADD10C,1*%\nD10*\nX1.5Y0D03*\nM02*", 4, "X1.5Y0D03"),
        (MM + "\n%ADD10C,1*%\n\nG36*\nX0Y0D02*\nX1Y0D01*\n", 6, "not closed"),
        (MM + "\n%ADD10C,1*%\nD10*\nX0Y0D03*\nX10", 5, "missing"),
        (MM + "%LMX*%\n%ADD10C,1*%D10*X0Y0D02*\nX1000000D01*M02*", 3, "LM"),
        (MM + "%AMM*6,0,0,1,1,1,1,1,1,0*%\n%ADD10M*%M02*", 1, "AMM"),
    ],
)
def test_refusals_name_the_line(text, line, says):
    with pytest.raises(DesignError) as caught:
        copper(text)
    assert caught.value.file == "drawn.gbr"
    assert caught.value.line == line
    assert says in str(caught.value)
    assert caught.value.remedy


@pytest.mark.parametrize(
    "text",
    [
        MM + "%ADD10C,1*%%SRX9999Y9999I1J1*%D10*X0Y0D03*%SR*%M02*",
        MM + "%ADD10C,1*%" + "".join(
            f"%ABD{11 + k}*%" + f"D{10 + k}*" + "X0Y0D03*" * 30 + "%AB*%" for k in range(6)
        ) + "D16*X0Y0D03*M02*",
        MM + "%AMA*1,1," + "(" * 400 + "1" + ")" * 400 + ",0,0*%%ADD10A*%D10*X0Y0D03*M02*",
        MM + "%AMA*5,1,99999999,0,0,1,0*%%ADD10A*%D10*X0Y0D03*M02*",
        MM + "%ADD10P,1X99999999*%D10*X0Y0D03*M02*",
        MM + "%ADD10C,1*%D10*X0Y0D03*X9999999999Y9999999999D03*M02*",
    ],
)  # fmt: skip
def test_files_made_to_choke_a_reader_are_refused(text):
    with pytest.raises(DesignError):
        copper(text)


def test_a_large_board_gets_fewer_pixels():
    layer = copper(MM + "%ADD10C,1*%D10*X0Y0D03*X900000000Y800000000D03*M02*")
    assert layer.copper.mask.size <= MAX_PIXELS
    assert layer.copper.px_per_mm < 32
    assert is_copper(layer, 900, 800)


def test_mutated_files_give_a_layer_or_one_sentence():
    """Cut, doubled, swapped and replaced characters: a result or a DesignError, no traceback."""
    rng = random.Random(7)
    seeds = [MM + commands + "M02*" for commands, _, _ in SHAPES] + INCH_FLASH
    for _ in range(600):
        text = list(rng.choice(seeds))
        for _ in range(rng.randint(1, 4)):
            at = rng.randrange(len(text))
            kind = rng.randrange(4)
            if kind == 0:
                del text[at : at + rng.randint(1, 6)]
            elif kind == 1:
                text[at:at] = text[max(0, at - 8) : at]
            elif kind == 2:
                text[at] = rng.choice("0123456789XYIJDGM*%,.-+()$=x/ \n\x00é")
            else:
                other = rng.randrange(len(text))
                text[at], text[other] = text[other], text[at]
            text = text or list(MM)
        try:
            read_copper("".join(text).encode("utf-8"), "m.gbr", "top")
        except DesignError as error:
            assert "m.gbr" in str(error)


# -- which layer -------------------------------------------------------------------------------

BODY = "%ADD10C,1*%D10*X0Y0D03*M02*"
FRAME = "%ADD10C,0.1*%D10*X0Y0D02*X9000000Y0D01*X9000000Y9000000D01*X0Y9000000D01*X0Y0D01*M02*"


@pytest.mark.parametrize(
    "text, name, layer",
    [
        ("%TF.FileFunction,Copper,L2,Bot*%" + MM + BODY, "top.gtl", "copper-bottom"),
        ("G04 #@! TF.FileFunction,Copper,L1,Top*\n" + MM + BODY, "x", "copper-top"),
        ("%TF.FileFunction,Copper,L2,Inr*%" + MM + BODY, "x", "other"),
        ("%TF.FileFunction,Profile,NP*%" + MM + BODY, "x.gbl", "outline"),
        ("%TF.FileFunction,Soldermask,Bot*%" + MM + BODY, "x.gbl", "other"),
        ("G04 Layer: BottomLayer*" + MM + BODY, "x.gbr", "copper-bottom"),
        ("G04 Bottom solder mask*" + MM + BODY, "x.gbr", "other"),
        ("%LNBoardOutline*%" + MM + BODY, "x.gbr", "outline"),
        (MM + BODY, "board.GBL", "copper-bottom"),
        (MM + BODY, "board-B_Cu.gbr", "copper-bottom"),
        (MM + BODY, "board-F_Cu.gbr", "copper-top"),
        (MM + BODY, "board.gko", "outline"),
        (MM + BODY, "copper_top.gbr", "copper-top"),
        (MM + BODY, "silkscreen_top.gbr", "other"),
        (MM + BODY, "noname.gbr", "other"),
        (MM + FRAME, "noname.gbr", "outline"),
        ("M48\nMETRIC\nT1C1.0\n%\nT1\nX1Y1\nM30\n", "x.gbl", None),
        ("x,y,diameter\n1,2,3\n", "x.gbl", None),
        ("", "x.gbl", None),
    ],
)  # fmt: skip
def test_layers_are_told_by_content_first(text, name, layer):
    assert classify(text.encode(), name) == layer


def test_bytes_that_are_no_text_are_no_gerber():
    assert classify(bytes(range(256)) * 20, "x.gbr") is None


# -- a real board ------------------------------------------------------------------------------


@etched_board.needed
def test_a_real_layer():
    data, name = etched_board.layer("B_Cu")
    assert classify(data, name) == classify(data, "anything.txt") == "copper-bottom"
    layer = read_copper(data, name, "bottom")
    height, width = layer.copper.mask.shape
    assert (width / 32 - 2, height / 32 - 2) == pytest.approx((89.3, 69.1), abs=0.3)
    assert layer is read_copper(data, name, "bottom")  # read once
    assert not is_copper(layer, 125, -65)  # the opening of 16 mm in the board
    assert is_copper(layer, 70, -70)  # the pour
