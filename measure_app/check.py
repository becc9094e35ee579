"""What is missing or doubtful in a run, told before anything is measured."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis import Remark
from calibration import Calibration, Measures, Pixel, Segment, rule_words
from measure_app.clip import ClipInfo
from measure_app.contract import pixels_of
from measure_app.cross_checks import meniscus_doubt
from measure_app.errors import SetupIncomplete
from measure_app.measuring import part_measured
from measure_app.outcome import calibration_of
from measure_app.run import LinePart, Run
from measure_app.words import marked, said

FINEST_PX_U = 0.05
"""A mark read more finely than this by hand is doubted, px (common practice, no source)."""
COARSEST_PX_U = 10.0
"""A mark read more coarsely than this is doubted, px (common practice, no source)."""
FEWEST_FRAMES = 20
"""A film with fewer frames than this says little about the drain in time (common practice, no source)."""


def check_run(run: Run, info: ClipInfo) -> tuple[Remark, ...]:
    """Say what is missing or doubtful, each with the key that it concerns and what to do.

    Parameters
    ----------
    run : Run
        The run as loaded.
    info : ClipInfo
        What is known of its film.

    Returns
    -------
    tuple of Remark
        In the order of the work: film, rules, datum, lines, conditions. Empty: nothing to say.
    """
    return tuple(
        Remark(about, says)
        for part in (_film, _rules, _calibration, _datum, _lines, _places, _conditions)
        for about, says in part(run, info)
    )


def could_find(run: Run, info: ClipInfo) -> bool:
    """Whether a head or a throw could be had from this run at all."""
    try:
        part_measured(run, info)
        calibration = calibration_of(run, (info.width, info.height))
    except SetupIncomplete:
        return False
    heads = run.gauge_line is not None or any(reading.surface for reading in run.readings)
    throws = run.landing_line is not None or any(reading.landing for reading in run.readings)
    at = np.array([calibration.setup.orifice.px], dtype=np.float64)
    u = np.zeros(1)
    # A length at the orifice itself is missing only if no rule measures in that direction.
    can_head = not _never(calibration.heads(at, u).reasons, calibration, "heads")
    can_throw = not _never(calibration.throws(at, u).reasons, calibration, "throws")
    return (heads and can_head) or (throws and can_throw)


def _never(reasons: tuple[str, ...], calibration: Calibration, what: str) -> bool:
    return any(reason in calibration.gaps and what in reason for reason in reasons)


_Said = Iterator[tuple[str, str]]


def _film(run: Run, info: ClipInfo) -> _Said:
    for words in info.remarks:
        yield marked("film"), words
    clip = run.clip
    if clip.stop_frame is not None and clip.stop_frame > info.n_frames:
        yield (
            "clip.stop_frame",
            said(
                "{stop_frame} lies past the film's {frames} frames; the part ends with the film",
                stop_frame=clip.stop_frame,
                frames=info.n_frames,
            ),
        )
    try:
        start, stop = part_measured(run, info)
    except SetupIncomplete as error:
        yield error.where, error.words
    else:
        if stop - start < FEWEST_FRAMES:
            yield (
                "clip",
                said(
                    "only {frames} frames are measured; a longer part makes all findings surer",
                    frames=stop - start,
                ),
            )
    if clip.sha256 is None:
        yield (
            "clip.sha256",
            said("not given, so it cannot be told whether this is the film that the marks belong to"),
        )
    late = [reading.frame for reading in run.readings if reading.frame >= info.n_frames]
    if late:
        yield (
            "readings",
            said(
                "frame {late} is read, but the film ends with frame {frames}; remove it",
                late=late[0],
                frames=info.n_frames - 1,
            ),
        )


def _rules(run: Run, _info: ClipInfo) -> _Said:
    names = [rule.name for rule in run.rules]
    for i, rule in enumerate(run.rules):
        key = f"rules[{i}]"
        if not rule.name.strip():
            yield (
                f"{key}.name",
                said("the rule has no name; name it, so that its error can be told from others"),
            )
        elif names.index(rule.name) != i:
            yield (
                f"{key}.name",
                said('"{rule}" names two rules; give them names of their own', rule=rule_words(rule.name)),
            )
        if len(rule.graduations) == 2:
            yield (
                f"{key}.graduations",
                said(
                    "two graduations show neither perspective nor a slip of the hand; mark more, well spread"
                ),
            )
        if rule.graduation_u_m == 0.0:
            yield (
                f"{key}.graduation_u_m",
                said("no rule is exact; give its error, such as 0.0002 for a good steel rule"),
            )
        yield from _fineness(f"{key}.px_u", rule.px_u)


def _calibration(run: Run, info: ClipInfo) -> _Said:
    if not run.rules:
        yield "rules", said("there is no rule in the frame; without one no pixel becomes a length")
        return
    if run.orifice is None:
        return  # said with the datum, and nothing can be calibrated without it
    try:
        calibration = calibration_of(run, (info.width, info.height))
    except SetupIncomplete as error:
        yield error.where, error.words
        return
    for words in calibration.gaps:
        yield "rules", words
    for remark in calibration.remarks:
        yield remark.about, remark.says


def _datum(run: Run, _info: ClipInfo) -> _Said:
    if run.orifice is None:
        yield (
            "orifice",
            said("the centre of the hole is not marked; heads and throws count from it, so mark it"),
        )
    else:
        yield from _fineness("orifice.px_u", run.orifice.px_u)
    if run.drop is None:
        if run.landing_line is None:
            yield (
                "drop",
                said("neither the drop nor a landing line is given, so no throw becomes a speed; measure it"),
            )
        else:
            yield (
                "drop",
                said("not measured: it is read from the frame, which is less sure than a rule at the bench"),
            )
    elif run.drop.u_m == 0.0:
        yield "drop.u_m", said("no length is exact; give the drop's standard uncertainty, such as 0.001")
    if run.throw_zero is not None:
        yield from _fineness("throw_zero.px_u", run.throw_zero.px_u)


def _fineness(key: str, px_u: float) -> _Said:
    if px_u < FINEST_PX_U:
        yield key, said("{px_u:g} px is finer than a mark can be placed; 0.3 to 1 px is usual", px_u=px_u)
    elif px_u > COARSEST_PX_U:
        yield key, said("{px_u:g} px is very coarse; zoom in and mark it again", px_u=px_u)


def _lines(run: Run, info: ClipInfo) -> _Said:
    if run.gauge_line is None:
        hand = any(reading.surface for reading in run.readings)
        if hand:
            yield (
                "gauge_line",
                said(
                    "not drawn, so the surface cannot be looked for and only hand readings are used; draw it"
                ),
            )
        else:
            yield (
                "gauge_line",
                said("not drawn, so the surface cannot be looked for and there are no heads; draw it"),
            )
    else:
        yield from _length_of("gauge_line", run.gauge_line)
        doubt = meniscus_doubt(run.gauge_line)
        if doubt:
            yield "gauge_line.above_level_u_m", doubt
        if run.orifice is not None:
            yield from _covers(run.gauge_line, run.orifice.px, run)
    if run.landing_line is None:
        hand = any(reading.landing for reading in run.readings)
        if hand:
            yield (
                "landing_line",
                said(
                    "not drawn, so the landing cannot be looked for and only hand readings are used; draw it"
                ),
            )
        else:
            yield (
                "landing_line",
                said("not drawn, so the landing cannot be looked for and there are no throws; draw it"),
            )
    else:
        yield from _length_of("landing_line", run.landing_line)
        yield from _reaches(run.landing_line, info, run)


def _length_of(key: str, line: LinePart) -> _Said:
    length = Segment(line.from_px, line.to_px).length_px
    if length < 20.0:
        yield (
            key,
            said(
                "is only {length:.0f} px long; draw it over the whole way that the water takes", length=length
            ),
        )


def _covers(line: LinePart, orifice: Pixel, run: Run) -> _Said:
    """Doubt a gauge line that ends well above the orifice: the last part of the drain lies below its end."""
    ends = Segment(line.from_px, line.to_px)
    down = np.array([0.0, 1.0])
    if run.plumb is not None:
        down = Segment(run.plumb.top_px, run.plumb.bottom_px).direction
    heights = np.array([ends.start, ends.end], dtype=np.float64) @ -down
    above = float(heights.min() - np.array(orifice) @ -down)
    if above > 0.25 * ends.length_px:
        yield (
            "gauge_line",
            said(
                "ends {above:.0f} px above the orifice and is blind below; lengthen it if the film goes on",
                above=above,
            ),
        )


def _reaches(line: LinePart, info: ClipInfo, run: Run) -> _Said:
    if run.orifice is None:
        return
    segment = Segment(line.from_px, line.to_px)
    foot = float(segment.along(np.array([run.orifice.px], dtype=np.float64))[0])
    near = min(abs(foot), abs(segment.length_px - foot))
    if not -0.2 * segment.length_px <= foot <= 1.2 * segment.length_px and near > 0.2 * info.width:
        yield (
            "landing_line",
            said("does not begin under the orifice; draw it from there outward along the landing level"),
        )


def _places(run: Run, info: ClipInfo) -> _Said:
    for key, px in pixels_of(run):
        if key.startswith(("camera.facing", "camera.lens")):
            continue  # the camera may face a point outside the frame
        if not (-0.5 <= px.x <= info.width - 0.5 and -0.5 <= px.y <= info.height - 0.5):
            yield (
                key,
                said(
                    "[{x:g}, {y:g}] is off the frame of {width} by {height} px; mark it again",
                    x=px.x,
                    y=px.y,
                    width=info.width,
                    height=info.height,
                ),
            )


def _conditions(run: Run, _info: ClipInfo) -> _Said:
    given = run.conditions
    hole = run.orifice
    if given.container_profile is not None:
        if given.container_profile_u is None:
            yield (
                "conditions.container_profile_u",
                said("not given: the areas are taken as exact, which they are not"),
            )
        if given.container_area_m2 is not None:
            words = said("is not used: container_profile tells the area at each height and goes before it")
            yield "conditions.container_area_m2", words
    elif given.container_area_m2 is None:
        yield (
            "conditions.container_area_m2",
            said("not given: the discharge coefficient and the g from the clock stay undetermined"),
        )
    elif given.container_area_u_m2 is None:
        yield "conditions.container_area_u_m2", said("not given: the area is taken as exact, which it is not")
    if hole is not None and hole.diameter_m is None:
        yield "orifice.diameter_m", said("not given: the discharge coefficient stays undetermined")
    elif hole is not None and hole.diameter_u_m is None:
        yield "orifice.diameter_u_m", said("not given: the diameter is taken as exact, which it is not")
    yield from _corrections(run)
    if given.gravity_m_s2 is None and given.latitude_deg is None:
        yield (
            "conditions.latitude_deg",
            said(
                "neither g nor the latitude is given: standard gravity is taken, with its spread "
                "over the world"
            ),
        )
    measures = {rule.measures for rule in run.rules}
    if run.rules and measures == {Measures.HEAD}:
        yield (
            "rules",
            said("no rule measures throws: speeds and Cv stay undetermined, the drain curve does not"),
        )
    if run.rules and measures == {Measures.THROW}:
        yield "rules", said("no rule measures heads: all findings that need the head stay undetermined")


def _corrections(run: Run) -> _Said:
    """Name what a correction that is asked for, or a value that is given, cannot do without."""
    hole, wanted = run.orifice, run.corrections
    if hole is None:
        return
    for name, value, u in (
        ("launch_angle", hole.launch_angle_deg, hole.launch_angle_u_deg),
        ("jet_diameter", hole.jet_diameter_m, hole.jet_diameter_u_m),
    ):
        unit = "deg" if name == "launch_angle" else "m"
        if value is not None and not u:
            yield f"orifice.{name}_u_{unit}", said("not given: the value is taken as exact, which it is not")
        elif value is None and u is not None:
            yield (
                f"orifice.{name}_u_{unit}",
                said("stands alone; give {name}_{unit} as well, or take it out", name=name, unit=unit),
            )
    if (
        hole.diameter_m is not None
        and hole.jet_diameter_m is not None
        and hole.jet_diameter_m > hole.diameter_m
    ):
        yield (
            "orifice.jet_diameter_m",
            said("is wider than the hole: a jet from a hole contracts; measure it again"),
        )
    for name in ("hole_size", "capillary", "contracted_section"):
        if getattr(wanted, name) and hole.diameter_m is None:
            yield (
                f"corrections.{name}",
                said("needs the hole's diameter (orifice.diameter_m); it is left undone"),
            )
    if wanted.contracted_section and hole.wall_thickness_m is None:
        yield (
            "corrections.contracted_section",
            said("needs the wall's thickness (orifice.wall_thickness_m); it is left undone"),
        )
