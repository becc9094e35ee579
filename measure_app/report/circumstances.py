"""What was corrected, and every setting that another person needs to do the same again."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator

import numpy as np

from analysis import flow_words, plain, size_words, with_uncertainty
from measure_app._version import __version__
from measure_app.report.results import Results
from measure_app.run import LinePart, Run


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
            yield "No clock: each throw is compared with the head of its own row."
        return
    flight = float(np.nanmedian(findings.flight_time_s))
    yield (
        f"Each throw is paired with the head one flight time ({flight:.3f} s) earlier: heads raised by "
        f"{raised.min():.2f} to {raised.max():.2f} mm."
    )


def _sizes(results: Results) -> Iterator[str]:
    """Yield every correction of the law with its size, and how the jet flows."""
    for size in results.findings.corrections:
        words = size_words(size)
        yield f"{words[:1].upper()}{words[1:]} ({size.says})."
    if results.findings.flow is not None:
        yield f"{flow_words(results.findings.flow)}."


def _seeing(results: Results) -> Iterator[str]:
    """Yield what was done about the way the camera sees."""
    if results.outcome is None:
        return
    run, info = results.outcome.run, results.outcome.info
    if any(len(rule.graduations) > 2 for rule in run.rules):
        yield "Perspective is taken from the graduations of the rules, and from where the camera stood."
    if run.camera.distance_m is not None:
        yield (
            "What stands before or behind the jet's plane is carried to it, with the camera "
            f"{plain(run.camera.distance_m, 3)} m away."
        )
    else:
        yield "The camera's distance is not given: depths off the jet's plane are not corrected."
    given = run.camera.lens is not None
    lens = "straightened as given" if given else "not given; allowed for as an uncertainty"
    yield f"Distortion of the lens: {lens}."
    line = run.gauge_line
    if line is not None and line.above_level_m:
        above = plain(1000 * line.above_level_m, 2)
        yield f"What is read on the gauge line stands {above} mm above the level; that is taken off."
    if info is not None and info.capture_rate_hz is not None:
        rate = plain(info.capture_rate_hz)
        yield f"Slow motion: the clock is that of a capture at {rate} frames per second."


def left_out_of(results: Results) -> Iterator[str]:
    """Yield how many readings stand outside the fits, by reason."""
    out = Counter(row.reason for row in results.rows if not row.kept)
    for reason, count in out.most_common(6):
        unit = results.each_row_is if count == 1 else f"{results.each_row_is}s"
        yield f"Left out, {count} {unit}: {reason}."
    rest = sum(count for _, count in out.most_common()[6:])
    if rest:
        yield f"Left out for other reasons: {rest}; readings.csv names each."


def settings_of(results: Results) -> tuple[tuple[str, str], ...]:
    """Name every setting: film, rules, marks, lines, conditions, and the version of the program."""
    rows: list[tuple[str, str]] = []
    if results.outcome is not None:
        run, info = results.outcome.run, results.outcome.info
        rows.append(("film", run.clip.path))
        if run.clip.sha256 is not None:
            rows.append(("its SHA-256", run.clip.sha256))
        if info is not None:
            rate = "variable rate" if info.variable_rate else f"{float(info.file_rate):.4g} frames per second"
            words = f"{info.width} × {info.height} px, {info.n_frames} frames, {rate}"
            rows.append(("its format", f"{words}, {info.codec} in {info.container}"))
        stop = "the end" if run.clip.stop_frame is None else f"frame {run.clip.stop_frame - 1}"
        rows.append(("part measured", f"frame {run.clip.start_frame} to {stop}"))
        rows += _marks(run)
    rows += _conditions(results)
    rows.append(("program", f"Clepsydra {__version__}"))
    return tuple(rows)


def _marks(run: Run) -> Iterator[tuple[str, str]]:
    for rule in run.rules:
        places = ", ".join(f"{g.value_m * 100:.6g} cm at {_px(g.px)}" for g in rule.graduations)
        yield (
            f"rule “{rule.name}”",
            (
                f"measures {rule.measures.value}; graduations u = {rule.graduation_u_m * 1000:.3g} mm, read "
                f"to {rule.px_u:.3g} px; {_depth(rule.behind_m, rule.behind_u_m)}; {places}"
            ),
        )
    if run.camera.distance_m is not None:
        u = math.nan if run.camera.distance_u_m is None else run.camera.distance_u_m
        yield "camera's distance", with_uncertainty(run.camera.distance_m, u, "m")
    if run.camera.facing_px is not None:
        yield "camera faces", f"{_px(run.camera.facing_px)}, within {run.camera.facing_u_deg:.3g}°"
    if run.plumb is not None:
        yield "plumb", f"{_px(run.plumb.top_px)} to {_px(run.plumb.bottom_px)}"
    if run.orifice is not None:
        yield "hole's centre", f"{_px(run.orifice.px)}, to {run.orifice.px_u:.3g} px"
    if run.camera.rolling_shutter_s is not None:
        yield "rolling shutter", f"a frame is read in {1e3 * run.camera.rolling_shutter_s:.3g} ms"
    for i, fall in enumerate(run.falls, 1):
        marks = f"{len(fall.marks)} marks in frames {fall.marks[0].frame} to {fall.marks[-1].frame}"
        yield f"fall “{fall.name or i}”", f"{fall.what}, {marks}; {_depth(fall.behind_m, fall.behind_u_m)}"
    if run.throw_zero is not None:
        yield "throw zero", f"{_px(run.throw_zero.px)}, to {run.throw_zero.px_u:.3g} px"
    for name, line in (("gauge line", run.gauge_line), ("landing line", run.landing_line)):
        if line is not None:
            yield name, _line(line)


def _line(line: LinePart) -> str:
    words = f"{_px(line.from_px)} to {_px(line.to_px)}; {_depth(line.behind_m, line.behind_u_m)}"
    if line.above_level_m or line.above_level_u_m:
        words += (
            f"; reads {line.above_level_m * 1000:.3g} ± {line.above_level_u_m * 1000:.2g} mm above the level"
        )
    return words


def _depth(behind_m: float, u_m: float) -> str:
    if behind_m == 0.0 and u_m == 0.0:
        return "in the jet's plane"
    where = "behind" if behind_m >= 0 else "before"
    return f"{abs(behind_m) * 1000:.3g} ± {u_m * 1000:.2g} mm {where} the jet's plane"


def _px(place: tuple[float, float]) -> str:
    return f"({place[0]:.1f}, {place[1]:.1f}) px"


def _conditions(results: Results) -> Iterator[tuple[str, str]]:
    at, g, drop = results.conditions, results.findings.accepted_gravity, results.series.drop
    if drop is not None:
        known = np.isfinite(drop.values)
        if known.any() and not np.ptp(drop.values[known]) > 0.0:
            i = int(np.nonzero(known)[0][0])
            yield "drop", with_uncertainty(float(drop.values[i]), float(drop.u[i]), "m")
        elif known.any():
            low, high = float(np.min(drop.values[known])), float(np.max(drop.values[known]))
            yield "drop", f"for each row, {low:.4g} to {high:.4g} m"
    yield "accepted g", f"{with_uncertainty(g.value, g.u, 'm/s²')}; {g.source}"
    for name, value, u, scale, unit in (
        ("hole's diameter", at.orifice_diameter_m, at.orifice_diameter_u_m, 1e3, "mm"),
        ("water's area", at.container_area_m2, at.container_area_u_m2, 1e4, "cm²"),
    ):
        if value is not None:
            yield name, with_uncertainty(scale * value, scale * u if u else 0.0, unit)
    if at.water_temperature_c is not None:
        yield "water's temperature", f"{at.water_temperature_c:.3g} °C"
