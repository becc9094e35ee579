"""Why a run is off: every suspect tried on the readings, ranked, with what cannot be told apart."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analysis.basis import Basis
from analysis.diagnosis import Diagnosis, Shape, Suspect
from analysis.estimate import Estimate
from analysis.notation import plain, with_uncertainty
from analysis.suspect_list import TUBE_CD, TUBE_CV, Trying, to_try
from analysis.suspect_trials import Bench, Solved, bench_of
from analysis.triggers import triggers_of
from analysis.words import marked, said

_ALIKE = 9.0
"""Difference of χ² within which the readings do not tell two suspects apart: three standard deviations, a
likelihood ratio of 90."""
_CLEAR = 11.0
"""Fall of χ² by which the shape supports a suspect; by chance 1 in 1,000 for one free size."""
_AGAINST = 16.0
"""Excess of χ² by which it speaks against one; 1 in 16,000, for an innocent suspect is soon forgotten, but
one that was acquitted wrongly is not looked at again."""
_SMALL = 4.0
"""Fall of χ² below which a suspect does not touch the trouble."""
_TAIL = 4.0
"""Weight of ln(1 + size over what is usual): large errors are rare, but less so than a normal law says."""


@dataclass(frozen=True, slots=True, eq=False)
class _Tried:
    trying: Trying | None
    """None for the short tube."""
    solved: Solved
    misfit: float
    """χ², with what makes the size itself unlikely."""
    impossible: bool
    """Whether the size would have to be below zero where it cannot be."""


def diagnosis_of(basis: Basis, estimates: Mapping[str, Estimate]) -> Diagnosis | None:
    """
    Say why a run is off, if it is.

    Parameters
    ----------
    basis : Basis
        Rows, pairs and fits.
    estimates : mapping
        The findings' estimates by name.

    Returns
    -------
    Diagnosis or None
        None where nothing is off beyond what chance does in about one run of a hundred.

    Notes
    -----
    Each suspect is a free size in the laws of throws and of draining, fitted together with Cv, drain rate and
    all shared sources (as covariances of the readings), and with the published bands of Cv and Cd as what is
    expected of the levels. The fall of χ² is twice the logarithm of the likelihood ratio.
    """
    triggers = triggers_of(basis, estimates)
    if not triggers:
        return None
    bench = bench_of(basis)
    if bench is None:
        return Diagnosis(triggers, (), unexplained=True)
    sound = bench.solved(None, 1.0, bench.cv, bench.cd)
    tried = [_tried(each, bench, sound) for each in to_try(basis)]
    if (tube := _short_tube(bench)) is not None:
        tried.append(tube)
    tried = [each for each in tried if math.isfinite(each.misfit)]
    if not tried:
        return Diagnosis(triggers, (), unexplained=True)
    best_shape = min(each.solved.misfit_of_shape for each in tried if not each.impossible)
    told = [(_suspect(each, sound, best_shape, basis), each.misfit, _over_usual(each)) for each in tried]
    groups = _grouped(told)
    best = min(each.misfit for each in tried)
    # The readings' scatter was measured about a smooth curve, so that χ² is about their number.
    spare = max(1, bench.n_readings - bench.start.shape[0])
    poor = best > spare + 4.0 * math.sqrt(2.0 * spare) + _ALIKE or sound.misfit - best < _SMALL
    return Diagnosis(triggers, groups, unexplained=poor)


def _tried(trying: Trying, bench: Bench, sound: Solved) -> _Tried:
    solved = bench.solved(trying.trial, trying.step, bench.cv, bench.cd)
    misfit = solved.misfit
    impossible = False
    if trying.one_sided and solved.size < 0.0:
        # The nearest size that makes sense is none at all.
        impossible = True
        misfit = sound.misfit
    if trying.expected is not None and solved.size > trying.expected:
        u = math.hypot(0.5 * trying.expected, solved.size_u)
        misfit += ((solved.size - trying.expected) / u) ** 2
    return _Tried(trying, solved, misfit, impossible)


def _short_tube(bench: Bench) -> _Tried | None:
    """Try the coefficients of a full tube in place of those expected of the hole."""
    if not bench.throw.size:
        return None
    solved = bench.solved(None, 1.0, TUBE_CV, TUBE_CD)
    return _Tried(None, solved, solved.misfit, impossible=False)


def _suspect(tried: _Tried, sound: Solved, best_shape: float, basis: Basis) -> Suspect:
    solved, trying = tried.solved, tried.trying
    worse = solved.misfit_of_shape - best_shape
    shape = Shape.SILENT
    if worse > _AGAINST or (tried.impossible and solved.size < -3.3 * solved.size_u):
        shape = Shape.SPEAKS_AGAINST
    elif sound.misfit_of_shape - solved.misfit_of_shape > _CLEAR:
        shape = Shape.SUPPORTS
    explains = max(0.0, sound.misfit - tried.misfit)
    if trying is None:
        return _tube_suspect(basis, shape, explains)
    size, u = solved.size / trying.per_unit, solved.size_u / trying.per_unit
    stated = None if trying.stated_u is None else trying.stated_u / trying.per_unit
    ratio = None if stated is None or not stated > 0.0 else abs(size) / stated
    shown = with_uncertainty(abs(size), u, trying.unit)
    if tried.impossible:
        says = said("can only work the other way: {says}", says=trying.says(shown, solved.size))
    elif explains < _SMALL:
        says = said("leaves the trouble as it is, whatever its size (best {shown})", shown=shown)
    else:
        says = f"{trying.says(shown, solved.size)}; {_compared(ratio, stated, trying)}"
        says = f"{says}; {said(_SHAPE_SAYS[shape])}"
    return Suspect(trying.name, size, u, trying.unit, stated, ratio, shape, explains, says, trying.check)


_SHAPE_SAYS = {
    Shape.SUPPORTS: marked("the shape of the readings supports it"),
    Shape.SPEAKS_AGAINST: marked("the shape of the readings speaks against it as the only cause"),
    Shape.SILENT: marked("the shape of the readings cannot tell"),
}


def _compared(ratio: float | None, stated: float | None, trying: Trying) -> str:
    unit = trying.unit
    if ratio is None or stated is None:
        return said("no uncertainty was stated for it")
    if trying.traced:
        words = (
            marked("that is within what the traced jet leaves open ({stated} {unit})")
            if ratio <= 2.0
            else marked("that is {ratio} times what the traced jet leaves open ({stated} {unit})")
        )
        return said(words, ratio=plain(ratio, 2), stated=plain(stated, 2), unit=unit)
    if ratio <= 2.0:
        return said("that is within what was stated ({stated} {unit})", stated=plain(stated, 2), unit=unit)
    return said(
        "that is {ratio} times its stated uncertainty ({stated} {unit})",
        ratio=plain(ratio, 2),
        stated=plain(stated, 2),
        unit=unit,
    )


def _tube_suspect(basis: Basis, shape: Shape, explains: float) -> Suspect:
    """Give the wall's thickness as the size, known to half a hole's width."""
    d, wall = basis.conditions.orifice_diameter_m, basis.conditions.wall_thickness_m
    least = said("the jet") if d is None else said("about {d} mm", d=plain(0.8e3 * d, 2))
    known = (
        said("its thickness was not stated")
        if wall is None
        else said("it was stated as {wall} mm", wall=plain(1e3 * wall, 2))
    )
    size = math.nan if d is None else 1e3 * d
    says = said(
        "the wall would have to be thicker than {least} at the hole, or the hole have a burr "
        "or a length of tube, so that the jet fills it: Cv and Cd are then both near 0.82; "
        "{known}",
        least=least,
        known=known,
    )
    if explains < _SMALL:
        says = said("does not bring Cv and Cd nearer to what was found")
    return Suspect(
        said("thick wall, hole acting as a short tube"),
        size,
        0.5 * size,
        "mm",
        None,
        None,
        shape,
        explains,
        f"{says}; {said(_SHAPE_SAYS[shape])}",
        said(
            "look at the hole from below: the jet of a thin wall springs clear of the hole's "
            "outer edge, that of a tube fills it; feel for a burr with a toothpick, never with a "
            "finger"
        ),
    )


def _grouped(tried: Sequence[tuple[Suspect, float, float]]) -> tuple[tuple[Suspect, ...], ...]:
    """
    Best first; one group holds what the readings cannot tell apart, the likelier sizes first.

    Parameters
    ----------
    tried : sequence of (Suspect, float, float)
        Each with its χ² and its size over what is usual.
    """
    left = sorted(tried, key=lambda each: each[1])
    groups = []
    while left:
        best = left[0]
        small = best[0].explains < _SMALL
        alike = [
            each
            for each in left
            if small
            or (
                each[1] <= best[1] + _ALIKE
                and each[0].explains >= _SMALL
                and (each[0].shape is Shape.SPEAKS_AGAINST) == (best[0].shape is Shape.SPEAKS_AGAINST)
            )
        ]
        likelier = sorted(alike, key=lambda each: each[1] + _TAIL * math.log1p(each[2]))
        groups.append(tuple(each[0] for each in likelier))
        left = [each for each in left if each not in alike]
    return tuple(groups)


def _over_usual(tried: _Tried) -> float:
    if tried.trying is None:
        return 1.0
    return abs(tried.solved.size) / max(tried.trying.usual, tried.trying.stated_u or 0.0)
