"""The four laws that become straight lines, and how their points are made from readings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.series import FloatArray, IntArray
from analysis.words import marked


@dataclass(frozen=True, slots=True, eq=False)
class Paired:
    """Rows that have head and throw (or head and time), the head carried back to the moment of launch."""

    rows: IntArray
    """(m,) indices into the series."""
    sources: tuple[str, ...]
    """k names of shared sources."""
    time_s: FloatArray | None
    """(m,) s."""
    head: FloatArray
    """(m,) m, at launch where it was paired, else as read."""
    head_u: FloatArray
    """(m,) m, own."""
    head_shared: FloatArray
    """(m, k) m."""
    throw: FloatArray
    """(m,) m; NaN where the law does not use it."""
    throw_u: FloatArray
    throw_shared: FloatArray
    drop: FloatArray
    """(m,) m."""
    drop_u: FloatArray
    drop_shared: FloatArray
    directions: FloatArray
    """(k, r) combinations of the sources that move these rows in ways of their own."""
    gravity: float
    """m/s², accepted: it turns a throw into a speed."""
    gravity_u: float
    angle_rad: float
    """Of the jet above the horizontal where it leaves."""


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """The points of one straight line, each axis with own and shared errors."""

    rows: IntArray
    """(m,) indices into the series."""
    x: FloatArray
    y: FloatArray
    x_u: FloatArray
    """(m,) own standard uncertainty."""
    y_u: FloatArray
    x_shared: FloatArray
    """(m, k) change with each shared source."""
    y_shared: FloatArray
    x_own: FloatArray
    """(3, m) change of x when the row's own error of head, throw, drop is one standard uncertainty."""
    y_own: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Law:
    """A law of the draining container as a straight line."""

    key: str
    formula: str
    x_name: str
    x_unit: str
    y_name: str
    y_unit: str
    slope_unit: str
    slope_means: str
    """What the slope is made of."""
    source: str
    """Where the law comes from."""
    points: Callable[[Paired], Points]
    """Makes the points of this law from paired rows."""
    from_origin: bool = True
    """Whether the law goes through the origin."""


GRAVITY = marked("accepted gravity")
"""Name of the accepted g among the shared sources."""


def _root_head(at: Paired) -> tuple[FloatArray, FloatArray, FloatArray]:
    """√h, its change with the head's own error, and with the shared sources."""
    root = np.sqrt(at.head)
    return root, at.head_u / (2.0 * root), at.head_shared / (2.0 * root)[:, None]


def _speed(at: Paired) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """V = x √(g/2y), its change with the own errors of throw and drop, and with the shared sources."""
    v = at.throw * np.sqrt(at.gravity / (2.0 * at.drop))
    shared = (
        (v / at.throw)[:, None] * at.throw_shared
        - (v / (2.0 * at.drop))[:, None] * at.drop_shared
        + _gravity_column(at, v / (2.0 * at.gravity) * at.gravity_u)
    )
    return v, v / at.throw * at.throw_u, -v / (2.0 * at.drop) * at.drop_u, shared


def _gravity_column(at: Paired, change: FloatArray) -> FloatArray:
    column = np.zeros((at.head.shape[0], len(at.sources)))
    if GRAVITY in at.sources:
        column[:, at.sources.index(GRAVITY)] = change
    return column


def _points(
    at: Paired,
    *,
    x: FloatArray,
    x_own: tuple[FloatArray, FloatArray, FloatArray],
    x_shared: FloatArray,
    y: FloatArray,
    y_own: tuple[FloatArray, FloatArray, FloatArray],
    y_shared: FloatArray,
) -> Points:
    own_x, own_y = np.stack(x_own), np.stack(y_own)
    return Points(
        rows=at.rows,
        x=x,
        y=y,
        x_u=np.sqrt(np.sum(own_x**2, axis=0)),
        y_u=np.sqrt(np.sum(own_y**2, axis=0)),
        x_shared=x_shared,
        y_shared=y_shared,
        x_own=own_x,
        y_own=own_y,
    )


def _speed_root_head(at: Paired) -> Points:
    zero = np.zeros_like(at.head)
    root, root_own, root_shared = _root_head(at)
    v, by_throw, by_drop, shared = _speed(at)
    return _points(
        at,
        x=root,
        x_own=(root_own, zero, zero),
        x_shared=root_shared,
        y=v,
        y_own=(zero, by_throw, by_drop),
        y_shared=shared,
    )


