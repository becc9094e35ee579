"""From the marks of one fall to g, with all that moves it; then all falls of a run together."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from analysis.drag import held_back
from analysis.estimate import Estimate
from analysis.falls import Fall, Falls
from analysis.series import FloatArray
from analysis.words import marked

DOWN, ACROSS, WITHIN_FRAME = (
    marked("reading the marks, up and down"),
    marked("reading the marks, sideways"),
    marked("when within a frame each end happens"),
)
"""Names of the own errors of marks in a budget."""
ANGLE = marked("launch angle")
DRAG = marked("drag of the air (size of the drop)")
UNSTATED_ANGLE_U_DEG = 1.0
"""How level a jet leaves whose angle nobody measured: a hole drilled by eye (common practice, no source)."""
_GAUSS_NEWTON = 12
_RARE = 0.05
"""Chance below which scatter beyond the stated errors is believed."""


@dataclass(frozen=True, slots=True, eq=False)
class FallFit:
    """What one fall says of g, and how far that moves with each mark."""

    fall: Fall
    start: int
    """Place of the fall's first mark among all marks of the run."""
    g: float
    """m/s²."""
    per_down: FloatArray
    """(n,) change of g with the place of each mark downwards, 1/s²."""
    per_across: FloatArray
    """(n,) the same outwards."""
    per_time: FloatArray
    """(n,) change of g with the time of each mark, m/s³."""
    own_time_u: FloatArray
    """(n,) s, own standard uncertainty of each time; nought where marks are places in frames."""
    extra: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    """Change of g with one standard uncertainty of what is not a mark."""
    chi_squared: float = 0.0
    dof: int = 0
    """Of the fit's residuals against the stated errors."""

    @property
    def own(self) -> FloatArray:
        """(3, n) change of g with one standard uncertainty of each mark: down, across, time."""
        fall = self.fall
        across = np.zeros(fall.n) if fall.across is None else fall.across.own_u
        return np.stack(
            [
                self.per_down * fall.down.own_u,
                self.per_across * across,
                self.per_time * self.own_time_u,
            ]
        )

    @property
    def shared(self) -> FloatArray:
        """(k,) change of g with one standard uncertainty of each shared source."""
        fall = self.fall
        moves = self.per_down @ fall.down.shared + self.per_time @ fall.time_shared
        if fall.across is not None:
            moves = moves + self.per_across @ fall.across.shared
        return np.asarray(moves, dtype=np.float64)


def launch_angle(falls: Falls) -> tuple[float, float]:
    """Give the launch angle and its standard uncertainty, rad; level to a degree where none was stated."""
    if falls.launch_angle_deg is None:
        return 0.0, math.radians(UNSTATED_ANGLE_U_DEG)
    u = UNSTATED_ANGLE_U_DEG if falls.launch_angle_u_deg is None else falls.launch_angle_u_deg
    return math.radians(falls.launch_angle_deg), math.radians(u)


def starts_of(falls: Falls) -> tuple[int, ...]:
    """Give the place of each fall's first mark among all marks of the run, and the count of marks last."""
    return (0, *np.cumsum([fall.n for fall in falls.falls]).tolist())


def fit_time(falls: Falls, index: int) -> FallFit | None:
    """
    Give g of a fall of two events: from rest (or level, from the hole) to the landing.

    Parameters
    ----------
    falls : Falls
        All falls; the launch angle bends the path of those from the hole.
    index : int
        Which fall.

    Returns
    -------
    FallFit or None
        g = 2 Y/T², with Y the height fallen, from the first mark or from the hole, less what the launch gave
        it. None where that is not above zero. An event seen in a frame happened since the frame before: each
        end is late by 0 to one step, standard uncertainty of the pair √(1/6) of a step.
    """
    fall = falls.falls[index]
    # Each event is late by half a step on average; the steps differ where the frame rate does.
    duration = float(np.diff(fall.time_s[[0, -1]] - 0.5 * fall.step_s[[0, -1]])[0])
    height = float(fall.down.values[-1])
    if not duration > 0.0:
        return None
    per_down, per_across = np.array([0.0, 1.0]), np.zeros(2)
    extra: dict[str, float] = {}
    if not fall.kind.from_the_hole:
        height -= float(fall.down.values[0])
        per_down[0] = -1.0
    elif fall.across is not None:
        angle, angle_u = launch_angle(falls)
        flown = float(fall.across.values[-1])
        height += flown * math.tan(angle)
        per_across[-1] = math.tan(angle)
        extra[ANGLE] = flown * angle_u / math.cos(angle) ** 2
    if height <= 0.0:
        return None
    g = 2.0 * height / duration**2
    if fall.diameter_m is not None and not fall.kind.from_the_hole:
        lost = _lost(fall, 0.0, 0.0, g)
        height, extra[DRAG] = height + float(lost[0][-1]), float(lost[2][-1])
        g = 2.0 * height / duration**2
    scale = 2.0 / duration**2
    return FallFit(
        fall,
        starts_of(falls)[index],
        g,
        scale * per_down,
        scale * per_across,
        np.array([2.0, -2.0]) * g / duration,
        fall.step_s / math.sqrt(12.0),
        MappingProxyType({name: scale * change for name, change in extra.items()}),
    )


