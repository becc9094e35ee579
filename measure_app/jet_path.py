"""The traced jet as a run keeps it, and turned into lengths for the engine."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import pairwise
from typing import Any, ClassVar, TypeGuard

import numpy as np

from analysis import BoolArray, Column, TracedJet
from calibration import Calibration, FloatArray, Metres
from measure_app.edits import AdoptFound, Edit
from measure_app.finders import JetTrace
from measure_app.own_extra import own_of, with_own
from measure_app.run import Reading, Run
from measure_app.series import SharedReading
from measure_app.shared_errors import with_shared
from measure_app.words import marked, said

JET = "traced_jet"
"""Name of the trace under the program's own key of `extra`."""
UPRIGHT, SIDEWAYS = marked("orifice, up and down"), marked("orifice, sideways")
"""The calibration's names of the orifice's two errors."""
_MOST = 200
"""Most stretches, and most lines, that are read."""
_LAST_FRAME = 2**40
_DIGITS = 3


class AdoptJet(Edit, frozen=True):
    """Keep the jet's trace in the run, in place of an earlier one; None takes it away."""

    label: ClassVar[str] = marked("adopt the traced jet")
    trace: JetTrace | None

    def _changed(self, run: Run) -> Run:
        return with_own(run, JET, None if self.trace is None else _kept(self.trace))


class AdoptSearch(Edit, frozen=True):
    """Take in all that a search found as one step: readings, their shared errors, and the traced jet."""

    label: ClassVar[str] = AdoptFound.label
    readings: tuple[Reading, ...]
    trace: JetTrace | None
    shared: SharedReading | None = None

    def _changed(self, run: Run) -> Run:
        # Not by their `apply`: the contract is asked once, of the whole, for that takes time.
        run = AdoptFound(self.readings)._changed(run)  # noqa: SLF001
        return with_shared(AdoptJet(self.trace)._changed(run), self.shared)  # noqa: SLF001


def _kept(trace: JetTrace) -> dict[str, Any]:
    """Plain values of a trace; places not seen are left out with their line's number kept."""
    stretches = []
    for frame, px, u in zip(trace.frames.tolist(), trace.px, trace.u_px, strict=True):
        seen = np.flatnonzero(np.isfinite(u)).tolist()
        places = [[i, *np.round([*px[i], u[i]], _DIGITS).tolist()] for i in seen]
        stretches.append({"frame": frame, "line_x_y_u_px": places})
    return {"width_px": round(trace.width_px, 2), "lines": int(trace.u_px.shape[1]), "stretches": stretches}


def trace_of(run: Run) -> JetTrace | None:
    """Read the trace that a run keeps; None where there is none, or nothing of the right shape."""
    kept = own_of(run).get(JET)
    if not isinstance(kept, Mapping):
        return None
    width, lines, stretches = kept.get("width_px"), kept.get("lines"), kept.get("stretches")
    if not (_number(width) and _whole(lines) and 0 < lines <= _MOST and isinstance(stretches, list | tuple)):
        return None
    read = [_stretch(each, lines) for each in stretches[: _MOST + 1]]
    told = [each for each in read if each is not None]
    frames = [each[0] for each in told]
    ordered = all(a < b for a, b in pairwise(frames))
    if not 0 < len(told) == len(read) <= _MOST or not ordered:
        return None
    return JetTrace(
        np.array(frames, dtype=np.int64),
        np.stack([each[1] for each in told]),
        np.stack([each[2] for each in told]),
        float(width),
    )


def _stretch(kept: object, lines: int) -> tuple[int, FloatArray, FloatArray] | None:
    """Frame, places (lines, 2) and uncertainties (lines,) of one stretch; None where misshapen."""
    if not isinstance(kept, Mapping):
        return None
    frame, places = kept.get("frame"), kept.get("line_x_y_u_px")
    if not (_whole(frame) and 0 <= frame < _LAST_FRAME and isinstance(places, list | tuple)):
        return None
    px, u = np.full((lines, 2), np.nan), np.full(lines, np.nan)
    for place in places[: lines + 1]:
        if not (isinstance(place, list | tuple) and len(place) == 4 and all(map(_number, place))):
            return None
        if not (_whole(place[0]) and 0 <= place[0] < lines and place[3] > 0.0):
            return None
        px[place[0]], u[place[0]] = place[1:3], place[3]
    return frame, px, u


