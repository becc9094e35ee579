"""What was corrected, and every setting that another person needs to do the same again."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator

import numpy as np

from analysis import angle_words, flow_words, plain, size_words, with_uncertainty
from calibration import Measures, rule_words
from measure_app._version import __version__
from measure_app.report.results import Results
from measure_app.report.row_words import rows_counted
from measure_app.run import LinePart, OrificePart, Run, ThrowZeroPart
from measure_app.words import marked, said

_FALLING = {
    "drop": marked("drop, {marks} marks in frames {first} to {last}; {depth}"),
    "jet drop": marked("jet drop, {marks} marks in frames {first} to {last}; {depth}"),
    "jet front": marked("jet front, {marks} marks in frames {first} to {last}; {depth}"),
}
_MEASURED = {
    Measures.HEAD: marked("head"),
    Measures.THROW: marked("throw"),
    Measures.BOTH: marked("both"),
}


def corrections_of(results: Results) -> tuple[str, ...]:
    """Say which corrections were applied, and which could not be."""
    return (*_pairing(results), *_sizes(results), *_seeing(results), *left_out_of(results))


def _pairing(results: Results) -> Iterator[str]:
    findings, series = results.findings, results.series
    if series.head is None or series.throw is None:
        return
    raised = 1000.0 * (findings.paired_head_m - series.head.values)[findings.kept]
    raised = raised[np.isfinite(raised)]
    if findings.drain is None or not raised.size or not np.any(raised):
        if series.time_s is None:
            yield said("No clock: each throw is compared with the head of its own row.")
        return
    flight = float(np.nanmedian(findings.flight_time_s))
    yield said(
        "Each throw is paired with the head one flight time ({flight:.3f} s) earlier: heads raised by "
        "{least:.2f} to {most:.2f} mm.",
        flight=flight,
        least=float(raised.min()),
        most=float(raised.max()),
    )


def _sizes(results: Results) -> Iterator[str]:
    """Yield every correction of the law with its size, and how the jet flows."""
    for size in results.findings.corrections:
        words = size_words(size)
        yield f"{words[:1].upper()}{words[1:]} ({said(size.says)})."
    if results.findings.flow is not None:
        yield f"{flow_words(results.findings.flow)}."


def _seeing(results: Results) -> Iterator[str]:
    """Yield what was done about the way the camera sees."""
    if results.outcome is None:
        return
    run, info = results.outcome.run, results.outcome.info
    if any(len(rule.graduations) > 2 for rule in run.rules):
        yield said("Perspective is taken from the graduations of the rules, and from where the camera stood.")
    if run.camera.distance_m is not None:
        yield said(
            "What stands before or behind the jet's plane is carried to it, with the camera {distance} m "
            "away.",
            distance=plain(run.camera.distance_m, 3),
        )
    else:
        yield said("The camera's distance is not given: depths off the jet's plane are not corrected.")
    if run.camera.lens is not None:
        yield said("Distortion of the lens: straightened as given.")
    else:
        yield said("Distortion of the lens: not given; allowed for as an uncertainty.")
    line = run.gauge_line
    if line is not None and line.above_level_m:
        above = plain(1000 * line.above_level_m, 2)
        yield said(
            "What is read on the gauge line stands {above} mm above the level; that is taken off.",
            above=above,
        )
    if info is not None and info.capture_rate_hz is not None:
        rate = plain(info.capture_rate_hz)
        yield said("Slow motion: the clock is that of a capture at {rate} frames per second.", rate=rate)


def left_out_of(results: Results) -> Iterator[str]:
    """Yield how many readings stand outside the fits, by reason."""
    out = Counter(row.reason for row in results.rows if not row.kept)
    for reason, count in out.most_common(6):
        rows = rows_counted(results.each_row_is, count)
        yield said("Left out, {rows}: {reason}.", rows=rows, reason=said(reason))
    rest = sum(count for _, count in out.most_common()[6:])
    if rest:
        yield said("Left out for other reasons: {rest}; readings.csv names each.", rest=rest)


def settings_of(results: Results) -> tuple[tuple[str, str], ...]:
    """Name every setting: film, rules, marks, lines, conditions, and the version of the program."""
    rows: list[tuple[str, str]] = []
    if results.outcome is not None:
        run, info = results.outcome.run, results.outcome.info
        rows.append((said("film"), run.clip.path))
        if run.clip.sha256 is not None:
            rows.append((said("its SHA-256"), run.clip.sha256))
        if info is not None:
            rate = (
                said("variable rate")
                if info.variable_rate
                else said("{rate:.4g} frames per second", rate=float(info.file_rate))
            )
            words = said(
                "{width} × {height} px, {frames} frames, {rate}, {codec} in {container}",
                width=info.width,
                height=info.height,
                frames=info.n_frames,
                rate=rate,
                codec=info.codec,
                container=said(info.container),
            )
            rows.append((said("its format"), words))
        rows.append((said("part measured"), _part(run)))
        rows += _marks(run)
    rows += _conditions(results)
    rows.append((said("program"), f"Clepsydra {__version__}"))
    return tuple(rows)


def _part(run: Run) -> str:
    start, stop = run.clip.start_frame, run.clip.stop_frame
    if stop is None:
        return said("frame {start} to the end", start=start)
    return said("frame {start} to frame {last}", start=start, last=stop - 1)


def _marks(run: Run) -> Iterator[tuple[str, str]]:
    for rule in run.rules:
        places = ", ".join(
            said("{value:.6g} cm at {place}", value=g.value_m * 100, place=_px(g.px))
            for g in rule.graduations
        )
        yield (
            said("rule “{name}”", name=rule_words(rule.name)),
            said(
                "measures {what}; graduations u = {u:.3g} mm, read to {px_u:.3g} px; {depth}; {places}",
                what=said(_MEASURED[rule.measures]),
                u=rule.graduation_u_m * 1000,
                px_u=rule.px_u,
                depth=_depth(rule.behind_m, rule.behind_u_m),
                places=places,
            ),
        )
    if run.camera.distance_m is not None:
        u = math.nan if run.camera.distance_u_m is None else run.camera.distance_u_m
        yield said("camera's distance"), with_uncertainty(1e3 * run.camera.distance_m, 1e3 * u, "mm")
    if run.camera.facing_px is not None:
        yield (
            said("camera faces"),
            said(
                "{place}, within {angle:.3g}°", place=_px(run.camera.facing_px), angle=run.camera.facing_u_deg
            ),
        )
    if run.plumb is not None:
        yield (
            said("plumb"),
            said("{start} to {end}", start=_px(run.plumb.top_px), end=_px(run.plumb.bottom_px)),
        )
    if run.orifice is not None:
        yield said("hole's centre"), _spot(run.orifice)
    if run.camera.rolling_shutter_s is not None:
        yield (
            said("rolling shutter"),
            said("a frame is read in {time:.3g} ms", time=1e3 * run.camera.rolling_shutter_s),
        )
    for i, fall in enumerate(run.falls, 1):
        yield (
            said("fall “{name}”", name=fall.name or i),
            said(
                _FALLING[fall.what],
                marks=len(fall.marks),
                first=fall.marks[0].frame,
                last=fall.marks[-1].frame,
                depth=_depth(fall.behind_m, fall.behind_u_m),
            ),
        )
    if run.throw_zero is not None:
        yield said("throw zero"), _spot(run.throw_zero)
    if run.gauge_line is not None:
        yield said("gauge line"), _line(run.gauge_line)
    if run.landing_line is not None:
        yield said("landing line"), _line(run.landing_line)


def _spot(spot: OrificePart | ThrowZeroPart) -> str:
    return said("{place}, to {u:.3g} px", place=_px(spot.px), u=spot.px_u)


def _line(line: LinePart) -> str:
    words = said(
        "{start} to {end}; {depth}",
        start=_px(line.from_px),
        end=_px(line.to_px),
        depth=_depth(line.behind_m, line.behind_u_m),
    )
    if line.above_level_m or line.above_level_u_m:
        above = said(
            "reads {above:.3g} ± {u:.2g} mm above the level",
            above=line.above_level_m * 1000,
            u=line.above_level_u_m * 1000,
        )
        words = f"{words}; {above}"
    return words


def _depth(behind_m: float, u_m: float) -> str:
    if behind_m == 0.0 and u_m == 0.0:
        return said("in the jet's plane")
    if behind_m >= 0:
        return said("{far:.3g} ± {u:.2g} mm behind the jet's plane", far=behind_m * 1000, u=u_m * 1000)
    return said("{far:.3g} ± {u:.2g} mm before the jet's plane", far=-behind_m * 1000, u=u_m * 1000)


def _px(place: tuple[float, float]) -> str:
    return said("({x:.1f}, {y:.1f}) px", x=float(place[0]), y=float(place[1]))


def _conditions(results: Results) -> Iterator[tuple[str, str]]:
    at, g, drop = results.conditions, results.findings.accepted_gravity, results.series.drop
    if drop is not None:
        known = np.isfinite(drop.values)
        if known.any() and not np.ptp(drop.values[known]) > 0.0:
            i = int(np.nonzero(known)[0][0])
            yield said("drop"), with_uncertainty(1e3 * float(drop.values[i]), 1e3 * float(drop.u[i]), "mm")
        elif known.any():
            low, high = float(np.min(drop.values[known])), float(np.max(drop.values[known]))
            yield said("drop"), said("for each row, {low:.4g} to {high:.4g} m", low=low, high=high)
    yield said("accepted g"), f"{with_uncertainty(g.value, g.u, 'm/s²')}; {said(g.source)}"
    for name, value, u, scale, unit in (
        (said("hole's diameter"), at.orifice_diameter_m, at.orifice_diameter_u_m, 1e3, "mm"),
        (said("water's area"), at.container_area_m2, at.container_area_u_m2, 1e4, "cm²"),
    ):
        if value is not None:
            yield name, with_uncertainty(scale * value, scale * u if u else 0.0, unit)
    if at.launch_angle_deg is not None:
        yield said("launch angle"), angle_words(at)
    if at.water_temperature_c is not None:
        yield (
            said("water's temperature"),
            said("{temperature:.3g} °C", temperature=at.water_temperature_c),
        )
