"""Landings on a line drawn straight over a picture that a lens bends."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibration import Gauge, Lens, Pixel, Segment, calibrate
from tests.calibration.pinhole import DROP, Pinhole, scene

THROWS = np.array([0.45, 0.35, 0.25, 0.15])
NONE = np.zeros(len(THROWS))


def met(camera: Pinhole, line: Segment) -> np.ndarray:
    """Where jets of the throws cross the line as drawn, px: the parabola followed in small steps."""
    normal = np.array([-line.direction[1], line.direction[0]])
    places = []
    for throw in THROWS:
        out = throw * np.linspace(0.9, 1.1, 4001)
        seen = camera.see(*np.stack([out, np.zeros_like(out), DROP * (1.0 - (out / throw) ** 2)], axis=1))
        off = (seen - np.asarray(line.start)) @ normal
        places.append(seen[np.argmin(np.abs(off))])
    return np.array(places)


def bent_bench(k1: float, *, lens: bool = True):
    """A scene without errors, filmed through a lens that bends, the landing line drawn between true ends."""
    camera = Pinhole(focal=1250.0, k1=k1, k2=0.0, yaw=0.01, pitch=-0.02, roll=0.02, distance=1.1)
    at_rest = scene(3, errors=1e-3, drawn=0.0, depth=False)
    straight = lambda *ends: Segment(*(Pixel(*p) for p in camera.see(*ends).tolist()))  # noqa: E731
    rules = tuple(
        replace(
            rule,
            graduations=tuple(
                replace(g, px=Pixel(*camera.see(place(rule.name, g.value_m))[0].tolist()))
                for g in rule.graduations
            ),
        )
        for rule in at_rest.setup.rules
    )
    setup = replace(
        at_rest.setup,
        orifice=replace(at_rest.setup.orifice, px=Pixel(*camera.see((0, 0, DROP))[0].tolist())),
        throw_zero=replace(at_rest.setup.throw_zero, px=Pixel(*camera.see((0, 0, 0))[0].tolist())),
        rules=rules,
        camera=replace(
            at_rest.setup.camera,
            distance_m=1.1,
            facing_u_deg=2.0,
            lens=Lens(k1, 0.0, 1250.0) if lens else None,
        ),
        plumb=straight((-0.2, 0, 0.45), (-0.2, 0, 0.05)),
        gauge_line=None,
        landing_line=Gauge(straight((0.05, 0, 0), (0.5, 0, 0)), px_u=1e-3),
    )
    return camera, setup


def place(name: str, value: float) -> tuple[float, float, float]:
    return (-0.07, 0.0, DROP - 0.04 + value) if name == "upright" else (value, 0.0, -0.004)


@pytest.mark.parametrize("k1", [-0.25, 0.15])
def test_a_jet_met_on_a_line_that_the_lens_left_lands_where_it_does(k1: float) -> None:
    camera, setup = bent_bench(k1)
    calibration = calibrate(setup)
    px = met(camera, setup.landing_line.line)
    # The line leaves the level by up to two millimetres, and the throw by its part of that.
    assert np.abs(calibration.throws(px, NONE).values - THROWS).max() > 5e-4
    assert calibration.landings(px, NONE).values == pytest.approx(THROWS, abs=5e-5)
    assert calibration.landing_points(THROWS) == pytest.approx(px, abs=0.1)


def test_without_a_bend_a_landing_is_a_throw_however_the_camera_stands() -> None:
    camera, setup = bent_bench(0.0)
    calibration = calibrate(setup)
    px = met(camera, setup.landing_line.line)
    landings, throws = calibration.landings(px, NONE), calibration.throws(px, NONE)
    assert landings.values == pytest.approx(throws.values, abs=1e-9)
    assert landings.shared == pytest.approx(throws.shared, abs=1e-9)
    assert landings.sources == throws.sources


def test_a_lens_that_was_not_given_is_told_by_the_rules_and_its_doubt_is_carried() -> None:
    camera, setup = bent_bench(-0.1, lens=False)
    calibration = calibrate(setup)
    px = met(camera, setup.landing_line.line)
    landings, throws = calibration.landings(px, NONE), calibration.throws(px, NONE)
    # In the middle of the line, where the bend takes it furthest from its ends' level.
    assert abs(landings.values[1] - THROWS[1]) < 0.4 * abs(throws.values[1] - THROWS[1])
    assert np.any(np.abs(landings.shared - throws.shared) > 1e-6)


def test_a_line_down_the_plumb_has_no_level() -> None:
    _, setup = bent_bench(-0.2)
    down = replace(setup, landing_line=Gauge(setup.plumb, px_u=0.5))
    px = np.array([[700.0, 500.0]])
    calibration = calibrate(down)
    assert calibration.landings(px, np.zeros(1)).values == pytest.approx(
        calibration.throws(px, np.zeros(1)).values, nan_ok=True
    )