def _whole(value: object) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool)


def _number(value: object) -> TypeGuard[float]:
    # Far outside any frame the lens model has nothing to say.
    return isinstance(value, int | float) and math.isfinite(value) and abs(value) < 1e6


def traced_of(run: Run, calibration: Calibration, seconds: FloatArray | None) -> tuple[TracedJet | None, str]:
    """Turn the trace that a run keeps into lengths.

    Parameters
    ----------
    run : with its trace
    calibration : of the same run
    seconds : (n_frames,) s, time of every frame of the clip; None for stills without a clock

    Returns
    -------
    (TracedJet or None, str)
        None with the reason where there is nothing to measure.
    """
    if run.orifice is None or run.landing_line is None:
        return None, said(
            "orifice and landing line marked, and the film measured: the jet is traced between them"
        )
    if seconds is None:
        return None, said("a film with a clock: the jet is traced through time")
    trace = trace_of(run)
    if trace is None:
        return None, (
            said(
                "the jet traced between orifice and landing; measure the film, with the jet standing "
                "out from what is behind it"
            )
        )
    inside = trace.frames < len(seconds)
    if inside.sum() < 2:
        return None, said(
            "a trace of this film: the one kept lies past its {seconds} frames; measure again",
            seconds=len(seconds),
        )
    hole = run.orifice
    places = trace.px[inside].reshape(-1, 2)
    pixels = np.vstack([places, [hole.px]])
    u_px = np.append(trace.u_px[inside].ravel(), 0.0)
    seen = np.isfinite(pixels[:, 0])
    pixels[~seen] = hole.px
    got = calibration.places(pixels, np.nan_to_num(u_px), behind_m=hole.behind_m)
    for metres, why in (
        (got.down, marked("heights in the picture: {reason}")),
        (got.across, marked("throws in the picture: {reason}")),
    ):
        if not np.isfinite(metres.values[-1]):
            return None, said(why, reason=metres.reasons[-1] if metres.reasons else said("not to be had"))
    across, down = _outward(got.across, got.down, seen), _column(got.down, seen)
    scale = _metres_per_px(across, trace, inside)
    return (
        TracedJet(
            got.down.sources,
            np.asarray(seconds[trace.frames[inside]], dtype=np.float64),
            across,
            down,
            0.5 * trace.width_px * scale,
        ),
        "",
    )


def _column(metres: Metres, seen: BoolArray) -> Column:
    values = np.where(seen, metres.values, np.nan)[:-1]
    known = np.isfinite(values)
    shared = np.where(known[:, None], metres.shared[:-1], 0.0)
    return Column(values, np.where(known, metres.own_u[:-1], np.nan), shared)


def _outward(across: Metres, down: Metres, seen: BoolArray) -> Column:
    """Lengths from the orifice, the last place, and not from the throw zero: that one's error is in both."""
    shared = across.shared - across.shared[-1]
    # The mark itself is the same in both; how far it is off the true orifice is known as well as upright.
    if {UPRIGHT, SIDEWAYS} <= set(down.sources):
        upright, sideways = down.sources.index(UPRIGHT), down.sources.index(SIDEWAYS)
        shared[:, sideways] = -np.abs(down.shared[:, upright])
    values = across.values - across.values[-1]
    return _column(Metres(values, across.own_u, shared, across.sources, across.reasons), seen)


def _metres_per_px(across: Column, trace: JetTrace, inside: BoolArray) -> float:
    """Scale along the lines, m/px."""
    with np.errstate(divide="ignore", invalid="ignore"):
        each = across.own_u / trace.u_px[inside].ravel()
    return float(np.nanmedian(each)) if np.isfinite(each).any() else 0.0
