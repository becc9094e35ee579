"""A g that is news: from the time of a fall, its parabola in time, how fast a drop flies outwards."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType

from analysis.answer import Answer, Derived
from analysis.estimate import Estimate
from analysis.fall_fits import (
    UNSTATED_ANGLE_U_DEG,
    FallFit,
    Pooled,
    chance_of_more,
    fit_parabola,
    fit_time,
    fit_track,
    pooled,
)
from analysis.falls import Fall, Falling, Falls
from analysis.gravity import AcceptedGravity
from analysis.gravity_combined import against_accepted, gravity_combined
from analysis.notation import plain
from analysis.words import marked, said

HOW_TO_MARK = marked(
    "a fall that is marked: click a falling drop in three successive frames or more (the "
    "more the better), or only the frame in which it has just been let go and the frame "
    "in which it has just landed"
)
"""What is missing where no fall was marked, and what to do."""
_TWO_EVENTS = marked(
    "a fall with two marks alone: the frame in which a drop has just been let go (or the "
    "jet's front has just left the hole), and the frame in which it has just landed"
)
_MORE_MARKS = marked(
    "a fall with marks in three frames or more: click the falling drop in each frame in turn"
)
_OF_THE_JET = marked(
    "a drop of the jet, or its front, marked in three frames or more, with a rule that "
    "measures throws to tell how fast it flies outwards"
)
_RISING = marked("marks that fall faster and faster; these do not: look at their order, and at the frames")
_DOUBTED = 0.01
"""Chance below which residuals are called larger than stated."""
_FIT = Callable[[Falls, int], FallFit | None]


def answers_from_falls(
    falls: Falls, gravity: AcceptedGravity, clock: Estimate | None
) -> Mapping[str, Answer]:
    """
    Give every g that falls tell, and the one in which all independent routes agree.

    Parameters
    ----------
    falls : Falls
        What was marked, if anything.
    gravity : AcceptedGravity
        For comparison in words; no value rests on it.
    clock : Estimate or None
        The g from the drain's clock, which is independent too.

    Returns
    -------
    mapping
        An answer each for `gravity_from_fall_time`, `gravity_from_parabola`, `gravity_from_track` and
        `gravity_combined`.
    """
    routes: dict[str, Answer] = {
        "gravity_from_fall_time": _fall_time(falls, gravity),
        "gravity_from_parabola": _parabola(falls, gravity),
        "gravity_from_track": _track(falls, gravity),
    }
    known = {} if clock is None else {"gravity_from_clock": clock}
    known |= {name: answer.estimate for name, answer in routes.items() if isinstance(answer, Derived)}
    return MappingProxyType({**routes, "gravity_combined": gravity_combined(known, gravity)})


def _fall_time(falls: Falls, gravity: AcceptedGravity) -> Answer:
    got = _pooled(falls, fit_time, lambda fall: fall.n == 2, said(_TWO_EVENTS), over_square_of_time=True)
    if isinstance(got, str):
        return got
    steps = [1e3 * float(fit.fall.step_s[-1]) for fit in got.fits]
    taken = math.sqrt(sum(float((fit.own[2] ** 2).sum()) for fit in got.fits)) / len(got.fits)
    bias = 300.0 * float((got.estimate.own**2).sum()) / (4.0 * got.estimate.value**2)
    remarks = [
        (
            said(
                "each end is known to one frame, {max} ms, which alone gives {taken} m/s²: a drop "
                "marked in many frames tells g better, and so do repeats",
                max=plain(max(steps), 3),
                taken=plain(taken, 2),
            )
        ),
    ]
    if bias >= 0.05:
        remarks.append(
            said(
                "an uncertain T makes 1/T² too large on average, here by {bias} %; that is taken off",
                bias=plain(bias, 2),
            )
        )
    return _derived(
        got,
        falls,
        gravity,
        said("2 y/T² of {count} between two marked events: clock and lengths", count=_count(got.fits)),
        remarks,
        in_logarithm=True,
    )


def _parabola(falls: Falls, gravity: AcceptedGravity) -> Answer:
    got = _pooled(falls, fit_parabola, lambda fall: fall.n > 2, said(_MORE_MARKS))
    if isinstance(got, str):
        return got
    told = falls.launch_angle_deg is not None
    held = [told and fit.fall.kind.from_the_hole and fit.fall.across is not None for fit in got.fits]
    start = said("y₀ and v free, so that nothing need be known of the start")
    if any(held):
        angle = plain(falls.launch_angle_deg or 0.0, 2)
        start = said("held to leave the hole at the stated {angle}°", angle=angle)
        start += "" if all(held) else said(", where it comes from the hole; y₀ and v free in the others")
    could = falls.launch_angle_deg is None and any(fit.fall.kind.from_the_hole for fit in got.fits)
    more = said(
        "state the jet's launch angle (0 if it leaves level): held to the hole, the same "
        "marks say about twice as much"
    )
    return _derived(
        got,
        falls,
        gravity,
        said(
            "parabola in time, y = y₀ + v t + g t²/2, through {marks} of {count}; {start}",
            marks=_marks(got.fits),
            count=_count(got.fits),
            start=start,
        ),
        [*_residuals(got), *([more] if could else [])],
    )


def _track(falls: Falls, gravity: AcceptedGravity) -> Answer:
    got = _pooled(falls, fit_track, _flies_outwards, said(_OF_THE_JET))
    if isinstance(got, str):
        return got
    angle = falls.launch_angle_deg
    remarks = [
        said(
            "the path is taken to leave the hole level, as no launch angle was stated (± "
            "{unstated_angle_u_deg:g}°)",
            unstated_angle_u_deg=UNSTATED_ANGLE_U_DEG,
        )
        if angle is None
        else said("the path leaves the hole at the stated {angle}°", angle=plain(angle, 2)),
        said("it stands on the same marks as the parabola, but on the hole and the path's shape as well"),
    ]
    return _derived(
        got,
        falls,
        gravity,
        said(
            "2 y v²/x²: how fast {count} flew outwards, and the shape of the path from the hole",
            count=_count(got.fits),
        ),
        [*remarks, *_residuals(got)],
    )


def _flies_outwards(fall: Fall) -> bool:
    return fall.n > 2 and fall.kind.from_the_hole and fall.across is not None


def _pooled(
    falls: Falls,
    fit: _FIT,
    suits: Callable[[Fall], bool],
    lacking: str,
    *,
    over_square_of_time: bool = False,
) -> Pooled | str:
    """All falls that suit a route together, or what is missing."""
    if not falls.falls:
        return falls.missing or said(HOW_TO_MARK)
    chosen = [i for i, fall in enumerate(falls.falls) if suits(fall)]
    if not chosen:
        return lacking
    fits = [found for i in chosen if (found := fit(falls, i)) is not None]
    together = pooled(fits, falls, over_square_of_time=over_square_of_time)
    if together is None or not (together.estimate.value > 0.0 and math.isfinite(together.estimate.u)):
        return said(_RISING)
    return together


def _derived(
    got: Pooled,
    falls: Falls,
    gravity: AcceptedGravity,
    method: str,
    remarks: Iterable[str],
    *,
    in_logarithm: bool = False,
) -> Derived:
    kinds = {fit.fall.kind for fit in got.fits}
    told = [against_accepted(got.estimate, gravity), *remarks]
    if got.widened > 1.0:
        told.append(
            said(
                "the falls scatter {widened} times as much as their stated errors; their own errors "
                "were widened by that",
                widened=plain(got.widened, 2),
            )
        )
    if any((fit.own <= 0.0).all() for fit in got.fits):
        told.append(said("no error was stated for the marks of a fall: taken as exact, so u is too small"))
    if Falling.JET_FRONT in kinds:
        told.append(
            said(
                "the front of a newly opened jet is slowed by the finger, and later water overtakes "
                "it: a drop of the running jet is better"
            )
        )
    if any(fit.fall.diameter_m is not None for fit in got.fits):
        told.append(said("the air's drag on a round drop is taken off; its size is uncertain and counted"))
    return Derived(
        got.estimate,
        "g",
        "m/s²",
        method,
        depends_on_assumed_g=False,
        remarks=(*told, *falls.cautions),
        in_logarithm=in_logarithm,
    )


def _residuals(got: Pooled) -> list[str]:
    """Whether the marks lie about their curves as stated."""
    if not (got.dof > 0 and math.isfinite(got.chi_squared)):
        return [said("as many marks as unknowns: nothing checks them, mark one frame more")]
    chance = chance_of_more(got.chi_squared, got.dof)
    ratio = math.sqrt(got.chi_squared / got.dof)
    if chance < _DOUBTED:
        return [
            (
                said(
                    "the marks lie {ratio} times as far off the curve as stated: look for a mark in the "
                    "wrong frame or on another drop",
                    ratio=plain(ratio, 2),
                )
            )
        ]
    return [
        said(
            "the marks lie about their curve as stated: {ratio} of their errors, on average",
            ratio=plain(ratio, 2),
        )
    ]


def _count(fits: Iterable[FallFit]) -> str:
    kinds = [fit.fall.kind for fit in fits]
    words = {
        Falling.DROP: "drop",
        Falling.JET_DROP: said("drop of the jet"),
        Falling.JET_FRONT: said("front of the jet"),
    }
    plural = {
        Falling.DROP: "drops",
        Falling.JET_DROP: said("drops of the jet"),
        Falling.JET_FRONT: said("fronts of the jet"),
    }
    parts = []
    for kind in Falling:
        number = kinds.count(kind)
        if number:
            parts.append(f"1 {words[kind]}" if number == 1 else f"{number} {plural[kind]}")
    return said(" and ").join(parts)


def _marks(fits: Iterable[FallFit]) -> str:
    return said("{sum} marks", sum=sum(fit.fall.n for fit in fits))
