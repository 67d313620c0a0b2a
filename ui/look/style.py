"""The application's style sheet, from a set of colours and a size of type."""

from __future__ import annotations

from ui.look.colours import Colours

# Points on a screen a metre away; figures the hand works by are larger still.
BASE_PT = 13.0
SMALLEST, LARGEST = 0.8, 1.8  # what the size of type may be multiplied by


def sheet(colours: Colours, scale: float = 1.0) -> str:
    """scale: of all type, SMALLEST to LARGEST."""
    c, pt = colours, BASE_PT * scale
    return f"""
* {{ font-size: {pt:.1f}pt; color: {c.ink}; }}
QWidget {{ background: {c.ground}; }}
QLabel, QCheckBox, QRadioButton {{ background: transparent; }}
QFrame#panel, QWidget#rail {{ background: {c.raised}; border-radius: 6px; }}
QFrame#card {{ background: {c.raised}; border: 2px solid {c.line}; border-radius: 10px; }}
QFrame#card QScrollArea > QWidget > QWidget {{ background: {c.raised}; }}
QFrame#card QScrollArea {{ border: none; border-radius: 0; }}
QLabel#title {{ font-size: {1.7 * pt:.1f}pt; font-weight: 600; }}
QLabel#quiet {{ color: {c.quiet}; }}
QLabel#figure {{ font-size: {2.4 * pt:.1f}pt; font-weight: 600; }}
QPushButton, QToolButton {{
    background: {c.raised}; border: 2px solid {c.line}; border-radius: 6px;
    padding: {0.45 * pt:.0f}px {1.0 * pt:.0f}px; min-height: {1.9 * pt:.0f}px;
}}
QPushButton:focus, QToolButton:focus, QComboBox:focus, QLineEdit:focus, QAbstractSpinBox:focus,
QListView:focus, QTreeView:focus, QTableView:focus {{ border: 3px solid {c.key}; }}
QPushButton#foot {{ min-height: {1.65 * pt:.0f}px; padding: 2px {0.6 * pt:.0f}px; }}
QPushButton#go {{ background: {c.key}; color: {c.on_key}; border-color: {c.key};
    font-weight: 600; }}
QPushButton#go:focus {{ border: 3px solid {c.ink}; }}
QPushButton#stop {{ background: {c.bad}; color: {c.on_bad}; border-color: {c.bad};
    font-weight: 700; font-size: {1.6 * pt:.1f}pt; min-height: {5.5 * pt:.0f}px; }}
QPushButton:disabled, QPushButton#go:disabled {{ background: {c.ground}; color: {c.quiet};
    border: 2px dashed {c.line}; }}
QCheckBox::indicator {{ width: {1.1 * pt:.0f}px; height: {1.1 * pt:.0f}px;
    border: 2px solid {c.line}; border-radius: 3px; background: {c.ground}; }}
QCheckBox::indicator:checked {{ background: {c.key}; border: 2px solid {c.ink}; }}
QCheckBox:focus {{ color: {c.key}; text-decoration: underline; }}
QComboBox, QLineEdit, QAbstractSpinBox {{
    background: {c.ground}; border: 2px solid {c.line}; border-radius: 6px; padding: 4px 8px;
    min-height: {1.9 * pt:.0f}px; selection-background-color: {c.key};
    selection-color: {c.on_key};
}}
QComboBox QAbstractItemView {{ background: {c.raised}; selection-background-color: {c.key};
    selection-color: {c.on_key}; }}
QListView, QTreeView, QTableView, QTextEdit, QPlainTextEdit, QScrollArea {{
    background: {c.raised}; border: 2px solid {c.raised}; border-radius: 6px; }}
QListView::item:selected, QTableView::item:selected {{ background: {c.key}; color: {c.on_key}; }}
QHeaderView::section {{ background: {c.ground}; color: {c.quiet}; border: none; padding: 6px; }}
QProgressBar {{ background: {c.raised}; border: 2px solid {c.line}; border-radius: 6px;
    text-align: center; }}
QProgressBar::chunk {{ background: {c.key}; }}
QToolTip {{ background: {c.raised}; color: {c.ink}; border: 1px solid {c.line}; }}
QSlider::groove:horizontal {{ height: 6px; background: {c.line}; border-radius: 3px; }}
QSlider::handle:horizontal {{ width: 22px; margin: -9px 0; background: {c.key};
    border-radius: 11px; }}
QSlider::handle:horizontal:focus {{ border: 3px solid {c.ink}; }}
"""
