"""Sound and pedal: volume, beat, holes counted when seen, and the pedal's key learnt."""

from __future__ import annotations

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtGui import QKeySequence
from PyQt6.QtWidgets import QCheckBox, QHBoxLayout, QLabel, QPushButton, QSlider, QWidget

from ui.job import JobState
from ui.look.colours import Colours
from ui.picture.card import Card
from ui.words import tr

# Keys that cannot be a pedal's: they lead away, or go with others.
_NEVER = {
    Qt.Key.Key_Escape, Qt.Key.Key_Tab, Qt.Key.Key_Backtab, Qt.Key.Key_Shift, Qt.Key.Key_Control,
    Qt.Key.Key_Alt, Qt.Key.Key_AltGr, Qt.Key.Key_Meta, Qt.Key.Key_unknown,
}  # fmt: skip


def key_name(key: int) -> str:
    """As the keyboard's owner calls it; "" for none."""
    return QKeySequence(key).toString(QKeySequence.SequenceFormat.NativeText) if key else ""


class AidsCard(Card):
    """Writes what is chosen into the settings at once; try_sound(): a cue to judge volume by."""

    try_sound = pyqtSignal()

    def __init__(self, job: JobState, colours: Colours, parent: QWidget) -> None:
        super().__init__(colours, parent)
        self.job = job
        self.learning = False
        self.label(tr("Sound and pedal"), "title")
        self.beat = QCheckBox(tr("A beat that homes in on the hole  (M)"))
        self.beat.toggled.connect(lambda on: job.remember(beat=on))
        self.body.addWidget(self.beat)
        row = QHBoxLayout()
        row.addWidget(QLabel(tr("Volume")))
        self.volume = QSlider(Qt.Orientation.Horizontal)
        self.volume.setRange(0, 100)
        self.volume.setAccessibleName(tr("Volume"))
        self.volume.valueChanged.connect(self._volume)
        row.addWidget(self.volume, 1)
        self.body.addLayout(row)
        self.seen = QCheckBox(tr("A hole that the camera sees counts without the pedal"))
        self.seen.toggled.connect(lambda on: job.remember(seen=on))
        self.body.addWidget(self.seen)
        self.told = self.label()
        self.learn = QPushButton(tr("Learn the pedal's key"))
        self.learn.clicked.connect(self._listen)
        self.forget = QPushButton(tr("No pedal"))
        self.forget.clicked.connect(lambda: self._learnt(0))
        pair = QHBoxLayout()
        pair.addWidget(self.learn)
        pair.addWidget(self.forget)
        self.body.addLayout(pair)
        self.add_button(tr("Done  (space)"), self.close_card)

    def offer(self) -> None:
        settings = self.job.settings
        for box, on in ((self.beat, settings.beat), (self.seen, settings.seen)):
            box.blockSignals(True)
            box.setChecked(on)
            box.blockSignals(False)
        self.volume.blockSignals(True)
        self.volume.setValue(round(100 * settings.volume))
        self.volume.blockSignals(False)
        self.learning = False
        self._tell_pedal()
        self.open()

    def _volume(self, value: int) -> None:
        self.job.remember(volume=value / 100)
        self.try_sound.emit()

    def _tell_pedal(self) -> None:
        name = key_name(self.job.settings.pedal_key)
        told = tr("Any pedal that works as a keyboard will do.")
        if name:
            told = tr("The pedal sends the key {name}; it does what space does.", name=name)
        self.told.setText(told)
        self.forget.setVisible(bool(name))
        self.settle()

    def _listen(self) -> None:
        self.learning = True
        self.told.setText(tr("Press the pedal now …"))
        self.setFocus()

    def _learnt(self, key: int) -> None:
        self.learning = False
        self.job.remember(pedal_key=key)
        self._tell_pedal()

    def keyPressEvent(self, event) -> None:  # noqa: N802
        key = event.key()
        if self.learning:
            if key == Qt.Key.Key_Escape:
                self.learning = False
                self._tell_pedal()
            elif key in _NEVER:
                self.told.setText(tr("That key cannot be a pedal's; press the pedal now …"))
            elif not event.isAutoRepeat():
                self._learnt(int(key))
        elif key == Qt.Key.Key_Escape:
            self.close_card()
        else:
            super().keyPressEvent(event)
