"""Rules: which rules are in the picture, what was read on them, and how many millimetres a pixel is."""

from __future__ import annotations

import math

from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractItemView, QGridLayout, QLabel, QLineEdit, QListWidget

from analysis import with_uncertainty
from calibration import Measures, RuleFit, rule_words
from measure_app.edits import ChangeRule, Edit, MoveGraduation, RemoveGraduation, RemoveRule, SetPlumb
from measure_app.gui.panels.drawings import DepthDrawing
from measure_app.gui.panels.fields import QuantityField
from measure_app.gui.panels.graduation_rows import GRADUATION_FIELDS, GraduationRow, graduation_rows
from measure_app.gui.panels.instruments import DEPTHS, ENGRAVED_STEEL, RULES
from measure_app.gui.panels.panel import Panel
from measure_app.gui.panels.pieces import Section, Sentence, button, choice, row
from measure_app.gui.panels.quantity import LENGTH_MM, PIXELS, NotANumber, typed
from measure_app.gui.panels.steps import Step
from measure_app.gui.panels.tables import DataTable
from measure_app.gui.tools import Tool
from measure_app.run import GraduationPart, PlumbPart, RulePart
from measure_app.words import marked, said

_MEASURES = [
    (marked("heads"), Measures.HEAD),
    (marked("throws"), Measures.THROW),
    (marked("heads and throws"), Measures.BOTH),
]
_SHOWN_RULES = 4
_PADDING_PX = 3
"""Around an entry of the list of rules."""


