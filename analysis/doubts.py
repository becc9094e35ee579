"""Doubts about a run as a whole, in plain words with their figures."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from analysis.basis import Basis
from analysis.estimate import NORMAL_95, Estimate, in_mm
from analysis.expected import expected_of
from analysis.findings import Remark
from analysis.notation import plain, with_uncertainty
from analysis.penalised import JointFit
from analysis.published import ExpectedBand
from analysis.triggers import RARE, intercept_of, linearisations, standard_by, triggers_of
from analysis.words import marked, said

_BENT = 3.3
"""Standard uncertainties of the bend; by chance 1 run in 1,000 (common practice, no source)."""


def doubts_of(basis: Basis, estimates: Mapping[str, Estimate]) -> tuple[Remark, ...]:
    """
    Everything about the run that a careful reader would want to be told.

    Parameters
    ----------
    basis : Basis
        Rows, pairs and fits.
    estimates : mapping
        The findings' estimates by name.

    Returns
    -------
    tuple of Remark
        The gravest first.
    """
    expected = expected_of(basis)
    # Where suspects are going to be tried on the readings, guesses beside that would be told twice.
    guess = not triggers_of(basis, estimates)
    found = [
        *(
            remark
            for name, symbol in (("speed_coefficient", "Cv"), ("discharge_coefficient", "Cd"))
            for remark in _coefficient_out_of_band(
                estimates.get(name), said(name.replace("_", " ")), symbol, expected[name], guess=guess
            )
        ),
        *_linearisations(estimates),
        *_intercept(estimates),
        *_rows_left_out(basis),
        *_zero_left_free(basis, guess=guess),
        *_bent(basis, guess=guess),
        *_scatter(basis.throws, "throws"),
        *_scatter(basis.drain, said("heads in time")),
        *_pulled(basis),
    ]
    return tuple(found)


def _coefficient_out_of_band(
    estimate: Estimate | None, about: str, symbol: str, band: ExpectedBand, *, guess: bool
) -> list[Remark]:
    if estimate is None or band.holds(estimate.value):
        return []
    value = f"{symbol} = {with_uncertainty(estimate.value, estimate.u)}"
    if estimate.value > 1.0:
        by = (estimate.value - 1.0) / estimate.u if estimate.u > 0.0 else math.inf
        within = (
            said("within its uncertainty of")
            if by < 2.0
            else said("{by:.1f} standard uncertainties above", by=by)
        )
        return [
            Remark(
                about,
                said(
                    "{value} is above 1, which is impossible, and lies {within} 1{words}",
                    value=value,
                    within=within,
                    words=said(": something measured is wrong, such as the drop, a zero or a scale")
                    if guess
                    else "",
                ),
            )
        ]
    nearest = band.low if estimate.value < band.low else band.high
    near = abs(estimate.value - nearest) < 2.0 * estimate.u
    return [
        Remark(
            about,
            said(
                "{value} lies outside the published band {low:.2f} to {high:.2f}{words}: {why}{words2}",
                value=value,
                low=band.low,
                high=band.high,
                words=said(", though within its uncertainty of it") if near else "",
                why=band.why,
                words2=" (extrapolated)" if band.extrapolated else "",
            ),
        )
    ]


def _linearisations(estimates: Mapping[str, Estimate]) -> list[Remark]:
    """Whether v against √h and v² against h tell the same Cv, as a test on their difference."""
    difference = linearisations(estimates)
    if difference is None or difference.u <= 0.0:
        return []
    by = standard_by(difference.value, difference)
    figure = said(
        "the speed coefficients of v against √h and of v² against h differ by {value} %, "
        "which is {by:.1f} standard uncertainties of that difference",
        value=plain(100.0 * difference.value, 2),
        by=by,
    )
    if by <= NORMAL_95:
        return [
            Remark(
                marked("two linearisations"),
                said("they agree: {figure}", figure=figure),
            )
        ]
    if by <= RARE:
        return [
            Remark(
                marked("two linearisations"),
                said("chance seldom makes them differ so much: {figure}", figure=figure),
            )
        ]
    return [
        Remark(
            marked("two linearisations"),
            said("they do not agree: {figure}", figure=figure),
        )
    ]


def _intercept(estimates: Mapping[str, Estimate]) -> list[Remark]:
    """Whether x² against h misses the origin, where chance seldom does that."""
    asked = intercept_of(estimates)
    return [] if asked is None or asked[0] <= RARE else [Remark(marked("line through the origin"), asked[1])]


def _rows_left_out(basis: Basis) -> list[Remark]:
    found = []
    cut = int(np.sum(basis.chosen.below_limit))
    if cut and basis.limit_m is not None:
        change = ""
        if basis.cv_other_cut is not None and basis.throws is not None:
            before, after = plain(basis.cv_other_cut), plain(basis.throws.value("cv"))
            change = said("; with them Cv would be {before} instead of {after}", before=before, after=after)
        found.append(
            Remark(
                marked("low heads"),
                said(
                    "{count} with a head below {limit_m} mm, where the law ends for this hole, {words} "
                    "left out{change}",
                    count=_count(cut, "reading"),
                    limit_m=plain(1e3 * basis.limit_m, 3),
                    words="was" if cut == 1 else "were",
                    change=change,
                ),
            )
        )
    for fit, what in ((basis.drain, said("drain curve")), (basis.throws, said("law of the throws"))):
        if fit is not None and fit.outlying.size:
            found.append(
                Remark(
                    marked("readings off the law"),
                    said(
                        "{count} far off the {what} {words} left out; look at them before you trust that",
                        count=_count(int(fit.outlying.size), "reading"),
                        what=what,
                        words="was" if fit.outlying.size == 1 else "were",
                    ),
                )
            )
        if fit is not None and fit.law_in_doubt:
            found.append(
                Remark(
                    marked("readings off the law"),
                    said(
                        "so many readings stand far off the {what} that none was left out: either the law "
                        "does not hold or many readings are wrong",
                        what=what,
                    ),
                )
            )
    return found


def _zero_left_free(basis: Basis, *, guess: bool) -> list[Remark]:
    found = []
    if (
        basis.throws is not None
        and basis.throws.has("head_zero")
        and basis.throws_zero_why.startswith("the readings")
    ):
        zero = basis.throws.estimate("head_zero", basis.n)
        found.append(
            Remark(
                marked("head zero"),
                said(
                    "{throws_zero_why} ({value}), so Cv was taken from the shape of the law alone",
                    throws_zero_why=basis.throws_zero_why,
                    value=in_mm(zero),
                )
                + (
                    said(
                        ": check the marked centre of the hole; a thin jet also loses head to surface tension"
                    )
                    if guess
                    else ""
                ),
            )
        )
    if basis.uneven_why:
        found.append(
            Remark(
                marked("√head in time"),
                said(
                    "√head is not straight in time: at mid-run it stands {off}; {uneven_why}. So the "
                    "container is not equally wide at all heights, or the camera moved: k is that between "
                    "the ends of the run, and k, Cd and g by the clock are as uncertain as its change within "
                    "the run makes them. Give the container's width at several heights to be rid of that",
                    off=_bend_words(basis)[0],
                    uneven_why=basis.uneven_why,
                ),
            )
        )
    if basis.drain is not None and basis.drain.has("head_zero"):
        found.append(
            Remark(
                marked("√head in time"),
                said(
                    "√head is not straight in time with the head's zero as marked: {drain_zero_why}. The "
                    "zero was left free; a container that is not prismatic, or a camera that moved, "
                    "looks the same",
                    drain_zero_why=basis.drain_zero_why,
                ),
            )
        )
    return found


def _bent(basis: Basis, *, guess: bool) -> list[Remark]:
    """Whether √head bends in time, as a test on a term that vanishes at both ends of the run."""
    if basis.uneven_why:
        return []  # told with its cause
    off, by = _bend_words(basis)
    if by <= _BENT:
        return []
    words = (
        said(
            "√head is not straight in time: at mid-run it stands {off}; a container that is not prismatic, a "
            "wrong zero of the head, a moved camera or a blocked neck does that",
            off=off,
        )
        if guess
        else said(
            "√head is not straight in time: at mid-run it stands {off}; a moved camera or a blocked neck "
            "does that too",
            off=off,
        )
    )
    return [Remark(marked("√head in time"), words)]


def _bend_words(basis: Basis) -> tuple[str, float]:
    """Say how far √head stands off the straight line at mid-run, and by how many standard uncertainties."""
    if basis.bend is None or basis.drain is None or basis.series.time_s is None:
        return "", 0.0
    i = basis.bend.names.index("bend")
    variance = float(basis.bend.covariance[i, i])
    if not (math.isfinite(variance) and variance > 0.0):
        return "", 0.0
    q = float(basis.bend.theta[i])
    by = abs(q) / math.sqrt(variance)
    time = basis.series.time_s[basis.bend.rows]
    duration = float(time[-1] - time[0])
    middle = basis.drain.value("root_h0") - basis.drain.value("k") * duration / 2.0
    # The term is -q T²/4 in √head at mid-run, and twice √head times that in head.
    size = abs(2.0 * middle * q * duration**2 / 4.0)
    words = said(
        "{size} mm of head {words} the straight line between the ends, {by:.1f} standard uncertainties",
        size=plain(1e3 * size, 2),
        words=said("below") if q > 0.0 else said("above"),
        by=by,
    )
    return words, by


def _scatter(fit: JointFit | None, what: str) -> list[Remark]:
    if fit is None:
        return []
    found = []
    m = fit.rows.shape[0]
    if (
        fit.scatter.stated
        and m >= 8
        and fit.scatter.birge > 1.0 + 3.0 / math.sqrt(2.0 * m)
        and fit.scatter.birge > 1.2
    ):
        found.append(
            Remark(
                what,
                said(
                    "they scatter {birge:.1f} times as much as was stated; the uncertainties were "
                    "widened by that",
                    birge=fit.scatter.birge,
                ),
            )
        )
    if fit.scatter.correlation_time > 2.0:
        independent = max(1, round(m / fit.scatter.correlation_time))
        found.append(
            Remark(
                what,
                said(
                    "neighbouring readings err together, so that {m} readings count as about "
                    "{independent}; the uncertainties were widened by that",
                    m=m,
                    independent=independent,
                ),
            )
        )
    return found


def _pulled(basis: Basis) -> list[Remark]:
    """Shared sources that the readings pull by more than two and a half of their stated uncertainties."""
    if basis.throws is None:
        return []
    found = []
    for source in basis.throws.sources:
        pull = basis.throws.pull(source)
        if abs(pull) > 2.5:
            found.append(
                Remark(
                    source,
                    said(
                        "the throws pull this by {pull:.1f} of its stated standard uncertainties: it is "
                        "likely worse than stated",
                        pull=abs(pull),
                    ),
                )
            )
    return found


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
