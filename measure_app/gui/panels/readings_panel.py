"""Readings: mark them, find the rest, look through them, set aside, mark again, read blind."""

from __future__ import annotations

from PySide6.QtWidgets import QHeaderView, QLabel, QLineEdit

from measure_app.edits import SetNote
from measure_app.extras import (
    ClearReadings,
    PutBack,
    SetAside,
    SetAsideReading,
    reading_of,
    set_aside_of,
)
from measure_app.finders import Part
from measure_app.gui.panels.again_section import AgainSection
from measure_app.gui.panels.falls_section import FallsSection
from measure_app.gui.panels.fields import QuantityField
from measure_app.gui.panels.finding_section import FindingSection
from measure_app.gui.panels.panel import Panel
from measure_app.gui.panels.pieces import (
    Says,
    Section,
    Sentence,
    TickBox,
    button,
    number_box,
    row,
)
from measure_app.gui.panels.quantity import PIXELS
from measure_app.gui.panels.reading_rows import (
    ShownReading,
    count_words,
    said_of,
    shown_readings,
)
from measure_app.gui.panels.share_section import ShareSection
from measure_app.gui.panels.steps import Step
from measure_app.gui.panels.tables import DataTable, Field
from measure_app.gui.tools import Tool
from measure_app.words import marked, numeral, said

READING_FIELDS = (
    Field(
        marked("frame"),
        lambda r: str(r.frame),
        lambda r: r.frame,
        marked("Counted from 0; press to go there."),
    ),
    Field(
        "t / s",
        lambda r: "" if r.time_s is None else numeral(f"{r.time_s:.3f}"),
        lambda r: r.time_s,
        marked("Time from the film's first frame."),
    ),
    Field(
        marked("head / mm"),
        lambda r: r.head_words,
        lambda r: r.head_m,
        marked(
            "Surface above the orifice; in brackets the standard uncertainty of the last digits; copied in "
            "metres."
        ),
        copied_as=marked("head / m"),
    ),
    Field(
        marked("throw / mm"),
        lambda r: r.throw_words,
        lambda r: r.throw_m,
        marked(
            "Landing from the throw zero; in brackets the standard uncertainty of the last digits; copied in "
            "metres."
        ),
        copied_as=marked("throw / m"),
    ),
    Field(
        marked("fit"),
        lambda r: "⊘" if r.aside else "✔" if r.kept else "–",
        tip=marked("✔ took part in the fits; – did not; ⊘ taken out by a person."),
    ),
    Field(marked("by"), lambda r: r.by, tip=marked("Read by hand, or found by the program.")),
    Field(marked("reason"), lambda r: r.reason, tip=marked("Why a reading did not take part.")),
)


