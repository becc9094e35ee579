"""The fits of both laws: rows in, and the fit whose zero of the head may be believed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import Protocol

import numpy as np

from analysis.drain_clock import DrainClock
from analysis.estimate import covariance, in_mm, propagated
from analysis.gravity import AcceptedGravity
from analysis.joint import fit_drain, fit_throws
from analysis.models import Paired
from analysis.pairing import paired
from analysis.penalised import JointFit
from analysis.series import BoolArray, IntArray, Series
from analysis.shifts import LAUNCH_ANGLE, Corrected
from analysis.words import said

TENSION = 4.0
"""Standard uncertainties by which a head zero must miss the marked one before it is left free. By chance
that is 1 run in 16,000; a lower limit would free zeros that are sound and bias just those runs."""


class FitOfLaw(Protocol):
    """Fits a law to rows, with the head's zero held or free."""

    def __call__(
        self,
        at: Paired,
        *,
        free_head_zero: bool = ...,
        near: JointFit | None = ...,
        rows_settled: bool = ...,
    ) -> JointFit:
        """Fit, from the parameters of a like fit where there is one; rows far off may be out already."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class BothZeros:
    """One law fitted with the head's zero held within its stated uncertainty, and with it free."""

    held: JointFit | None = None
    free: JointFit | None = None
    """None where the readings are too few, or too alike, to tell the zero."""
    why: str = ""
    """Why the free one may be believed and not the held one; "" where it is the other way round."""
    unstated: bool = False
    """Whether the reason is that nobody stated how well the zero is known."""

    @property
    def chosen(self) -> JointFit | None:
        """The fit on which findings rest."""
        return self.free if self.why else self.held

    @property
    def contradicting(self) -> JointFit | None:
        """The fit with the zero free where the readings contradict a zero that was stated."""
        return self.free if self.why and not self.unstated else None


def with_honest_zero(fit_of: FitOfLaw, at: Paired, *, flat_if_unstated: bool) -> BothZeros:
    """
    Give the fit whose head zero may be believed, and why it was left free if it was.

    A stated uncertainty of the zero is trusted until the readings contradict it clearly; then Cv (or k)
    comes from the shape of the law alone, which a lost head, such as surface tension takes, cannot bias.

    Parameters
    ----------
    fit_of : callable
        Fits the law.
    at : Paired
        Its rows.
    flat_if_unstated : bool
        Whether a zero without any stated uncertainty is left free.

    Returns
    -------
    BothZeros
    """
    held = _sound(fit_of, at, free=False)
    if held is None or at.head.shape[0] < 6 or float(np.max(at.head)) < 1.5 * float(np.min(at.head)):
        return BothZeros(held)
    free = _sound(fit_of, at, free=True, near=held)
    if free is None:
        return BothZeros(held)
    if flat_if_unstated and not np.any(at.head_shared[:, :-2] != 0.0):
        return BothZeros(held, free, said("no uncertainty of the zero was stated"), unstated=True)
    i = free.names.index("head_zero")
    by = abs(float(free.theta[i])) / math.sqrt(float(free.covariance[i, i]))
    if by > TENSION:
        return BothZeros(
            held,
            free,
            said("the readings miss the marked zero by {by:.1f} standard uncertainties", by=by),
        )
    return BothZeros(held, free)


def _sound(
    fit_of: FitOfLaw,
    at: Paired,
    *,
    free: bool,
    near: JointFit | None = None,
    rows_settled: bool = False,
) -> JointFit | None:
    """Give a fit if its numbers are finite."""
    try:
        fit = fit_of(at, free_head_zero=free, near=near, rows_settled=rows_settled)
    except (np.linalg.LinAlgError, OverflowError):  # readings of absurd size
        return None
    return fit if fit.sound else None


@dataclass(frozen=True, slots=True, eq=False)
class ThrowsLaw:
    """The law of the throws with all that its fits have in common."""

    seen: Corrected
    """The run as the law shall see it."""
    gravity: AcceptedGravity
    drain: JointFit | None
    """Carries heads back to launch; None where they stay as read."""
    clock: DrainClock
    approach: float
    """Speed of the surface over speed of the jet, as allowed for."""

    def pairs(self, rows: BoolArray) -> Paired:
        """Pair throws with heads."""
        return paired(
            self.seen.throws, rows, self.gravity, self.drain, clock=self.clock, angle_rad=self.seen.angle_rad
        )

    def fit(self, rows: BoolArray) -> tuple[BothZeros, Paired | None]:
        """Fit the throws, with the head's zero held and free; give their pairs as well."""
        if not np.any(rows):
            return BothZeros(), None
        at = self.pairs(rows)
        if not np.all(at.head > 0.0):
            return BothZeros(), None
        both = with_honest_zero(partial(fit_throws, approach=self.approach), at, flat_if_unstated=True)
        return both, at if both.chosen is not None else None

    def with_free_angle(self, held: JointFit, at: Paired) -> JointFit | None:
        """Fit the same rows with the jet's angle free, where there are readings enough to show a bend."""
        if held.rows.shape[0] < 8 or LAUNCH_ANGLE in held.sources:
            return None
        if float(np.max(at.head)) < 1.5 * float(np.min(at.head)):
            return None
        law = partial(fit_throws, approach=self.approach, free_angle=True)
        return _sound(law, at, free=held.has("head_zero"), near=held, rows_settled=True)


