"""The jet's own path: its angle where it leaves, and its speed coefficient from how the path curves.

Places on the jet are joined along the water's way, not along the picture: what is seen at a depth y left the
hole √(2y/g) earlier, when the head was a little higher. So joined, the path of each parcel is a parabola.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from analysis.answer import Answer, Derived
from analysis.estimate import Estimate
from analysis.gravity import AcceptedGravity
from analysis.jet_estimates import (
    LEAST_STRETCHES,
    MEDIAN_WIDENS,
    Told,
    alike,
    cv_against_head,
    mean_cv,
    mean_of_stretches,
)
from analysis.notation import plain
from analysis.series import BoolArray, Column, Conditions, FloatArray, IntArray, Series
from analysis.words import marked, said

ANGLE, CURVATURE = "jet_launch_angle_deg", "jet_curvature_cv"
"""Names of the two findings."""
CENTRE = marked("traced jet: which place of it is its centre")
LINES = marked("traced jet: lines that err alike all through the run")
MOST_U_DEG = 1.5
"""Standard uncertainty of the angle beyond which a trace is not used: a hole drilled with care is within that
anyway (common practice, no source)."""
_LEVEL = 2.0
"""Standard uncertainties within which a traced angle is called level (common practice, no source)."""
_CENTRE_SHARE = 0.2
"""How far the middle of what glitters may lie from the middle of the water, in half widths: set by rendered
scenes, wide enough for one in which a glint runs along the lower side of the jet alone."""
_LEAST_PLACES = 5
_HEAD_DEGREE = 3
_LEAST_U_DEG = 0.05
"""No trace tells the angle better: within the first millimetres the jet contracts, and no line cuts it."""


@dataclass(frozen=True, slots=True, eq=False)
class TracedJet:
    """Places of the jet's middle, in lengths: m stretches of time by l lines, one after another."""

    sources: tuple[str, ...]
    """k names; those of the calibration are the names that the run's series has them under."""
    time_s: FloatArray
    """(m,) s, middle of each stretch."""
    across: Column
    """m, (m · l) outward from the orifice; NaN where the jet was not seen."""
    down: Column
    """m, (m · l) below the orifice."""
    half_width_m: float
    """Half the jet's width, m."""

    def __post_init__(self) -> None:
        """Check shapes."""
        m, points = self.time_s.shape[0], self.across.values.shape[0]
        if m == 0 or points % m:
            raise ValueError(f"{points} places do not divide into {m} stretches of time")
        for column in (self.across, self.down):
            if column.values.shape != (points,) or column.shared.shape != (points, len(self.sources)):
                raise ValueError("across and down must be equally long, with a column for every source")


@dataclass(frozen=True, slots=True, eq=False)
class JetShape:
    """What the traced jet tells, against time and for the run."""

    launch_s: FloatArray
    """(m,) s, when the water of each stretch left the hole."""
    angle_deg: FloatArray
    """(m,) the jet's angle above the horizontal where it leaves, stretch by stretch; NaN where not to be
    had."""
    cv: FloatArray
    """(m,) speed coefficient from curvature and head; NaN where not to be had."""
    angle: Estimate | None
    """Of the run, degrees."""
    speed_coefficient: Estimate | None
    missing: str
    """What the angle wants; "" where it is there."""
    missing_cv: str
    by_slope: bool = False
    """Whether Cv is told by how the curvature goes with the head, not by each curvature and its head."""


