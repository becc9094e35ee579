"""Rules and their graduations: checked, and put into one table."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationError
from calibration.pixels import FloatArray
from calibration.rule_names import rule_words
from calibration.setup import Rule
from calibration.words import said


@dataclass(frozen=True, slots=True, eq=False)
class Marks:
    """All graduations of all rules in one table, straightened."""

    rules: tuple[Rule, ...]
    names: tuple[str, ...]
    """Distinct names, one for each rule."""
    rule_of: NDArray[np.intp]
    """(N,) index of the rule to which a graduation belongs."""
    pixels: FloatArray
    """(N, 2) px, lens taken out."""
    values: FloatArray
    """(N,) m, engraved."""
    along: FloatArray
    """(R, 2) unit vector of each rule in the straightened frame, towards growing values."""

    def of(self, rule: int) -> NDArray[np.bool_]:
        """(N,) True for the graduations of one rule."""
        return np.asarray(self.rule_of == rule)


def check_rule(rule: Rule, where: str) -> None:
    """Refuse a rule that cannot be one.

    Parameters
    ----------
    rule : Rule
    where : str
        Its key, such as ``rules[0]``.

    Raises
    ------
    CalibrationError
        Fewer than two graduations, a value that is not a number, two graduations on one pixel or with one
        value, or values that do not run one way along the rule.
    """
    where = f"{where}.graduations"
    marks, name = rule.graduations, rule_words(rule.name)
    if len(marks) < 2:
        raise CalibrationError(
            where,
            said("“{rule}” has {count}; mark at least two graduations", rule=name, count=len(marks)),
        )
    px = np.array([g.px for g in marks], dtype=np.float64)
    values = np.array([g.value_m for g in marks], dtype=np.float64)
    if not (np.all(np.isfinite(px)) and np.all(np.isfinite(values))):
        raise CalibrationError(
            where, said("“{rule}” has a position or value that is not a finite number", rule=name)
        )
    if rule.px_u < 0 or rule.graduation_u_m < 0 or rule.behind_u_m < 0 or rule.scale_u < 0:
        raise CalibrationError(
            where.partition(".")[0], said("“{rule}” has a negative uncertainty", rule=name)
        )
    order = np.argsort(values, kind="stable")
    px, values = px[order], values[order]
    same = np.flatnonzero(np.diff(values) <= 0)
    if same.size:
        raise CalibrationError(
            where,
            said(
                "“{rule}” has two graduations of {value:g} m; delete or correct one",
                rule=name,
                value=float(values[same[0]]),
            ),
        )
    gaps = np.hypot(*(px[:, None, :] - px[None, :, :]).transpose(2, 0, 1)) + 10.0 * np.eye(len(px))
    if np.min(gaps) < 1.0:
        i, j = divmod(int(np.argmin(gaps)), len(px))
        raise CalibrationError(
            where,
            said(
                "“{rule}” has {one:g} m and {other:g} m less than a pixel apart; mark one of them again",
                rule=name,
                one=float(values[i]),
                other=float(values[j]),
            ),
        )
    step = px[-1] - px[0]
    back = np.flatnonzero(np.diff(px @ step) <= 0)
    if back.size:
        i = int(back[0])
        raise CalibrationError(
            where,
            said(
                "“{rule}” goes back between {one:g} m and {other:g} m: values must grow or fall all the way "
                "along the rule; correct the one that is misread",
                rule=name,
                one=float(values[i]),
                other=float(values[i + 1]),
            ),
        )


def table_of(rules: tuple[Rule, ...], names: tuple[str, ...], straight: FloatArray) -> Marks:
    """Put the straightened graduations of all rules into one table.

    Parameters
    ----------
    rules : tuple of Rule
        Checked rules.
    names : tuple of str
        Distinct names.
    straight : ndarray, shape (N, 2)
        Straightened positions of all graduations, in the order of the rules.

    Returns
    -------
    Marks
    """
    counts = [len(r.graduations) for r in rules]
    rule_of = np.repeat(np.arange(len(rules)), counts)
    values = np.array([g.value_m for r in rules for g in r.graduations], dtype=np.float64)
    along = np.empty((len(rules), 2))
    for i in range(len(rules)):
        mine = rule_of == i
        step = straight[mine][np.argmax(values[mine])] - straight[mine][np.argmin(values[mine])]
        along[i] = step / np.hypot(*step)
    return Marks(rules, names, rule_of, straight, values, along)


def linear_scale(marks: Marks) -> FloatArray:
    """Metres for each px of each rule by a plain straight line, before any perspective.

    Parameters
    ----------
    marks : Marks

    Returns
    -------
    ndarray, shape (R,)
    """
    scale = np.empty(len(marks.rules))
    for i in range(len(marks.rules)):
        t = marks.pixels[marks.of(i)] @ marks.along[i]
        v = marks.values[marks.of(i)]
        scale[i] = np.sum((t - t.mean()) * (v - v.mean())) / np.sum((t - t.mean()) ** 2)
    return scale


def lean_of(marks: Marks, rule: int) -> float:
    """Angle of a rule against the image's vertical.

    Parameters
    ----------
    marks : Marks
    rule : int

    Returns
    -------
    float
        rad, from -pi/2 to pi/2.
    """
    x, y = marks.along[rule]
    return math.atan2(x, y) if y >= 0 else math.atan2(-x, -y)
