"""Settings: how the window looks, and for which hand; sound and pedal on a card."""

from __future__ import annotations

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDoubleSpinBox,
    QFormLayout,
    QLabel,
    QPushButton,
    QSlider,
)

from ui.job import JobState
from ui.look.colours import Colours
from ui.look.style import LARGEST, SMALLEST
from ui.pages.page import Page
from ui.picture.aids_card import AidsCard
from ui.settings import settings_path
from ui.stages.tall_scroll import TallScroll
from ui.words import number, tr


class ComfortPage(Page):
    """Each change holds at once and is remembered."""

    name = "settings"

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__(job, colours, tr("Settings"))
        self.theme = QComboBox()
        self.theme.addItem(tr("Dark"), "dark")
        self.theme.addItem(tr("Light"), "light")
        self.size = QSlider(Qt.Orientation.Horizontal)
        self.size.setRange(round(10 * SMALLEST), round(10 * LARGEST))
        self.size.setPageStep(2)
        self.size_words = QLabel()
        self.size.setMinimumHeight(32)
        self.left = QCheckBox(tr("Left-handed"))
        self.left.setToolTip(tr("The way through the job stands on the right, figures on the left"))
        self.map = QCheckBox(tr("The map lies as the board does"))
        self.hold = QDoubleSpinBox()
        self.hold.setRange(0.1, 3.0)
        self.hold.setSingleStep(0.05)
        self.hold.setSuffix(tr(" s"))
        self.hold.setButtonSymbols(QDoubleSpinBox.ButtonSymbols.NoButtons)
        self.aids = QPushButton(tr("Sound and pedal …"))
        form = QFormLayout()
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        form.setVerticalSpacing(14)
        for words, field in (
            (tr("Colours  (F10)"), self.theme),
            (tr("Size of type  (Ctrl + and −)"), self.size),
            ("", self.size_words),
            (tr("Steady on the hole for"), self.hold),
        ):
            field.setAccessibleName(words)
            form.addRow(words, field)
        where = QLabel(tr("Numbers and dates follow your system's country. The settings are kept "
                          "in {path}.", path=settings_path()))  # fmt: skip
        where.setWordWrap(True)
        where.setObjectName("quiet")
        where.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        scroll = TallScroll()
        scroll.column.addLayout(form)
        for part in (self.left, self.map, self.aids, where):
            scroll.column.addWidget(part)
        scroll.column.addStretch(1)
        self.body.addWidget(scroll)
        self.card = AidsCard(job, colours, self)
        self.aids.clicked.connect(self.card.offer)
        self.card.shut.connect(self.aids.setFocus)
        self._show()
        self.theme.currentIndexChanged.connect(
            lambda _: job.remember(theme=self.theme.currentData())
        )
        self.size.valueChanged.connect(lambda tenths: job.remember(type_scale=tenths / 10))
        self.left.toggled.connect(lambda on: job.remember(left_handed=on))
        self.map.toggled.connect(lambda on: job.remember(turn_map=on))
        self.hold.valueChanged.connect(lambda s: job.remember(hold_s=round(s, 2)))
        job.remembered.connect(lambda _: self._show())

    def enter(self) -> None:
        self._show()
        self.theme.setFocus()

    def leave(self) -> None:
        self.card.hide()

    def repaint_with(self, colours: Colours) -> None:
        super().repaint_with(colours)
        self.card.colours = colours

    def resizeEvent(self, event) -> None:  # noqa: N802
        super().resizeEvent(event)
        self.card.settle()

    def _show(self) -> None:
        settings = self.job.settings
        fields = (self.theme, self.size, self.left, self.map, self.hold)
        for field in fields:
            field.blockSignals(True)
        self.theme.setCurrentIndex(self.theme.findData(settings.theme))
        self.size.setValue(round(10 * settings.type_scale))
        self.left.setChecked(settings.left_handed)
        self.map.setChecked(settings.turn_map)
        self.hold.setValue(settings.hold_s)
        for field in fields:
            field.blockSignals(False)
        self.size_words.setText(tr("{n} times as large as usual",
                                   n=number(settings.type_scale, 1)))  # fmt: skip
