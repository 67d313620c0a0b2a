"""Text that keeps its place: drawn smaller rather than cut off or pushed about."""

from __future__ import annotations

from PyQt6.QtCore import QRectF, QSize, Qt
from PyQt6.QtGui import QFont, QPainter
from PyQt6.QtWidgets import QLabel, QSizePolicy, QWidget

from ui.look.colours import Colours

SMALLEST_PX = 9


def fitted_font(painter: QPainter, font: QFont, size_px: float, text: str, box: QRectF,
                flags: int) -> QFont:  # fmt: skip
    """The font at size_px, or as much smaller as it takes to fit the box."""
    font = QFont(font)
    size = max(SMALLEST_PX, round(size_px))
    while True:
        font.setPixelSize(size)
        painter.setFont(font)
        told = painter.boundingRect(box, flags, text)
        if size <= SMALLEST_PX or (
            told.width() <= box.width() + 0.5 and told.height() <= box.height() + 0.5
        ):
            return font
        size = max(SMALLEST_PX, int(size * 0.93))


class FittedLabel(QWidget):
    """size: of the type in parts of the window's; lines: the room it keeps, text or none.

    A sentence that changes from picture to picture moves nothing about it.
    """

    def __init__(self, colours: Colours, size: float = 1.0, lines: int = 1, *, bold: bool = False,
                 role: str = "ink", align=Qt.AlignmentFlag.AlignLeft) -> None:  # fmt: skip
        super().__init__()
        self.colours = colours
        self._size, self._lines, self._bold, self._role = size, lines, bold, role
        wrap = Qt.TextFlag.TextWordWrap if lines > 1 else Qt.TextFlag.TextSingleLine
        self._flags = int(align | Qt.AlignmentFlag.AlignVCenter) | int(wrap)
        self._text = ""
        # Style sheets give plain widgets their font only once polished; a label asks for it.
        self._ruler = QLabel(self)
        self._ruler.hide()
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)

    def text(self) -> str:
        return self._text

    def setText(self, text: str) -> None:  # noqa: N802 - as a QLabel has it
        if text != self._text:
            self._text = text
            self.setAccessibleName(text)
            self.update()

    def _height_px(self) -> float:
        return self.fontInfo().pixelSize() * self._size

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(160, round(self._height_px() * 1.32 * self._lines) + 4)

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        return self.sizeHint()

    def paintEvent(self, event) -> None:  # noqa: N802, ARG002
        painter = QPainter(self)
        font = QFont(self.font())
        font.setBold(self._bold)
        box = QRectF(self.rect()).adjusted(1, 0, -1, 0)
        fitted_font(painter, font, self._height_px(), self._text, box, self._flags)
        painter.setPen(self.colours.colour(self._role))
        painter.drawText(box, self._flags, self._text)
