"""Falls: mark a drop frame by frame, and read the g that comes of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from msgspec.structs import replace

from analysis import finding_name, with_uncertainty
from measure_app.edits import ChangeFall, RemoveFall, SetCamera
from measure_app.gui.falling import KINDS, without_last
from measure_app.gui.panels.fields import QuantityField
from measure_app.gui.panels.instruments import DEPTHS
from measure_app.gui.panels.pieces import Section, Sentence, button, choice, number_box, row
from measure_app.gui.panels.quantity import LENGTH_MM, SHORT_TIME
from measure_app.gui.panels.tables import DataTable, Field
from measure_app.gui.tools import Tool
from measure_app.run import FallPart
from measure_app.words import counted, marked, said

if TYPE_CHECKING:
    from measure_app.gui.panels.readings_panel import ReadingsPanel

_ROUTES = (
    "gravity_combined",
    "gravity_from_parabola",
    "gravity_from_fall_time",
    "gravity_from_track",
)


@dataclass(frozen=True, slots=True)
class ShownFall:
    """One line of the list."""

    index: int
    part: FallPart


FALL_FIELDS = (
    Field(marked("fall"), lambda f: f.part.name, tip=marked("Press to go to its first frame.")),
    Field(
        marked("marks"),
        lambda f: str(len(f.part.marks)),
        lambda f: len(f.part.marks),
        marked("Two are two events."),
    ),
    Field(
        marked("frames"),
        lambda f: f"{f.part.marks[0].frame}–{f.part.marks[-1].frame}",
        lambda f: f.part.marks[0].frame,
        marked("First and last frame with a mark."),
    ),
    Field(marked("what"), lambda f: KINDS.get(f.part.what, f.part.what), tip=marked("What falls.")),
)


class FallsSection(Section):
    """The part of the readings panel in which a falling drop is marked."""

    def __init__(self, panel: ReadingsPanel) -> None:
        super().__init__(said("A fall: a g that is news"), is_open=False)
        self._panel = panel
        self._chosen: int | None = None
        self.add(
            said(
                "A drop that falls beside the rule tells g by itself, without the accepted one. "
                "Press on its middle, frame by frame: three marks or more, the more the better. Two "
                "marks alone are two events: the frame in which it has just been let go, and the one "
                "in which it has just landed."
            )
        )
        self.what_box = choice(said("What falls"), [(words, what) for what, words in KINDS.items()])
        self.advance_box = number_box(said("Frames to move on after each press on a fall"), 0, 1000)
        self.advance_box.setValue(1)
        self.advance_box.setSpecialValueText(said("stay"))
        self.advance_box.setPrefix("+")
        self.advance_box.setSuffix(said(" frames"))
        self.mark_button = button(
            said("Mark a falling drop"),
            said("Press on the drop; the film moves on after each press"),
            checkable=True,
        )
        self.more_button = button(
            said("Go on with it"), said("Add marks to the fall chosen in the list"), checkable=True
        )
        self.mark_button.clicked.connect(lambda on: self._take(None) if on else self._put_down())
        self.more_button.clicked.connect(lambda on: self._take(self._chosen) if on else self._put_down())
        self.what_box.activated.connect(lambda _: self._retake())
        self.advance_box.valueChanged.connect(lambda _: self._retake())
        self.add(row(self.what_box, stretch=0))
        self.add(row(said("After a press"), self.advance_box, stretch=1))
        self.add(row(self.mark_button, self.more_button))
        self.table = DataTable(FALL_FIELDS, said("Falls"))
        self.table.setMinimumHeight(5 * (self.fontMetrics().height() + 6))
        self.table.row_opened.connect(lambda shown: panel.document.go_to(shown.part.marks[0].frame))
        self.table.selectionModel().selectionChanged.connect(lambda *_: self._selection())
        self.table.delete_pressed.connect(self._delete)
        self.add(self.table)
        self.last_button = button(
            said("Drop the last mark"), said("Take the last mark of the chosen fall away")
        )
        self.delete_button = button(said("Delete"), said("Delete the chosen fall; it can be undone"))
        self.last_button.clicked.connect(self._drop_last)
        self.delete_button.clicked.connect(self._delete)
        self.add(row(self.last_button, self.delete_button))
        self.behind = QuantityField(
            said("The chosen fall, behind the jet's plane"),
            LENGTH_MM,
            said(
                "How far behind the jet's plane the drop falls; before it with a minus. Each "
                "centimetre at one metre is 1 % of g."
            ),
            instruments=DEPTHS,
            needed=True,
        )
        self.behind.committed.connect(self._typed_depth)
        self.add(self.behind)
        self.shutter = QuantityField(
            said("Reading out one frame takes the camera"),
            SHORT_TIME,
            said(
                "Phones read a frame row by row, in 10 to 30 ms: lower rows are later. 0 if all rows "
                "are taken at once. Left empty, what that may do to g is counted as an error; with "
                "the phone upright it does nothing."
            ),
            placeholder=said("not known"),
        )
        self.shutter.committed.connect(self._typed_shutter)
        self.add(self.shutter)
        self.answer = Sentence()
        self.add(self.answer)
        panel.services.tool_changed.connect(self._tool_changed)

    def show_run(self) -> None:
        """Show the falls of the run, and the g that they tell."""
        run = self._panel.run
        falls = run.falls if run is not None else ()
        ready = run is not None and self._panel.info is not None
        first_rows = not self.table.rows_model.rows
        grown = len(falls) > len(self.table.rows_model.rows)
        self.table.set_rows(tuple(ShownFall(i, part) for i, part in enumerate(falls)))
        if falls and first_rows:
            self.table.fit_columns(110)
        if grown:
            self.table.select_where(lambda shown: shown.index == len(falls) - 1)
        self.mark_button.setEnabled(ready)
        self.shutter.setEnabled(run is not None)
        camera = run.camera if run is not None else None
        self.shutter.set_values(
            camera.rolling_shutter_s if camera is not None else None,
            camera.rolling_shutter_u_s if camera is not None else None,
        )
        self.table.setVisible(bool(falls))
        self.set_state(counted("{count} fall", "{count} falls", len(falls)) if falls else "")
        self.answer.say(self._answer() if falls else "")
        self._selection()

    def _answer(self) -> str:
        """Say what g the falls tell, or what is missing."""
        outcome = self._panel.document.outcome
        if outcome is None or self._panel.document.blind:
            return ""
        for name in _ROUTES:
            finding = outcome.findings.finding(name)
            if finding is not None:
                value = with_uncertainty(finding.value, finding.u, finding.unit)
                return said(
                    "{name}: {value}. It {remark}.",
                    name=finding_name(name),
                    value=value,
                    remark=finding.remarks[0],
                )
        missing = {each.name: each.missing for each in outcome.findings.undetermined}
        return (
            said("No g yet: needs {missing}.", missing=missing["gravity_from_parabola"])
            if _ROUTES[1] in missing
            else ""
        )

    def _selection(self) -> None:
        chosen = self.table.selected_rows()
        shown = chosen[0] if chosen else None
        self._chosen = shown.index if shown is not None else None
        for control in (self.delete_button, self.more_button, self.behind):
            control.setEnabled(shown is not None)
        self.last_button.setEnabled(shown is not None and without_last(shown.part) is not None)
        if shown is not None:
            self.behind.set_values(shown.part.behind_m, shown.part.behind_u_m)
        else:
            self.behind.set_values(None)

    def _take(self, fall: int | None) -> None:
        self._panel.services.use_tool(
            Tool.FALL,
            fall=fall,
            what=self.what_box.currentData(),
            advance=self.advance_box.value(),
            px_u=self._panel.px_u_field.value or 0.5,
        )

    def _put_down(self) -> None:
        self._panel.services.use_tool(Tool.LOOK)

    def _retake(self) -> None:
        if self._panel.services.tool is Tool.FALL:
            self._take(self._panel.services.options.fall)

    def _tool_changed(self, tool: Tool) -> None:
        going_on = self._panel.services.options.fall is not None
        self.mark_button.setChecked(tool is Tool.FALL and not going_on)
        self.more_button.setChecked(tool is Tool.FALL and going_on)

    def _part(self) -> FallPart | None:
        run = self._panel.run
        if run is None or self._chosen is None or self._chosen >= len(run.falls):
            return None
        return run.falls[self._chosen]

    def _delete(self) -> None:
        if self._part() is not None and self._chosen is not None:
            self._panel.ask(RemoveFall(self._chosen))

    def _drop_last(self) -> None:
        part = self._part()
        shorter = without_last(part) if part is not None else None
        if shorter is not None and self._chosen is not None:
            self._panel.ask(ChangeFall(self._chosen, shorter))

    def _typed_shutter(self, readout: float | None, u: float | None) -> None:
        run = self._panel.run
        if run is not None:
            camera = replace(run.camera, rolling_shutter_s=readout, rolling_shutter_u_s=u)
            self._panel.ask(SetCamera(camera), self.shutter)

    def _typed_depth(self, behind: float, u: float | None) -> None:
        part = self._part()
        if part is not None and self._chosen is not None:
            changed = replace(part, behind_m=behind, behind_u_m=u or 0.0)
            self._panel.ask(ChangeFall(self._chosen, changed), self.behind)
