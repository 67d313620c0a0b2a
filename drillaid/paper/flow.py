"""Text, tables and drawings one below the other, over as many A4 pages as they need."""

from __future__ import annotations

from collections.abc import Sequence

from drillaid.paper.letters import width_mm, wrapped
from drillaid.paper.page import BLACK, GREY, PALE, Page, Words, box, line

MARGIN_MM, FOOT_MM = 16.0, 18.0
SIZE_MM, CELL_MM = 3.3, 2.6
LEADING = 1.38


class Flow:
    """page, y_mm: where the next thing goes; left_mm, room_mm: of the column in use."""

    def __init__(self, title: str) -> None:
        self._title = title
        self._pages: list[Page] = []
        self._indent = 0.0
        self.page = self._fresh()
        self.y_mm = MARGIN_MM

    def _fresh(self) -> Page:
        page = Page()
        self._pages.append(page)
        return page

    @property
    def left_mm(self) -> float:
        return MARGIN_MM + self._indent

    @property
    def room_mm(self) -> float:
        return self.page.width_mm - MARGIN_MM - self.left_mm

    def column(self, indent_mm: float) -> None:
        """What follows stands so far to the right."""
        self._indent = indent_mm

    def need(self, height_mm: float) -> None:
        """A new page where so much has no room on this one."""
        if self.y_mm + height_mm > self.page.height_mm - FOOT_MM and self.y_mm > MARGIN_MM:
            self.page, self.y_mm = self._fresh(), MARGIN_MM

    def gap(self, height_mm: float) -> None:
        self.y_mm += height_mm

    def text(self, words: str, *, size: float = SIZE_MM, bold: bool = False,
             colour: str = BLACK) -> None:  # fmt: skip
        """A paragraph."""
        for each in wrapped(words, self.room_mm, size, bold=bold):
            self.need(LEADING * size)
            self.page.add(
                Words(self.left_mm, self.y_mm + size, size, each, bold=bold, colour=colour)
            )
            self.y_mm += LEADING * size

    def head(self, words: str) -> None:
        """Of a section; never alone at a page's foot."""
        self.need(26)
        self.gap(4)
        self.text(words, size=4.2, bold=True)
        y = self.y_mm + 0.6
        self.page.add(line(self.left_mm, y, self.left_mm + self.room_mm, y, 0.4))
        self.y_mm += 2.2

    def table(
        self, heads: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float | None]
    ) -> None:
        """widths: mm, None for the column that takes what is left. The head comes again on each
        page; cells are wrapped."""
        fixed = sum(width or 0 for width in widths)
        widths = [self.room_mm - fixed if width is None else width for width in widths]
        self._row(heads, widths, head=True)
        for k, row in enumerate(rows):
            lines = [wrapped(str(c), w - 1.6, CELL_MM) for c, w in zip(row, widths, strict=False)]
            height = max(1, max(map(len, lines))) * LEADING * CELL_MM + 0.8
            before = self.page
            self.need(height)
            if self.page is not before:
                self._row(heads, widths, head=True)
            if k % 2:
                self.page.add(
                    box(self.left_mm, self.y_mm, sum(widths), height, fill=PALE, edge=None)
                )
            self._row(row, widths, head=False)

    def _row(self, cells: Sequence[str], widths: Sequence[float], *, head: bool) -> None:
        lines = [
            wrapped(str(cell), width - 1.6, CELL_MM, bold=head)
            for cell, width in zip(cells, widths, strict=False)
        ]
        x = self.left_mm
        for cell_lines, width in zip(lines, widths, strict=False):
            for k, each in enumerate(cell_lines):
                y = self.y_mm + 0.4 + CELL_MM + k * LEADING * CELL_MM
                self.page.add(Words(x + 0.8, y, CELL_MM, each, bold=head))
            x += width
        self.y_mm += max(1, max(map(len, lines), default=1)) * LEADING * CELL_MM + 0.8
        if head:
            self.page.add(line(self.left_mm, self.y_mm, x, self.y_mm, 0.25))

    def pages(self) -> list[Page]:
        """All, each with its title and number at the foot."""
        count = len(self._pages)
        for number, page in enumerate(self._pages, 1):
            y = page.height_mm - 9
            told = f"{number} of {count}"
            page.add(
                Words(MARGIN_MM, y, 2.6, self._title, colour=GREY),
                Words(page.width_mm - MARGIN_MM - width_mm(told, 2.6), y, 2.6, told, colour=GREY),
            )
        return self._pages
