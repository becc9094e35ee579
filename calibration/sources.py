"""The shared sources of error: each a column of parameter changes for one standard uncertainty."""

from __future__ import annotations

import math

import numpy as np

from calibration.joint import SHARED, JointFit
from calibration.lens import straighten
from calibration.pixels import FloatArray, Pixel
from calibration.plane import Plane, Slot
from calibration.rules import Marks
from calibration.setup import Setup
from calibration.words import marked

_NEGLIGIBLE = 1e-3
"""A share of a parameter's standard uncertainty that adds a millionth to its variance."""
# A name is what joins a source to itself in another run, so it stays as it is here; who shows it says it.
PERSPECTIVE = marked("perspective as read")
SCALE = marked("scale as read")
ENGRAVED = marked("engraved scale")
DEPTH = marked("depth")


class _Columns:
    """Collects named columns; one that moves nothing is left out."""

    def __init__(self, size: int) -> None:
        self.size = size
        self.names: list[str] = []
        self.columns: list[FloatArray] = []

    def add(self, name: str, column: FloatArray) -> None:
        if np.any(column):
            self.names.append(name)
            self.columns.append(column)

    def add_slots(self, name: str, **changes: float) -> None:
        column = np.zeros(self.size)
        for slot, change in changes.items():
            column[Slot[slot.upper()]] = change
        self.add(name, column)


def columns_of(
    setup: Setup, plane: Plane, marks: Marks, fit: JointFit | None, *, roll_u: float, typical_m: float
) -> tuple[tuple[str, ...], FloatArray]:
    """Name every shared source and say what it moves.

    Parameters
    ----------
    setup : Setup
    plane : Plane
    marks : Marks
    fit : JointFit or None
        None without rules: nothing can be measured then and there are no sources.
    roll_u : float
        Standard uncertainty of the plumb's direction, rad.
    typical_m : float
        Distance that the picture suggests, m; the size of what is left uncorrected where none is given.

    Returns
    -------
    names : tuple of str
        k of them.
    columns : ndarray, shape (p, k)
        Change of the parameters with each, independent of one another and of unit variance; the sum of their
        outer products is the covariance of the parameters.
    """
    if fit is None:
        return (), np.zeros((len(plane.base), 0))
    out = _Columns(len(plane.base))
    _camera(out, setup, plane, fit, typical_m)
    for r in range(len(marks.rules)):
        _rule(out, marks, fit, r)
    _marks(out, setup, plane, roll_u)
    return tuple(out.names), np.stack(out.columns, axis=1)


def _spread(fit: JointFit, inputs: FloatArray, size: int) -> FloatArray:
    """Place columns (q, j) of the joint fit's parameters into columns (p, j) of the model's."""
    R = (len(fit.parameters) - SHARED) // 3
    column = np.zeros((size, inputs.shape[1]))
    column[:SHARED] = inputs[:SHARED]
    column[Slot.RULES : Slot.RULES + 2 * R] = inputs[SHARED : SHARED + 2 * R]
    return column


def _camera(out: _Columns, setup: Setup, plane: Plane, fit: JointFit, typical_m: float) -> None:
    N = len(fit.residuals)
    size = len(plane.base)
    down = plane.plumb[1] - plane.plumb[0]
    down = down / np.hypot(*down)
    if setup.camera.facing_u_deg > 0:
        across = np.array([down[1], -down[0]])
        out.add(
            marked("camera facing, sideways"),
            _spread(fit, fit.gain[:, N : N + 2] @ across[:, None], size)[:, 0],
        )
        out.add(
            marked("camera facing, up and down"),
            _spread(fit, fit.gain[:, N : N + 2] @ down[:, None], size)[:, 0],
        )
    if setup.camera.lens is None:
        out.add(marked("lens not given"), _spread(fit, fit.gain[:, N + 3 : N + 4], size)[:, 0])
    if setup.camera.distance_m is None:
        # The fit leaves rounding in depths that are nought.
        if any(abs(plane.base[slot]) > 1e-9 for slot in _depth_slots(len(setup.rules))):
            out.add_slots(
                marked("depth left uncorrected (no camera distance)"), inverse_distance=1.0 / typical_m
            )
    elif setup.camera.distance_u_m != 0:
        out.add(marked("camera distance"), _spread(fit, fit.gain[:, N + 2 : N + 3], size)[:, 0])


def _depth_slots(rules: int) -> list[int]:
    """Places of all depths in a parameter vector."""
    return [*range(Slot.GAUGE_DEPTH, Slot.ZERO_DEPTH + 1), *range(Slot.RULES, Slot.RULES + rules)]


