"""Datum, third part: what is measured beside the picture — container, water, place on Earth, camera, lens."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from msgspec.structs import replace
from PySide6.QtWidgets import QWidget

from analysis import accepted_gravity, with_uncertainty
from measure_app.edits import SetCamera, SetConditions
from measure_app.gui.panels.datum_marks import DONE, OPEN
from measure_app.gui.panels.fields import QuantityField
from measure_app.gui.panels.instruments import (
    CALLIPER,
    DISTANCES,
    STEEL_RULE,
    TAPE,
    area_of_circle,
    area_of_rectangle,
)
from measure_app.gui.panels.panel import Panel
from measure_app.gui.panels.pieces import Section, Sentence, button, choice, row
from measure_app.gui.panels.quantity import (
    ANGLE,
    AREA,
    GRAVITY,
    HEIGHT,
    LENGTH_M,
    LENGTH_MM,
    PIXELS,
    PURE,
    TEMPERATURE,
)
from measure_app.gui.signs import well_signed
from measure_app.run import LensPart, Run
from measure_app.series import conditions_of
from measure_app.words import numeral, said

_INSIDE = (CALLIPER, STEEL_RULE, TAPE)


class ContainerBlock:
    """The container's inner area: typed, or from inner diameter or sides."""

    def __init__(self, panel: Panel) -> None:
        self.panel = panel
        self.section = Section(said("Container"), is_open=False)
        panel.add(self.section)
        self.section.add(
            said("The area of the water's surface turns the falling level into litres per second.")
        )
        self.shape = choice(
            said("How the area is known"),
            [
                (said("round, by its inner diameter"), "round"),
                (said("rectangular, by its inner sides"), "box"),
                (said("by the area itself"), "area"),
            ],
        )
        self.shape.activated.connect(lambda _: self._shape_chosen())
        self.section.add(row(said("Inside"), self.shape, stretch=1))
        self.diameter = QuantityField(
            said("Inner diameter"),
            LENGTH_MM,
            said("Calliper jaws inside, at two heights and crosswise; or outside, less twice the wall."),
            instruments=_INSIDE,
        )
        self.width = QuantityField(said("Inner width"), LENGTH_MM, instruments=_INSIDE)
        self.depth = QuantityField(
            said("Inner depth"),
            LENGTH_MM,
            said("Both inside the walls, at the height of the water."),
            instruments=_INSIDE,
        )
        self.area = QuantityField(
            said("Area"),
            AREA,
            said(
                "Best found by pouring in a known volume and reading how far the level rises: area = "
                "volume / rise."
            ),
        )
        self.diameter.committed.connect(self._from_diameter)
        self.width.committed.connect(lambda *_: self._from_sides())
        self.depth.committed.connect(lambda *_: self._from_sides())
        self.area.committed.connect(lambda a, u: self._give(a, u, self.area))
        for field in (self.diameter, self.width, self.depth, self.area):
            self.section.add(field)
        self.held = Sentence(tone="faint")
        self.section.add(self.held)
        self._show_shape()

    def _shape_chosen(self) -> None:
        """Show the field of the shape chosen, whole."""
        self._show_shape()
        kind = self.shape.currentData()
        field = {"round": self.diameter, "box": self.depth, "area": self.area}[kind]
        self.panel.bring_into_sight(field)

    def _show_shape(self) -> None:
        kind = self.shape.currentData()
        self.diameter.setVisible(kind == "round")
        self.width.setVisible(kind == "box")
        self.depth.setVisible(kind == "box")
        self.area.setVisible(kind == "area")

    def _from_diameter(self, diameter: float | None, u: float | None) -> None:
        if diameter is None:
            self._give(None, None, self.diameter)
        elif diameter <= 0:
            self.diameter.show_refusal(
                said("a diameter must be greater than nought; type it in millimetres, such as 54")
            )
        else:
            self._give(*area_of_circle(diameter, u or 0.0), self.diameter)

    def _from_sides(self) -> None:
        width, depth = self.width.value, self.depth.value
        if width is None and depth is None:
            self._give(None, None, self.width)
        elif width is None or depth is None:
            return
        elif width <= 0 or depth <= 0:
            field = self.width if width <= 0 else self.depth
            field.show_refusal(said("a side must be greater than nought; type it in millimetres"))
        else:
            sides = area_of_rectangle(width, self.width.u or 0.0, depth, self.depth.u or 0.0)
            self._give(*sides, self.width)

    def _give(self, area: float | None, u: float | None, field: QuantityField) -> None:
        run = self.panel.run
        if run is not None:
            edit = SetConditions(replace(run.conditions, container_area_m2=area, container_area_u_m2=u))
            self.panel.ask(edit, field)

    def show(self, run: Run | None) -> None:
        """Show the area as the run has it."""
        area = run.conditions.container_area_m2 if run is not None else None
        u = run.conditions.container_area_u_m2 if run is not None else None
        self.section.set_state(DONE if area is not None else said("{open} area not given", open=OPEN))
        self.area.set_values(area, u)
        self._forget_other(area)
        self.held.say(
            ""
            if area is None
            else said(
                "Area held in the run: {area}.", area=with_uncertainty(1e4 * area, 1e4 * (u or 0.0), "cm²")
            )
        )

    def _forget_other(self, area: float | None) -> None:
        """Empty lengths that no longer give the run's area, and offer the diameter that a round one would have."""
        width, depth = self.width.value, self.depth.value
        if (
            width is not None
            and depth is not None
            and (area is None or abs(width * depth - area) > 1e-9 * area)
        ):
            self.width.set_values(None)
            self.depth.set_values(None)
        diameter = self.diameter.value
        matches = (
            diameter is not None
            and area is not None
            and abs(area_of_circle(diameter, 0.0)[0] - area) <= 1e-9 * area
        )
        if diameter is not None and not matches:
            self.diameter.set_values(None)
        if (
            area is not None
            and not matches
            and self.width.value is None
            and self.shape.currentData() == "round"
        ):
            self.shape.setCurrentIndex(2)
            self._show_shape()