def jet_shape_of(
    traced: TracedJet | None, series: Series, gravity: AcceptedGravity, why: str = ""
) -> JetShape:
    """
    Fit y = κ x² - x tan θ to the traced jet, for each stretch of time and for the run.

    Parameters
    ----------
    traced : TracedJet or None
        None: the jet was not traced.
    series : Series
        For the heads, and the clock that they share with the trace.
    gravity : AcceptedGravity
        Tells how long water has been under way, a small correction of the second order; no result goes with
        g.
    why : str
        Why there is no trace.

    Returns
    -------
    JetShape
        Cv² = (1 + tan²θ)/(4 κ h), from the parabola of a jet that leaves with v = Cv √(2 g h): lengths only.

    Notes
    -----
    Surface tension holds back the same head h₀ all through a run, and a head zero that is off adds its own:
    (1 + tan²θ)/(4 κ) = Cv² (h - h₀). Where the heads span enough, Cv of the run is the slope of that straight
    line, and h₀ is left open. Else Cv is the mean over the stretches, and what surface tension would take
    from an intact jet as wide as the one traced counts as its uncertainty.
    Own uncertainty from how far the stretches scatter (gusts included), shared uncertainty by moving all
    places and heads with each source. Where poor light or what is behind the jet draws a line along, it does
    so in all stretches; by how much, the lines tell by lying beside the parabola. The centre of the jet
    counts as a source that shifts the whole path squarely to itself by a fifth of its half width.
    """
    nothing = np.zeros(0)
    if traced is None:
        words = why or said("a film in which the jet is traced; measure it")
        return JetShape(nothing, nothing, nothing, None, None, words, words)
    shape = _Path(traced, series, gravity)
    angles, cvs = shape.fitted(shape.x, shape.y, None)
    good = np.isfinite(angles)
    if good.sum() < LEAST_STRETCHES:
        words = said(
            "the jet traced on five lines or more in four stretches of time or more; it could be "
            "followed in {sum}: light it so that it stands out from what is behind",
            sum=int(good.sum()),
        )
        return JetShape(shape.launch_s, np.degrees(angles), cvs, None, None, words, words)
    shared_angle: dict[str, float] = {}
    sources = shape.moved()
    by_lines = shape.drawn_along(angles)
    if by_lines is not None:
        sources.append((LINES, by_lines, shape.y, None))
    moved = [(name, head, *shape.fitted(x, y, head)) for name, x, y, head in sources]
    for name, _, moved_angles, _ in moved:
        shared_angle[name] = math.degrees(float(np.nanmean(moved_angles[good] - angles[good])))
    angle = mean_of_stretches(np.degrees(angles[good]), shared_angle, shape.smoothing)
    missing_cv, cv, by_slope = "", None, False
    if np.isfinite(cvs).sum() < LEAST_STRETCHES:
        missing_cv = said("heads read, with times, while the jet was traced")
    else:
        there = [(name, moved_cvs, shape.heads(head)) for name, head, _, moved_cvs in moved]
        _, turned = shape.fitted(shape.x, shape.y, None, tilt=MEDIAN_WIDENS * math.radians(angle.u_own))
        told = Told(cvs, shape.heads(None), turned, there, shape.smoothing)
        cv = cv_against_head(told)
        by_slope = cv is not None
        if cv is None:
            cv = mean_cv(told, traced.half_width_m, gravity)
    return JetShape(shape.launch_s, np.degrees(angles), cvs, angle, cv, "", missing_cv, by_slope)


def jet_answers(shape: JetShape) -> Mapping[str, Answer]:
    """Give the two findings of a traced jet, or what they want."""
    angle: Answer = shape.missing
    if shape.angle is not None:
        trend = _trend(shape.launch_s, shape.angle_deg)
        angle = Derived(
            shape.angle,
            "θ",
            "°",
            said("slope at the orifice of the parabola through the traced jet, against the plumb"),
            depends_on_assumed_g=False,
            remarks=(trend,) if trend else (),
        )
        if not shape.angle.u <= MOST_U_DEG:
            angle = said(
                "a trace that tells it better than ± {u}°: mark plumb and orifice with care",
                u=plain(shape.angle.u, 2),
            )
    cv: Answer = shape.missing_cv
    if shape.speed_coefficient is not None:
        how = said(
            "curvature of the traced jet and the head: Cv² = (1 + tan²θ)/(4 κ h), lengths only, "
            "without the landing"
        )
        doubt = said(
            "the heads span too little to tell it from a head zero that is off, which is in it undiminished; "
            "its uncertainty holds what surface tension may take, assumed for water at 20 °C"
        )
        if shape.by_slope:
            how = said(
                "how the curvature of the traced jet goes with the head: Cv² is the slope of "
                "(1 + tan²θ)/(4 κ) against h, lengths only, without the landing"
            )
            doubt = said(
                "a head zero that is off, or head lost to surface tension, shifts that line and leaves its "
                "slope as it is"
            )
        cv = Derived(shape.speed_coefficient, "Cv", "1", how, depends_on_assumed_g=False, remarks=(doubt,))
    return MappingProxyType({ANGLE: angle, CURVATURE: cv})


