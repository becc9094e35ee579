"""Everything that the window shows is said by the catalogue, and Qt's own words go with it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QCoreApplication, QLocale, QSettings, Qt, QTranslator
from PySide6.QtGui import QAction
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QLabel,
    QLineEdit,
    QMenu,
    QScrollArea,
    QTableView,
    QWidget,
)

from measure_app import words
from measure_app.gui.app import make_application
from measure_app.gui.panels.reading_rows import concise
from measure_app.gui.panels.steps import Step
from measure_app.gui.speech import AS_SYSTEM, choose_language, chosen_language, own_name, speak_as_chosen
from tests.bracketed import bare
from tests.gui.conftest import Driver

# Names, units, symbols, keys of the keyboard and of run files, and what stands in the run itself.
NOT_SAID = re.compile(
    r"Clepsydra|English|Deutsch|Ctrl|Shift|Alt|Space|Home|End\b|[\w-]+\.(?:mp4|json|pdf|html|xlsx|csv)|[\w.\[\]]*_\w+"
    r"|camera\.\w+|drop\.\w+|px|<[^>]*>|&\w+;|h264|figures/|bench\S*|upright steel rule|tape under the landing shelf"
    r"|frames/s|Torricelli|WGS|JCGM|Clear cylinder[^⟦]*|workshop bench[^⟦]*|rendered[^⟦]*"
)

# What English leaves behind: its small words, and points in numbers.
LEFT_OVER = re.compile(
    r"\b(?:the|of|to|and|is|are|with|from|before|behind|needs?|by|or|where|it|assumed|own|thin|frames?|camera|two"
    r"|find|no|not|each|on|at|than|that|this|readings?|found|which|rules?|surfaces?|landings?|yes)\b|\d\.\d"
)
OF_THE_RUN = re.compile(r"upright steel rule|tape under the landing shelf|Workshop bench[^\n]*|readings\.csv")

# Menus that Qt and the graphs' library bring along.
QTS = {"Scroll Left", "Scroll Right", "Export..."}


def shown(window: QWidget) -> Iterator[str]:
    for widget in window.findChildren(QWidget):
        yield from (widget.toolTip(), widget.accessibleName(), widget.accessibleDescription())
        if isinstance(widget, QLabel | QAbstractButton):
            yield widget.text()
        elif isinstance(widget, QMenu):
            yield widget.title()
        elif isinstance(widget, QLineEdit):
            yield widget.placeholderText()
        elif isinstance(widget, QComboBox):
            for i in range(widget.count()):
                yield from (widget.itemText(i), str(widget.itemData(i, Qt.ItemDataRole.ToolTipRole) or ""))
        elif isinstance(widget, QTableView) and (model := widget.model()) is not None:
            for column in range(model.columnCount()):
                yield str(model.headerData(column, Qt.Orientation.Horizontal) or "")
                yield str(
                    model.headerData(column, Qt.Orientation.Horizontal, Qt.ItemDataRole.ToolTipRole) or ""
                )
                for row in range(min(3, model.rowCount())):
                    yield str(model.index(row, column).data() or "")
    for action in window.findChildren(QAction):
        yield action.text()


@pytest.mark.usefixtures("bracketed")
def test_all_that_the_window_shows_is_said(driver: Driver) -> None:
    driver.open_bench()
    driver.window.bench.find_the_rest()
    driver.settles()
    silent = {}
    for step in Step:
        driver.window.go_to_step(step)
        QCoreApplication.processEvents()
        for text in shown(driver.window):
            if text not in QTS and (found := bare(text, NOT_SAID)):
                silent[text] = found
    assert not silent, "\n".join(f"{text!r}: {found}" for text, found in silent.items())


@pytest.mark.usefixtures("german")
def test_the_window_in_german(driver: Driver) -> None:
    driver.open_bench()
    driver.window.bench.find_the_rest()
    driver.settles()
    told: dict[str, None] = {}
    cut = []
    for step in Step:
        driver.window.go_to_step(step)
        QCoreApplication.processEvents()
        told |= dict.fromkeys(shown(driver.window))
        cut += [
            step.value
            for area in driver.window.findChildren(QScrollArea)
            if area.isVisible() and area.widget().minimumSizeHint().width() > area.viewport().width()
        ]
    assert not cut, "German words are longer, panels scroll downwards only"
    left = {text: found for text in told if (found := LEFT_OVER.findall(OF_THE_RUN.sub("", text)))}
    assert not left
    texts = "\n".join(told)
    for word in ("Ergebnisse", "Maßstäbe", "Druckhöhe", "Geschwindigkeitszahl", "Rückgängig"):
        assert word in texts
    assert re.search(r"0,9\d+ ± 0,0\d+", texts), "decimal commas"
    assert not re.search(r"0\.9\d+ ± ", texts)
    assert concise(199.66, 0.61) == "199,66(61)"


def test_a_choice_of_language_is_kept_and_holds_from_the_next_start(tmp_path: Path) -> None:
    settings = QSettings(str(tmp_path / "settings.ini"), QSettings.Format.IniFormat)
    assert chosen_language(settings) == AS_SYSTEM
    choose_language(settings, "de")
    assert words.language() == "en"
    again = QSettings(str(tmp_path / "settings.ini"), QSettings.Format.IniFormat)
    try:
        speak_as_chosen(again)
        assert words.language() == "de"
    finally:
        words.use_language("en")
    choose_language(settings, "tlh")
    assert chosen_language(settings) == AS_SYSTEM
    assert [own_name(code) for code in words.languages()] == ["English", "Deutsch"]


@pytest.mark.usefixtures("german")
def test_qt_speaks_along(qapp: QApplication) -> None:
    before = QLocale()
    make_application()
    try:
        assert QCoreApplication.translate("QPlatformTheme", "Cancel") == "Abbrechen"
        assert QLocale().decimalPoint() == ","
    finally:
        QLocale.setDefault(before)
        for translator in qapp.findChildren(QTranslator):
            qapp.removeTranslator(translator)
            translator.deleteLater()
