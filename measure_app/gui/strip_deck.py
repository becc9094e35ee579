"""Both strips over one time axis: the time line of the window."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, Slot
from PySide6.QtWidgets import QSplitter, QVBoxLayout, QWidget

from calibration import Pixel
from measure_app.edits import SetPart
from measure_app.gui.marks import Kind, reading_edit
from measure_app.gui.strip_layers import layers_of
from measure_app.gui.strip_paint import TimeLine
from measure_app.gui.strip_picture import StripPicture
from measure_app.gui.strip_view import StripView
from measure_app.gui.sweeping import HEAD_STRIP
from measure_app.gui.workbench import Workbench
from measure_app.run import Run
from measure_app.words import marked, said

if TYPE_CHECKING:  # the thread that opens the film loads all this; the window need not wait for it
    from measure_app.strips import Strip

_NO_LINE = {
    Kind.SURFACE: marked("The head strip shows here once the gauge line is drawn (step Datum)."),
    Kind.LANDING: marked("The throw strip shows here once the landing line is drawn (step Datum)."),
}
_FEWEST = 8.0
"""Frames that stay in view however far the time axis is stretched."""


class StripDeck(QWidget):
    """Keeps both strips in step with the document, and turns what is done on them into edits."""

    def __init__(self, bench: Workbench, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._bench = bench
        self._document = bench.document
        self._time = TimeLine()
        self._filled = 0
        self.head = StripView(Kind.SURFACE)
        self.throw = StripView(Kind.LANDING, with_axis=True)
        split = QSplitter(Qt.Orientation.Vertical)
        split.setChildrenCollapsible(False)
        split.addWidget(self.head)
        split.addWidget(self.throw)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 2, 0, 0)
        layout.addWidget(split)
        for view in self.views:
            view.frame_wanted.connect(self._document.go_to)
            view.step_wanted.connect(self.step)
            view.end_wanted.connect(self.go_to_end)
            view.bracket_wanted.connect(self.set_end)
            view.part_wanted.connect(self._set_part)
            view.zoom_wanted.connect(self._zoom)
            view.whole_wanted.connect(self.show_whole)
        self.head.reading_moved.connect(self._move_surface)
        self.throw.reading_moved.connect(self._move_landing)
        document = self._document
        document.run_changed.connect(self._on_run)
        document.clip_changed.connect(self._on_clip)
        document.frame_changed.connect(self._on_frame)
        document.outcome_changed.connect(self._relayer)
        document.search_changed.connect(self._relayer)
        document.blind_changed.connect(self._relayer)
        bench.strips.strips_changed.connect(self._on_strips)
        self._say()

    @property
    def views(self) -> tuple[StripView, StripView]:
        """Head strip and throw strip."""
        return self.head, self.throw

    @Slot(int)
    def step(self, frames: int) -> None:
        """Go so many frames on."""
        self._document.go_to(self._document.frame + frames)

    @Slot(bool)
    def go_to_end(self, last: bool) -> None:
        """Go to the last frame of the part measured, or its first."""
        self._document.go_to(self._time.stop - 1 if last else self._time.start)

    @Slot(bool)
    def set_end(self, last: bool) -> None:
        """Let the part measured end, or start, at the current frame."""
        frame, time = self._document.frame, self._time
        if last:
            self._set_part(min(time.start, max(0, frame - 1)), max(frame + 1, 2))
        else:
            self._set_part(min(frame, time.n_frames - 2), max(time.stop, frame + 2))

    @Slot()
    def show_whole(self) -> None:
        """Show the whole film."""
        self._show(replace(self._time, first=0.0, last=float(max(1, self._time.n_frames))))

    def _show(self, time: TimeLine) -> None:
        self._time = time
        for view in self.views:
            view.show_time(time)

    def _on_clip(self, _info: object) -> None:
        info, seconds = self._document.info, self._document.seconds
        if info is None:
            self._show(TimeLine())
        else:
            self._show(
                TimeLine(
                    info.n_frames,
                    0.0,
                    float(info.n_frames),
                    self._document.frame,
                    *self._part(),
                    tuple(seconds.tolist()) if seconds is not None else (),
                )
            )
        self._relayer()

    def _on_run(self, before: Run | None, after: Run | None) -> None:
        rate = (
            before is not None
            and after is not None
            and before.clip.capture_rate_hz != after.clip.capture_rate_hz
        )
        seconds = self._document.seconds
        if self._time.n_frames:
            start, stop = self._part()
            time = replace(self._time, start=start, stop=stop)
            if rate and seconds is not None:
                time = replace(time, seconds=tuple(seconds.tolist()))
            self._show(time)
        self._relayer()

    def _on_frame(self, frame: int) -> None:
        time = replace(self._time, frame=frame)
        if time.n_frames and not time.first <= frame < time.last:  # what is shown follows the current frame
            width = time.last - time.first
            first = min(max(frame - width / 2, 0.0), time.n_frames - width)
            time = replace(time, first=first, last=first + width)
        self._show(time)

    def _part(self) -> tuple[int, int]:
        run, info = self._document.run, self._document.info
        if run is None or info is None:
            return 0, 0
        stop = info.n_frames if run.clip.stop_frame is None else min(run.clip.stop_frame, info.n_frames)
        return min(run.clip.start_frame, max(0, stop - 1)), stop

    def _relayer(self, *_: object) -> None:
        for view in self.views:
            view.show_layers(layers_of(self._document, view.part))
        self._say()

    def _on_strips(self, strips: tuple[Strip, ...], rows: int) -> None:
        self._filled = rows
        for view in self.views:
            strip = next(
                (each for each in strips if (each.line.name == HEAD_STRIP) is (view is self.head)), None
            )
            if strip is None:
                view.show_picture(None)
                continue
            picture = view.picture
            if picture is None or picture.strip.levels.base is not strip.levels.base:
                picture = StripPicture(strip, view.layers.upward)
            picture.fill(rows)
            view.show_picture(picture)
        self._say()

    def _say(self) -> None:
        run = self._document.run
        for view in self.views:
            line = None if run is None else run.gauge_line if view is self.head else run.landing_line
            if run is None or self._document.info is None:
                view.words = ""
            elif line is None:
                view.words = _NO_LINE[view.part]
            elif view.picture is None:
                view.words = said("The strip is about to be read from the film …")
            elif view.picture.rows < self._time.n_frames:
                view.words = said(
                    "Reading the strip: {max} %", max=100 * self._filled // max(1, self._time.n_frames)
                )
            else:
                view.words = ""
            view.update()

    @Slot(int, int)
    def _set_part(self, start: int, stop: int) -> None:
        info = self._document.info
        whole = info is not None and stop >= info.n_frames
        self._document.perform(SetPart(start, None if whole else stop))

    @Slot(float, float)
    def _zoom(self, factor: float, about: float) -> None:
        time = self._time
        width = max(_FEWEST, min((time.last - time.first) / factor, float(time.n_frames)))
        share = (about - time.first) / max(time.last - time.first, 1e-9)
        first = min(max(about - share * width, 0.0), time.n_frames - width)
        self._show(replace(time, first=first, last=first + width))

    @Slot(int, float)
    def _move_surface(self, frame: int, along: float) -> None:
        self._move(Kind.SURFACE, self.head, frame, along)

    @Slot(int, float)
    def _move_landing(self, frame: int, along: float) -> None:
        self._move(Kind.LANDING, self.throw, frame, along)

    def _move(self, kind: Kind, view: StripView, frame: int, along: float) -> None:
        run, segment = self._document.run, view.layers.segment
        if run is None or segment is None:
            return
        dx, dy = segment.direction
        at = Pixel(float(segment.start.x + along * dx), float(segment.start.y + along * dy))
        reading = next((each for each in run.readings if each.frame == frame), None)
        spot = None if reading is None else reading.surface if kind is Kind.SURFACE else reading.landing
        if spot is not None:
            self._document.perform(reading_edit(run, kind, frame, at, spot.px_u))
