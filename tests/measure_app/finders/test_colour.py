"""A dye that brightness does not show is followed in colour, and colour tells when brightness shows something else."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

from calibration import FloatArray, Pixel, Segment
from measure_app.clip import open_clip, write_clip
from measure_app.finders import Hints, find_surface
from measure_app.finders.path import clock_of
from measure_app.finders.planes import Seen, joined
from measure_app.finders.track import Why
from measure_app.strips import COLOUR_STEPS, Strip, StripLine, steadied, sweep
from tests.measure_app.finders.drawn import clear_light, falling, head_light, strip_of


def tinted(strip: Strip, places: FloatArray, cb: float, cr: float, rng: np.random.Generator) -> Strip:
    """The strip with a dye of that colour below the places, kept in whole codes two pixels wide as films do."""
    x = np.arange(strip.levels.shape[1]) - places[:, None]
    # A lens mixes light; what is kept of it is bent (Rec. ITU-R BT.709-6, items 1.2, 3.2 and 3.3).
    bright = (np.median(strip.levels) - 16.0) / 219.0
    blue, red = 1.8556 * cb / 224.0, 1.5748 * cr / 224.0
    green = -(0.0722 * blue + 0.2126 * red) / 0.7152
    light = [((bright + each + 0.099) / 1.099) ** (1 / 0.45) for each in (0.0, blue, green, red)]
    share = ndtr(x / 0.8)
    mixed = [1.099 * (light[0] + (each - light[0]) * share) ** 0.45 - 0.099 for each in light[1:]]
    luma = 0.0722 * mixed[0] + 0.7152 * mixed[1] + 0.2126 * mixed[2]
    kept = [224.0 * (mixed[0] - luma) / 1.8556, 224.0 * (mixed[2] - luma) / 1.5748]
    wide = [gaussian_filter1d(each, 1.2, axis=1) for each in kept]
    codes = 128.0 + np.stack(wide, axis=1) + rng.normal(0, 0.3, (len(places), 2, 1))
    return replace(strip, colour=np.rint(COLOUR_STEPS * np.rint(codes)).astype(np.uint16))


def flat(n: int, length: int, rng: np.random.Generator) -> Strip:
    return strip_of(np.full((n, length), 0.3), 0.8, rng)


@pytest.mark.parametrize(("cb", "cr"), [(22.0, 0.0), (-9.0, 16.0), (0.0, -25.0)])
def test_a_dye_as_bright_as_what_is_behind_is_found_by_its_colour(cb: float, cr: float) -> None:
    rng = np.random.default_rng(1)
    places = falling(140, 30.0, 190.0)
    strip = flat(140, 240, rng)
    assert not find_surface(strip).found.any()
    track = find_surface(tinted(strip, places, cb, cr, rng))
    assert track.found.mean() > 0.9
    error = (track.along_px - places)[track.found]
    assert np.abs(error).max() < 1.0
    u = np.hypot(track.own_u_px, track.shared_u_px)[track.found]
    assert np.mean(np.abs(error) < 2.0 * u) > 0.92
    assert track.shared_u_px > 0.3 / np.sqrt(12.0)  # colour is kept in pixels two wide
    assert any("colours" in words for words in track.remarks)


def test_light_is_read_where_it_shows_the_edge_as_well() -> None:
    rng = np.random.default_rng(2)
    places = falling(140, 30.0, 190.0)
    strip = strip_of(head_light(places, 240), 0.8, rng)
    plain, track = find_surface(strip), find_surface(tinted(strip, places, 20.0, 5.0, rng))
    assert not track.remarks
    assert track.shared_u_px < 0.12
    assert track.along_px == pytest.approx(plain.along_px, abs=0.02)


def test_colour_keeps_the_finding_off_a_brighter_edge_that_falls_too() -> None:
    """The far side's edge, seen from below, is the stronger one in brightness; the dye begins above it."""
    rng = np.random.default_rng(3)
    places = falling(150, 30.0, 170.0)
    strip = strip_of(head_light(places + 25.0, 260, air=0.5, water=0.15), 0.8, rng)
    alone = find_surface(strip)
    assert np.nanmedian(np.abs(alone.along_px - places)) > 20.0
    track = find_surface(tinted(strip, places, -24.0, 8.0, rng))
    assert track.found.mean() > 0.9
    assert np.abs(track.along_px - places)[track.found].max() < 1.5


