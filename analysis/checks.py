"""Named questions asked of a straight line, each with what was found, its limit and what to do about it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from analysis.series import FloatArray
from analysis.words import said


@dataclass(frozen=True, slots=True)
class Check:
    """One question asked of a fit."""

    question: str
    found: float
    limit: float
    """The most that `found` may be; beyond it the answer is worth a look."""
    remedy: str
    """What to look at or do if the limit is passed."""

    @property
    def holds(self) -> bool:
        """Whether `found` keeps to the limit."""
        return self.found <= self.limit


class _Fitted(Protocol):
    """What the checks need to know of a line."""

    @property
    def intercept(self) -> float: ...
    @property
    def intercept_u(self) -> float: ...
    @property
    def free_intercept(self) -> bool: ...
    @property
    def dof(self) -> int: ...
    @property
    def residuals(self) -> FloatArray: ...
    @property
    def chi_squared_per_dof(self) -> float | None: ...


def checks_of_line(
    line: _Fitted, x: FloatArray, y: FloatArray, u: FloatArray | None, *, from_origin: bool = True
) -> tuple[Check, ...]:
    """
    Ask a straight line whether it may be believed.

    Parameters
    ----------
    line : Line
        The fit.
    x, y : ndarray, shape (n,)
        The points it was fitted to.
    u : ndarray, shape (n,), optional
        Standard uncertainty of each residual as stated (in y, that of x carried along the slope).
    from_origin : bool
        Whether the law goes through the origin, so that an intercept is a sign of something wrong.

    Returns
    -------
    tuple of Check
        Those questions that the number of points allows. Limits are 99 % points: one sound line in a hundred
        fails a given one by chance.
    """
    if line.dof < 1:
        return ()
    scaled = line.residuals if u is None else line.residuals / u
    # The residuals of a line that fits perfectly are rounding noise, and that says nothing.
    if float(np.max(np.abs(line.residuals))) <= 1e-12 * float(np.max(np.abs(y))):
        return ()
    found: list[Check | None] = [
        _wander(scaled[np.argsort(x, kind="stable")]),
        _intercept(line) if from_origin else None,
        _scatter(line),
        _dominance(line, x, scaled, u),
        _curvature(x, y, u, line.free_intercept),
    ]
    return tuple(check for check in found if check is not None)


def _wander(residuals: FloatArray) -> Check | None:
    """Wald and Wolfowitz's runs test on the signs of the residuals in the order of x."""
    signs = residuals > 0.0
    above, below = int(np.sum(signs)), int(np.sum(~signs))
    n = above + below
    if n < 8 or not above or not below:
        return None
    runs = 1 + int(np.sum(signs[1:] != signs[:-1]))
    expected = 1.0 + 2.0 * above * below / n
    variance = (expected - 1.0) * (expected - 2.0) / (n - 1)
    found = (expected - runs) / math.sqrt(variance) if variance > 0.0 else 0.0
    return Check(
        said("Do the residuals wander along the line (runs test, in standard deviations)?"),
        found,
        2.326,
        said(
            "Neighbouring readings err together: look for a bend, a moved camera or a swaying "
            "jet; the uncertainty of a finding already counts such readings as fewer."
        ),
    )


def _intercept(line: _Fitted) -> Check | None:
    if not line.free_intercept or line.intercept_u <= 0.0:
        return None
    from scipy.special import stdtrit

    return Check(
        said("Does the line miss the origin (intercept over its standard error)?"),
        abs(line.intercept) / line.intercept_u,
        float(stdtrit(line.dof, 0.995)),
        said(
            "The law goes through the origin: check the marked centre of the hole and the throw "
            "zero; a thin jet also loses head to surface tension."
        ),
    )


def _scatter(line: _Fitted) -> Check | None:
    if line.chi_squared_per_dof is None:
        return None
    from scipy.special import chdtri

    return Check(
        said("Is the scatter larger than the stated errors allow (χ² per degree of freedom)?"),
        line.chi_squared_per_dof,
        float(chdtri(line.dof, 0.01)) / line.dof,
        said(
            "The readings scatter more than was stated: state larger errors, look for wrong "
            "readings or for a law that does not hold."
        ),
    )


def _dominance(line: _Fitted, x: FloatArray, scaled: FloatArray, u: FloatArray | None) -> Check | None:
    """Cook's distance of the most influential point (Cook 1977); beyond 1 a single point moves the line."""
    p = 2 if line.free_intercept else 1
    if line.dof < 2:
        return None
    w = np.ones_like(x) if u is None else 1.0 / u**2
    centre = float(np.sum(w * x) / np.sum(w)) if line.free_intercept else 0.0
    spread = float(np.sum(w * (x - centre) ** 2))
    if spread <= 0.0:
        return None
    leverage = w * (x - centre) ** 2 / spread + (w / np.sum(w) if line.free_intercept else 0.0)
    variance = float(np.sum(scaled**2)) / line.dof
    cook = scaled**2 * leverage / (p * variance * np.maximum(1e-9, 1.0 - leverage) ** 2)
    return Check(
        said("Does one reading alone decide the line (largest Cook's distance)?"),
        float(np.max(cook)),
        1.0,
        said("Read that frame again, or add readings at that end of the range."),
    )


def _curvature(x: FloatArray, y: FloatArray, u: FloatArray | None, free_intercept: bool) -> Check | None:
    """Student's t of a quadratic term added to the line."""
    p = 3 if free_intercept else 2
    n = x.shape[0]
    if n - p < 1:
        return None
    root_w = np.ones(n) if u is None else 1.0 / u
    reach = float(np.max(np.abs(x)))
    centred = (x - float(np.mean(x))) / reach if free_intercept else x / reach
    columns = np.stack([np.ones(n), centred, centred**2] if free_intercept else [centred, centred**2], axis=1)
    q, r = np.linalg.qr(columns * root_w[:, None])
    if np.min(np.abs(np.diag(r))) < 1e-10 * abs(r[0, 0]):
        return None
    inverse = np.linalg.inv(r)
    beta = inverse @ (q.T @ (y * root_w))
    residual = (y - columns @ beta) * root_w
    variance = float(np.sum(residual**2)) / (n - p)
    u_last = math.sqrt(variance * float(np.sum(inverse[-1] ** 2)))
    if u_last <= 0.0:
        return None
    from scipy.special import stdtrit

    return Check(
        said("Is the line bent (quadratic term over its standard error)?"),
        abs(float(beta[-1])) / u_last,
        float(stdtrit(n - p, 0.995)),
        said(
            "A bend means that the law does not hold over the whole range: cut the low heads, "
            "check that the jet leaves horizontally and that the head's zero is right."
        ),
    )
