"""The findings as a list of two lines each: what it is, and its value with its uncertainty."""

from __future__ import annotations

import math

from PySide6.QtCore import QItemSelectionModel, QModelIndex, QPersistentModelIndex, QRectF, QSize, Qt
from PySide6.QtGui import (
    QAction,
    QColor,
    QFont,
    QFontMetrics,
    QFontMetricsF,
    QGuiApplication,
    QKeySequence,
    QPainter,
    QResizeEvent,
)
from PySide6.QtWidgets import QListView, QStyle, QStyledItemDelegate, QStyleOptionViewItem, QWidget

from analysis import Finding, finding_name, interval, with_uncertainty
from measure_app.gui.panels.tables import ROW_ROLE, Field, RowsModel, as_tsv
from measure_app.gui.signs import well_signed
from measure_app.gui.theme import colours
from measure_app.report import shown_unit
from measure_app.words import marked, numeral, said

ASSUMED_G = marked("◇ assumed g")


def value_words(finding: Finding) -> str:
    """Write a finding's value with its uncertainty and unit."""
    scale, unit = shown_unit(finding.name, finding.unit)
    return with_uncertainty(scale * finding.value, scale * finding.u, unit)


def interval_words(finding: Finding) -> str:
    """Write a finding's 95 % interval."""
    scale, unit = shown_unit(finding.name, finding.unit)
    low, high = finding.interval_95
    return well_signed(interval(scale * low, scale * high, scale * finding.u, unit))


FINDING_FIELDS = (
    Field(marked("finding"), lambda f: finding_name(f.name)),
    Field(marked("symbol"), lambda f: f.symbol),
    Field(marked("value"), value_words, lambda f: f.value),
    Field(marked("standard uncertainty"), lambda f: numeral(f"{f.u:.2g}"), lambda f: f.u),
    Field(marked("unit"), lambda f: f.unit),
    Field(marked("95 % from"), lambda f: numeral(f"{f.interval_95[0]:.6g}"), lambda f: f.interval_95[0]),
    Field(marked("95 % to"), lambda f: numeral(f"{f.interval_95[1]:.6g}"), lambda f: f.interval_95[1]),
    Field(marked("rests on an assumed g"), lambda f: said("yes") if f.depends_on_assumed_g else said("no")),
    Field(marked("method"), lambda f: f.method),
)

_SPOKEN = (
    Field(
        marked("finding"),
        lambda f: (
            f"{finding_name(f.name)}, {f.symbol} = {value_words(f)}, 95 %: {interval_words(f)}"
            + (said(", rests on an assumed g") if f.depends_on_assumed_g else "")
        ),
    ),
    *FINDING_FIELDS[1:],
)


_SHOWN = 5
_WRAPPED = int(Qt.TextFlag.TextWordWrap)
_BESIDE, _ABOVE = 16, 12
"""Room beside and above the words of a finding, px."""