def fit_parabola(falls: Falls, index: int) -> FallFit | None:
    """
    Give g of three marks or more: y = y₀ + v t + g t²/2 by weighted least squares.

    Parameters
    ----------
    falls : Falls
        All falls.
    index : int
        Which fall.

    Returns
    -------
    FallFit or None
        With y₀ and v free, which needs to know nothing of the start. Where the launch angle of the jet was
        stated, and the fall is one of the jet's with throws to tell its speed, the path is held to leave the
        hole at that angle and only the moment is free: the same marks then say about four times as much.
        None where the marks do not determine it.
    """
    fall = falls.falls[index]
    if fall.n < 3:
        return None
    with np.errstate(all="ignore"):
        free = _free_parabola(fall, starts_of(falls)[index])
        if (
            free is None
            or falls.launch_angle_deg is None
            or not fall.kind.from_the_hole
            or fall.across is None
        ):
            return free
        return _held_parabola(falls, free) or free


def fit_track(falls: Falls, index: int) -> FallFit | None:
    """
    Give g from how fast a fall from the hole goes outwards, and the shape of its path.

    Parameters
    ----------
    falls : Falls
        All falls.
    index : int
        Which fall.

    Returns
    -------
    FallFit or None
        g = 2 c v², with v the slope of x in time and y = c x² − x tan θ the path. The scale of x cancels.
        None for a fall that did not leave the hole, that no rule measures outwards, or that stands still.
    """
    fall = falls.falls[index]
    if fall.n < 3 or not fall.kind.from_the_hole or fall.across is None:
        return None
    angle, angle_u = launch_angle(falls)
    tangent = math.tan(angle)
    t, x, y = fall.time_s - float(np.mean(fall.time_s)), fall.across.values, fall.down.values
    u_x, u_y = fall.across.own_u, fall.down.own_u
    gain = _gain(np.stack([np.ones(fall.n), t], axis=1), _weights(u_x))
    if gain is None:
        return None
    v = float(gain[1] @ x)
    if not v > 0.0:
        return None
    extra: dict[str, float] = {}
    lost_down = lost_across = np.zeros(fall.n)
    more = (np.zeros(fall.n), np.zeros(fall.n))
    c, path = 0.0, np.zeros(fall.n)
    for _ in range(3):
        seen_x, seen_y = x + lost_across, y + lost_down
        v = float(gain[1] @ seen_x)
        weights = _weights(np.hypot(u_y, (2.0 * c * seen_x - tangent) * u_x))
        by_square = _gain((seen_x**2)[:, None], weights)
        if by_square is None:
            return None
        path = by_square[0]
        c = float(path @ (seen_y + seen_x * tangent))
        if fall.diameter_m is not None and c > 0.0:
            first = v * (2.0 * c * float(seen_x[0]) - tangent)
            *lost, more_down, more_across = _lost(fall, first, v, 2.0 * c * v**2)
            lost_down, lost_across = lost
            more = (more_down, more_across)
    if not c > 0.0:
        return None
    x, y = x + lost_across, y + lost_down
    per_down = 2.0 * v**2 * path
    per_across = -per_down * (2.0 * c * x - tangent) + 4.0 * c * v * gain[1]
    if fall.diameter_m is not None:
        extra[DRAG] = float(per_down @ more[0] + per_across @ more[1])
    extra[ANGLE] = float(per_down @ x) * angle_u / math.cos(angle) ** 2
    residual = y + x * tangent - c * x**2
    return FallFit(
        fall,
        starts_of(falls)[index],
        2.0 * c * v**2,
        per_down,
        per_across,
        -4.0 * c * v**2 * gain[1],
        np.zeros(fall.n),
        MappingProxyType(extra),
        _chi_squared(residual, np.hypot(u_y, (2.0 * c * x - tangent) * u_x)),
        fall.n - 1,
    )