class PlaceBlock:
    """Water, and the g that is taken for granted."""

    def __init__(self, panel: Panel) -> None:
        self.panel = panel
        self.section = Section(said("Water and place"), is_open=False)
        panel.add(self.section)
        self.temperature = QuantityField(
            said("Water temperature"),
            TEMPERATURE,
            said(
                "A thermometer in the container; it sets viscosity and surface tension, and with "
                "them where the law ends."
            ),
            with_u=False,
        )
        self.latitude = QuantityField(
            said("Latitude"),
            ANGLE,
            said(
                "From a map, south with a minus; a tenth of a degree is plenty. With it g is known to 0.02 %."
            ),
            with_u=False,
        )
        self.elevation = QuantityField(
            said("Elevation above the sea"), HEIGHT, said("From a map, to 100 m."), with_u=False
        )
        self.gravity = QuantityField(
            said("g, if you would rather give it"),
            GRAVITY,
            said("Taken as exact. Leave it empty to use latitude and elevation."),
            with_u=False,
            placeholder=said("from the latitude"),
        )
        for field, key in (
            (self.temperature, "water_temperature_c"),
            (self.latitude, "latitude_deg"),
            (self.elevation, "elevation_m"),
            (self.gravity, "gravity_m_s2"),
        ):
            field.committed.connect(self._setter(field, key))
            self.section.add(field)
        self.used = Sentence(tone="faint")
        self.section.add(self.used)

    def _setter(self, field: QuantityField, key: str) -> Callable[[Any, Any], None]:
        def give(value: float | None, _u: float | None) -> None:
            run = self.panel.run
            if run is not None:
                self.panel.ask(SetConditions(replace(run.conditions, **{key: value})), field)

        return give

    def show(self, run: Run | None) -> None:
        """Show what the run holds, and the g that follows."""
        given = run.conditions if run is not None else None
        self.temperature.set_values(given.water_temperature_c if given else None)
        self.latitude.set_values(given.latitude_deg if given else None)
        self.elevation.set_values(given.elevation_m if given else None)
        self.gravity.set_values(given.gravity_m_s2 if given else None)
        if run is None:
            self.used.say("")
            return
        g = accepted_gravity(conditions_of(run))
        value = with_uncertainty(g.value, g.u, "m/s²") if g.u else numeral(f"{g.value:g} m/s²")
        self.used.say(said("g taken for granted: {value} ({source}).", value=value, source=g.source))
        self.section.set_state(DONE if run.conditions.water_temperature_c is not None else "")


