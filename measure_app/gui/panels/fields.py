"""A field for a measured quantity: value ± standard uncertainty, unit, instrument, and how to measure it."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QLineEdit, QVBoxLayout, QWidget

from measure_app.gui.panels.instruments import Instrument
from measure_app.gui.panels.pieces import Sentence, choice
from measure_app.gui.panels.quantity import Family, NotANumber, Typed, Unit, fitting_unit, shown, typed
from measure_app.words import marked, said

_NO_INSTRUMENT = marked("your own figure")


class _Line(QLineEdit):
    """A line that Escape puts back to what it was."""

    given_up = Signal()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Let Escape undo what was typed here."""
        if event.key() == Qt.Key.Key_Escape and self.isModified():
            self.given_up.emit()
            event.accept()
            return
        super().keyPressEvent(event)


class QuantityField(QWidget):
    """Asks for one quantity.

    The value and the uncertainty may be typed apart or together (``26,5 ± 0,1 mm``); an instrument chosen below
    fills in a usual uncertainty. What a person types becomes `committed` when the field is left or Enter is pressed.
    """

    committed = Signal(object, object)
    """Value and standard uncertainty in SI units; None for empty."""

    def __init__(
        self,
        label: str,
        family: Family,
        how: str = "",
        *,
        instruments: Sequence[Instrument] = (),
        with_u: bool = True,
        needed: bool = False,
        placeholder: str = "",
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.family = family
        self.label = label
        self._needed = needed
        self._instruments = tuple(instruments)
        self._value: float | None = None
        self._u: float | None = None
        self._unit = family.units[0]
        caption = QLabel(said(label))
        caption.setWordWrap(True)
        self.value_edit = self._edit(label, placeholder or said("not given"))
        caption.setBuddy(self.value_edit)
        self.u_edit = self._edit(
            said("{label}, standard uncertainty", label=label),
            "u",
        )
        self.u_edit.setFixedWidth(self.fontMetrics().horizontalAdvance("0.000000") + 14)
        line = QHBoxLayout()
        line.setSpacing(4)
        line.addWidget(self.value_edit, 1)
        if with_u:
            line.addWidget(QLabel("±"))
            line.addWidget(self.u_edit)
        self.unit_box = self._units(label)
        if self.unit_box is not None:
            line.addWidget(self.unit_box)
        elif family.units[0].symbol:
            line.addWidget(QLabel(said(family.units[0].symbol)))
        self.instrument_box: QComboBox | None = None
        self.error = Sentence(tone="error")
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 2)
        outer.setSpacing(3)
        outer.addWidget(caption)
        outer.addLayout(line)
        if instruments and with_u:
            outer.addLayout(self._measured_with(label))
        outer.addWidget(self.error)
        if how:
            outer.addWidget(Sentence(said(how), tone="faint"))
        self._with_u = with_u

    def _edit(self, name: str, placeholder: str) -> _Line:
        edit = _Line()
        edit.setAccessibleName(name)
        edit.setPlaceholderText(placeholder)
        edit.setMaxLength(80)
        edit.editingFinished.connect(self._finished)
        edit.given_up.connect(self._show)
        return edit

    def _units(self, label: str) -> QComboBox | None:
        if len(self.family.units) < 2:
            return None
        box = choice(
            said("{label}, unit", label=label),
            [(unit.symbol, unit) for unit in self.family.units],
        )
        box.setMinimumContentsLength(3)
        box.activated.connect(self._unit_chosen)
        return box

    def _measured_with(self, label: str) -> QHBoxLayout:
        options: list[tuple[str, object]] = [(said(each.name), each) for each in self._instruments]
        self.instrument_box = choice(
            said("{label}, measured with", label=label),
            [*options, (_NO_INSTRUMENT, None)],
        )
        for i, each in enumerate(self._instruments):
            self.instrument_box.setItemData(i, said(each.why), Qt.ItemDataRole.ToolTipRole)
        self.instrument_box.activated.connect(self._instrument_chosen)
        line = QHBoxLayout()
        line.setSpacing(4)
        with_words = QLabel(said("measured with"))
        with_words.setBuddy(self.instrument_box)
        line.addWidget(with_words)
        line.addWidget(self.instrument_box, 1)
        return line

    @property
    def value(self) -> float | None:
        """The value last committed or set, SI."""
        return self._value

    @property
    def u(self) -> float | None:
        """The standard uncertainty last committed or set, SI."""
        return self._u

    def set_values(self, value: float | None, u: float | None = None) -> None:
        """Show what the run holds."""
        typing = self.value_edit.isModified() or self.u_edit.isModified()
        if (value, u) != (self._value, self._u) or not typing:
            if self._value is None and value is not None and not self.value_edit.isModified():
                self._unit = fitting_unit(value, self.family)
            self._value, self._u = value, u
            self._show()

    def show_refusal(self, words: str) -> None:
        """Say at the field why what was typed is not taken."""
        self.error.say(words)
        self.value_edit.setAccessibleDescription(words)

    def _show(self) -> None:
        for edit, amount in ((self.value_edit, self._value), (self.u_edit, self._u)):
            _show_in(edit, shown(amount, self._unit))
        if self.unit_box is not None:
            self.unit_box.setCurrentIndex(self.family.units.index(self._unit))
        if self.instrument_box is not None:
            matching = [i for i, each in enumerate(self._instruments) if self._u == each.u]
            if self._u is None and self._value is None:
                matching = [self.instrument_box.currentIndex()]
            current = self.instrument_box.currentIndex()
            index = current if current in matching else (matching[0] if matching else len(self._instruments))
            self.instrument_box.setCurrentIndex(index)
        self.show_refusal("")

    def _instrument(self) -> Instrument | None:
        if self.instrument_box is None:
            return None
        index = self.instrument_box.currentIndex()
        return self._instruments[index] if index < len(self._instruments) else None

    def _finished(self) -> None:
        if not (self.value_edit.isModified() or self.u_edit.isModified()):
            return
        value = typed(self.value_edit.text(), self.family, self._unit)
        u = typed(self.u_edit.text(), self.family, self._unit) if self._with_u else None
        for each in (value, u):
            if isinstance(each, NotANumber):
                self.show_refusal(each.words)
                return
        if isinstance(u, Typed) and u.value < 0:
            self.show_refusal(said("an uncertainty cannot be below nought; type it without a minus"))
            return
        if value is None and self._needed:
            self.show_refusal(said("this cannot be empty; type a number"))
            return
        self._commit(value if isinstance(value, Typed) else None, u if isinstance(u, Typed) else None)

    def _commit(self, value: Typed | None, u: Typed | None) -> None:
        unit = value.unit if value is not None and value.unit is not None else self._unit
        spread: float | None = None
        if value is not None:
            # What is typed behind ± wins; an empty uncertainty falls back on the instrument's.
            instrument = self._instrument()
            spread = instrument.u if instrument is not None else None
            if value.u is not None:
                spread = value.u
            elif u is not None:
                spread = u.value
        self._take(value.value if value is not None else None, spread, unit)

    def _take(self, value: float | None, u: float | None, unit: Unit) -> None:
        was = (self._value, self._u)
        self._value, self._u, self._unit = value, u, unit
        self._show()
        if (value, u) != was:
            self.committed.emit(value, u)

    def _unit_chosen(self, index: int) -> None:
        """Show the same quantity in another unit; digits not yet taken in are meant in the new one."""
        self._unit = self.family.units[index]
        if self.value_edit.isModified() or self.u_edit.isModified():
            self._finished()
        else:
            self._show()

    def _instrument_chosen(self, index: int) -> None:
        if index < len(self._instruments) and self._value is not None:
            self._take(self._value, self._instruments[index].u, self._unit)
        elif index < len(self._instruments):
            self.u_edit.setPlaceholderText(shown(self._instruments[index].u, self._unit))


def _show_in(edit: QLineEdit, text: str) -> None:
    """Show a text; where all was selected, all is: who came by Tab and types replaces it, never adds to it."""
    if text != edit.text():
        whole = edit.hasFocus() and edit.selectedText() == edit.text()
        edit.setText(text)
        if whole:
            edit.selectAll()
    edit.setModified(False)