def _rule(out: _Columns, marks: Marks, fit: JointFit, r: int) -> None:
    """Columns of one rule: scale and perspective as read, depth, engraved scale."""
    N, R = len(marks.values), len(marks.rules)
    name = marks.names[r]
    q = SHARED + 2 * R  # the zeros of the rules move nothing that is measured
    gain = fit.gain[:q, :N][:, marks.of(r)]
    size = np.linalg.norm(fit.gain[:q], axis=1)
    size[size == 0] = 1.0
    left, strength, _ = np.linalg.svd(gain / size[:, None], full_matrices=False)
    kept = strength > _NEGLIGIBLE
    packed = size[:, None] * left[:, kept] * strength[kept]
    # Turn the columns so that one alone carries what this rule says of the perspective along itself.
    says = marks.along[r] @ packed[:2]
    if np.linalg.norm(says) > _NEGLIGIBLE * np.linalg.norm(size[:2]) and packed.shape[1] > 1:
        turn = np.linalg.qr(np.column_stack([says, np.eye(len(says))]))[0]
        packed = packed @ turn
        out.add(f"{name}: {PERSPECTIVE}", _spread(fit, packed[:, :1], out.size)[:, 0])
        packed = packed[:, 1:]
    for j in range(packed.shape[1]):
        number = "" if j == 0 else f" ({j + 1})"
        out.add(f"{name}: {SCALE}{number}", _spread(fit, packed[:, j : j + 1], out.size)[:, 0])
    if marks.rules[r].behind_u_m > 0:
        out.add(f"{name}: {DEPTH}", _spread(fit, fit.gain[:, N + SHARED + r, None], out.size)[:, 0])
    engraved = np.zeros((len(fit.parameters), 1))
    for j, (a, b, u) in enumerate(fit.equalities):
        if r in (a, b):
            sign = 1.0 if r == a else -1.0
            engraved += sign * marks.rules[r].scale_u / u * fit.gain[:, N + SHARED + R + j, None]
    column = _spread(fit, engraved, out.size)[:, 0]
    column[Slot.RULES + 2 * R + r] = -marks.rules[r].scale_u
    out.add(f"{name}: {ENGRAVED}", column)


def _marks(out: _Columns, setup: Setup, plane: Plane, roll_u: float) -> None:
    """Columns of the marked points and lines."""
    down = plane.plumb[1] - plane.plumb[0]
    down = down / np.hypot(*down)
    across = np.array([down[1], -down[0]])

    def position(names: tuple[str, str], px: Pixel, px_u: float, x: str, y: str) -> None:
        for name, way in zip(names, (down, across), strict=True):
            seen = np.array([px, px])
            ends = straighten(seen + 0.5 * np.array([way, -way]), setup.camera.lens, plane.centre)
            step = px_u * (ends[0] - ends[1])
            out.add_slots(name, **{x: float(step[0]), y: float(step[1])})

    orifice, zero, gauge, landing = setup.orifice, setup.throw_zero, setup.gauge_line, setup.landing_line
    position(
        (marked("orifice, up and down"), marked("orifice, sideways")),
        orifice.px,
        orifice.px_u,
        "orifice_x",
        "orifice_y",
    )
    out.add_slots(marked("orifice: depth"), orifice_depth=orifice.behind_u_m)
    if zero is not None:
        position(
            (marked("throw zero, up and down"), marked("throw zero, sideways")),
            zero.px,
            zero.px_u,
            "zero_x",
            "zero_y",
        )
        out.add_slots(marked("throw zero: depth"), zero_depth=zero.behind_u_m)
    out.add_slots(
        marked("plumb direction") if setup.plumb else marked("roll of the camera (no plumb)"),
        plumb_angle=roll_u,
    )
    if gauge is not None:
        out.add_slots(marked("gauge line: depth"), gauge_depth=gauge.behind_u_m)
        out.add_slots(marked("meniscus allowance"), above_level=gauge.above_level_u_m)
    if landing is not None and plane.landing is not None:
        out.add_slots(marked("landing line: depth"), landing_depth=landing.behind_u_m)
        step = plane.landing[1] - plane.landing[0]
        share = float((plane.orifice - plane.landing[0]) @ across / (step @ across)) if step @ across else 0.5
        out.add_slots(
            marked("landing line: position"), landing_shift=landing.px_u * math.hypot(1.0 - share, share)
        )
