"""From a class to its figures."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from analysis import FloatArray
from measure_app.collating.class_key import PARTS
from measure_app.collating.class_result import ClassResult, Observer
from measure_app.collating.tables import beyond
from measure_app.finders import Part
from measure_app.report.class_charts import Bar, Track, draw_bars, draw_class_strip, draw_scatter
from measure_app.report.strip_chart import StripChart
from measure_app.report.style import our_style, pdf_of, png_of, svg_of
from measure_app.words import marked, said

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FIGURE_NAMES = ("class-head-strip", "class-throw-strip", "class-scatter", "class-h", "class-k")
_QUANTITY = {Part.SURFACE: "surface_px", Part.LANDING: "landing_px"}
_STRIP = {
    Part.SURFACE: ("class-head-strip", marked("Everybody's surface"), marked("along the gauge line / px")),
    Part.LANDING: ("class-throw-strip", marked("Everybody's landing"), marked("along the landing line / px")),
}
_SCATTER = {
    Part.SURFACE: marked("Surface: scatter by frame"),
    Part.LANDING: marked("Landing: scatter by frame"),
}
_MANDEL = {
    (Part.SURFACE, "h"): marked("Surface: who reads elsewhere"),
    (Part.LANDING, "h"): marked("Landing: who reads elsewhere"),
    (Part.SURFACE, "k"): marked("Surface: who reads unsteadily"),
    (Part.LANDING, "k"): marked("Landing: who reads unsteadily"),
}


def class_figures(result: ClassResult) -> Iterator[tuple[str, bytes]]:
    """Yield name and bytes of every figure, as PNG, SVG and PDF."""
    with our_style():
        for name, draw in _drawings(result).items():
            figure = draw()
            yield (
                f"figures/{name}.png",
                png_of(figure),
            )
            yield (
                f"figures/{name}.svg",
                svg_of(figure),
            )
            yield (
                f"figures/{name}.pdf",
                pdf_of(figure),
            )


def _drawings(result: ClassResult) -> dict[str, Callable[[], Figure]]:
    drawings: dict[str, Callable[[], Figure]] = {}
    for part in PARTS:
        if part in result.key.strips:
            drawings[_STRIP[part][0]] = partial(_strip, result, part)
    if any(np.isfinite(each.deviations[part]).any() for each in result.observers for part in PARTS):
        drawings["class-scatter"] = partial(_scatter, result)
    for symbol in ("h", "k"):
        if any(_bars(result, part, symbol) for part in PARTS):
            drawings[f"class-{symbol}"] = partial(_mandel, result, symbol)
    return drawings


def _times(result: ClassResult, each: Observer) -> FloatArray:
    seconds = result.key.key.seconds
    return each.answer.frames.astype(float) if seconds is None else seconds[each.answer.frames]


def _strip(result: ClassResult, part: Part) -> Figure:
    strip = result.key.strips[part]
    key = result.key.key
    name, title, along = _STRIP[part]
    seconds = key.seconds[strip.frames] if key.seconds is not None else strip.frames.astype(float)
    reference = result.references[part].at(strip.frames.astype(float))
    direction = strip.line.segment.direction
    run = key.run
    starts_low = bool(direction[1] < 0)
    if part is Part.LANDING and run.orifice is not None:
        foot = strip.line.segment.along(np.array([run.orifice.px]))[0]
        starts_low = bool(foot < strip.line.segment.length_px / 2)
    faulty = sum(not each.places_count for each in result.observers)
    chart = StripChart(
        name=name,
        title=said(title),
        levels=strip.levels,
        time_s=seconds,
        starts_low=starts_low,
        along_title=said(along),
        law_s=seconds,
        law_along=reference,
        law_says=said("reference: {value}", value=said(result.references[part].source.value)),
        note=said("Each sign is one observer.")
        + (said(" × {faulty} observers with a fault.", faulty=faulty) if faulty else ""),
    )
    tracks = [
        Track(str(each.number), _times(result, each), each.answer.along(part, key), not each.places_count)
        for each in result.observers
    ]
    return draw_class_strip(chart, tracks)


def _scatter(result: ClassResult) -> Figure:
    panels = []
    for part in PARTS:
        tracks = [
            Track(str(each.number), _times(result, each), each.deviations[part], not each.places_count)
            for each in result.observers
            if np.isfinite(each.deviations[part]).any()
        ]
        if tracks:
            found = result.precisions[_QUANTITY[part]]
            sd = None if isinstance(found, str) else found.reproducibility
            panels.append(
                (
                    said(_SCATTER[part]),
                    tracks,
                    sd,
                )
            )
    return draw_scatter(panels, said("frame") if result.key.key.seconds is None else said("time t / s"))


def _bars(result: ClassResult, part: Part, symbol: str) -> list[Bar]:
    name = _QUANTITY[part]
    bars = []
    for each in result.observers:
        standing = each.standings.get(name)
        value = getattr(standing, symbol) if standing is not None else None
        if standing is not None and value is not None:
            sign = symbol in beyond(standing, result.precisions[name]).split()
            bars.append(Bar(str(each.number), value, sign, standing.counts))
    return bars


def _mandel(result: ClassResult, symbol: str) -> Figure:
    panels = []
    for part in PARTS:
        bars = _bars(result, part, symbol)
        found = result.precisions[_QUANTITY[part]]
        if not bars or isinstance(found, str):
            continue
        five, one = found.h_critical_5, found.h_critical_1
        if symbol == "k":
            # Limits of k differ with the count of readings; the line is that of the middle observer.
            five = _middle([each.k_critical_5 for each in found.observers])
            one = _middle([each.k_critical_1 for each in found.observers])
        panels.append(
            (
                said(_MANDEL[part, symbol]),
                bars,
                five,
                one,
            )
        )
    return draw_bars(panels, symbol)


def _middle(values: list[float | None]) -> float | None:
    there = [value for value in values if value is not None]
    return float(np.median(there)) if there else None
