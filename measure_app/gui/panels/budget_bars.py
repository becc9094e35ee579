"""The budget of a finding as bars: solid for what more frames would shrink, hatched for what all of them share."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRectF, QSize, Qt
from PySide6.QtGui import QBrush, QColor, QPainter, QPen
from PySide6.QtWidgets import QListView, QStyle, QStyledItemDelegate, QStyleOptionViewItem, QWidget

from analysis import Finding, plain
from measure_app.gui.panels.tables import ROW_ROLE, Field, RowsModel
from measure_app.gui.panels.wording import unit_words
from measure_app.gui.theme import colours
from measure_app.words import marked, said, source_words


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One source of a finding's uncertainty."""

    source: str
    u: float
    unit: str
    part: float
    """Share of the variance, 0 to 1."""
    length: float
    """Length of the bar, 1 for the largest source."""
    shared: bool

    @property
    def kind(self) -> str:
        """Whether more frames would shrink it."""
        return said("shared by all readings") if self.shared else said("of single readings")

    @property
    def percent(self) -> str:
        """The share of the variance in words."""
        return said("below 1 %") if self.part < 0.005 else f"{100 * self.part:.0f} %"


def budget_rows(finding: Finding) -> tuple[BudgetRow, ...]:
    """Return a finding's sources, largest first, each with its share of the variance."""
    total = sum(share.u**2 for share in finding.budget)
    if total <= 0.0:
        return ()
    unit = unit_words(finding.unit)
    most = max(share.u for share in finding.budget) ** 2
    return tuple(
        BudgetRow(s.source, s.u, unit, s.u**2 / total, s.u**2 / most, s.shared) for s in finding.budget
    )


BUDGET_FIELDS = (
    Field(marked("source"), lambda r: r.source),
    Field("u", lambda r: f"{plain(r.u, 2)} {r.unit}".strip(), lambda r: r.u),
    Field(marked("share of variance"), lambda r: r.percent, lambda r: r.part),
    Field(marked("kind"), lambda r: r.kind),
)


class _BarDelegate(QStyledItemDelegate):
    """Paints a source's name, its bar, and its share."""

    def sizeHint(  # noqa: N802
        self, option: QStyleOptionViewItem, _index: QModelIndex | QPersistentModelIndex
    ) -> QSize:
        """Return the room of two lines."""
        line = option.fontMetrics.height()
        return QSize(120, int(2.25 * line) + 8)

    def paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        """Paint one source."""
        row = index.data(ROW_ROLE)
        if not isinstance(row, BudgetRow):
            return
        scheme = colours()
        rect, metrics = QRectF(option.rect), option.fontMetrics
        chosen = bool(option.state & QStyle.StateFlag.State_Selected)
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if chosen:
            painter.fillRect(rect, QColor(scheme.sunken))
        line = metrics.height()
        inner = rect.adjusted(6, 4, -6, -2)
        name = metrics.elidedText(source_words(row.source), Qt.TextElideMode.ElideMiddle, int(inner.width()))
        painter.setPen(QColor(scheme.ink))
        painter.drawText(QRectF(inner.left(), inner.top(), inner.width(), line), 0, name)
        room = metrics.horizontalAdvance(said("below 1 %"))
        bar = QRectF(
            inner.left(), inner.top() + 1.15 * line, max(20.0, inner.width() - room - 8), 0.75 * line
        )
        filled = QRectF(bar.left(), bar.top(), max(2.0, bar.width() * row.length), bar.height())
        shade = QColor(scheme.found if row.shared else scheme.hand)
        painter.setPen(QPen(shade, 1))
        if row.shared:
            painter.setBrush(QBrush(QColor(scheme.raised)))
            painter.drawRect(filled)
            painter.setBrush(QBrush(shade, Qt.BrushStyle.BDiagPattern))
        else:
            painter.setBrush(QBrush(shade))
        painter.drawRect(filled)
        painter.setPen(QColor(scheme.ink))
        painter.drawText(
            QRectF(filled.right() + 8, bar.top() - 0.15 * line, room, line),
            int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter),
            row.percent,
        )
        painter.restore()


class BudgetList(QListView):
    """The bars; arrow keys walk along them, and a screen reader reads source and share."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.rows_model = RowsModel(_SPOKEN, self)
        self.setModel(self.rows_model)
        self.setItemDelegate(_BarDelegate(self))
        self.setAccessibleName(said("Budget of the chosen finding"))
        self.setVerticalScrollMode(QListView.ScrollMode.ScrollPerPixel)
        self.setUniformItemSizes(True)

    def show_finding(self, finding: Finding | None, most: int) -> int:
        """Show the largest sources of a finding; return how many are left out."""
        rows = budget_rows(finding) if finding is not None else ()
        self.rows_model.set_rows(rows[:most])
        line = self.fontMetrics().height()
        self.setFixedHeight(len(rows[:most]) * (int(2.25 * line) + 8) + 6)
        return max(0, len(rows) - most)


_SPOKEN = (
    Field(
        marked("source"),
        lambda r: said(
            "{source}: {percent} of the variance, u = {size}, {kind}",
            source=source_words(r.source),
            percent=r.percent,
            size=BUDGET_FIELDS[1].text(r),
            kind=said(r.kind),
        ),
    ),
    *BUDGET_FIELDS[1:],
)
