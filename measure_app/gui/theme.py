"""Colours and signs, safe for colour-blind eyes; a colour is never the only sign.

The hues of marks follow Okabe and Ito, "Color Universal Design" (2008), darkened or lightened for the ground
that they stand on. Marks on film are drawn twice, a dark casing under a bright stroke, so that they show on
any picture.
"""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QPalette
from PySide6.QtWidgets import QApplication

STYLE = "fusion"
"""Qt's style that takes all its colours from the palette, the same on every desktop."""


@dataclass(frozen=True, slots=True)
class Colours:
    """What the window is painted with."""

    ground: str
    raised: str
    sunken: str
    field: str
    """Where something can be typed or chosen."""
    ink: str
    faint: str
    edge: str
    accent: str
    on_accent: str
    hand: str
    """Readings by hand."""
    found: str
    """Found readings."""
    law: str
    """The fitted law."""
    refused: str
    """Spans without a reading."""
    good: str
    """A step that is done."""
    open: str
    """A step that lacks something."""
    warning: str


LIGHT = Colours(
    ground="#efeee9",
    raised="#fbfaf7",
    sunken="#e3e1da",
    field="#ffffff",
    ink="#1c252b",
    faint="#59646b",
    edge="#c4c1b7",
    accent="#0b5f6b",
    on_accent="#ffffff",
    hand="#b64a00",
    found="#005d94",
    law="#00694d",
    refused="#8a4470",
    good="#00694d",
    open="#8a5a00",
    warning="#9c2f00",
)
DARK = Colours(
    ground="#181d20",
    raised="#20272b",
    sunken="#111517",
    field="#2a3439",
    ink="#e9ebe8",
    faint="#a3aeb2",
    edge="#3d484e",
    accent="#5cc6cf",
    on_accent="#0c1416",
    hand="#ff9a52",
    found="#6fc1f2",
    law="#4fd0a5",
    refused="#e09cc5",
    good="#4fd0a5",
    open="#f0c060",
    warning="#ff9a7a",
)

CASING = "#10161a"
"""Under every stroke on film."""
ON_FILM = {
    "graduation": "#f4e96a",
    "plumb": "#8fd3ff",
    "orifice": "#ffb347",
    "throw_zero": "#ffb347",
    "gauge": "#62e3c0",
    "landing_line": "#62e3c0",
    "hand": "#ff9a52",
    "found": "#7cc8ff",
    "fall": "#e3b5ff",
    "cross": "#ffffff",
}
"""Bright strokes on film, by what they mark."""


def is_dark(palette: QPalette) -> bool:
    """Tell whether a palette writes light on dark."""
    return palette.color(QPalette.ColorRole.Window).lightness() < 128


def colours(palette: QPalette | None = None) -> Colours:
    """Return the colours that belong to a palette; None: the application's."""
    return DARK if is_dark(palette or QApplication.palette()) else LIGHT


def palette_of(scheme: Colours) -> QPalette:
    """Make the palette of a set of colours."""
    palette = QPalette()
    role = QPalette.ColorRole
    for name, colour in {
        role.Window: scheme.ground,
        role.WindowText: scheme.ink,
        role.Base: scheme.field,
        role.AlternateBase: scheme.raised,
        role.Text: scheme.ink,
        role.Button: scheme.raised,
        role.ButtonText: scheme.ink,
        role.ToolTipBase: scheme.raised,
        role.ToolTipText: scheme.ink,
        role.PlaceholderText: scheme.faint,
        role.Highlight: scheme.accent,
        role.HighlightedText: scheme.on_accent,
        role.Link: scheme.accent,
        role.LinkVisited: scheme.accent,
        role.Light: scheme.raised,
        role.Midlight: scheme.raised,
        role.Mid: scheme.edge,
        role.Dark: scheme.edge,
        role.Shadow: scheme.sunken,
        role.Accent: scheme.accent,
    }.items():
        palette.setColor(name, QColor(colour))
    for name in (role.WindowText, role.Text, role.ButtonText):
        palette.setColor(QPalette.ColorGroup.Disabled, name, QColor(scheme.faint))
    return palette


