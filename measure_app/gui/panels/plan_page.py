"""Before the film: a plan is typed, and what it will give stands beside it at once."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtWidgets import (
    QApplication,
    QComboBox,
    QDialog,
    QHBoxLayout,
    QSplitter,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from measure_app.errors import AppError, Stopped
from measure_app.gui.lane import Answer, Job, Lane
from measure_app.gui.panels.fields import QuantityField
from measure_app.gui.panels.instruments import LENGTHS, SMALL_LENGTHS
from measure_app.gui.panels.pieces import Section, Sentence, button, choice, resize_within_screen, row
from measure_app.gui.panels.plan_words import plan_html
from measure_app.gui.panels.quantity import LENGTH_CM, LENGTH_M, LENGTH_MM, RATE, TEMPERATURE, Family
from measure_app.gui.panels.steady_scroll import SteadyScroll
from measure_app.gui.theme import colours
from measure_app.words import marked, said

if TYPE_CHECKING:
    from analysis import Forecast, Proposal
    from measure_app.planning import Asked

_PICTURES: list[tuple[str, object]] = [
    (marked("1280 × 720 px"), (1280, 720)),
    (marked("1920 × 1080 px"), (1920, 1080)),
    (marked("3840 × 2160 px"), (3840, 2160)),
    (marked("720 × 1280 px, upright"), (720, 1280)),
    (marked("1080 × 1920 px, upright"), (1080, 1920)),
    (marked("2160 × 3840 px, upright"), (2160, 3840)),
]
_EDGES: list[tuple[str, object]] = [
    (marked("sharp"), "sharp"),
    (marked("rounded, like a trumpet's bell"), "rounded"),
    (marked("a tube that reaches inwards"), "re-entrant"),
]


@dataclass(frozen=True, slots=True, eq=False)
class _Question:
    """What is to be forecast."""

    asked: Asked
    hole_between: tuple[float, float] | None = None
    drop_between: tuple[float, float] | None = None


def _answer(question: _Question, job: Job) -> tuple[Forecast, Proposal | None]:
    """Work a forecast out; for a `Lane`."""
    from measure_app.planning import forecast, plan_of

    plan = plan_of(question.asked)
    return forecast(plan, question.hole_between, question.drop_between, stop_requested=job.stop_requested)


class PlanDialog(QDialog):
    """Fields at the left, the forecast at the right; it changes with every field that is left."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(said("Before the film"))
        resize_within_screen(self, 1080, 760)
        self.setMinimumSize(640, 420)
        self._forecast: Forecast | None = None
        self._proposal: Proposal | None = None
        self._lane = Lane(_answer, "plan", eager=True)
        self._lane.answered.connect(self._on_answer)
        # The thread has to end before its lane goes, however the window goes.
        self.end = self._lane.close
        self.destroyed.connect(self.end)
        application = QApplication.instance()
        if application is not None:
            application.aboutToQuit.connect(self.end)
        self.fields: dict[str, QuantityField] = {}
        self.page = QTextBrowser()
        self.page.setAccessibleName(said("Forecast"))
        self.page.setOpenLinks(False)
        self.trouble = Sentence(tone="error")
        right = QWidget()
        column = QVBoxLayout(right)
        column.setContentsMargins(8, 0, 0, 0)
        column.addWidget(self.trouble)
        column.addWidget(self.page, 1)
        split = QSplitter(Qt.Orientation.Horizontal)
        split.setChildrenCollapsible(False)
        split.addWidget(self._left())
        split.addWidget(right)
        split.setStretchFactor(0, 0)
        split.setStretchFactor(1, 1)
        split.setSizes([370, 710])
        close = button(said("Close"))
        close.clicked.connect(self.reject)
        foot = QHBoxLayout()
        foot.addStretch(1)
        foot.addWidget(close)
        outer = QVBoxLayout(self)
        outer.addWidget(split, 1)
        outer.addLayout(foot)
        self.update_forecast()

    @property
    def busy(self) -> bool:
        """Whether a forecast is being worked out."""
        return self._lane.busy

    # The fields.

    def _left(self) -> SteadyScroll:
        scroll = SteadyScroll()
        column = QVBoxLayout(scroll.body)
        column.setContentsMargins(0, 0, 10, 0)
        for section in (
            self._container(),
            self._hole(),
            self._landing(),
            self._camera(),
            self._measured(),
            self._better(),
        ):
            column.addWidget(section)
        column.addStretch(1)
        scroll.setMinimumWidth(300)
        return scroll

    def _field(
        self, name: str, label: str, family: Family, value: float | None, how: str = "", **options: Any
    ) -> QuantityField:
        u = options.pop("u", None)
        field = QuantityField(label, family, how, with_u=u is not None, needed=value is not None, **options)
        field.set_values(value, u)
        field.committed.connect(lambda _value, _u: self.update_forecast())
        self.fields[name] = field
        return field

    def _box(self, name: str, options: list[tuple[str, object]], index: int = 0) -> QComboBox:
        box = choice(name, options)
        box.setCurrentIndex(index)
        box.activated.connect(lambda _index: self.update_forecast())
        return box

    def _container(self) -> Section:
        section = Section(said("Container"))
        self.shape = self._box(
            said("Shape of the container"), [(said("round"), "round"), (said("a box"), "box")]
        )
        self.shape.activated.connect(lambda _index: self._show_shape())
        section.add(row(said("Shape"), self.shape, stretch=1))
        section.add(self._field("bore", said("Inner diameter"), LENGTH_MM, 0.100))
        section.add(self._field("width", said("Inner width, across the picture"), LENGTH_MM, 0.100))
        section.add(self._field("depth", said("Inner depth, along the line of sight"), LENGTH_MM, 0.060))
        section.add(
            self._field(
                "head",
                said("Water over the hole at the start"),
                LENGTH_MM,
                0.250,
                said("Over the hole's centre."),
            )
        )
        self._show_shape()
        return section

    def _hole(self) -> Section:
        section = Section(said("Hole"))
        section.add(
            self._field("hole", said("Diameter"), LENGTH_MM, 0.004, u=0.058e-3, instruments=SMALL_LENGTHS)
        )
        section.add(self._field("wall", said("Thickness of the wall at the hole"), LENGTH_MM, 0.001))
        self.edge = self._box(said("Inner edge of the hole"), _EDGES)
        section.add(row(said("Inner edge"), self.edge, stretch=1))
        return section

    def _landing(self) -> Section:
        section = Section(said("Landing"))
        how = said("From the hole's centre to the level on which the jet lands.")
        section.add(self._field("drop", said("Drop"), LENGTH_MM, 0.400, how, u=1e-3, instruments=LENGTHS))
        how = said("From below the hole to its far end; empty: long enough.")
        section.add(self._field("tray", said("Tray"), LENGTH_MM, None, how))
        return section

    def _camera(self) -> Section:
        section = Section(said("Camera"))
        section.add(self._field("distance", said("Distance to the jet"), LENGTH_M, 1.5))
        how = said("Empty: zoomed until everything just fits, or as the lens gives it.")
        section.add(self._field("field", said("Width of the bench in the picture"), LENGTH_CM, None, how))
        how = said("As for 36 × 24 mm film; a phone's main camera has about 26 mm.")
        section.add(self._field("lens", said("Focal length"), LENGTH_MM, None, how))
        self.picture = self._box(said("Size of the picture"), _PICTURES, 1)
        section.add(row(said("Picture"), self.picture, stretch=1))
        section.add(self._field("rate", said("Frames per second"), RATE, 30.0))
        return section

    def _measured(self) -> Section:
        section = Section(said("How well it is measured"), is_open=False)
        section.add(said("Standard uncertainties, as they are usual for school instruments."))
        section.add(self._field("zero", said("Throw's zero: foot of the plumb"), LENGTH_MM, 1e-3))
        section.add(self._field("depth_u", said("How far rules stand off the jet's plane"), LENGTH_MM, 3e-3))
        section.add(self._field("sway", said("Unrest of the jet at the landing"), LENGTH_MM, 1e-3))
        section.add(self._field("rule", said("Length of the rules in the picture"), LENGTH_MM, 0.300))
        section.add(self._field("temperature", said("Water"), TEMPERATURE, 20.0))
        return section

    def _better(self) -> Section:
        section = Section(said("A better hole and drop"))
        section.add(said("Sought with the program's own fits, so that Cv is least uncertain."))
        section.add(self._field("hole_from", said("Hole from"), LENGTH_MM, 0.003))
        section.add(self._field("hole_to", said("Hole to"), LENGTH_MM, 0.008))
        section.add(self._field("drop_from", said("Drop from"), LENGTH_MM, 0.200))
        section.add(self._field("drop_to", said("Drop to"), LENGTH_MM, 0.600))
        self.look = button(said("Look for it"), said("Tries holes and drops between these"))
        self.look.clicked.connect(self.look_for_better)
        self.take = button(
            said("Take it over"), said("Puts the proposed hole and drop into the fields above")
        )
        self.take.setEnabled(False)
        self.take.clicked.connect(self.take_over)
        section.add(row(self.look, self.take))
        return section

    def _show_shape(self) -> None:
        is_round = self.shape.currentData() == "round"
        self.fields["bore"].setVisible(is_round)
        self.fields["width"].setVisible(not is_round)
        self.fields["depth"].setVisible(not is_round)

    # Asking and answering.

    def asked(self) -> Asked:
        """Gather what the fields hold."""
        from analysis import Edge
        from measure_app.planning import Asked, instruments_of

        of = {name: field.value for name, field in self.fields.items()}
        is_round = self.shape.currentData() == "round"
        lens = of["lens"]
        return Asked(
            of["head"] or 0.0,
            of["hole"] or 0.0,
            of["drop"] or 0.0,
            bore_m=of["bore"] if is_round else None,
            width_m=None if is_round else of["width"],
            depth_m=None if is_round else of["depth"],
            wall_m=of["wall"],
            edge=Edge(self.edge.currentData()),
            tray_m=of["tray"],
            distance_m=of["distance"],
            field_m=of["field"],
            focal_equivalent_mm=None if lens is None else 1e3 * lens,
            image_px=self.picture.currentData(),
            frame_rate_hz=of["rate"],
            temperature_c=of["temperature"],
            instruments=instruments_of(
                drop_u_m=self.fields["drop"].u,
                hole_diameter_u_m=self.fields["hole"].u,
                zero_u_m=of["zero"],
                rule_depth_u_m=of["depth_u"],
                sway_u_m=of["sway"],
                rule_length_m=of["rule"],
            ),
        )

    def update_forecast(self) -> None:
        """Work the forecast out anew."""
        self._lane.ask(_Question(self.asked()))

    def look_for_better(self) -> None:
        """Look for a better hole and drop."""
        of = {
            name: self.fields[name].value or 0.0 for name in ("hole_from", "hole_to", "drop_from", "drop_to")
        }
        question = _Question(self.asked())
        self.look.setText(said("Looking …"))
        self._lane.ask(
            replace(
                question,
                hole_between=(of["hole_from"], of["hole_to"]),
                drop_between=(of["drop_from"], of["drop_to"]),
            )
        )

    def take_over(self) -> None:
        """Put the proposal into the fields of the plan."""
        if self._proposal is None or self._proposal.best is None:
            return
        plan = self._proposal.best.plan
        self.fields["hole"].set_values(plan.hole_diameter_m, self.fields["hole"].u)
        self.fields["drop"].set_values(plan.drop_m, self.fields["drop"].u)
        self.update_forecast()

    def _on_answer(self, answer: Answer) -> None:
        if answer.ticket != self._lane.newest or isinstance(answer.error, Stopped):
            return
        self.look.setText(said("Look for it"))
        if isinstance(answer.error, AppError):
            words = str(answer.error)
            self.trouble.say(f"{words[:1].upper()}{words[1:]}.")
            self.page.setEnabled(False)
            self.take.setEnabled(False)
            return
        self.trouble.say("")
        self.page.setEnabled(True)
        self._forecast, self._proposal = answer.value
        self.take.setEnabled(self._proposal is not None and self._proposal.best is not None)
        self._show()

    def _show(self) -> None:
        if self._forecast is None:
            return
        bar = self.page.verticalScrollBar()
        at = 0 if self._proposal is not None else bar.value()
        self.page.setHtml(plan_html(self._forecast, self._proposal, colours().faint))
        bar.setValue(at)

    def changeEvent(self, event: QEvent) -> None:  # noqa: N802
        """Take the colours of the new palette."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange and hasattr(self, "page"):
            self._show()


def plan_dialog(parent: QWidget) -> PlanDialog:
    """Return the one plan of a window, made when it is first wanted; what was typed stays."""
    known: QObject | None = parent.findChild(PlanDialog)
    return known if isinstance(known, PlanDialog) else PlanDialog(parent)
