"""Falls that a person marked, turned into lengths and times for the engine."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis import Column, Fall, Falling, Falls
from calibration import Calibration, FloatArray, Metres
from measure_app.clip import ClipInfo
from measure_app.run import FallPart, Run
from measure_app.words import marked, said

ROLLING_SHUTTER = marked("rolling shutter")
LONGEST_READOUT_S = 0.03
"""How long phones take at most from the first row of a picture to the last; common practice, no source."""
READOUT_U = 0.1
"""Relative standard uncertainty of a read-out time given without one; common practice, no source."""
DROP_OF_JET = 1.89 * 0.8
"""Diameter of a jet's drop over that of the hole: 1.89 jet diameters, the volume of one wavelength of fastest
growth (Rayleigh, Proc. London Math. Soc. 10 (1878) 4), and a jet of 0.8 hole diameters (√0.64)."""
DROP_OF_JET_U = 0.25
"""Relative standard uncertainty of that; common practice, no source."""
DROP_M, DROP_U_M = 0.004, 0.0015
"""A drop that was let go from a pipette or a tap, m; common practice, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class _Marked:
    """One fall, measured; the columns of all falls are not yet the same."""

    part: FallPart
    time_s: FloatArray
    step_s: FloatArray
    readout: FloatArray
    """(n,) s, change of each time with the error of the read-out."""
    down: Metres
    across: Metres | None


def falls_of(run: Run, calibration: Calibration, seconds: FloatArray | None, info: ClipInfo) -> Falls:
    """Measure the marked falls of a run.

    Parameters
    ----------
    run : with its falls
    calibration : of the same run
    seconds : (n_frames,) s, time of every frame of the clip; None for stills without a clock
    info : what is known of the film

    Returns
    -------
    Falls
        Marks that cannot be turned into lengths are left out and told among the cautions; where no fall is
        left, `missing` says why.
    """
    if seconds is None:
        return Falls(
            (), (), missing=said("a film with a clock: still pictures do not tell when they were taken")
        )
    if not run.falls:
        return Falls((), ())
    readout, readout_u, words = _readout(run, seconds)
    cautions = [_clock(info), words]
    if info.interlaced:
        cautions.append(
            said("the film is interlaced: its rows were taken at two instants, half a frame apart")
        )
    marked: list[_Marked] = []
    refused: list[str] = []
    for part in run.falls:
        got, lost = _measured(part, calibration, seconds, info, readout, readout_u)
        if lost:
            refused.append(f"“{part.name}”: {lost}")
        if got is not None:
            marked.append(got)
    if not marked:
        return Falls(
            (), (), missing=said("marks that can be turned into lengths; {listed}", listed="; ".join(refused))
        )
    if refused:
        cautions.append(said("left out: {listed}", listed="; ".join(refused)))
    names, falls = _joined(marked, calibration, run)
    hole = run.orifice
    return Falls(
        names,
        falls,
        hole.launch_angle_deg if hole is not None else None,
        hole.launch_angle_u_deg if hole is not None else None,
        tuple(cautions),
    )


def _readout(run: Run, seconds: FloatArray) -> tuple[float, float, str]:
    """Time from the first row of a picture to the last, its standard uncertainty, and what is to be said."""
    camera = run.camera
    if camera.rolling_shutter_s is not None:
        u = camera.rolling_shutter_u_s
        u = READOUT_U * camera.rolling_shutter_s if u is None else u
        told = 1e3 * camera.rolling_shutter_s
        if told == 0.0:
            return 0.0, u, said("all rows of a frame were taken at once, as told")
        return (
            camera.rolling_shutter_s,
            u,
            said("each row's own time is used: a frame is read in {told:.3g} ms", told=told),
        )
    longest = LONGEST_READOUT_S
    if len(seconds) > 1:
        longest = min(longest, float(np.median(np.diff(seconds))))
    words = said(
        "nobody told the camera's rolling shutter: a frame's last row may be read {longest:.2g} "
        "ms after its first, which would make g too large; that is counted as an error. Give "
        "camera.rolling_shutter_s (0 if all rows are taken at once), or film with the phone "
        "upright: its rows are then read sideways",
        longest=1000.0 * longest,
    )
    return 0.0, longest / math.sqrt(3.0), words


def _clock(info: ClipInfo) -> str:
    """Say how far the film's clock is to be trusted."""
    if info.capture_rate_hz is not None:
        return said(
            "times are those of a film caught at {rate:g} frames a second, as told; g "
            "goes as the square of that rate, 1 % of it is 2 % of g",
            rate=info.capture_rate_hz,
        )
    hint = info.capture_rate_hint
    rate = float(info.file_rate)
    if hint is not None and rate and abs(hint / rate - 1) > 0.02:
        factor = (hint / rate) ** 2
        return said(
            "the camera says that it caught {hint:g} frames a second, but the film's own "
            "{rate:.4g} are used: if it is slow motion, g is {factor:.3g} times as large; set "
            "capture_rate_hz",
            hint=hint,
            rate=rate,
            factor=factor,
        )
    return said(
        "times are the film's own: if it is slow motion, set capture_rate_hz, for g goes as its square"
    )


