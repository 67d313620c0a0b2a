"""Pages as PDF and SVG, read back by programs that did not write them."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

import cv2
import numpy as np
import pypdfium2
import pytest
from support.printed import black_spans, pdf_picture

from drillaid.paper import letters
from drillaid.paper.page import Disc, Page, Photo, Words, box, line
from drillaid.paper.pdf import pdf_of
from drillaid.paper.svg import svg_of

PX = 10.0


def test_lengths_are_true_and_y_runs_down():
    page = Page(60.0, 40.0)
    page.add(box(10.04, 5, 20, 8, fill="#000000", edge=None), Disc(45, 30, 4, "#000000", None))
    fine = 40.0  # pdfium moves the edges of upright boxes to whole pixels
    picture, size = pdf_picture(pdf_of([page], "t"), fine)
    assert size == pytest.approx((60, 40), abs=1e-3)
    (span,) = black_spans(picture[360], fine)
    assert span == pytest.approx((10.04, 30.04), abs=0.03)
    (span,) = black_spans(picture[1200], fine)
    assert span == pytest.approx((41, 49), abs=0.03)


@pytest.mark.parametrize("bold", [False, True])
def test_words_are_as_wide_as_they_are_taken_for(bold):
    """pdfium's own metrics of the standard fonts are the outside source.

    All but "@", which its stand-in for the bold one draws wider.
    """
    text = "".join(map(chr, range(33, 127))).replace("@", "")
    for piece in (text[k : k + 12] for k in range(0, len(text), 12)):
        page = Page(400.0, 40.0)
        page.add(Words(5, 20, 20, piece + "|", bold=bold))
        document = pypdfium2.PdfDocument(pdf_of([page], "t"))
        words = document[0].get_textpage()
        last = words.get_charbox(len(piece), loose=True)[0] * 25.4 / 72
        assert last - 5 == pytest.approx(letters.width_mm(piece, 20, bold=bold), rel=0.01)
        document.close()


def test_text_is_text_and_odd_signs_become_known_ones():
    page = Page(100.0, 40.0)
    page.add(Words(95, 20, 4, "✓ größe (x) \\ ≥ 漢", align="right"))
    document = pypdfium2.PdfDocument(pdf_of([page, page], "Größe (1)"))
    assert len(document) == 2
    assert document[0].get_textpage().get_text_bounded() == "+ größe (x) \\ >= ?"
    assert document.get_metadata_value("Title") == "Größe (1)"
    document.close()


def test_a_photograph_stands_the_right_way_up():
    image = np.full((40, 60, 3), 255, np.uint8)
    image[:20, :30] = 0
    data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 100])[1].tobytes()
    page = Page(80.0, 60.0)
    page.add(Photo(data, 60, 40, np.array([[60.0, 0, 10], [0, 40.0, 5]])))
    picture, _ = pdf_picture(pdf_of([page], "t"), PX)
    assert picture[60:240, 110:390].max() < 20  # upper left quarter, and nothing else
    assert picture[260:440, 110:690].min() > 235 and picture[60:240, 410:690].min() > 235


def test_lines_break_between_words_and_long_ones_within():
    lines = letters.wrapped("a few short words and onewordthatisverylongindeed", 30, 4)
    assert " ".join(lines).replace(" ", "") == "afewshortwordsandonewordthatisverylongindeed"
    assert all(letters.width_mm(each, 4) <= 30 for each in lines)
    assert letters.wrapped("", 30, 4) == []


def test_svg_says_the_same():
    page = Page(60.0, 40.0)
    page.add(box(10, 5, 20, 8), Disc(45, 30, 4), line(0, 0, 5, 5), Words(1, 2, 3, "a < b\x07"))
    page.add(Photo(b"jpeg", 6, 4, np.array([[6.0, 0.5, 1], [0, 4.0, 2]])))
    root = ElementTree.fromstring(svg_of(page, "t & u"))
    assert (root.get("width"), root.get("viewBox")) == ("60mm", "0 0 60 40")
    kinds = [child.tag.split("}")[1] for child in root]
    assert kinds == ["title", "rect", "path", "circle", "path", "text", "image"]
    assert root[6].get("transform") == "matrix(6 0 0.5 4 1 2)" and root[5].text == "a < b?"
