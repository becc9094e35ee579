"""What moves: the water in the cylinder, the jet, the splash; frame by frame over the still picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_clips.backdrop import paint_backdrop
from sample_clips.camera import upright
from sample_clips.clear_water import meniscus_line, through_water
from sample_clips.cylinder import Column, bore_depth, column, glints, near_depth, paint_ring
from sample_clips.film import develop, exposed, gain_at, reach_px, to_light, vignette
from sample_clips.jet import Jet
from sample_clips.paint import OVERSAMPLING, Canvas, Samples, Window, ramp, tinted
from sample_clips.passers import paint_passers
from sample_clips.pipette import drop_window, paint_drop
from sample_clips.reflections import Reflections, Stuck
from sample_clips.rig import paint_rig
from sample_clips.scene import FloatArray, Scene
from sample_clips.shaking import Shaking
from sample_clips.wetted_wall import WettedWall

_MENISCUS_FADE_M = 0.0035
_SURFACE_SOFT_PX = 1.3
SUBFRAMES = 4
"""Instants over which an exposure is averaged."""


@dataclass(frozen=True, slots=True)
class _Patch:
    """A rectangle of the developed picture, and the samples needed for it."""

    top: int
    bottom: int
    left: int
    right: int
    reach: int

    @property
    def pixels(self) -> tuple[slice, slice]:
        return slice(self.top, self.bottom), slice(self.left, self.right)

    def samples(self, canvas: Canvas) -> Window:
        """Give the samples of the patch and of its surroundings within reach of the blur."""
        s, r = OVERSAMPLING, self.reach
        return Window(
            (self.top - r) * s, (self.bottom + r) * s, (self.left - r) * s, (self.right + r) * s
        ).inside(canvas.height, canvas.width)

    def cut(self, developed: Samples, window: Window) -> Samples:
        """Take the patch out of its developed surroundings."""
        row, col = self.top - window.top // OVERSAMPLING, self.left - window.left // OVERSAMPLING
        return developed[row : row + self.bottom - self.top, col : col + self.right - self.left]


def _patch_of(window: Window, canvas: Canvas, reach: int) -> _Patch:
    """Give the patch of whole pixels that a change in a window of samples can alter."""
    s, cam = OVERSAMPLING, canvas.camera
    return _Patch(
        max(window.top // s - reach, 0),
        min(-(-window.bottom // s) + reach, cam.height),
        max(window.left // s - reach, 0),
        min(-(-window.right // s) + reach, cam.width),
        reach,
    )


class Stage:
    """A scene set up: the still picture is painted once, then frames are made by painting what moves.

    Raises
    ------
    ValueError
        The jet or the water's surface leaves the picture.
    """

    def __init__(self, scene: Scene) -> None:
        _check_in_view(scene)
        self._shade = vignette(scene)
        self._shaking = Shaking(scene)
        self._steady = scene
        scene = self.scene = self._shaking.wide
        self._canvas = Canvas(scene.camera)
        paint_backdrop(self._canvas, scene)
        self._behind = self._canvas.rgb.copy() if scene.hazards.clear.strength else None
        paint_rig(self._canvas, scene)
        self._reach = reach_px(scene.film)
        drain = scene.drain
        self._floor_m = drain.drop_m - scene.bench.floor_m
        self._tube = column(
            self._canvas, scene, self._floor_m - 0.02, drain.drop_m + drain.head0_m + scene.bench.rim_m
        )
        self._inside = self._filled_cover()
        self._now = self._canvas.copy()
        self._now.rgb[self._tube.window.slices] = self._filled()
        paint_ring(self._now, scene)
        # Things are painted in encoded colours; lens and sensor mix light. From here on canvases hold light.
        self._canvas.rgb, self._now.rgb = to_light(self._canvas.rgb), to_light(self._now.rgb)
        self._behind = None
        hazards, every = scene.hazards, slice(0, self._inside.shape[0])
        self._stuck = Stuck(scene, self._tube) if hazards.label.strength else None
        if self._stuck is not None:
            self._stuck.paint(self._canvas.rgb[self._tube.window.slices], every)
            self._stuck.paint(self._now.rgb[self._tube.window.slices], every)
        self._wetted = WettedWall(scene, self._tube) if hazards.wetting.strength else None
        self._reflections = (
            Reflections(self._steady, self._shaking.margin) if hazards.glare.strength else None
        )
        self._dry = develop(self._canvas.rgb, scene.film)
        self._full = self._now.rgb[self._tube.window.slices].copy()
        self._wet = develop(self._now.rgb, scene.film)
        self._jet = Jet(scene, self._canvas)

    def _filled(self) -> Samples:
        """Give the samples of the cylinder's window, with water up to the rim."""
        scene, tube = self.scene, self._tube
        look, q = scene.look, tube.across
        bore = scene.drain.bore(tube.height_m - scene.drain.drop_m).astype(np.float32)
        path = 2 * bore * np.sqrt(np.clip(1 - np.minimum(np.abs(q), 1) ** 2, 0.04, 1))
        undyed = scene.hazards.clear.strength
        through = np.exp(-path[..., None] * np.asarray(look.dye_per_m, dtype=np.float32))
        # The filled cylinder is a strong lens: what one sees through it is the bright wall, turned left to
        # right.
        lit = 1.02 + 0.05 * q * look.light_from - 0.30 * np.clip(np.abs(q) - 0.55, 0, 1) ** 2
        light = tinted(look.wall, np.asarray(lit, dtype=np.float32))
        if self._behind is not None:
            light += undyed * (0.97 * through_water(self._behind, scene, tube) - light)
        body = light * through + np.asarray(look.tint, dtype=np.float32) * (1 - through) * 0.55
        body *= 1 - 0.50 * np.abs(q[..., None]) ** 10
        shine = glints(tube, scene)[..., None]
        body += shine * 0.85 * (np.asarray((0.97, 0.985, 0.99), dtype=np.float32) - body)
        cover = self._inside
        dry = self._canvas.rgb[tube.window.slices]
        return np.asarray(dry + cover[..., None] * (body - dry), dtype=np.float32)

    def _filled_cover(self) -> Samples:
        """Cover (h, w) of the cylinder's inside above its floor."""
        scene, tube = self.scene, self._tube
        depth = bore_depth(scene, tube)
        eye = scene.camera.centre_m[2]
        cover = tube.cover * ramp((0.988 - np.abs(tube.across)) * scene.drain.outer_radius_m * tube.px_per_m)
        above_floor = ramp((tube.height_at(depth, eye) - self._floor_m) * tube.px_per_m)
        return np.asarray(cover * above_floor, dtype=np.float32)

    def _level(self, time_s: float) -> tuple[float, float]:
        """Height of the flat level and of the coloured edge at the wall, m."""
        flat = self.scene.drain.drop_m + float(self.scene.drain.head(time_s))
        return flat, flat + self.scene.drain.meniscus_m

    def _surface(self, pixels: Samples, time_s: float) -> None:
        """Put the water of one instant into a developed picture."""
        scene, tube, canvas = self.scene, self._tube, self._canvas
        flat, edge = self._level(time_s)
        radius = scene.drain.widest_m
        rim = np.array(
            [
                (scene.axis_x_m + sx * radius, sy * radius, z)
                for sx in (-1, 1)
                for sy in (-1, 1)
                for z in (edge + 0.001, flat - 4 * _MENISCUS_FADE_M)
            ]
        )
        touched = canvas.around(scene.camera.project_straight(rim), 4.0)
        if self._wetted is not None:  # all of the wall above the surface changes
            touched = Window(self._tube.window.top, touched.bottom, touched.left, touched.right)
        reach = self._reach
        whole = _patch_of(tube.window, canvas, reach)
        patch = _patch_of(
            Window(touched.top, touched.bottom, tube.window.left, tube.window.right), canvas, reach
        )
        pixels[patch.bottom : whole.bottom, whole.left : whole.right] = self._wet[
            patch.bottom : whole.bottom, whole.left : whole.right
        ]
        window = patch.samples(canvas)
        first, last = tube.window.top, tube.window.bottom
        upper, lower = min(max(window.top, first), last) - first, min(max(window.bottom, first), last) - first
        now = self._now.rgb[tube.window.slices]
        now[:upper] = canvas.rgb[tube.window.slices][:upper]
        rows = slice(upper, lower)
        now[rows] = self._water(rows, flat, edge)
        if self._wetted is not None:
            self._wetted.paint(now[rows], rows, time_s, edge)
        if self._stuck is not None:
            self._stuck.paint(now[rows], rows)
        now[lower:] = self._full[lower:]
        pixels[patch.pixels] = patch.cut(develop(self._now.rgb[window.slices], scene.film), window)

    def _water(self, rows: slice, flat: float, edge: float) -> Samples:
        """Give the samples of some rows of the cylinder with water up to a level."""
        scene, tube = self.scene, self._tube
        part = Column(
            tube.window,
            tube.across[rows],
            tube.height_m[rows],
            tube.cover[rows],
            tube.distance_m,
            tube.px_per_m,
        )
        eye = scene.camera.centre_m[2]
        near_m = near_depth(scene, part)
        near = part.height_at(near_m, eye)
        far = part.height_at(-bore_depth(scene, part), eye)
        clear, inside = scene.hazards.clear, self._inside[rows]
        scale = part.px_per_m * part.distance_m / (part.distance_m - near_m)
        below = ramp(np.asarray((edge - near) * scale, dtype=np.float32))[..., None]
        dark = 1 - scene.look.meniscus_dark * self._inside[rows] * np.exp(
            -np.clip(edge - near, 0, None) / _MENISCUS_FADE_M
        )
        mirror = ramp(np.asarray((far - flat) * part.px_per_m, dtype=np.float32), _SURFACE_SOFT_PX)
        water = (
            self._full[rows]
            * (dark * (1 - scene.look.underside_dark * mirror * self._inside[rows]))[..., None] ** 2
        )
        # From above the level one looks onto the surface, which at so flat an angle mirrors the wall behind.
        lid = (0.22 * ramp(np.asarray((flat - far) * part.px_per_m, dtype=np.float32), _SURFACE_SOFT_PX))[
            ..., None
        ]
        dry = self._canvas.rgb[tube.window.slices][rows]
        air = dry + lid * (self._full[rows] - dry)
        if clear.far_line:
            shown = np.asarray(clear.far_line * inside, dtype=np.float32)
            air, water = (meniscus_line(what, far, flat, edge, part.px_per_m, shown) for what in (air, water))
        if not clear.strength:
            return np.asarray(air + below * (water - air), dtype=np.float32)
        # Without dye the meniscus is no coloured water: the body ends at the flat level, the line is on it.
        reached = edge + clear.strength * (flat - edge)
        below = ramp(np.asarray((reached - near) * scale, dtype=np.float32))[..., None]
        shown = np.asarray(clear.line * inside, dtype=np.float32)
        return meniscus_line(
            np.asarray(air + below * (water - air), dtype=np.float32), near, flat, edge, scale, shown
        )

    def _landing(self, pixels: Samples, time_s: float) -> None:
        """Put the jet and its splash of one exposure into a developed picture."""
        scene, canvas = self.scene, self._canvas
        half = scene.timing.exposure_s / 2
        instants = time_s + half * (2 * (np.arange(SUBFRAMES) + 0.5) / SUBFRAMES - 1)
        patch = _patch_of(self._jet.extent(time_s), canvas, 2 * self._reach)
        window = patch.samples(canvas)
        samples = self._now.rgb[window.slices].copy()
        self._jet.paint(samples, window, instants)
        for touched in self._jet.pieces(time_s):  # a jet is thin: most of the rectangle about it stands still
            piece = _patch_of(touched, canvas, self._reach)
            part = piece.samples(canvas)
            if part.empty:  # outside the picture
                continue
            rows = slice(part.top - window.top, part.bottom - window.top)
            cols = slice(part.left - window.left, part.right - window.left)
            pixels[piece.pixels] = piece.cut(develop(samples[rows, cols], scene.film), part)

    def _drops(self, pixels: Samples, time_s: float) -> None:
        """Put drops that fall beside the container into a developed picture."""
        scene, canvas = self.scene, self._canvas
        half = scene.timing.exposure_s / 2
        instants = time_s + half * np.linspace(-1.0, 1.0, 2 * SUBFRAMES)
        for drop in scene.drops:
            touched = drop_window(canvas, drop, instants, scene.drain.gravity_m_s2)
            if touched is None:
                continue
            patch = _patch_of(touched, canvas, self._reach)
            window = patch.samples(canvas)
            if window.empty:
                continue
            bare = self._now.rgb[window.slices]
            wet = bare.copy()
            paint_drop(canvas, wet, window, drop, instants, scene.drain.gravity_m_s2)
            change = develop(wet, scene.film) - develop(bare, scene.film)
            pixels[patch.pixels] += patch.cut(change, window)

    def without_jet(self, time_s: float) -> Samples:
        """Give the same as `frame`, but nothing leaves the hole."""
        pixels = self._dry.copy()
        self._surface(pixels, time_s)
        return self._filmed(pixels, time_s)

    def _filmed(self, pixels: Samples, time_s: float) -> Samples:
        """Give what the camera makes of a developed picture: what comes in its way, and how it moves."""
        if self._reflections is not None:
            self._reflections.paint(pixels, time_s)
        if self._steady.hazards.visits.strength:
            paint_passers(pixels, self._steady, time_s, self._shaking.margin)
        return exposed(self._shaking.seen(pixels, time_s) * self._shade, gain_at(self._steady, time_s))

    def frame(self, time_s: float) -> Samples:
        """Give encoded values (h, w, 3), 0 to 1, free of noise, of the exposure about one instant, s."""
        pixels = self._dry.copy()
        self._surface(pixels, time_s)
        self._landing(pixels, time_s)
        self._drops(pixels, time_s)
        return self._filmed(pixels, time_s)


def _check_in_view(scene: Scene) -> None:
    """Refuse a scene whose moving parts leave the picture."""
    drain, cam, times = scene.drain, scene.camera, scene.timing.times_s
    if float(drain.driving_root(times[-1])) <= 0:
        raise ValueError(
            f"{scene.name}: the container is empty before the film ends; shorten it or drill a smaller hole"
        )
    ends = times[[0, -1]]
    throw = upright(0.0).at(drain.throw(ends), np.zeros(2))
    points: FloatArray = cam.project(
        np.concatenate([scene.surface_edge(ends), throw, upright(0.0).at([0.0], [drain.drop_m])])
    )
    margin = 12.0
    if not np.all((points > margin) & (points < np.array([cam.width, cam.height]) - 1 - margin)):
        raise ValueError(
            f"{scene.name}: the surface or the landing leaves the picture; step back or use a shorter focus"
        )
