"""Rows of a rule's table: each graduation with its residual."""

from __future__ import annotations

from dataclasses import dataclass

from calibration import RuleFit
from measure_app.gui.panels.quantity import LENGTH_MM, MM, Unit, shown
from measure_app.gui.panels.tables import Field
from measure_app.gui.signs import well_signed
from measure_app.run import RulePart
from measure_app.words import marked, numeral, said

_TOO_FAR = 3.0
"""Residual over its stated uncertainty beyond which a graduation deserves another look."""


@dataclass(frozen=True, slots=True)
class GraduationRow:
    """One graduation as the table shows it."""

    index: int
    value_m: float
    x_px: float
    y_px: float
    residual_px: float | None
    residual_m: float | None
    u_px: float | None
    unit: Unit = MM

    @property
    def stands_out(self) -> bool:
        """Whether it misses the common scale by more than reading explains."""
        return bool(
            self.residual_px is not None and self.u_px and abs(self.residual_px) > _TOO_FAR * self.u_px
        )


def graduation_rows(rule: RulePart, fit: RuleFit | None) -> tuple[GraduationRow, ...]:
    """Join a rule's graduations with what the calibration says of them.

    Parameters
    ----------
    rule : RulePart
    fit : RuleFit or None
        Of the same rule; one with other graduations, from before an edit, is passed over.
    """
    unit = _unit_of(rule)
    values = [g.value_m for g in rule.graduations]
    by_value = {}
    if fit is not None and sorted(values) == sorted(fit.values_m.tolist()):
        by_value = {v: i for i, v in enumerate(fit.values_m.tolist())}
    rows = []
    for j, graduation in enumerate(rule.graduations):
        i = by_value.get(graduation.value_m)
        residual = float(fit.residuals_px[i]) if fit is not None and i is not None else None
        rows.append(
            GraduationRow(
                j,
                graduation.value_m,
                graduation.px.x,
                graduation.px.y,
                residual,
                residual * fit.m_per_px if fit is not None and residual is not None else None,
                float(fit.u_px[i]) if fit is not None and i is not None else None,
                unit,
            )
        )
    return tuple(rows)


def _unit_of(rule: RulePart) -> Unit:
    """Unit in which this rule's values read best: mm up to a metre, else cm or m."""
    top = max(abs(g.value_m) for g in rule.graduations)
    return MM if top < 1.0 else LENGTH_MM.units[1] if top < 10.0 else LENGTH_MM.units[2]


GRADUATION_FIELDS = (
    Field(
        marked("value"),
        lambda r: f"{shown(r.value_m, r.unit)} {r.unit.symbol}",
        lambda r: r.value_m,
        marked("Engraved value; press twice or type to change it. Copied in metres."),
        copied_as=marked("value / m"),
        typed_over=lambda r: shown(r.value_m, r.unit),
    ),
    Field(
        marked("at px"),
        lambda r: said("{x:.1f}, {y:.1f}", x=r.x_px, y=r.y_px),
        tip=marked("Place in the frame: from the left, from the top."),
    ),
    Field(
        marked("off px"),
        lambda r: (
            "" if r.residual_px is None else f"{'⚠ ' if r.stands_out else ''}{_signed(r.residual_px, 2)}"
        ),
        lambda r: r.residual_px,
        marked(
            "How far it was read past the place that the common scale gives it; ⚠ more than reading explains."
        ),
    ),
    Field(
        marked("off mm"),
        lambda r: "" if r.residual_m is None else _signed(1000 * r.residual_m, 2),
        lambda r: r.residual_m,
        marked("The same in millimetres; copied in metres."),
        copied_as=marked("off / m"),
    ),
)


def _signed(value: float, decimals: int) -> str:
    return numeral(well_signed(f"{value:+.{decimals}f}"))
