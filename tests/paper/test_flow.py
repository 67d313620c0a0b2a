from __future__ import annotations

import pypdfium2

from drillaid.paper.flow import FOOT_MM, Flow
from drillaid.paper.page import Words
from drillaid.paper.pdf import pdf_of


def test_a_long_table_goes_on_with_its_head_on_the_next_page():
    flow = Flow("a title")
    flow.head("Every hole")
    flow.table(("Hole", "Note"), [[str(k), "a note " * (k % 9)] for k in range(200)], (20, None))
    pages = flow.pages()
    assert len(pages) > 2
    for page in pages:
        words = [item for item in page.items if isinstance(item, Words)]
        assert "Hole" in [word.text for word in words]
        foot = page.height_mm - FOOT_MM
        body = [w for w in words if w.y_mm <= foot + 1]
        assert len(body) == len(words) - 2  # but for title and number
    document = pypdfium2.PdfDocument(pdf_of(pages, "a title"))
    told = " ".join(page.get_textpage().get_text_bounded() for page in document).split()
    document.close()
    assert {str(k) for k in range(200)} <= set(told)
    assert f"1 of {len(pages)}" in " ".join(told)