class ReadingsPanel(Panel):
    """Readings by hand and found ones."""

    step = Step.READINGS
    lead = marked("Mark the surface and the landing in a few frames, or let the program find them in all.")

    def build(self) -> None:
        """Make the controls."""
        self.share = ShareSection(self)
        self.add(self.share)
        self._build_marking()
        self.finding = FindingSection(self)
        self.add(self.finding)
        self._build_table()
        self.again = AgainSection(self)
        self.add(self.again)
        self.falls = FallsSection(self)
        self.add(self.falls)
        self._build_blind()
        self.services.tool_changed.connect(self._tool_changed)
        self.document.frame_changed.connect(self._frame_changed)

    def _build_marking(self) -> None:
        marking = Section(said("Mark by hand"))
        self.surface_button = button(
            said("Surface"), said("Press where the gauge line meets the water's surface"), checkable=True
        )
        self.landing_button = button(
            said("Landing"), said("Press where the jet meets the landing line"), checkable=True
        )
        self.surface_button.clicked.connect(lambda on: self.take(Tool.SURFACE if on else Tool.LOOK))
        self.landing_button.clicked.connect(lambda on: self.take(Tool.LANDING if on else Tool.LOOK))
        marking.add(row(self.surface_button, self.landing_button))
        self.advance_box = number_box(said("Frames to move on after each press"), 0, 100_000)
        self.advance_box.setSpecialValueText(said("stay"))
        self.advance_box.setPrefix("+")
        self.advance_box.setSuffix(said(" frames"))
        self.advance_box.valueChanged.connect(lambda _: self._retake())
        self.spread = button(
            said("20 in all"), said("Move on so that twenty presses cover the part measured")
        )
        self.spread.clicked.connect(self._spread)
        marking.add(row(said("After a press"), self.advance_box, self.spread, stretch=1))
        self.px_u_field = QuantityField(
            said("How well a press meets it"),
            PIXELS,
            said(
                "Half a pixel on a clear edge with the loupe, 1 to 3 px on a splashing landing. "
                "Marking some frames again tells you your own."
            ),
            with_u=False,
            needed=True,
        )
        self.px_u_field.set_values(0.5)
        self.px_u_field.committed.connect(lambda *_: self._retake())
        marking.add(self.px_u_field)
        self.count = Sentence()
        marking.add(self.count)
        self.add(marking)

    def _build_table(self) -> None:
        listed = Section(said("Readings"))
        self.table = DataTable(READING_FIELDS, said("Readings"))
        self.table.enable_sorting(0)
        self.table.hide_columns("by", "reason")  # said of the chosen one below: the panel is narrow
        self.table.setMinimumHeight(11 * (self.fontMetrics().height() + 6))
        self.table.row_opened.connect(lambda shown: self.document.go_to(shown.frame))
        self.table.selectionModel().selectionChanged.connect(lambda *_: self._selection())
        header = self.table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        self.table.fit_columns(130)
        listed.add(self.table)
        self.chosen = Sentence(tone="faint")
        listed.add(self.chosen)
        self.delete_button = button(
            said("Delete"), said("Delete the selected readings (Delete); it can be undone")
        )
        self.put_back_button = button(
            said("Put back"), said("Take the selected readings into the fits again")
        )
        self.copy_button = button(
            said("Copy all"), said("Copy the table as tab-separated text; one row: Ctrl+C")
        )
        self.delete_button.clicked.connect(self._delete)
        self.put_back_button.clicked.connect(self._put_back)
        self.copy_button.clicked.connect(self.table.copy_all)
        self.table.delete_pressed.connect(self._delete)
        listed.add(row(self.delete_button, self.put_back_button, self.copy_button))
        self.reason_edit = QLineEdit()
        self.reason_edit.setPlaceholderText(said("why, such as: splash hides the landing"))
        self.reason_edit.setAccessibleName(said("Reason for setting the selected readings aside"))
        self.reason_edit.setMaxLength(500)
        self.reason_edit.returnPressed.connect(self._set_aside)
        self.aside_button = button(
            said("Set aside"), said("Take the selected readings out of the fits, for the reason given")
        )
        self.aside_button.clicked.connect(self._set_aside)
        listed.add(row(self.reason_edit, self.aside_button, stretch=0))
        self.aside_error = Sentence(tone="error")
        listed.add(self.aside_error)
        self._note_frame = self.document.frame
        self.note_edit = QLineEdit()
        self.note_edit.setAccessibleName(said("Note on the frame in sight"))
        self.note_edit.setToolTip(
            said("A remark kept with the frame in sight; it takes nothing out of the fits")
        )
        self.note_edit.setMaxLength(500)
        self.note_edit.editingFinished.connect(self._write_note)
        self.note_words = QLabel()
        self.note_words.setBuddy(self.note_edit)
        listed.add(row(self.note_words, self.note_edit, stretch=1))
        self.note_error = Sentence(tone="error")
        listed.add(self.note_error)
        self.add(listed)

    def _build_blind(self) -> None:
        blind = Section(said("Read blind"))
        self.blind_box = TickBox(said("Hide fits and found readings while I read"))
        self.blind_box.setToolTip(said("Nothing that might lead your eye is shown until you switch it off"))
        self.blind_box.toggled.connect(self.services.set_blind)
        self.document.blind_changed.connect(self._blind_changed)
        self._veiled_aside: tuple[SetAsideReading, ...] = ()
        blind.add(self.blind_box)
        blind.add(
            said(
                "Lines, found points and other people's marks are out of sight, so that your "
                "readings are your own."
            )
        )
        self.add(blind)

    @property
    def part(self) -> Part:
        """The part that is marked with the tool in hand; the surface when neither is."""
        return Part.LANDING if self.services.tool is Tool.LANDING else Part.SURFACE

    def refresh(self) -> None:
        """Show readings, spans and the reader's scatter as the document has them."""
        self.guarded(self._show)

    def _show(self) -> None:
        run, outcome = self.run, self.document.outcome
        self.share.show_run(run)
        ready = run is not None and self.info is not None
        for control in (
            self.surface_button,
            self.landing_button,
            self.again.here,
            self.again.some,
            self.spread,
        ):
            control.setEnabled(ready)
        # A share says itself where to go on.
        self.advance_box.setEnabled(ready and not self.share.frames)
        self.spread.setEnabled(ready and not self.share.frames)
        self.blind_box.setChecked(self.document.blind)
        self._show_note()
        if run is None:
            self.table.set_rows(())
            self.count.say("")
            self.finding.show_run()
            self.again.show_run()
            self.falls.show_run()
            return
        shows = self.document.shows if self.document.blind else None
        rows_before = len(self.table.rows_model.rows)
        seconds, veiled = self.document.seconds, self._veiled_aside
        self.table.set_rows(shown_readings(run, outcome, seconds, shows=shows, veiled_aside=veiled))
        if len(self.table.rows_model.rows) != rows_before:
            self.table.fit_columns(130)
        self.count.say(count_words(run, shows=shows))
        self.finding.show_run()
        self.again.show_run()
        self.falls.show_run()
        self._selection()

    def take(self, tool: Tool) -> None:
        """Take a tool into the hand as it is set here: frames to move on, and how well a press meets."""
        if tool is Tool.LOOK:
            self.services.use_tool(tool)
        else:
            self.services.use_tool(
                tool,
                advance=self.advance_box.value(),
                px_u=self.px_u_field.value or 0.5,
                frames=self.share.frames,
            )

    def _retake(self) -> None:
        if self.services.tool in (Tool.SURFACE, Tool.LANDING):
            self.take(self.services.tool)

    def set_px_u(self, px_u: float) -> None:
        """Let the presses to come have this standard uncertainty, px."""
        self.px_u_field.set_values(px_u)
        self._retake()

    def _spread(self) -> None:
        run, info = self.run, self.info
        if run is not None and info is not None:
            stop = info.n_frames if run.clip.stop_frame is None else min(run.clip.stop_frame, info.n_frames)
            self.advance_box.setValue(max(1, (stop - run.clip.start_frame) // 20))

    def _tool_changed(self, tool: Tool) -> None:
        self.surface_button.setChecked(tool is Tool.SURFACE)
        self.landing_button.setChecked(tool is Tool.LANDING)

    def _blind_changed(self, on: bool) -> None:
        self._veiled_aside = set_aside_of(self.run) if on and self.run is not None else ()
        self._refresh_if_seen()

    def _show_note(self) -> None:
        """Show the note on the frame in sight, but not over what is being typed there."""
        run, frame = self.run, self.document.frame
        reading = reading_of(run, frame) if run is not None else None
        spots = (reading.surface, reading.landing) if reading is not None else ()
        seen = all(self.document.shows(frame, spot) for spot in spots)
        self.note_words.setText(said("Note on frame {frame}", frame=frame))
        self.note_edit.setEnabled(run is not None and self.info is not None and seen)
        self.note_edit.setPlaceholderText("" if seen else said("hidden while you read blind"))
        typing = self.note_edit.isModified() and self.note_edit.hasFocus()
        if run is None or not seen or not typing or frame != self._note_frame:
            self.note_edit.setText(reading.note if reading is not None and seen else "")
        self._note_frame = frame

    def _write_note(self) -> None:
        if not self.note_edit.isModified():
            return
        self.note_edit.setModified(False)
        if self.run is not None:
            self.ask(SetNote(self._note_frame, self.note_edit.text().strip()), Says(self.note_error))

    def _frame_changed(self, frame: int) -> None:
        self.note_error.say("")
        self._write_note()
        self._show_note()
        if self.isVisible() and not self.table.hasFocus():
            self.table.select_where(lambda shown: shown.frame == frame)

    def _selected(self) -> list[ShownReading]:
        return self.table.selected_rows()

    def _selection(self) -> None:
        chosen = self._selected()
        self.chosen.say(said_of(chosen[0]) if len(chosen) == 1 else "")
        live = any(not shown.aside for shown in chosen)
        self.delete_button.setEnabled(live)
        self.aside_button.setEnabled(live)
        self.put_back_button.setEnabled(any(shown.aside for shown in chosen))

    def _delete(self) -> None:
        """Delete what is seen of the selected readings: what blind mode hides of them stays."""
        frames: dict[tuple[Part, ...], list[int]] = {}
        for shown in self._selected():
            if not shown.aside:
                frames.setdefault(self._parts_to_delete(shown), []).append(shown.frame)
        gesture = self.document.new_gesture() if len(frames) > 1 else -1
        for parts, those in frames.items():
            self.ask(ClearReadings(tuple(those), parts), gesture=gesture)

    def _parts_to_delete(self, shown: ShownReading) -> tuple[Part, ...]:
        seen = {Part.SURFACE: shown.surface, Part.LANDING: shown.landing}
        return tuple(p for p in Part if not self.document.blind or seen[p] is not None)

    def _set_aside(self) -> None:
        frames = tuple(shown.frame for shown in self._selected() if not shown.aside)
        if not frames:
            self.aside_error.say(said("Select one or more readings in the table first."))
            return
        if self.ask(SetAside(frames, self.reason_edit.text()), Says(self.aside_error)):
            self.aside_error.say("")
            self.reason_edit.clear()

    def _put_back(self) -> None:
        frames = tuple(shown.frame for shown in self._selected() if shown.aside)
        if frames:
            self.ask(PutBack(frames))