def drain_fit(
    series: Series, rows: BoolArray, gravity: AcceptedGravity, clock: DrainClock
) -> tuple[BothZeros, Paired | None, str]:
    """Fit the drain curve, with the head's zero held and free; give its rows, and what is missing."""
    none = BothZeros()
    if series.head is None or series.time_s is None:
        lacking = [name for name, there in (("head", series.head), ("time", series.time_s)) if there is None]
        return none, None, said(" and ").join(lacking)
    m = int(np.sum(rows))
    least = 2 if np.any(series.head.own_u[rows] > 0.0) else 3
    if m < least:
        return none, None, said("heads at {least} times or more; there are {m}", least=least, m=m)
    at = paired(series, rows, gravity, None, with_throw=False)
    if at.time_s is None or not float(np.ptp(at.time_s)) > 0.0:
        return none, None, said("heads at times that differ")
    both = with_honest_zero(partial(fit_drain, clock=clock), at, flat_if_unstated=False)
    fit = both.chosen
    if fit is None:
        return none, None, said("heads that the law of draining can be fitted to")
    if fit.outlying.size:
        at = paired(series, mask(fit.rows, series.kept.shape[0]), gravity, None, with_throw=False)
    return both, at, ""


@dataclass(frozen=True, slots=True)
class Hidden:
    """By how much a head may seem off that no reading is to blame for."""

    between_laws_m: float
    """Between throws and drain, m: surface tension takes more from a jet's throw than from its flow."""
    farthest_m: float | None
    """From the mark of the hole's centre, m; None of a hole whose diameter is not known."""


def zero_denied(drain: BothZeros, throws: BothZeros, n: int, hole: Hidden) -> str:
    """
    Say why the zero that would straighten the drain curve is not the head's; "" where it may be.

    A container that is wider above than below bends the drain curve as a wrong zero does, but leaves the
    throws alone; a wrong zero moves both alike, and surface tension nearly so.

    Parameters
    ----------
    drain, throws : BothZeros
        Both laws' fits.
    n : int
        Rows of the series.
    hole : Hidden
        What the hole can hide.

    Returns
    -------
    str
    """
    moved = drain.contradicting
    if moved is None:
        return ""
    wanted = moved.estimate("head_zero", n)
    if throws.free is None:
        if hole.farthest_m is None or abs(wanted.value) <= hole.farthest_m:
            return ""
        return said(
            "a zero {wanted} below the marked one would straighten it, which is farther than a hole's mark "
            "can be off",
            wanted=in_mm(wanted),
        )
    seen = throws.free.estimate("head_zero", n)
    apart = propagated(wanted.value - seen.value, [(wanted, 1.0), (seen, -1.0)])
    if not abs(apart.value) - hole.between_laws_m > TENSION * apart.u:
        return ""
    return said(
        "a zero {wanted} below the marked one would straighten it, but the throws put it {seen} below, "
        "{by:.1f} standard uncertainties from that",
        wanted=in_mm(wanted),
        seen=in_mm(seen),
        by=abs(apart.value) / apart.u,
    )


def zero_borne_out(drain: BothZeros, throws: BothZeros, n: int) -> bool:
    """
    Tell whether the throws bear out the zero that was left free in the drain curve.

    A head has one zero. What an edge that is read a little high here and low there does to the drain curve
    looks like another zero, but leaves the throws alone: so the mean of what both laws say, each by its
    variance and with their covariance, must miss the marked zero as clearly as the drain curve alone does.

    Parameters
    ----------
    drain, throws : BothZeros
        Both laws' fits.
    n : int
        Rows of the series.

    Returns
    -------
    bool
        True as well where the throws are too few, or too alike, to tell.
    """
    moved = drain.contradicting
    if moved is None or throws.free is None:
        return True
    wanted, seen = (fit.estimate("head_zero", n) for fit in (moved, throws.free))
    common = covariance(wanted, seen)
    apart = wanted.u**2 + seen.u**2 - 2.0 * common
    share = min(max((seen.u**2 - common) / apart, 0.0), 1.0) if apart > 0.0 else 1.0
    mean = share * wanted.value + (1.0 - share) * seen.value
    both = propagated(mean, [(wanted, share), (seen, 1.0 - share)])
    return abs(both.value) > TENSION * both.u


def bent_drain(drain: JointFit | None, at: Paired | None, clock: DrainClock) -> JointFit | None:
    """Fit the drain curve once more with a bend, its zero as it was, where readings enough show one."""
    if drain is None or at is None or at.head.shape[0] < 8:
        return None
    law = partial(fit_drain, bent=True, clock=clock)
    return _sound(law, at, free=drain.has("head_zero"), near=drain, rows_settled=True)


def mask(rows: IntArray, n: int) -> BoolArray:
    """Give (n,) true at some rows."""
    at = np.zeros(n, dtype=bool)
    at[rows] = True
    return at