def _free_parabola(fall: Fall, start: int) -> FallFit | None:
    t = fall.time_s - float(np.mean(fall.time_s))
    columns = np.stack([np.ones(fall.n), t, 0.5 * t**2], axis=1)
    gain = _gain(columns, _weights(fall.down.own_u))
    if gain is None:
        return None
    y, extra = fall.down.values, {}
    if fall.diameter_m is not None:
        lost = more = np.zeros(fall.n)
        for _ in range(3):
            _, speed, g = (gain @ (y + lost)).tolist()
            lost, _, more, _ = _lost(fall, speed + g * float(t[0]), _across_speed(fall), g)
        y, extra = y + lost, {DRAG: float(gain[2] @ more)}
    a, speed, g = (gain @ y).tolist()
    residual = y - (a + speed * t + 0.5 * g * t**2)
    return FallFit(
        fall,
        start,
        g,
        gain[2],
        np.zeros(fall.n),
        -gain[2] * (speed + g * t),
        np.zeros(fall.n),
        MappingProxyType(extra),
        _chi_squared(residual, fall.down.own_u),
        fall.n - 3,
    )


def _held_parabola(falls: Falls, free: FallFit) -> FallFit | None:
    """Hold the start to the hole and the stated angle: y = g s²/2 − v tan θ s with s = t − t₀."""
    fall = free.fall
    if fall.across is None or not free.g > 0.0:
        return None
    angle, angle_u = launch_angle(falls)
    since = fall.time_s - float(fall.time_s[0])
    along = _gain(np.stack([np.ones(fall.n), since], axis=1), _weights(fall.across.own_u))
    v = 0.0 if along is None else float(along[1] @ fall.across.values)
    if along is None or not v > 0.0:
        return None
    rise = -v * math.tan(angle)
    y, more = fall.down.values, np.zeros(fall.n)
    g = free.g
    t0 = -math.sqrt(max(2.0 * float(y[0]) / g, 0.0) + (rise / g) ** 2) + rise / g
    lost = np.zeros(fall.n)
    gain: FloatArray | None = None
    weights = _weights(fall.down.own_u)
    for _ in range(_GAUSS_NEWTON):
        if fall.diameter_m is not None:
            lost, _, more, _ = _lost(fall, rise - g * t0, v, g)
        s = since - t0
        gain = _gain(np.stack([0.5 * s**2, -(rise + g * s)], axis=1), weights)
        if gain is None:
            return None
        step = gain @ (y + lost - rise * s - 0.5 * g * s**2)
        g, t0 = g + float(step[0]), t0 + float(step[1])
        if not (math.isfinite(g) and math.isfinite(t0) and g > 0.0):
            return None
    if gain is None:
        return None
    s = since - t0
    residual = y + lost - rise * s - 0.5 * g * s**2
    # A launch that is steeper by one standard uncertainty is met by slower falling at once.
    steeper = -v * angle_u / math.cos(angle) ** 2
    per_speed = float(gain[0] @ s) * math.tan(angle)
    extra = {ANGLE: -float(gain[0] @ s) * steeper}
    if fall.diameter_m is not None:
        extra[DRAG] = float(gain[0] @ more)
    return FallFit(
        fall,
        free.start,
        g,
        gain[0],
        per_speed * along[1],
        -gain[0] * (rise + g * s) - per_speed * v * along[1],
        np.zeros(fall.n),
        MappingProxyType(extra),
        _chi_squared(residual, fall.down.own_u),
        fall.n - 2,
    )


def _across_speed(fall: Fall) -> float:
    if fall.across is None:
        return 0.0
    t = fall.time_s - float(np.mean(fall.time_s))
    return float(t @ fall.across.values / (t @ t))


