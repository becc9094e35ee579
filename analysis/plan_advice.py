"""Advice on a plan: what to change before anything is filmed, each with its figure."""

from __future__ import annotations

import math
from collections.abc import Iterator

from analysis.findings import Remark
from analysis.notation import plain
from analysis.plan import Forecast
from analysis.published import Edge
from analysis.words import marked, said

SHORT_DRAIN_S, LONG_DRAIN_S = 20.0, 900.0
"""A drain that is over too soon to be read well, and one that outlasts a lesson; common practice, no
source."""
THIN_JET_WEBER = 100.0
"""Weber number below which surface tension takes some per cent of the speed."""
COARSE_M_PER_PX = 0.8e-3


def advice_on(forecast: Forecast) -> tuple[Remark, ...]:
    """
    Say what to change, the gravest first.

    Parameters
    ----------
    forecast : Forecast
        Its own advice is not read.

    Returns
    -------
    tuple of Remark
        Empty where nothing needs to be said.
    """
    return (
        *_wall(forecast),
        *_heads(forecast),
        *_tray(forecast),
        *_picture(forecast),
        *_duration(forecast),
        *_surface_tension(forecast),
        *_level(forecast),
        *_sightline(forecast),
        *_frames(forecast),
    )


def _mm(metres: float, figures: int = 3) -> str:
    return f"{plain(1e3 * metres, figures)} mm"


def _wall(forecast: Forecast) -> Iterator[Remark]:
    plan = forecast.plan
    clear = 0.8 * plan.hole_diameter_m
    if plan.edge is Edge.SHARP and plan.wall_thickness_m >= clear:
        yield Remark(
            marked("wall"),
            said(
                "{mm} is too thick for a hole of {mm2}: {why}. Have the hole countersunk from "
                "outside to a lip thinner than {mm3}, or made in a thin plate that is glued on",
                mm=_mm(plan.wall_thickness_m),
                mm2=_mm(plan.hole_diameter_m),
                why=forecast.expected.cv.why,
                mm3=_mm(clear, 2),
            ),
        )


def _heads(forecast: Forecast) -> Iterator[Remark]:
    plan, limit = forecast.plan, forecast.law_limit_m
    if plan.head_m < 3.0 * limit:
        why = (
            said("of its surface tension, so a larger hole goes lower")
            if 60e-6 / plan.hole_diameter_m > 2.0 * plan.hole_diameter_m
            else said("it is no longer small against the head, so a smaller hole goes lower")
        )
        yield Remark(
            marked("heads"),
            said(
                "the law is trusted only above {mm} for this hole because {why}; from a start at "
                "{mm2} that leaves little to draw a line through. Fill to {mm3} or more",
                mm=_mm(limit, 2),
                why=why,
                mm2=_mm(plan.head_m),
                mm3=_mm(5.0 * limit, 2),
            ),
        )
    ratio = plan.hole_area_m2 / plan.container_area_m2
    if ratio > 0.02:
        yield Remark(
            marked("container"),
            said(
                "the hole is {ratio} % of the container's area: the surface moves fast, and starting "
                "and stopping waves will show; a wider container or a smaller hole is calmer",
                ratio=plain(100.0 * ratio, 2),
            ),
        )


def _tray(forecast: Forecast) -> Iterator[Remark]:
    plan = forecast.plan
    if plan.tray_length_m is None:
        return
    if forecast.head_on_tray_m is not None:
        yield Remark(
            marked("tray"),
            said(
                "at first the jet lands {mm} out, beyond the tray's {mm2}; it comes in at a head of "
                "{mm3}. Use a tray of {mm4} or more, or less drop",
                mm=_mm(forecast.throw_range_m[1]),
                mm2=_mm(plan.tray_length_m),
                mm3=_mm(forecast.head_on_tray_m, 2),
                mm4=_mm(forecast.least_tray_m),
            ),
        )
    elif plan.tray_length_m < forecast.least_tray_m:
        yield Remark(
            marked("tray"),
            said(
                "the jet first lands only {mm} before the tray's far end; it will splash over. Use "
                "{mm2} or more",
                mm=_mm(plan.tray_length_m - forecast.throw_range_m[1], 2),
                mm2=_mm(forecast.least_tray_m),
            ),
        )