class RulesPanel(Panel):
    """Rules and their graduations."""

    step = Step.RULES
    lead = marked("Press on engraved lines of a rule in the picture and type what is written there.")

    def build(self) -> None:
        """Make the controls."""
        self._build_list()
        self._build_rule()
        self._build_depth()
        self._build_plumb()

    def _build_list(self) -> None:
        self.rule_list = QListWidget()
        self.rule_list.setAccessibleName(said("Rules in the picture"))
        self.rule_list.setWordWrap(True)
        self.rule_list.setStyleSheet(f"QListWidget::item {{ padding: {_PADDING_PX}px; }}")
        self.rule_list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.rule_list.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.rule_list.currentRowChanged.connect(self._chosen)
        self.add(self.rule_list)
        self.kind_box = choice(said("What a new rule measures"), list(_MEASURES))
        self.made_of = choice(said("What a new rule is"), [(each.name, each) for each in RULES])
        self.new_button = button(
            said("Mark a new rule"), said("Then press on its engraved lines in the picture"), checkable=True
        )
        self.new_button.clicked.connect(self._new_rule)
        grid = QGridLayout()
        grid.setColumnStretch(1, 1)
        for i, (words, box) in enumerate(
            ((said("A new rule for"), self.kind_box), (said("which is"), self.made_of))
        ):
            label = QLabel(words)
            label.setBuddy(box)
            grid.addWidget(label, i, 0)
            grid.addWidget(box, i, 1)
        grid.addWidget(self.new_button, 2, 0, 1, 2)
        self.add(grid)
        self.missing = Sentence(tone="warning")
        self.add(self.missing)
        self.services.tool_changed.connect(self._tool_changed)

    def _build_rule(self) -> None:
        self._rule = Section(said("This rule"))
        self.name_edit = QLineEdit()
        self.name_edit.setAccessibleName(said("Name of the rule"))
        self.name_edit.setMaxLength(200)
        self.name_edit.editingFinished.connect(self._name_typed)
        self.measures_box = choice(said("What the rule measures"), list(_MEASURES))
        self.measures_box.activated.connect(self._measures_chosen)
        self._rule.add(row(said("Name"), self.name_edit, stretch=1))
        self._rule.add(row(said("Measures"), self.measures_box, stretch=1))
        self.table = DataTable(GRADUATION_FIELDS, said("Graduations of the rule"))
        self.table.selectionModel().selectionChanged.connect(lambda *_: self._show_value())
        self.table.rows_model.cell_typed.connect(self._cell_typed)
        self._rule.add(self.table)
        self.add_button = button(
            said("Mark more lines"), said("Then press on engraved lines in the picture"), checkable=True
        )
        self.add_button.clicked.connect(self._more)
        self.remove_button = button(said("Remove the line"), said("Remove the selected graduation (Delete)"))
        self.remove_button.clicked.connect(self._remove_graduation)
        self.table.delete_pressed.connect(self._remove_graduation)
        self._rule.add(row(self.add_button, self.remove_button))
        self.value_field = QuantityField(
            said("Value of the selected line"), LENGTH_MM, with_u=False, needed=True
        )
        self.value_field.committed.connect(lambda value, _: self._value_typed(value))
        self._rule.add(self.value_field)
        self.scale = Sentence()
        self.perspective = Sentence(tone="faint")
        self._rule.add(self.scale)
        self._rule.add(self.perspective)
        self.px_u_field = QuantityField(
            said("How well a line is met with a press"),
            PIXELS,
            said(
                "About a third of a pixel with the loupe, half a pixel without, more where lines are blurred."
            ),
            with_u=False,
            needed=True,
        )
        self.px_u_field.committed.connect(lambda u, _: self._change(self.px_u_field, px_u=u))
        self.graduation_u_field = QuantityField(
            said("How true its engraved lines are"),
            LENGTH_MM,
            said(
                "Steel 0.1 mm, stiff plastic 0.2 mm, wood 0.3 mm; a scale off a printer 0.3 mm, and check "
                "it against a steel rule first."
            ),
            with_u=False,
            needed=True,
        )
        self.graduation_u_field.committed.connect(
            lambda u, _: self._change(self.graduation_u_field, graduation_u_m=u)
        )
        self._rule.add(self.px_u_field)
        self._rule.add(self.graduation_u_field)
        self.delete_button = button(
            said("Remove this rule"), said("Remove the rule with all its graduations; it can be undone")
        )
        self.delete_button.clicked.connect(self._remove_rule)
        self._rule.add(row(self.delete_button))
        self.add(self._rule)

    def _build_depth(self) -> None:
        self._depth = Section(said("Rule in another plane"))
        self.drawing = DepthDrawing(said("rule"))
        self._depth.add(self.drawing)
        self.depth_words = Sentence()
        self._depth.add(self.depth_words)
        self.behind_field = QuantityField(
            said("Rule's face behind the jet's plane"),
            LENGTH_MM,
            said(
                "Measure on the bench, square to the jet, from the hole's centre line to the face of "
                "the rule. Type a minus if it stands nearer to the camera than the jet."
            ),
            instruments=DEPTHS,
            needed=True,
        )
        self.behind_field.committed.connect(self._depth_typed)
        self._depth.add(self.behind_field)
        self.add(self._depth)

    def _build_plumb(self) -> None:
        self._plumb = Section(said("Plumb"), is_open=True)
        self._plumb.add(
            said("A hanging thread or the edge of a wall tells what is vertical, whatever the camera's tilt.")
        )
        self.plumb_button = button(
            said("Draw the plumb"), said("Drag along a line that is vertical in the world"), checkable=True
        )
        self.plumb_button.clicked.connect(lambda on: self.services.use_tool(Tool.PLUMB if on else Tool.LOOK))
        self.no_plumb = button(said("Remove"), said("Take the picture's own vertical instead"))
        self.no_plumb.clicked.connect(lambda: self.ask(SetPlumb(None)))
        self._plumb.add(row(self.plumb_button, self.no_plumb))
        self._plumb_words = Sentence(tone="faint")
        self._plumb.add(self._plumb_words)
        self.add(self._plumb)

    @property
    def index(self) -> int:
        """Index of the chosen rule, -1 where there is none."""
        run = self.run
        at = self.rule_list.currentRow()
        return at if run is not None and 0 <= at < len(run.rules) else -1

    @property
    def rule(self) -> RulePart | None:
        """The chosen rule."""
        return self.run.rules[self.index] if self.run is not None and self.index >= 0 else None

    def refresh(self) -> None:
        """Show the rules as the document has them."""
        self.guarded(self._show)

    def _show(self) -> None:
        rules = self.run.rules if self.run is not None else ()
        fits = self._fits()
        at = max(0, min(self.rule_list.currentRow(), len(rules) - 1))
        names = [_line_of(rule, fits.get(i)) for i, rule in enumerate(rules)]
        if names != [self.rule_list.item(i).text() for i in range(self.rule_list.count())]:
            grown = 0 < self.rule_list.count() < len(names)
            if self.rule_list.count() != len(names):
                self._offer_kind({rule.measures for rule in rules})
            self.rule_list.clear()
            self.rule_list.addItems(names)
            at = len(rules) - 1 if grown else at
        self.rule_list.setCurrentRow(at if rules else -1)
        self._fit_list()
        self.rule_list.setVisible(bool(rules))
        for tool in (self.new_button, self.add_button, self.plumb_button):
            tool.setEnabled(self.run is not None and self.info is not None)
        self.missing.say(self._missing_words())
        for section in (self._rule, self._depth):
            section.setVisible(bool(rules))
        plumb = self.run.plumb if self.run is not None else None
        self.no_plumb.setEnabled(plumb is not None)
        self._plumb_words.say(
            said("None is drawn: the picture's own vertical is taken, give or take a degree.")
            if plumb is None
            else said(
                "Drawn over {long:.0f} px: the picture's own vertical leans {lean:.1f}° against it.",
                long=math.dist(plumb.top_px, plumb.bottom_px),
                lean=_lean_deg(plumb),
            )
        )
        self._show_rule()

    def _fit_list(self) -> None:
        """Make the list as tall as its entries, up to some; more are scrolled to."""
        metrics, listed = self.fontMetrics(), self.rule_list
        room = max(listed.viewport().width(), 200) - 2 * _PADDING_PX
        tall = 0
        for i in range(min(listed.count(), _SHOWN_RULES)):
            wrapped = Qt.TextFlag.TextWordWrap
            box = metrics.boundingRect(0, 0, room, 9999, wrapped, listed.item(i).text())
            tall += box.height() + 2 * _PADDING_PX
        listed.setFixedHeight(max(tall, metrics.lineSpacing()) + 2 * listed.frameWidth() + 4)

    def _missing_words(self) -> str:
        rules = self.run.rules if self.run is not None else ()
        kinds = {rule.measures for rule in rules}
        if not rules:
            return said(
                "No rule is marked yet, so no pixel is a millimetre. Two lines on a rule are enough to begin."
            )
        if not kinds & {Measures.HEAD, Measures.BOTH}:
            return said("No rule measures heads yet: mark an upright one, or say that this one serves both.")
        if not kinds & {Measures.THROW, Measures.BOTH}:
            return said(
                "No rule measures throws yet: mark a second one along the tray, or say that this one "
                "serves both."
            )
        return ""

    def _fits(self) -> dict[int, RuleFit]:
        """Fits by index of the rule, as far as the newest ones belong to these rules; they need no hole."""
        fits, run = self.document.rule_fits, self.run
        return dict(enumerate(fits)) if run is not None and len(fits) == len(run.rules) else {}

    def _offer_kind(self, kinds: set[Measures]) -> None:
        """Offer the kind of rule that is still lacking."""
        if kinds == {Measures.HEAD}:
            self.kind_box.setCurrentIndex(self.kind_box.findData(Measures.THROW))
        elif kinds == {Measures.THROW}:
            self.kind_box.setCurrentIndex(self.kind_box.findData(Measures.HEAD))

    def _show_rule(self) -> None:
        rule = self.rule
        if rule is None:
            return
        fit = self._fits().get(self.index)
        if not self.name_edit.hasFocus() or not self.name_edit.isModified():
            self.name_edit.setText(rule_words(rule.name))
        self.measures_box.setCurrentIndex([m for _, m in _MEASURES].index(rule.measures))
        self.table.set_rows(graduation_rows(rule, fit))
        self.table.fit_columns(120)
        self.table.fit_height(9)
        self.px_u_field.set_values(rule.px_u)
        self.graduation_u_field.set_values(rule.graduation_u_m)
        self.behind_field.set_values(rule.behind_m, rule.behind_u_m)
        distance = self.run.camera.distance_m if self.run is not None else None
        self.drawing.set_depth(rule.behind_m, distance)
        self.depth_words.say(self.drawing.words)
        if fit is not None:
            self.scale.say(
                said(
                    "{m_per_px} per px, {m_per_px2:.2f} px per mm.",
                    m_per_px=with_uncertainty(1e3 * fit.m_per_px, 1e3 * fit.m_per_px_u, "mm"),
                    m_per_px2=1e-3 / fit.m_per_px,
                )
            )
            self.perspective.say(said("Perspective: {perspective}.", perspective=fit.perspective))
        else:
            self.scale.say(
                said("No scale yet: {lack}.", lack=self.document.lack) if self.document.lack else ""
            )
            self.perspective.say("")
        self._show_value()

    def _selected(self) -> GraduationRow | None:
        rows = self.table.selected_rows()
        return rows[0] if rows else None

    def _show_value(self) -> None:
        chosen = self._selected()
        self.remove_button.setEnabled(chosen is not None)
        self.value_field.setVisible(chosen is not None)
        if chosen is not None:
            self.value_field.set_values(chosen.value_m)

    def _chosen(self, _row: int) -> None:
        self.table.clearSelection()
        self.guarded(self._show_rule)
        if self.services.tool is Tool.GRADUATION and self.index >= 0:
            self._more(on=True)

    def _new_rule(self, on: bool) -> None:
        if not on:
            self.services.use_tool(Tool.LOOK)
            return
        made_of = self.made_of.currentData() or ENGRAVED_STEEL
        self.services.use_tool(
            Tool.GRADUATION, rule=None, measures=self.kind_box.currentData(), graduation_u_m=made_of.u
        )

    def _more(self, on: bool) -> None:
        if on and self.rule is not None:
            self.services.use_tool(Tool.GRADUATION, rule=self.index, px_u=self.rule.px_u)
        else:
            self.services.use_tool(Tool.LOOK)

    def _tool_changed(self, tool: Tool) -> None:
        marking = tool is Tool.GRADUATION
        rule = self.services.options.rule
        self.new_button.setChecked(marking and rule is None)
        self.add_button.setChecked(marking and rule is not None)
        self.plumb_button.setChecked(tool is Tool.PLUMB)

    def _change(self, field: QuantityField, **parts: float) -> None:
        if self.rule is not None:
            self.ask(ChangeRule(self.index, replace(self.rule, **parts)), field)

    def _depth_typed(self, behind: float, u: float | None) -> None:
        self._change(self.behind_field, behind_m=behind, behind_u_m=u or 0.0)

    def _name_typed(self) -> None:
        name = self.name_edit.text().strip()
        if self.rule is not None and self.name_edit.isModified() and name:
            self.ask(ChangeRule(self.index, replace(self.rule, name=name)))
        self.name_edit.setModified(False)

    def _measures_chosen(self, _index: int) -> None:
        if self.rule is not None:
            self.ask(ChangeRule(self.index, replace(self.rule, measures=self.measures_box.currentData())))

    def _cell_typed(self, row: GraduationRow, text: str) -> None:
        self.table.select_where(lambda each: each.index == row.index)
        read = typed(text, LENGTH_MM, row.unit)
        if isinstance(read, NotANumber):
            self.value_field.show_refusal(read.words)
        elif read is not None:
            self._give_value(row, read.value)

    def _value_typed(self, value: float) -> None:
        chosen = self._selected()
        if chosen is not None:
            self._give_value(chosen, value)

    def _give_value(self, chosen: GraduationRow, value: float) -> None:
        rule = self.rule
        if rule is None:
            return
        edit: Edit = MoveGraduation(
            self.index, chosen.index, GraduationPart(rule.graduations[chosen.index].px, value)
        )
        if self.ask(edit, self.value_field):
            self.table.select_where(lambda r: r.value_m == value)

    def _remove_graduation(self) -> None:
        chosen = self._selected()
        if chosen is not None:
            self.ask(RemoveGraduation(self.index, chosen.index))

    def _remove_rule(self) -> None:
        if self.index >= 0:
            self.ask(RemoveRule(self.index))


def _line_of(rule: RulePart, fit: RuleFit | None) -> str:
    serves = next(said(words) for words, m in _MEASURES if m is rule.measures)
    scale = said(", {m_per_px:.3f} mm per px", m_per_px=1e3 * fit.m_per_px) if fit is not None else ""
    return f"{rule_words(rule.name)} ({serves}{scale})"


def _lean_deg(plumb: PlumbPart) -> float:
    """Return the angle between the frame's columns and the plumb, degrees, without a sign."""
    return math.degrees(
        math.atan2(abs(plumb.bottom_px.x - plumb.top_px.x), abs(plumb.bottom_px.y - plumb.top_px.y))
    )