def _lost(
    fall: Fall, down: float, across: float, g: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """What the air took, down and across, and the change of both with the stated error of the size."""
    d = fall.diameter_m or math.nan
    g = max(g, 0.0)
    here = held_back(fall.time_s, down, across, g, d)
    # The drag goes as 1/d and the error of the size is large: the step is taken to both sides in 1/d.
    by = min(fall.diameter_u_m / d, 0.9) / 2.0
    small, large = (held_back(fall.time_s, down, across, g, d / factor) for factor in (1.0 + by, 1.0 - by))
    return (*here, small[0] - large[0], small[1] - large[1])


def _weights(u: FloatArray) -> FloatArray:
    """Weights 1/u²; equal ones where some mark has no stated error."""
    return np.ones_like(u) if np.any(u <= 0.0) else 1.0 / u**2


def _gain(columns: FloatArray, weights: FloatArray) -> FloatArray | None:
    """(p, n) matrix that turns data into the parameters of a weighted least-squares fit; None if singular."""
    size = np.linalg.norm(columns, axis=0)
    if not np.all(size > 0.0):
        return None
    scaled = columns / size
    root = np.sqrt(weights / np.max(weights))[:, None]
    u, strength, vt = np.linalg.svd(scaled * root, full_matrices=False)
    if not np.all(np.isfinite(strength)) or strength[-1] < 1e-9 * strength[0]:
        return None
    return np.asarray((vt.T / strength) @ u.T * root.T / size[:, None], dtype=np.float64)


def _chi_squared(residual: FloatArray, u: FloatArray) -> float:
    """Sum of squared residuals over their variances; NaN where no errors were stated."""
    return math.nan if np.any(u <= 0.0) else float(np.sum((residual / u) ** 2))


@dataclass(frozen=True, slots=True, eq=False)
class Pooled:
    """All falls of one route together."""

    estimate: Estimate
    fits: tuple[FallFit, ...]
    chi_squared: float
    """Of all marks about their fits, and of the falls about their mean, against the stated errors."""
    dof: int
    widened: float
    """Factor by which own errors were widened; 1 where the scatter is as stated."""


def pooled(fits: Sequence[FallFit], falls: Falls, *, over_square_of_time: bool = False) -> Pooled | None:
    """
    Bring falls together, weighted by their own errors.

    Parameters
    ----------
    fits : sequence of FallFit
        One for each fall, by the same route.
    falls : Falls
        All falls of the run.
    over_square_of_time : bool
        Whether each g is 2 y/T² with an uncertain T. Then 1/√g is averaged, which is linear in T, and the
        bias of its inverse square, 1 + 3 (u/s)², is taken off.

    Returns
    -------
    Pooled or None
        None without falls, or where the sum is not above zero. Sources shared by falls add with their signs;
        falls' own errors do not.
    """
    if not fits:
        return None
    own = [fit.own for fit in fits]
    variance = np.array([float(np.sum(part**2)) for part in own])
    values = np.array([fit.g for fit in fits])
    # s = 1/√g is what a stop watch reads; elsewhere g itself is linear in what was read.
    slope = -0.5 * np.abs(values) ** -1.5 if over_square_of_time else np.ones_like(values)
    read = values**-0.5 if over_square_of_time else values
    spread = variance * slope**2
    weights = np.ones_like(spread) if np.any(spread <= 0.0) else 1.0 / spread
    weights = weights / np.sum(weights)
    mean = float(weights @ read)
    if not (math.isfinite(mean) and mean != 0.0):
        return None
    per_fit = weights * slope
    stated = bool(np.all(spread > 0.0)) and all(math.isfinite(fit.chi_squared) for fit in fits)
    dof = sum(fit.dof for fit in fits) + len(fits) - 1
    chi_squared = math.nan
    widened, own_dof = 1.0, math.inf
    if stated:
        chi_squared = sum(fit.chi_squared for fit in fits) + float(np.sum((read - mean) ** 2 / spread))
        if dof > 0 and chance_of_more(chi_squared, dof) < _RARE:
            widened, own_dof = math.sqrt(chi_squared / dof), float(dof)
    marks = starts_of(falls)[-1]
    rows = np.zeros((3, marks))
    shared = np.zeros(len(falls.sources))
    extra: dict[str, float] = {}
    for fit, part, weight in zip(fits, own, per_fit, strict=True):
        rows[:, fit.start : fit.start + fit.fall.n] = weight * part * widened
        shared += weight * fit.shared
        for name, change in fit.extra.items():
            extra[name] = extra.get(name, 0.0) + weight * change
    value, outer = mean, 1.0
    if over_square_of_time:
        relative = float(np.sum(rows**2)) / mean**2
        value = mean**-2 / (1.0 + 3.0 * relative)
        outer = -2.0 * value / mean
    moves = dict(zip(falls.sources, (outer * shared).tolist(), strict=True))
    for name, change in extra.items():
        moves[name] = moves.get(name, 0.0) + outer * change
    estimate = Estimate(value, outer * rows, MappingProxyType(moves), own_dof, (DOWN, ACROSS, WITHIN_FRAME))
    return Pooled(estimate, tuple(fits), chi_squared, dof, widened)


def chance_of_more(chi_squared: float, dof: int) -> float:
    """Chance that sound errors give a larger χ²."""
    from scipy.special import chdtrc

    return float(chdtrc(dof, chi_squared))
