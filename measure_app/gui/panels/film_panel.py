"""Film: which part is measured, what time it is, and what is doubtful about the film."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtWidgets import QGridLayout, QLabel

from calibration import RuleFit
from measure_app.clip import ClipInfo
from measure_app.edits import SetCaptureRate, SetPart
from measure_app.gui.panels.fields import QuantityField
from measure_app.gui.panels.panel import Panel
from measure_app.gui.panels.pieces import Section, Sentence, button, number_box, row
from measure_app.gui.panels.quantity import RATE
from measure_app.gui.panels.steps import Step
from measure_app.gui.panels.wording import clock
from measure_app.words import counted, marked, numeral, said

COARSE_M = 1e-3
"""Size of a pixel, m, above which it is said to be coarse: common practice, no source."""


class FilmPanel(Panel):
    """The film and its clock."""

    step = Step.FILM
    lead = marked("Choose the part to be measured, and see that the clock is right.")

    def build(self) -> None:
        """Make the controls."""
        self._facts = Sentence()
        self._choose = button(said("Open another film …"), said("Take another film into this run"))
        self._choose.clicked.connect(self.services.open_film)
        self.add(self._facts)
        self.add(row(self._choose))
        self._build_now()
        self._build_part()
        self._build_rate()
        self._doubts = Section(said("About this film"))
        self._doubt = Sentence()
        self._doubts.add(self._doubt)
        self.add(self._doubts)
        self.document.frame_changed.connect(self._show_frame)

    def _build_now(self) -> None:
        now = Section(said("This frame"))
        self.frame_box = number_box(said("Frame number"), 0, 0)
        self.frame_box.valueChanged.connect(self._go)
        self._time, self._gap = QLabel(), QLabel()
        for label in (self._time, self._gap):
            label.setTextInteractionFlags(Sentence().textInteractionFlags())
        grid = QGridLayout()
        grid.setColumnStretch(1, 1)
        for i, (words, control) in enumerate(
            (
                (said("&Frame"), self.frame_box),
                (said("Time"), self._time),
                (said("To the next frame"), self._gap),
            )
        ):
            label = QLabel(words)
            label.setBuddy(control)
            grid.addWidget(label, i, 0)
            grid.addWidget(control, i, 1)
        now.add(grid)
        self._first = button(said("First of the part"), said("Go to the first frame of the part measured"))
        self._last = button(said("Last of the part"), said("Go to the last frame of the part measured"))
        self._first.clicked.connect(lambda: self.document.go_to(self._ends()[0]))
        self._last.clicked.connect(lambda: self.document.go_to(self._ends()[1]))
        now.add(row(self._first, self._last))
        now.add(said("Step and play with the row below the picture, or with the arrow keys."))
        self.add(now)

    def _build_part(self) -> None:
        part = Section(said("Part measured"))
        part.add(
            said(
                "Start after the first splash, stop before the jet dribbles. The brackets on the "
                "strips do the same."
            )
        )
        self.start_box = number_box(said("First frame measured"), 0, 0)
        self.stop_box = number_box(said("Last frame measured"), 0, 0)
        self._start_here = button(said("here"), said("Start the part at the frame in sight"))
        self._stop_here = button(said("here"), said("End the part with the frame in sight"))
        self._start_here.setAccessibleName(said("Start the part at the frame in sight"))
        self._stop_here.setAccessibleName(said("End the part with the frame in sight"))
        self.start_box.valueChanged.connect(self._part_typed)
        self.stop_box.valueChanged.connect(self._part_typed)
        self._start_here.clicked.connect(lambda: self._part(self.document.frame, self._ends()[1]))
        self._stop_here.clicked.connect(lambda: self._part(self._ends()[0], self.document.frame))
        grid = QGridLayout()
        grid.setColumnStretch(1, 1)
        for i, (words, box, here) in enumerate(
            (
                (said("From frame"), self.start_box, self._start_here),
                (said("to frame"), self.stop_box, self._stop_here),
            )
        ):
            label = QLabel(words)
            label.setBuddy(box)
            grid.addWidget(label, i, 0)
            grid.addWidget(box, i, 1)
            grid.addWidget(here, i, 2)
        part.add(grid)
        self._length = Sentence(tone="faint")
        part.add(self._length)
        self.add(part)

    def _build_rate(self) -> None:
        slow = Section(said("Slow motion"))
        self.rate_field = QuantityField(
            said("Frames that the camera took in each second"),
            RATE,
            said(
                "Leave it empty if the film plays at its true speed. A film taken at 240 frames per "
                "second and played at 30 runs eight times too slow; with 240 written here, every "
                "time is put right. The camera's settings name the rate; a clock in the picture "
                "proves it."
            ),
            with_u=False,
            placeholder=said("plays at true speed"),
        )
        self.rate_field.committed.connect(lambda rate, _: self.ask(SetCaptureRate(rate), self.rate_field))
        self._hint = button(
            said("Use the camera's rate"), said("Take over the rate that the camera wrote into the file")
        )
        self._hint.clicked.connect(self._take_hint)
        self._factor = Sentence(tone="faint")
        slow.add(self.rate_field)
        slow.add(self._hint)
        slow.add(self._factor)
        self.add(slow)

    def refresh(self) -> None:
        """Show film, part and rate as the document has them."""
        self.guarded(self._show)
        self._show_frame(self.document.frame)

    def _show(self) -> None:
        info, run = self.info, self.run
        there = info is not None and run is not None
        for control in (
            self.frame_box,
            self.start_box,
            self.stop_box,
            self._start_here,
            self._stop_here,
            self._first,
            self._last,
            self.rate_field,
        ):
            control.setEnabled(there)
        self._choose.setEnabled(run is not None)
        if info is None or run is None:
            self._facts.say(said("No film is open. Open a film, or drop one on the window."))
            self._doubt.say("")
            self._doubts.setVisible(False)
            self._length.say("")
            self._factor.say("")
            self._hint.setVisible(False)
            for box in (self.frame_box, self.start_box, self.stop_box):
                box.setRange(0, 0)
            return
        self._facts.say(facts_in_words(info))
        start, last = self._ends()
        self.frame_box.setRange(0, info.n_frames - 1)
        self.start_box.setRange(0, info.n_frames - 1)
        self.stop_box.setRange(0, info.n_frames - 1)
        self.start_box.setValue(start)
        self.stop_box.setValue(last)
        self._length.say(self._part_in_words(start, last))
        rate = run.clip.capture_rate_hz
        self.rate_field.set_values(rate)
        self._factor.say(_slow_in_words(info, rate))
        hint = info.capture_rate_hint
        self._hint.setVisible(bool(hint and rate != hint and _slower(info, hint)))
        if hint:
            self._hint.setText(said("The camera says {hint:g} per second: use it", hint=hint))
            self._hint.setAccessibleName(self._hint.text())
        self._doubts.setVisible(True)
        doubts = (*info.remarks, *coarse_words(self.document.rule_fits))
        self._doubts.set_state("" if doubts else said("nothing doubtful"))
        self._doubt.say(
            "\n\n".join(_sentence(words) for words in doubts)
            or (said("Its frames follow one another evenly and none is missing, as far as the file tells."))
        )

    def _ends(self) -> tuple[int, int]:
        """First and last frame of the part measured."""
        info, run = self.info, self.run
        if info is None or run is None:
            return 0, 0
        last = info.n_frames - 1
        stop = last if run.clip.stop_frame is None else min(run.clip.stop_frame - 1, last)
        return min(run.clip.start_frame, last), max(stop, 0)

    def _part_in_words(self, start: int, last: int) -> str:
        seconds = self.document.seconds
        frames = counted("{count} frame", "{count} frames", max(0, last - start + 1))
        if seconds is None or last < start:
            return f"{frames}."
        return said(
            "{frames}, {clock} from the first to the last.",
            frames=frames,
            clock=clock(float(seconds[last] - seconds[start])),
        )

    def _show_frame(self, frame: int) -> None:
        if not self.isVisible():
            self._stale = True
            return
        self.frame_box.blockSignals(True)
        self.frame_box.setValue(frame)
        self.frame_box.blockSignals(False)
        seconds = self.document.seconds
        if seconds is None or frame >= len(seconds):
            self._time.setText(said("no clock"))
            self._gap.setText(said("no clock"))
            return
        self._time.setText(clock(float(seconds[frame])))
        if frame + 1 < len(seconds):
            self._gap.setText(numeral(f"{1000.0 * float(seconds[frame + 1] - seconds[frame]):.1f} ms"))
        else:
            self._gap.setText(said("last frame"))

    def _go(self, frame: int) -> None:
        self.document.go_to(frame)

    def _part_typed(self) -> None:
        self._part(self.start_box.value(), self.stop_box.value())

    def _part(self, start: int, last: int) -> None:
        info = self.info
        if info is None:
            return
        stop = None if last >= info.n_frames - 1 and start <= last else last + 1
        if last < start:
            self.show_refusal(
                said(
                    "The part would end (frame {last}) before it starts (frame {start}); move the other "
                    "end first.",
                    last=last,
                    start=start,
                )
            )
            self.guarded(self._show)
            return
        if not self.ask(SetPart(start, stop)):
            self.guarded(self._show)

    def _take_hint(self) -> None:
        if self.info is not None and self.info.capture_rate_hint:
            self.ask(SetCaptureRate(self.info.capture_rate_hint), self.rate_field)


def facts_in_words(info: ClipInfo) -> str:
    """Say in two lines what a film is."""
    clocked = (
        said("{average_rate:.4g} frames/s", average_rate=float(info.average_rate))
        + numeral(f", {info.duration_s:.1f} s")
        if info.file_rate
        else said("no clock")
    )
    turned = said(", turned by {rotation}°", rotation=info.rotation) if info.rotation else ""
    frames = counted("{count} frame", "{count} frames", info.n_frames)
    return f"{info.path.name}\n{info.width} × {info.height} px{turned}, {frames}, {clocked}"


def coarse_words(fits: Sequence[RuleFit]) -> tuple[str, ...]:
    """Say that pixels are coarse, where the coarsest rule shows fewer than one to the millimetre."""
    size = max((fit.m_per_px for fit in fits), default=0.0)
    if size <= COARSE_M:
        return ()
    return (
        said(
            "there is only {size:.2g} px to a millimetre: half a pixel is {size2:.2g} mm; bring "
            "the camera nearer, or zoom in from where it stands, in the next film",
            size=1e-3 / size,
            size2=500 * size,
        ),
    )


def _slower(info: ClipInfo, rate: float) -> bool:
    return bool(info.file_rate) and abs(rate / float(info.file_rate) - 1.0) > 0.02


def _slow_in_words(info: ClipInfo, rate: float | None) -> str:
    if rate is None or not info.file_rate:
        return ""
    factor = rate / float(info.file_rate)
    if abs(factor - 1.0) < 0.005:
        return said("That is the rate at which the film plays: nothing is changed.")
    kind = (
        said("{factor:.3g} times slower than", factor=factor)
        if factor > 1
        else said("{factor:.3g} times faster than", factor=1 / factor)
    )
    return said("The film plays {kind} life; all times are put right.", kind=kind)


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}{'' if words.endswith('.') else '.'}"