def _measured(
    part: FallPart,
    calibration: Calibration,
    seconds: FloatArray,
    info: ClipInfo,
    readout: float,
    readout_u: float,
) -> tuple[_Marked | None, str]:
    """One fall in lengths and times, and what had to be left out of it, in words."""
    inside = [mark for mark in part.marks if mark.frame < len(seconds)]
    lost = (
        ""
        if len(inside) == len(part.marks)
        else said("marks past the film's {seconds} frames", seconds=len(seconds))
    )
    pixels = np.array([mark.px for mark in inside], dtype=np.float64).reshape(-1, 2)
    u_px = np.array([mark.px_u for mark in inside], dtype=np.float64)
    places = calibration.places(pixels, u_px, behind_m=part.behind_m, behind_u_m=part.behind_u_m)
    good = np.isfinite(places.down.values)
    if not np.all(good):
        why = next(words for words in places.down.reasons if words)
        lost = "; ".join(
            filter(
                None,
                (lost, said("in frame {frame} {why}", frame=inside[int(np.argmin(good))].frame, why=why)),
            )
        )
    if int(np.sum(good)) < 2:
        return None, lost or said("fewer than two marks")
    frames = np.array([mark.frame for mark in inside])[good]
    rows = (info.geometry.to_coded(pixels[good])[:, 1] + 0.5) / info.geometry.coded_height
    time = seconds[frames] + readout * rows
    if not np.all(np.diff(time) > 0.0):
        return None, said("the rolling shutter that was told is longer than the frames are apart")
    across = _chosen(places.across, good)
    return (
        _Marked(
            part,
            time,
            seconds[frames] - seconds[np.maximum(frames - 1, 0)] + (frames == 0) * _usual_step(seconds),
            readout_u * rows,
            _chosen(places.down, good),
            across if np.all(np.isfinite(across.values)) else None,
        ),
        lost,
    )


def _usual_step(seconds: FloatArray) -> float:
    return float(np.median(np.diff(seconds))) if len(seconds) > 1 else 0.0


def _chosen(metres: Metres, rows: FloatArray) -> Metres:
    return Metres(metres.values[rows], metres.own_u[rows], metres.shared[rows], metres.sources)


def _joined(
    marked: Sequence[_Marked], calibration: Calibration, run: Run
) -> tuple[tuple[str, ...], tuple[Fall, ...]]:
    """Give all falls the same sources: the calibration's, the read-out, and the depths, each fall's own."""
    k = len(calibration.sources)
    names = [*calibration.sources, ROLLING_SHUTTER]
    places = []
    for i, each in enumerate(marked):
        label = each.part.name or f"number {i + 1}"
        places.append(slice(len(names), len(names) + len(each.down.sources) - k))
        names += [f"fall “{label}”: {aspect}" for aspect in each.down.sources[k:]]

    def wide(metres: Metres, place: slice) -> FloatArray:
        shared = np.zeros((len(metres.values), len(names)))
        shared[:, :k], shared[:, place] = metres.shared[:, :k], metres.shared[:, k:]
        return shared

    def column(metres: Metres, place: slice) -> Column:
        shared = np.ascontiguousarray(wide(metres, place)[:, used])
        return Column(np.array(metres.values), np.array(metres.own_u), shared)

    used = np.zeros(len(names), dtype=bool)
    for each, place in zip(marked, places, strict=True):
        for metres in (each.down, each.across):
            used |= np.zeros_like(used) if metres is None else np.any(wide(metres, place) != 0.0, axis=0)
        used[k] |= bool(np.any(each.readout))

    falls = []
    for each, place in zip(marked, places, strict=True):
        kind = Falling(each.part.what)
        time = np.zeros((len(each.time_s), len(names)))
        time[:, k] = each.readout
        across = None if each.across is None else column(each.across, place)
        down, size = column(each.down, place), _drop_size(kind, run)
        time = np.ascontiguousarray(time[:, used])
        falls.append(Fall(each.part.name, kind, each.time_s, each.step_s, time, down, across, *size))
    return tuple(name for name, use in zip(names, used.tolist(), strict=True) if use), tuple(falls)


def _drop_size(kind: Falling, run: Run) -> tuple[float | None, float]:
    """Diameter of what falls, for the air's drag, m, and its standard uncertainty; None: an unbroken jet."""
    if kind is Falling.JET_FRONT:
        return None, 0.0
    hole = run.orifice.diameter_m if run.orifice is not None else None
    if kind is Falling.JET_DROP and hole is not None:
        return DROP_OF_JET * hole, DROP_OF_JET_U * DROP_OF_JET * hole
    return DROP_M, DROP_U_M