def with_traced_angle(conditions: Conditions, shape: JetShape) -> Conditions:
    """
    Let the traced angle stand where none was stated.

    Parameters
    ----------
    conditions : Conditions
        As stated.
    shape : JetShape
        As traced.

    Returns
    -------
    Conditions
        Unchanged where an angle was stated, or where the trace tells none that is worth using. A traced angle
        that agrees with a level jet leaves the jet level, with all that it may be off as its uncertainty:
        else every slope would be shifted by what is mostly the orifice's mark. Either way it counts as a
        source of its own, and what was traced stands beside it, so that words can tell it from a stated one.
    """
    if conditions.launch_angle_deg is not None or shape.angle is None or not shape.angle.u <= MOST_U_DEG:
        return conditions
    value, u = shape.angle.value, max(shape.angle.u, _LEAST_U_DEG)
    if abs(value) <= _LEVEL * u:
        value, u = 0.0, max(abs(value), u)
    return replace(
        conditions,
        launch_angle_deg=value,
        launch_angle_u_deg=u,
        traced_angle_deg=shape.angle.value,
        traced_angle_u_deg=shape.angle.u,
    )


def _trend(time: FloatArray, angle: FloatArray) -> str:
    """Say whether the angle changes during the run by more than its scatter allows."""
    ok = np.isfinite(angle)
    if ok.sum() < 2 * LEAST_STRETCHES:
        return ""
    t = time[ok] - float(np.mean(time[ok]))
    slope = float(np.sum(t * angle[ok]) / np.sum(t**2))
    left = angle[ok] - np.mean(angle[ok]) - slope * t
    u = math.sqrt(float(np.sum(left**2)) / (len(t) - 2) / float(np.sum(t**2)))
    change = slope * float(np.ptp(t))
    if abs(slope) <= 4.0 * u or abs(change) < 0.3:
        return ""
    return said("it changes by {change}° from the first to the last of the run", change=plain(change, 2))


