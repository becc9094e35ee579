"""What a run file says of hole, container and corrections reaches the engine as it was said."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace

from analysis import Corrections
from measure_app.run import (
    AreaAtHead,
    CorrectionsPart,
    DiameterAtHead,
    FrustumShape,
    LinePart,
    Profile,
    RoundShape,
    Run,
    SphereShape,
)
from measure_app.runfile import load_run
from measure_app.series import conditions_of, corrections_of

BENCH = Path(__file__).parents[2] / "sample_clips" / "bench" / "bench.run.json"


@pytest.fixture(scope="module")
def run() -> Run:
    return load_run(BENCH)


@pytest.mark.parametrize(
    ("profile", "area"),
    [
        ((AreaAtHead(0.0, 0.004), AreaAtHead(0.2, 0.008)), 0.006),
        (RoundShape((DiameterAtHead(0.0, 0.1), DiameterAtHead(0.2, 0.2))), math.pi / 4.0 * 0.15**2),
        (FrustumShape(0.0, 0.1, 0.2, 0.2), math.pi / 4.0 * 0.15**2),
        (SphereShape(0.08, 0.2), math.pi * (0.1**2 - 0.02**2)),
    ],
    ids=["areas", "round", "frustum", "sphere"],
)
def test_each_shape_has_its_area_half_way_up(run: Run, profile: Profile, area: float) -> None:
    shaped = replace(
        run, conditions=replace(run.conditions, container_profile=profile, container_profile_u=0.01)
    )
    at = conditions_of(shaped)
    assert at.profile is not None
    assert float(at.profile.area(np.array([0.1]))[0]) == pytest.approx(area, rel=1e-12)
    assert at.profile_relative_u == 0.01


def test_the_hole_s_keys(run: Run) -> None:
    assert run.orifice is not None
    hole = replace(
        run.orifice,
        wall_thickness_m=0.002,
        launch_angle_deg=-1.5,
        launch_angle_u_deg=0.5,
        jet_diameter_m=0.004,
        jet_diameter_u_m=1e-4,
    )
    at = conditions_of(replace(run, orifice=hole))
    told = (
        at.wall_thickness_m,
        at.launch_angle_deg,
        at.launch_angle_u_deg,
        at.jet_diameter_m,
        at.jet_diameter_u_m,
    )
    assert told == (0.002, -1.5, 0.5, 0.004, 1e-4)


def test_water_on_the_tray_counts_only_beside_a_measured_drop(run: Run) -> None:
    assert run.landing_line is not None
    line: LinePart = replace(run.landing_line, above_level_m=0.003, above_level_u_m=5e-4)
    wet = replace(run, landing_line=line)
    assert conditions_of(wet).landing_above_m == 0.003
    assert conditions_of(wet).landing_above_u_m == 5e-4
    # Read from the frame, the drop ends at the line itself.
    assert conditions_of(replace(wet, drop=None)).landing_above_m == 0.0


def test_switches_reach_the_engine_and_agree_in_their_defaults(run: Run) -> None:
    assert corrections_of(run) == Corrections()
    switched = CorrectionsPart(surface_speed=False, capillary=True, low_heads=False)
    assert corrections_of(replace(run, corrections=switched)) == Corrections(
        surface_speed=False, capillary=True, low_heads=False
    )
