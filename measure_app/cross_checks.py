"""Does what was told agree with what the frame shows: the drop, and how far the graduations reach."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from analysis import Remark, with_uncertainty
from calibration import Calibration, Metres
from measure_app.run import LinePart, Reading, Run
from measure_app.series import LINE_U_PX
from measure_app.words import counted, marked, said

_TOO_FAR = 3.0
"""Difference over its standard uncertainty that chance brings in 0.3 % of sound runs."""
_PAST_THE_RULE = 0.005
"""What a scale may be off by where no graduation is, relative; common practice, no source."""
_LEAST_M = 1e-3
"""A difference below this shifts no Cv that a class could tell: 0.2 % at a drop of 250 mm."""


def drop_remark(run: Run, calibration: Calibration) -> Remark | None:
    """Hold the drop that was told against the one down to the landing line as drawn.

    Parameters
    ----------
    run : Run
    calibration : Calibration
        Of the run.

    Returns
    -------
    Remark or None
        None where only one of the two is known, or where they agree: within three standard uncertainties of
        their difference, or within a millimetre.
    """
    line = run.landing_line
    if run.drop is None or line is None:
        return None
    seen = calibration.drop()
    trusted = math.isfinite(float(seen.values[0]))
    if not trusted:
        seen = calibration.drop(past_the_rule=True)
    value = float(seen.values[0]) + line.above_level_m
    if not math.isfinite(value):
        return None
    pixel = float(np.median([fit.m_per_px for fit in calibration.rule_fits]))
    u = math.hypot(float(np.linalg.norm(seen.shared[0])), line.above_level_u_m, LINE_U_PX * pixel)
    if not trusted:
        u = math.hypot(u, _PAST_THE_RULE * value)
    apart = run.drop.value_m - value
    if abs(apart) <= max(_TOO_FAR * math.hypot(u, run.drop.u_m), _LEAST_M):
        return None
    words = marked(
        "as told it is {told}, in the frame the landing line lies {seen} below the hole: the line seems "
        "drawn {apart:.1f} mm too high, or the drop is so much less. Look where the landing line meets what "
        "the jet lands on, and measure the drop again to the same place; if the line lies above that level "
        "on purpose, give landing_line.above_level_m."
    )
    if apart < 0:
        words = marked(
            "as told it is {told}, in the frame the landing line lies {seen} below the hole: the line seems "
            "drawn {apart:.1f} mm too low, or the drop is so much more. Look where the landing line meets "
            "what the jet lands on, and measure the drop again to the same place."
        )
    return Remark(
        "drop",
        said(
            words,
            told=with_uncertainty(1e3 * run.drop.value_m, 1e3 * run.drop.u_m, "mm"),
            seen=with_uncertainty(1e3 * value, 1e3 * u, "mm"),
            apart=1e3 * abs(apart),
        ),
    )


def meniscus_doubt(line: LinePart) -> str:
    """Doubt a gauge line whose edge is taken, for certain, to be the flat level; "" where it is not.

    About 1 mm of meniscus on clean plastic, and 0.3 mm of doubt about any edge: common practice, no source.
    """
    if line.above_level_m or line.above_level_u_m:
        return ""
    return said(
        "0 ± 0 mm takes the edge that is read for the flat level, for certain. Dyed water climbs about 1 mm "
        "up a clean wall, and even a dark band in clear water is known to about 0.3 mm: give an uncertainty"
    )


def without_length(readings: Sequence[Reading], heads: Metres, throws: Metres) -> tuple[Remark, ...]:
    """Say which readings give no head or no throw, as a rule since the graduations end too early.

    Parameters
    ----------
    readings : sequence of Reading, n of them
    heads, throws : Metres (n,)
        What they come to, NaN with a reason where to nothing.

    Returns
    -------
    tuple of Remark
        At most one for heads and one for throws, with the frames that it spans.
    """
    remarks = []
    for about, spots, lengths in (
        ("surface", [reading.surface for reading in readings], heads),
        ("landing", [reading.landing for reading in readings], throws),
    ):
        known = np.isfinite(lengths.values).tolist()
        lost = [i for i, spot in enumerate(spots) if spot is not None and not known[i]]
        if not lost or not lengths.reasons:
            continue
        first, last = readings[lost[0]].frame, readings[lost[-1]].frame
        # The first frame has the greatest head and throw, and so tells how far out a graduation is wanted.
        words = _heads_lost if about == "surface" else _throws_lost
        remarks.append(Remark(about, words(len(lost), first, last, lengths.reasons[lost[0]]), (first, last)))
    return tuple(remarks)


def _heads_lost(count: int, first: int, last: int, why: str) -> str:
    return counted(
        "one surface (frame {first}) was read but gives no head: {why}",
        "{count} surfaces (frames {first} to {last}) were read but give no head: {why}",
        count,
        first=first,
        last=last,
        why=why,
    )


def _throws_lost(count: int, first: int, last: int, why: str) -> str:
    return counted(
        "one landing (frame {first}) was read but gives no throw: {why}",
        "{count} landings (frames {first} to {last}) were read but give no throw: {why}",
        count,
        first=first,
        last=last,
        why=why,
    )