class _Path:
    """A trace prepared so that moved places are fitted at once."""

    def __init__(self, traced: TracedJet, series: Series, gravity: AcceptedGravity) -> None:
        m = traced.time_s.shape[0]
        self._traced, self._series = traced, series
        self.x = traced.across.values.reshape(m, -1)
        self.y = traced.down.values.reshape(m, -1)
        # A line on which the jet was never seen has no depth, and is not needed.
        depth = np.array([np.median(y[y > 0.0]) if (y > 0.0).any() else 0.0 for y in self.y.T])
        under_way = np.sqrt(2.0 * depth / gravity.value)
        last = float(under_way.max(initial=0.0))
        # Each stretch is known by the instant at which its water left.
        self.launch_s = traced.time_s - 0.5 * last
        self._joins = np.stack(
            [
                _interpolation(traced.time_s, np.isfinite(self.x[:, i]), self.launch_s + under_way[i])
                for i in range(self.x.shape[1])
            ]
        )
        kept = np.sum(self._joins**2, axis=2)
        self.smoothing = (
            math.sqrt(float(np.mean(kept[np.isfinite(kept)]))) if np.isfinite(kept).any() else 1.0
        )
        self._head = _head_operator(series, self.launch_s)

    def fitted(
        self, x: FloatArray, y: FloatArray, head: FloatArray | None, tilt: float = 0.0
    ) -> tuple[FloatArray, FloatArray]:
        """Angle, rad, and Cv of each stretch, (m,); of places (m, l) and heads (n,), None as read.

        Cv with the angle of the run `tilt` further, rad.
        """
        a, c, w, tangent, bend = self._parabolas(x, y)
        b = a**2
        bend = np.where(bend > 0.0, bend, np.nan)
        angles = np.where(np.isfinite(bend), np.arctan(tangent), np.nan)
        h = self.heads(head)
        common = float(np.nanmedian(angles)) if np.isfinite(angles).any() else 0.0
        common += tilt
        # The angle is that of the run: a stretch alone tells angle and curvature only together.
        held = ((w * b * c).sum(1) + math.tan(common) * (w * a * b).sum(1)) / np.where(
            np.isfinite(tangent), (w * b * b).sum(1), np.nan
        )
        with np.errstate(invalid="ignore", divide="ignore"):
            cv = np.sqrt((1.0 + math.tan(common) ** 2) / (4.0 * held * h))
        return angles, np.where(np.isfinite(cv), cv, np.nan)

    def _parabolas(
        self, x: FloatArray, y: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
        """Places along the water's way, across and down (m, l), and their weights, 0 where not known.

        Then tangent and bend of the parabola through each stretch, (m,); NaN of too few places.
        """
        xs, ys = self._along(x), self._along(y)
        ok = np.isfinite(xs) & np.isfinite(ys) & (ys > 0.0)
        w = np.where(ok, 1.0, 0.0)
        enough = w.sum(axis=1) >= _LEAST_PLACES
        a, b, c = np.where(ok, xs, 0.0), np.where(ok, xs**2, 0.0), np.where(ok, ys, 0.0)
        tangent = np.full(len(xs), np.nan)
        bend = np.full(len(xs), np.nan)
        for _ in range(2):
            aa, ab, bb = (w * a * a).sum(1), (w * a * b).sum(1), (w * b * b).sum(1)
            ac, bc = (w * a * c).sum(1), (w * b * c).sum(1)
            det = np.where(enough, aa * bb - ab * ab, np.nan)
            tangent, bend = -(ac * bb - bc * ab) / det, (aa * bc - ab * ac) / det
            # Errors lie along the lines: they count in y as much as the path falls there.
            fall = np.abs(2.0 * bend[:, None] * a - tangent[:, None])
            w = np.where(ok, 1.0 / (np.nan_to_num(fall, nan=1.0) ** 2 + 0.05), 0.0)
        return a, c, w, tangent, bend

    def drawn_along(self, angles: FloatArray) -> FloatArray | None:
        """Places across (m, l), each line moved by what it may err by in all stretches, or None.

        How far the lines lie beside the mean parabola tells the size, one for all lines. They are moved as is
        likeliest where the angle, of stretches (m,), is one standard uncertainty off for them.
        """
        a, c, w, tangent, bend = self._parabolas(self.x, self.y)
        w = np.where(np.isfinite(tangent)[:, None], w, 0.0)
        total = w.sum(axis=0)
        lines = np.flatnonzero(total > 0.0)
        if len(lines) < _LEAST_PLACES:
            return None
        rest = np.where(w > 0.0, c - bend[:, None] * a**2 + tangent[:, None] * a, 0.0)
        # What a mark of the orifice that is off leaves is a source of its own.
        beside, across, bent = ((w * each).sum(axis=0)[lines] / total[lines] for each in (rest, a, a**2))
        root = np.sqrt(total[lines] / (w > 0.0).sum(axis=0)[lines])
        design = np.stack([np.ones(len(lines)), across, bent], axis=1) * root[:, None]
        off = root * beside - design @ np.linalg.lstsq(design, root * beside, rcond=None)[0]
        # Neighbours see the same behind the jet.
        size = math.sqrt(float(off @ off) / (len(lines) - 3)) * alike(off)
        turns = np.zeros(self.x.shape[1])
        for line in lines:
            x = self.x.copy()
            x[:, line] += size
            turns[line] = float(np.nanmean(self.fitted(x, self.y, None)[0] - angles))
        together = math.sqrt(float(turns @ turns))
        return self.x + size * turns / together if together > 0.0 else None

    def moved(self) -> list[tuple[str, FloatArray, FloatArray, FloatArray | None]]:
        """Places and heads with each shared source one standard uncertainty further."""
        traced, series = self._traced, self._series
        shape = self.x.shape
        names = list(dict.fromkeys((*traced.sources, *series.sources)))
        out: list[tuple[str, FloatArray, FloatArray, FloatArray | None]] = []
        for name in names:
            x, y, head = self.x, self.y, None
            if name in traced.sources:
                j = traced.sources.index(name)
                x = x + traced.across.shared[:, j].reshape(shape)
                y = y + traced.down.shared[:, j].reshape(shape)
            if name in series.sources and series.head is not None:
                head = series.head.values + series.head.shared[:, series.sources.index(name)]
            out.append((name, x, y, head))
        steep = np.where(self.x > 0.0, 2.0 * self.y / np.where(self.x > 0.0, self.x, 1.0), 1.0)
        aside = _CENTRE_SHARE * traced.half_width_m / np.hypot(1.0, steep)
        out.append((CENTRE, self.x + aside * steep, self.y - aside, None))
        return out

    def _along(self, values: FloatArray) -> FloatArray:
        """Join each line's places at the instants at which the same water passed it."""
        return np.asarray((self._joins @ np.nan_to_num(values).T[:, :, None])[:, :, 0].T)

    def heads(self, head: FloatArray | None) -> FloatArray:
        """Head at each stretch's launch, (m,) m; NaN where none was read near it."""
        if self._head is None or self._series.head is None:
            return np.full(len(self.launch_s), np.nan)
        rows, operator = self._head
        values = self._series.head.values if head is None else head
        return np.asarray((operator @ np.sqrt(np.maximum(values[rows], 0.0))) ** 2)


def _interpolation(times: FloatArray, known: BoolArray, wanted: FloatArray) -> FloatArray:
    """Matrix (m, m) of straight interpolation between the known stretches; rows of NaN where too far."""
    m = len(times)
    matrix = np.full((m, m), np.nan)
    at = np.flatnonzero(known)
    if len(at) < 2:
        return matrix
    step = float(np.median(np.diff(times)))
    upper = np.clip(np.searchsorted(times[at], wanted), 1, len(at) - 1)
    low, high = at[upper - 1], at[upper]
    part = (wanted - times[low]) / (times[high] - times[low])
    # Half a stretch past an end, or over one missing stretch, is near enough.
    near = (part > -0.75) & (part < 1.75) & (times[high] - times[low] < 2.5 * step)
    rows = np.flatnonzero(near)
    matrix[rows] = 0.0
    matrix[rows, low[rows]] = 1.0 - part[rows]
    matrix[rows, high[rows]] += part[rows]
    return matrix


def _head_operator(series: Series, wanted: FloatArray) -> tuple[IntArray, FloatArray] | None:
    """Rows of the series, and a matrix that gives √h at the wanted times from √h there; None without."""
    if series.time_s is None or series.head is None:
        return None
    good = series.kept & np.isfinite(series.time_s) & np.isfinite(series.head.values)
    rows = np.flatnonzero(good & (np.nan_to_num(series.head.values) > 0.0))
    if len(rows) < 2 * (_HEAD_DEGREE + 1):
        return None
    times = series.time_s[rows]
    middle, half = float(np.mean(times)), max(0.5 * float(np.ptp(times)), 1e-9)
    basis = np.polynomial.chebyshev.chebvander((times - middle) / half, _HEAD_DEGREE)
    at = np.polynomial.chebyshev.chebvander((wanted - middle) / half, _HEAD_DEGREE)
    operator = at @ np.linalg.pinv(basis)
    operator[np.abs(wanted - middle) > 1.15 * half] = np.nan
    return rows, operator
