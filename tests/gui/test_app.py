"""What the whole application wears."""

from __future__ import annotations

from PySide6.QtGui import QColor, QIcon
from PySide6.QtWidgets import QApplication

from measure_app.gui.app import wear_icon


def test_the_icon_is_there_and_shows_something(qapp: QApplication) -> None:
    qapp.setWindowIcon(QIcon())
    wear_icon(qapp)
    image = qapp.windowIcon().pixmap(48, 48).toImage()
    colours = {QColor(image.pixel(x, y)).name() for x in range(0, 48, 3) for y in range(0, 48, 3)}
    assert image.width() == 48
    assert len(colours) > 2
