"""Figures: the same bytes each time, and on them what the result holds."""

import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.collections import LineCollection

from measure_app.report import results_of, write_all
from measure_app.report.line_chart import ChartLine, LineChart, draw_line_chart
from measure_app.report.strip_chart import Refusal, StripChart, draw_strip_chart
from measure_app.report.style import our_style, png_of, svg_of
from measure_app.report.writing import figures

CHART = LineChart(
    name="speed-vs-root-head", title="T", x_title="√h / √m", y_title="v / (m/s)", residual_title="residual / (m/s)",
    x=np.linspace(0.2, 0.4, 9), y=4.3 * np.linspace(0.2, 0.4, 9), x_u=np.full(9, 0.001), y_u=np.full(9, 0.01),
    x_shared_u=0.002, y_shared_u=0.02, lines=(ChartLine(4.3, 0.0, "v = …"),),
)  # fmt: skip
STRIP = StripChart(
    name="head-strip", title="T", levels=np.tile(np.arange(40, dtype=np.uint8), (30, 1)), time_s=np.arange(30) / 10,
    starts_low=False, along_title="px", found_s=np.arange(30) / 10, found_along=np.linspace(5, 35, 30),
    hand_s=np.array([1.0]), hand_along=np.array([15.0]), law_s=np.arange(30) / 10, law_along=np.linspace(5, 35, 30),
    refusals=(Refusal(0.5, 0.9, "something covers the line"),),
)  # fmt: skip


def texts(figure: object) -> str:
    return "\n".join(text.get_text() for text in figure.findobj(lambda artist: hasattr(artist, "get_text")))  # type: ignore[attr-defined]


@pytest.mark.parametrize("chart", [CHART, STRIP], ids=["line", "strip"])
def test_the_same_figure_gives_the_same_bytes(chart):
    def drawn() -> tuple[bytes, bytes]:
        with our_style():
            figure = draw_line_chart(chart) if isinstance(chart, LineChart) else draw_strip_chart(chart)
            return png_of(figure), svg_of(figure)

    first, second = drawn(), drawn()
    assert first == second
    assert first[0].startswith(b"\x89PNG\r\n")
    ET.fromstring(first[1])  # noqa: S314  our own bytes
    assert b"<dc:date>" not in first[1]


def test_line_chart_shows_points_bars_equation_and_residuals():
    with our_style():
        figure = draw_line_chart(CHART)
    above, below = figure.axes
    points = next(line for line in above.lines if line.get_label() == "readings (9)")
    np.testing.assert_array_equal(points.get_ydata(), CHART.y)
    residuals = [line for line in below.lines if len(line.get_xdata()) == 9]
    np.testing.assert_allclose(residuals[-1].get_ydata(), 0.0, atol=1e-12)
    assert any(isinstance(artist, LineCollection) for artist in above.collections)
    said = texts(figure)
    for words in (
        "v = …",
        "v / (m/s)",
        "√h / √m",
        "residual / (m/s)",
        "shared by all",
        "standard uncertainty",
    ):
        assert words in said
    low, high = above.get_ylim()
    assert low < CHART.y.min()
    assert high > CHART.y.max()


def test_bars_are_thinned_and_that_is_said():
    many = replace(
        CHART, x=np.linspace(0.2, 0.4, 400), y=np.linspace(1, 2, 400), x_u=np.ones(400), y_u=np.ones(400)
    )
    with our_style():
        assert "drawn at every 10th point" in texts(draw_line_chart(many))


def test_empty_line_chart_says_so():
    none = np.empty(0)
    with our_style():
        figure = draw_line_chart(replace(CHART, x=none, y=none, x_u=none, y_u=none, lines=()))
        assert "No reading has what this figure needs." in texts(figure)
        png_of(figure)


def test_strip_chart_shows_pixels_upright_readings_law_and_refusals():
    with our_style():
        figure = draw_strip_chart(STRIP)
    axes = figure.axes[0]
    bottom, top = axes.get_ylim()
    assert bottom > top  # the line starts at the top
    picture = axes.images[0].get_array()
    assert picture[:, 0].tolist() == list(range(40))
    labels = axes.get_legend_handles_labels()[1]
    assert set(labels) == {"no reading", "found", "fitted law", "read by hand"}
    assert len({line.get_linestyle() for line in axes.lines if line.get_label() in labels}) >= 2
    assert "0.50 s to 0.90 s: something covers the line" in texts(figure)
    (span,) = [patch for patch in axes.patches if patch.get_hatch()]
    assert span.get_x() == pytest.approx(0.5)
    assert span.get_width() == pytest.approx(0.5)