def test_three_marks_lead_colour_too() -> None:
    """The dyed edge is a reflection's; marks on the fainter edge in brightness put the path there."""
    rng = np.random.default_rng(4)
    places = falling(150, 80.0, 220.0)
    strip = strip_of(head_light(places, 300, air=0.45, water=0.3), 0.8, rng)
    strip = tinted(strip, places - 45.0, 25.0, 0.0, rng)
    rows = np.array([8, 75, 140])
    led = find_surface(strip, hints=Hints(rows, places[rows]))
    assert led.found.mean() > 0.8
    assert np.abs(led.along_px - places)[led.found].max() < 1.0


def test_where_light_and_colour_part_light_is_not_believed() -> None:
    n = 60
    line = np.linspace(20.0, 120.0, n)
    slipped = line.copy()
    slipped[25:32] += 4.0
    none: tuple[Why | None, ...] = (None,) * n
    light = Seen(slipped, np.full(n, 0.05), 0.05, none, np.full(n, 40.0), 1.0)
    colour = Seen(line + 0.3, np.full(n, 0.2), 0.1, none, np.full(n, 20.0), 1.0)
    both = joined(light, colour, clock_of(None, n))
    assert set(both.why[25:32]) == {Why.ASTRAY}
    assert both.holds.sum() == n - 7
    assert both.place[both.holds] == pytest.approx(line[both.holds])


@pytest.mark.parametrize(
    ("later_px", "followed"),
    [(1.3, "colour"), (0.8, "light"), (-1.3, "light"), (-1.8, "light"), (-2.1, "colour")],
)
def test_light_that_begins_below_a_dyes_colour_is_not_the_edge(later_px: float, followed: str) -> None:
    line, n = np.linspace(20.0, 120.0, 60), 60
    none: tuple[Why | None, ...] = (None,) * n
    light = Seen(line + later_px, np.full(n, 0.1), 0.1, none, np.full(n, 12.0), 1.0)
    colour = Seen(line, np.full(n, 0.3), 0.2, none, np.full(n, 10.0), 1.0)
    expected = line if followed == "colour" else line + later_px
    assert joined(light, colour, clock_of(None, n)).place == pytest.approx(expected)


def test_colour_is_read_where_it_was_taken(tmp_path: Path) -> None:
    """An upright line through a film of two colours: the border lies where the picture has it, to half a pixel."""
    frames = []
    for border in range(20, 40):
        picture = np.zeros((64, 48, 3), dtype=np.uint8)
        picture[:border] = (170, 110, 110)
        picture[border:] = (90, 125, 150)
        frames.append(picture)
    path = write_clip(tmp_path / "two.mp4", frames, crf=4)
    line = StripLine("head", Segment(Pixel(24.0, 2.0), Pixel(24.0, 60.0)), coloured=True)
    plain = replace(line, name="plain", coloured=False)
    with open_clip(path) as clip:
        strip, other = sweep(clip, [line, plain], 0, 20)
    assert other.colour is None
    assert strip.colour is not None
    assert strip.colour.shape == (20, 2, 59)
    blue = strip.colour[:, 0].astype(float) / COLOUR_STEPS
    top, bottom = blue[:, :8].mean(), blue[:, -8:].mean()
    assert top - bottom > 30
    # Pixels up to number border - 1 are of the upper colour: the border lies half a pixel before the border's.
    crossing = np.array([np.interp(-(top + bottom) / 2, -row, np.arange(59.0)) for row in blue]) + 2.0
    assert crossing - (np.arange(20, 40) - 0.5) == pytest.approx(0.0, abs=0.6)
    moved = steadied(strip, np.full(20, 3.0))
    assert moved.colour is not None
    assert np.array_equal(moved.colour[:, :, 5:50], strip.colour[:, :, 8:53])