class CameraBlock:
    """Where the camera stood, and how its lens bends."""

    def __init__(self, panel: Panel) -> None:
        self.panel = panel
        self.section = Section(said("Camera"), is_open=False)
        panel.add(self.section)
        self.distance = QuantityField(
            said("From the lens to the jet's plane"),
            LENGTH_M,
            said(
                "Tape from the front of the lens to the jet, square to the jet's plane. Only with it "
                "can depths be corrected."
            ),
            instruments=DISTANCES,
        )
        self.facing_u = QuantityField(
            said("How squarely the camera faces the jet's plane"),
            ANGLE,
            said(
                "One standard uncertainty: 2° by eye, 1° with a set square on the bench, 0.5° with a "
                "mirror in the plane."
            ),
            with_u=False,
            needed=True,
        )
        self.distance.committed.connect(
            lambda d, u: self._change(self.distance, distance_m=d, distance_u_m=u)
        )
        self.facing_u.committed.connect(lambda u, _: self._change(self.facing_u, facing_u_deg=u))
        self.section.add(self.distance)
        self.section.add(self.facing_u)
        self.facing = Sentence(tone="faint")
        self.section.add(self.facing)
        self.lens_section = Section(said("Lens"), is_open=False)
        panel.add(self.lens_section)
        self.lens_section.add(
            said(
                "Only if the lens was calibrated. Straight edges that look bent near the frame's "
                "border tell that it matters; keeping to the middle of the frame avoids it."
            )
        )
        self.focal = QuantityField(
            said("Focal length"), PIXELS, said("In pixels of this film's frame."), with_u=False
        )
        self.k1 = QuantityField("k1", PURE, said("Below nought: barrel; above: pincushion."), with_u=False)
        self.k2 = QuantityField("k2", PURE, with_u=False, placeholder="0")
        for field in (self.focal, self.k1, self.k2):
            field.committed.connect(lambda *_: self._lens_typed())
            self.lens_section.add(field)
        self.no_lens = button(said("Forget the lens"), said("Take the lens as one that does not bend"))
        self.no_lens.clicked.connect(lambda: self._change(self.focal, lens=None))
        self.lens_section.add(row(self.no_lens))

    def fields(self) -> tuple[QWidget, ...]:
        """All fields, for enabling them together."""
        return (self.distance, self.facing_u, self.focal, self.k1, self.k2, self.no_lens)

    def _change(self, field: QuantityField, **parts: Any) -> None:
        run = self.panel.run
        if run is not None:
            self.panel.ask(SetCamera(replace(run.camera, **parts)), field)

    def _lens_typed(self) -> None:
        run = self.panel.run
        if run is None:
            return
        old = run.camera.lens
        focal, k1, k2 = self.focal.value, self.k1.value, self.k2.value
        if focal is None and k1 is None:
            self._change(self.focal, lens=None)
        elif focal is None:
            self.focal.show_refusal(
                said("a lens needs its focal length in pixels beside k1; type it, or empty k1")
            )
        elif k1 is None:
            self.k1.show_refusal(
                said("a lens needs k1 beside its focal length; type it, 0 for one that does not bend")
            )
        else:
            centre = old.centre_px if old is not None else None
            self._change(self.focal, lens=LensPart(k1=k1, focal_px=focal, k2=k2 or 0.0, centre_px=centre))

    def show(self, run: Run | None) -> None:
        """Show the camera as the run has it."""
        camera = run.camera if run is not None else None
        self.distance.set_values(
            camera.distance_m if camera else None, camera.distance_u_m if camera else None
        )
        self.facing_u.set_values(camera.facing_u_deg if camera else None)
        lens = camera.lens if camera is not None else None
        self.no_lens.setEnabled(lens is not None)
        if lens is not None or not (self.focal.error.text() or self.k1.error.text()):
            self.focal.set_values(lens.focal_px if lens else None)
            self.k1.set_values(lens.k1 if lens else None)
            self.k2.set_values(lens.k2 if lens else None)
        known = camera is not None and camera.distance_m is not None
        self.section.set_state(DONE if known else said("{open} distance not given", open=OPEN))
        self.lens_section.set_state(DONE if lens is not None else said("not given"))
        outcome = self.panel.document.outcome
        words = ""
        if outcome is not None:
            seen = outcome.calibration.facing
            words = well_signed(
                said(
                    "Facing as used: {sideways_deg:.1f}° ± {u_deg:.1f}° sideways, {up_down_deg:.1f}° ± "
                    "{u_deg2:.1f}° up and down ({known_by}).",
                    sideways_deg=seen.sideways_deg,
                    u_deg=seen.u_deg[0],
                    up_down_deg=seen.up_down_deg,
                    u_deg2=seen.u_deg[1],
                    known_by=seen.known_by,
                )
            )
        self.facing.say(words)