def test_strip_of_a_film_with_varying_rate_stands_on_true_time():
    times = np.array([0.0, 0.1, 0.2, 1.0, 1.1])
    levels = np.repeat(np.arange(5, dtype=np.uint8)[:, None], 4, axis=1)
    none = np.empty(0)
    with our_style():
        axes = draw_strip_chart(
            replace(STRIP, levels=levels, time_s=times, found_s=none, found_along=none, hand_s=none, hand_along=none,
                    law_s=none, law_along=none, refusals=())
        ).axes[0]  # fmt: skip
    shown = np.asarray(axes.images[0].get_array())[0]
    start, stop = axes.get_xlim()
    at = start + (np.arange(len(shown)) + 0.5) * (stop - start) / len(shown)
    assert set(shown[(at > 0.25) & (at < 0.95)].tolist()) == {2}


def test_bench_strips_carry_the_readings_where_they_were_found(bench_outcome):
    head, throw = results_of(bench_outcome).strips
    assert (head.name, throw.name) == ("head-strip", "throw-strip")
    assert not head.starts_low  # the bench's gauge line runs downward
    assert throw.starts_low  # its landing line runs outward
    np.testing.assert_allclose(head.found_along, bench_outcome.search.surface.along_px, atol=0.002)
    # The law and the scale lie on the pixels: within a pixel of what was found, over four seconds.
    assert float(np.nanmax(np.abs(head.law_along - head.found_along))) < 1.0
    assert float(np.nanmedian(np.abs(throw.law_along - throw.found_along))) < 1.0
    heads = [row.head_m for row in bench_outcome.rows]
    labelled = np.interp(np.array(head.scale_along), head.found_along, heads)
    for place, value, says in zip(head.scale_along, labelled, head.scale_says, strict=True):
        if head.found_along.min() < place < head.found_along.max():
            assert value * 100 == pytest.approx(float(says), abs=0.05)


def test_every_figure_of_the_film_is_written_in_three_forms(bench_outcome):
    assert {name for name, _ in figures(results_of(bench_outcome))} == {
        f"figures/{stem}.{kind}"
        for stem in ("head-strip", "throw-strip", "speed-vs-root-head", "speed-squared-vs-head", "throw-squared-vs-head",
                     "root-head-vs-time")
        for kind in ("png", "svg", "pdf")
    }  # fmt: skip


def test_lines_of_the_table_tell_their_equation_and_the_borrowed_g(table_results):
    chart = next(chart for chart in table_results.lines if chart.name == "speed-vs-root-head")
    assert len(chart.lines) == 2
    assert chart.lines[0].says.startswith("v = (4.")
    assert chart.lines[1].says.startswith("through the origin: v = ")
    assert "which is assumed" in chart.note
    assert "dv/d√h = (4." in chart.note
    squared = next(chart for chart in table_results.lines if chart.name == "throw-squared-vs-head")
    assert "assumed" not in squared.note


def test_written_result_is_the_same_twice(table_results, tmp_path):
    first = write_all(table_results, tmp_path / "a")
    write_all(table_results, tmp_path / "b")
    assert "figures/root-head-vs-time.svg" in first
    for name in first:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes(), name


def test_a_strips_legend_stands_where_no_reading_is():
    def corner(along: np.ndarray) -> int:
        chart = replace(STRIP, found_along=along, law_along=along, hand_along=along[10:11], refusals=())
        return draw_strip_chart(chart).axes[0].get_legend()._loc

    upper_right, upper_left, lower_left = 1, 2, 3
    # The picture's start is at its top: rows that grow go down.
    assert corner(np.linspace(5, 35, 30)) == upper_right
    assert corner(np.linspace(35, 5, 30)) == upper_left
    assert corner(np.linspace(1, 12, 30)) == lower_left