def _picture(forecast: Forecast) -> Iterator[Remark]:
    plan, sight = forecast.plan, forecast.sight
    if not sight.fits:
        factor = max(sight.needed_width_m / sight.field_width_m, sight.needed_height_m / sight.field_height_m)
        yield Remark(
            marked("picture"),
            said(
                "container, jet and tray need {mm} × {mm2}, the picture shows {mm3} × {mm4}: move "
                "the camera back to {camera_distance_m} m, or zoom out",
                mm=_mm(sight.needed_width_m),
                mm2=_mm(sight.needed_height_m),
                mm3=_mm(sight.field_width_m),
                mm4=_mm(sight.field_height_m),
                camera_distance_m=plain(factor * plan.camera_distance_m, 2),
            ),
        )
    elif sight.field_width_m > 1.6 * max(
        sight.needed_width_m, sight.needed_height_m * plan.image_width_px / plan.image_height_px
    ):
        yield Remark(
            marked("picture"),
            said(
                "the picture shows {mm} and {mm2} would do: zoom in (with the lens, not by cropping) "
                "and every reading gains",
                mm=_mm(sight.field_width_m),
                mm2=_mm(sight.needed_width_m),
            ),
        )
    if sight.metres_per_px > COARSE_M_PER_PX:
        yield Remark(
            marked("picture"),
            said(
                "a pixel covers {mm} of the bench; film in a higher resolution or fill the picture better",
                mm=_mm(sight.metres_per_px, 2),
            ),
        )


def _duration(forecast: Forecast) -> Iterator[Remark]:
    time = forecast.drain_time_s
    if time < SHORT_DRAIN_S:
        yield Remark(
            marked("time"),
            said(
                "the run is over in {time} s; waves from the stopper take a good part of that. A "
                "wider container or a smaller hole gives more time",
                time=plain(time, 2),
            ),
        )
    if time > LONG_DRAIN_S:
        yield Remark(
            marked("time"),
            said(
                "the run takes {time} min: long for a lesson, and the film is large. A larger hole "
                "or a narrower container is quicker",
                time=plain(time / 60.0, 2),
            ),
        )


def _surface_tension(forecast: Forecast) -> Iterator[Remark]:
    low, high = forecast.capillary_loss_m
    last = forecast.moments[-1]
    share = 0.5 * (low + high) / last.head_m
    if share < 0.02:
        return
    words = said(
        "a jet this thin loses about {low} to {high} mm of head to surface tension (our own "
        "derivation, not a published table): single ratios at the lowest head come out "
        "{sqrt} % low",
        low=plain(1e3 * low, 2),
        high=plain(1e3 * high, 2),
        sqrt=plain(100.0 * (1.0 - math.sqrt(max(0.0, 1.0 - share))), 2),
    )
    if forecast.capillary_shift is not None:
        moved = 100.0 * abs(forecast.capillary_shift) / forecast.cv
        words += (
            said(
                ". The program sees the lost head as an offset of the zero and takes Cv from the "
                "slope, so that Cv itself hardly moves"
            )
            if moved < 0.05
            else said(
                ". Cv would come out {moved} % {words}",
                moved=plain(moved, 2),
                words="lower" if forecast.capillary_shift < 0.0 else "higher",
            )
        )
    thin = next((moment for moment in forecast.moments if moment.weber < THIN_JET_WEBER), None)
    if thin is not None:
        words += said(
            ". From a head of about {mm} down the Weber number is below 100", mm=_mm(thin.head_m, 2)
        )
    yield Remark(
        marked("surface tension"),
        said("{words}. A larger hole suffers less", words=words),
    )


def _level(forecast: Forecast) -> Iterator[Remark]:
    """Say what a degree off level does: to first order dx/x = Cv √(h/y₀) θ, from the ballistic path."""
    plan = forecast.plan
    share = forecast.cv * math.sqrt(plan.head_m / plan.drop_m) * math.radians(1.0)
    if share > 0.01:
        yield Remark(
            marked("jet"),
            said(
                "a jet that leaves one degree off level lands up to {share} % astray: set the wall "
                "upright with a plumb, have the hole made square to it and free of burr, and let the "
                "camera see the jet's first centimetres. More drop makes it matter less",
                share=plain(100.0 * share, 2),
            ),
        )


def _sightline(forecast: Forecast) -> Iterator[Remark]:
    """The near and the far contact line of the surface part when the camera is not level with them."""
    plan = forecast.plan
    half = 0.5 * (plan.head_m - forecast.moments[-1].head_m)
    slope = half / plan.camera_distance_m
    apart = plan.container_depth_m * slope / 1.333
    if apart > 1e-3:
        yield Remark(
            marked("camera"),
            said(
                "with the camera at the middle of the heads, near and far edge of the surface part "
                "by up to {mm} in the picture at both ends of the run: read the same, near one "
                "throughout, and move the camera farther off and zoom in",
                mm=_mm(apart, 2),
            ),
        )


def _frames(forecast: Forecast) -> Iterator[Remark]:
    if forecast.cv_u is None:
        return
    gain = 100.0 * forecast.more_frames_gain
    if gain < 3.0:
        yield Remark(
            marked("readings"),
            said(
                "twice as many readings would make Cv next to no better ({words} %): what is left is "
                "common to all, so spend the time on the largest sources",
                words=said("less than 0.1") if gain < 0.1 else plain(gain, 1),
            ),
        )
    else:
        yield Remark(
            marked("readings"),
            said(
                "twice as many independent readings would take {gain} % off the uncertainty of Cv",
                gain=plain(gain, 2),
            ),
        )