def _speed_squared_head(at: Paired) -> Points:
    zero = np.zeros_like(at.head)
    v, by_throw, by_drop, shared = _speed(at)
    return _points(
        at,
        x=at.head,
        x_own=(at.head_u, zero, zero),
        x_shared=at.head_shared,
        y=v**2,
        y_own=(zero, 2.0 * v * by_throw, 2.0 * v * by_drop),
        y_shared=(2.0 * v)[:, None] * shared,
    )


def _throw_squared_head(at: Paired) -> Points:
    # A drop that differs from row to row is brought to the mean drop, so that one slope belongs to all rows.
    zero = np.zeros_like(at.head)
    mean_drop = float(np.mean(at.drop))
    ratio = mean_drop / at.drop
    y = at.throw**2 * ratio
    return _points(
        at,
        x=at.head,
        x_own=(at.head_u, zero, zero),
        x_shared=at.head_shared,
        y=y,
        y_own=(zero, 2.0 * at.throw * ratio * at.throw_u, -y / at.drop * at.drop_u),
        y_shared=(
            (2.0 * at.throw * ratio)[:, None] * at.throw_shared
            - (y / at.drop)[:, None] * at.drop_shared
            + (y / mean_drop)[:, None] * np.mean(at.drop_shared, axis=0)[None, :]
        ),
    )


def _root_head_time(at: Paired) -> Points:
    zero = np.zeros_like(at.head)
    root, root_own, root_shared = _root_head(at)
    return _points(
        at,
        x=zero if at.time_s is None else at.time_s,
        x_own=(zero, zero, zero),
        x_shared=np.zeros_like(at.head_shared),
        y=root,
        y_own=(root_own, zero, zero),
        y_shared=root_shared,
    )


SPEED_ROOT_HEAD = Law(
    key="speed_root_head",
    formula=marked("v = Cv √(2g) · √h"),
    x_name=marked("√head √h"),
    x_unit="m^0.5",
    y_name=marked("jet speed v"),
    y_unit="m/s",
    slope_unit="m^0.5/s",
    slope_means=marked("Cv √(2g), with the g that turned throws into speeds"),
    source=marked("Torricelli 1644; v from the throw by v = x √(g/2y₀)"),
    points=_speed_root_head,
)
SPEED_SQUARED_HEAD = Law(
    key="speed_squared_head",
    formula=marked("v² = 2g Cv² · h"),
    x_name=marked("head h"),
    x_unit="m",
    y_name=marked("jet speed squared v²"),
    y_unit="m²/s²",
    slope_unit="m/s²",
    slope_means=marked("2g Cv², with the g that turned throws into speeds"),
    source=marked("Torricelli 1644, squared"),
    points=_speed_squared_head,
)
THROW_SQUARED_HEAD = Law(
    key="throw_squared_head",
    formula=marked("x² = 4 y₀ Cv² · h"),
    x_name=marked("head h"),
    x_unit="m",
    y_name=marked("throw squared x²"),
    y_unit="m²",
    slope_unit="m",
    slope_means=marked("4 y₀ Cv²: lengths only, no g in it"),
    source=marked(
        "W. C. Unwin, Hydraulics, Encyclopaedia Britannica 11th ed. (1910), s. 18: Cv = x/(2√(y h))"
    ),
    points=_throw_squared_head,
)
ROOT_HEAD_TIME = Law(
    key="root_head_time",
    formula="√h = √h₀ − k · t",
    x_name=marked("time t"),
    x_unit="s",
    y_name=marked("√head √h"),
    y_unit="m^0.5",
    slope_unit="m^0.5/s",
    slope_means=marked("−k, k = Cd (a/A) √(g/2) for a prismatic container"),
    source=marked(
        "W. C. Unwin, Hydraulics, Encyclopaedia Britannica 11th ed. (1910), s. 53: time of emptying"
    ),
    points=_root_head_time,
    from_origin=False,
)
LAWS: tuple[Law, ...] = (SPEED_ROOT_HEAD, SPEED_SQUARED_HEAD, THROW_SQUARED_HEAD, ROOT_HEAD_TIME)
"""All four."""