class _FindingDelegate(QStyledItemDelegate):
    def __init__(self, view: QListView) -> None:
        super().__init__(view)
        self._view = view

    def sizeHint(  # noqa: N802
        self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> QSize:
        """Return the room of the name, of as many lines as it takes, and two lines more."""
        finding = index.data(ROW_ROLE)
        name = self._name_height(option, finding) if isinstance(finding, Finding) else 0
        return QSize(150, max(name, option.fontMetrics.height()) + 2 * option.fontMetrics.height() + _ABOVE)

    def _name_height(self, option: QStyleOptionViewItem, finding: Finding) -> int:
        room = self._view.viewport().width() - _BESIDE - math.ceil(_symbol_width(option.font, finding))
        metrics = QFontMetrics(option.font)
        return metrics.boundingRect(0, 0, room, 9999, _WRAPPED, finding_name(finding.name)).height()

    def paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        """Paint one finding."""
        finding = index.data(ROW_ROLE)
        if not isinstance(finding, Finding):
            return
        scheme = colours()
        rect, metrics = QRectF(option.rect), option.fontMetrics
        chosen = bool(option.state & QStyle.StateFlag.State_Selected)
        painter.save()
        if chosen:
            painter.fillRect(rect, QColor(scheme.sunken))
            painter.fillRect(QRectF(rect.left(), rect.top(), 4, rect.height()), QColor(scheme.accent))
        line = float(metrics.height())
        inner = rect.adjusted(10, 5, -6, -5)
        bold = _bold(option.font)
        wide = _symbol_width(option.font, finding)
        named = max(line, float(self._name_height(option, finding)))
        painter.setPen(QColor(scheme.ink))
        painter.setFont(bold)
        painter.drawText(QRectF(inner.left(), inner.top(), wide, line), 0, finding.symbol)
        painter.setFont(option.font)
        painter.setPen(QColor(scheme.faint))
        room = inner.width() - wide
        name = QRectF(inner.left() + wide, inner.top(), room, named)
        painter.drawText(name, _WRAPPED, finding_name(finding.name))
        painter.setPen(QColor(scheme.ink))
        painter.setFont(bold)
        value = value_words(finding)
        painter.drawText(QRectF(inner.left(), inner.top() + named, inner.width(), line), 0, value)
        painter.setFont(option.font)
        painter.setPen(QColor(scheme.faint))
        told = f"95 %: {interval_words(finding)}"
        painter.drawText(QRectF(inner.left(), inner.top() + named + line, inner.width(), line), 0, told)
        if finding.depends_on_assumed_g:
            painter.setPen(QColor(scheme.warning))
            flags = int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
            painter.drawText(
                QRectF(inner.left(), inner.top() + named + line, inner.width(), line), flags, said(ASSUMED_G)
            )
        painter.setPen(QColor(scheme.edge))
        painter.drawLine(rect.bottomLeft(), rect.bottomRight())
        painter.restore()


def _symbol_width(font: QFont, finding: Finding) -> float:
    """Return the room of a finding's symbol, which is bold, before its name, px."""
    return QFontMetricsF(_bold(font)).horizontalAdvance(finding.symbol) + 8


def _bold(font: QFont) -> QFont:
    bold = QFont(font)
    bold.setBold(True)
    return bold


class FindingList(QListView):
    """The findings, read with the arrow keys and copied as a table."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.rows_model = RowsModel(_SPOKEN, self)
        self.setModel(self.rows_model)
        self.setItemDelegate(_FindingDelegate(self))
        self.setAccessibleName(said("Findings"))
        self.setVerticalScrollMode(QListView.ScrollMode.ScrollPerPixel)
        self.setResizeMode(QListView.ResizeMode.Adjust)
        copy = QAction(said("Copy all findings as a table"), self)
        copy.setShortcut(QKeySequence.StandardKey.Copy)
        copy.setShortcutContext(Qt.ShortcutContext.WidgetShortcut)
        copy.triggered.connect(self.copy_all)
        self.addAction(copy)
        self.setContextMenuPolicy(Qt.ContextMenuPolicy.ActionsContextMenu)

    def show_findings(self, findings: tuple[Finding, ...]) -> None:
        """Show findings; the one that was chosen stays chosen, at first it is the first."""
        before = self.chosen
        self.rows_model.set_rows(findings)
        names = [each.name for each in findings]
        if names:
            at = names.index(before.name) if before is not None and before.name in names else 0
            flags = QItemSelectionModel.SelectionFlag
            self.selectionModel().setCurrentIndex(self.rows_model.index(at, 0), flags.ClearAndSelect)
        self._fit_height()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        """Names break anew at another width."""
        super().resizeEvent(event)
        if event.size().width() != event.oldSize().width():
            self.scheduleDelayedItemsLayout()
            self._fit_height()

    def _fit_height(self) -> None:
        """Be as tall as the first findings; more are scrolled to."""
        rows = [self.sizeHintForRow(i) for i in range(min(_SHOWN, self.rows_model.rowCount()))]
        self.setFixedHeight(max(sum(rows), 3 * self.fontMetrics().height() + _ABOVE) + 6)

    @property
    def chosen(self) -> Finding | None:
        """The finding that is chosen."""
        row = self.currentIndex().data(ROW_ROLE) if self.currentIndex().isValid() else None
        return row if isinstance(row, Finding) else None

    def copy_all(self) -> None:
        """Copy all findings as tab-separated text."""
        QGuiApplication.clipboard().setText(as_tsv(FINDING_FIELDS, self.rows_model.rows))