def style_sheet(scheme: Colours) -> str:
    """Return what a palette cannot say: spacing, edges, and a focus that can be seen."""
    return f"""
    QMainWindow, QDialog {{ background: {scheme.ground}; }}
    QPushButton, QToolButton {{
        background: {scheme.raised}; color: {scheme.ink}; border: 1px solid {scheme.edge}; border-radius: 4px;
        padding: 0.3em 0.7em; }}
    QFileDialog QToolButton {{ padding: 1px; }}
    QPushButton:hover, QToolButton:hover {{ border-color: {scheme.accent}; }}
    QPushButton:pressed, QToolButton:pressed {{ background: {scheme.sunken}; }}
    QPushButton:checked, QToolButton:checked {{
        background: {scheme.accent}; color: {scheme.on_accent}; border-color: {scheme.accent}; }}
    QPushButton:default {{ border: 1px solid {scheme.accent}; }}
    QPushButton:disabled, QToolButton:disabled {{ color: {scheme.faint}; border-color: {scheme.sunken}; }}
    QPushButton:focus, QToolButton:focus {{ border: 2px solid {scheme.accent}; }}
    QLineEdit[frame="true"], QPlainTextEdit, QListWidget, QTableView, QListView {{
        border: 1px solid {scheme.edge}; border-radius: 3px; background: {scheme.field}; }}
    QLineEdit[frame="true"] {{ padding: 0.15em 0.3em; }}
    QLineEdit[frame="true"]:focus {{ border: 2px solid {scheme.accent}; }}
    QLineEdit[frame="true"]:disabled {{ background: {scheme.ground}; color: {scheme.faint}; }}
    QScrollBar:vertical {{ background: transparent; width: 12px; margin: 0; }}
    QScrollBar:horizontal {{ background: transparent; height: 12px; margin: 0; }}
    QScrollBar::handle {{ background: {scheme.edge}; border-radius: 4px; margin: 2px; }}
    QScrollBar::handle:vertical {{ min-height: 30px; }}
    QScrollBar::handle:horizontal {{ min-width: 30px; }}
    QScrollBar::handle:hover, QScrollBar::handle:pressed {{ background: {scheme.faint}; }}
    QScrollBar::add-line, QScrollBar::sub-line {{ width: 0; height: 0; }}
    QScrollBar::add-page, QScrollBar::sub-page {{ background: transparent; }}
    QHeaderView::section {{
        background: {scheme.ground}; color: {scheme.ink}; border: none; border-right: 1px solid {scheme.edge};
        border-bottom: 1px solid {scheme.edge}; padding: 2px 4px; }}
    QHeaderView::up-arrow, QHeaderView::down-arrow {{
        subcontrol-origin: margin; subcontrol-position: top center; width: 9px; height: 5px; }}
    QTableView:focus, QListView:focus, QPlainTextEdit:focus, QTextBrowser:focus {{
        border: 2px solid {scheme.accent}; }}
    LawGraph {{ border: 2px solid {scheme.raised}; }}
    LawGraph:focus {{ border: 2px solid {scheme.accent}; }}
    QMenuBar {{ background: {scheme.ground}; }}
    QMenuBar::item:selected, QMenu::item:selected {{
        background: {scheme.accent}; color: {scheme.on_accent}; }}
    QToolTip {{
        background: {scheme.raised}; color: {scheme.ink}; border: 1px solid {scheme.edge}; padding: 4px; }}
    #notice {{
        background: {scheme.raised}; border: 1px solid {scheme.warning};
        border-left: 5px solid {scheme.warning}; }}
    QSplitter::handle {{ background: {scheme.edge}; }}
    QSplitter::handle:horizontal {{ width: 1px; }}
    QSplitter::handle:vertical {{ height: 1px; }}
    QStatusBar {{ color: {scheme.faint}; }}
    """


def dress(application: QApplication, dark: bool | None = None) -> None:
    """Give the application its colours, light or dark; they belong to the style `STYLE`.

    Parameters
    ----------
    application : QApplication
    dark : bool, optional
        None: as the desktop says.
    """
    if dark is None:
        dark = application.styleHints().colorScheme() == Qt.ColorScheme.Dark
    scheme = DARK if dark else LIGHT
    application.setPalette(palette_of(scheme))
    application.setStyleSheet(style_sheet(scheme))