def test_colour_taken_nobody_knows_where_is_less_sure_along_the_columns(tmp_path: Path) -> None:
    """Of halved columns one does not know which was taken: a level line in colour is a quarter of a pixel unsure."""
    picture = np.full((48, 64, 3), 120, dtype=np.uint8)
    path = write_clip(tmp_path / "grey.mp4", [picture] * 4)
    upright = StripLine("up", Segment(Pixel(20.0, 4.0), Pixel(20.0, 40.0)), coloured=True)
    level = StripLine("level", Segment(Pixel(4.0, 20.0), Pixel(50.0, 20.0)), coloured=True)
    with open_clip(path) as clip:
        strips = sweep(clip, [upright, level], 0, 4)
    assert [strip.colour_u_px for strip in strips] == pytest.approx([0.0, 0.25])
    none: tuple[Why | None, ...] = (None,) * 10
    even = clock_of(None, 10)
    dark = Seen(np.arange(10.0), np.full(10, 0.1), 0.1, (Why.FAINT,) * 10, np.full(10, 1.0), 1.0)
    tint = Seen(np.arange(10.0), np.full(10, 0.1), 0.1, none, np.full(10, 20.0), 1.0)
    assert joined(dark, tint, even, 0.25).shared_u == pytest.approx(
        np.sqrt(joined(dark, tint, even).shared_u ** 2 + 0.25**2)
    )


def test_where_light_and_colour_part_each_is_as_unsure_as_they_part() -> None:
    n = 60
    line = np.linspace(20.0, 120.0, n)
    drawn = line.copy()
    drawn[30:34] += 0.7
    none: tuple[Why | None, ...] = (None,) * n
    light = Seen(drawn, np.full(n, 0.05), 0.05, none, np.full(n, 40.0), 1.0)
    colour = Seen(line, np.full(n, 0.1), 0.1, none, np.full(n, 20.0), 1.0)
    both = joined(light, colour, clock_of(None, n))
    assert both.holds.all()
    assert both.own_u[30:34] == pytest.approx(np.full(4, 0.25))  # (0.7 - 2 x 0.1) / 2
    assert both.own_u[:30] == pytest.approx(np.full(30, 0.05))


def test_colour_that_is_read_is_as_unsure_as_light_lies_beside_it_all_through() -> None:
    """Where light shows the edge in too few frames to be read, it tells of colour's own error all the same."""
    n = 60
    line = np.linspace(20.0, 120.0, n)
    half = tuple(None if row < 30 else Why.FAINT for row in range(n))
    none: tuple[Why | None, ...] = (None,) * n
    colour = Seen(line, np.full(n, 0.1), 0.1, none, np.full(n, 20.0), 1.0)
    shared = {}
    for beside in (0.05, -0.8):
        light = Seen(line + beside, np.full(n, 0.1), 0.05, half, np.full(n, 60.0), 1.0)
        both = joined(light, colour, clock_of(None, n))
        assert both.place == pytest.approx(line)
        shared[beside] = both.shared_u
    assert shared[-0.8] == pytest.approx(np.hypot(shared[0.05], 0.35))  # (0.8 - 2 x 0.05) / 2


def test_light_that_turns_where_colour_is_covered_is_another_edge() -> None:
    n = 60
    line = np.linspace(20.0, 120.0, n)
    hidden = tuple(Why.COVERED if row >= 50 else None for row in range(n))
    none: tuple[Why | None, ...] = (None,) * n
    turned = np.where(np.arange(n) >= 45, -70.0, 60.0)
    light = Seen(line, np.full(n, 0.05), 0.05, none, turned, 1.0)
    colour = Seen(line, np.full(n, 0.1), 0.1, hidden, np.full(n, 20.0), 1.0)
    both = joined(light, colour, clock_of(None, n))
    # Colour confirms it in frames 45 to 49: what is behind the surface has changed there.
    assert [row for row in range(n) if both.why[row] is Why.ASTRAY] == list(range(50, 60))


@pytest.mark.parametrize(("blue", "either"), [(-9.0, True), (-30.0, False)])
def test_a_hint_of_colour_does_not_make_water_dyed(blue: float, either: bool) -> None:
    """Clear water bends the colours behind it as well: a band along it may be its line all the same."""
    rng = np.random.default_rng(33)
    places = falling(100, 40.0, 150.0)
    light = clear_light(places, 200, thick=2.6, blur=0.9, air=0.40, water=0.32, depth=0.13)
    track = find_surface(tinted(strip_of(light, 0.6, rng), places - 2.6, blue, 0.0, rng))
    assert any("clear or of dyed" in words for words in track.remarks) == either
    assert (track.shared_u_px > 1.0) == either
    assert track.found.mean() > 0.9
