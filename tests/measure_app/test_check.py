"""What a run lacks is told before anything is measured, each with its key."""

from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace

from calibration import Measures, Pixel
from measure_app.check import check_run, could_find
from measure_app.clip import ClipInfo, open_clip
from measure_app.run import By, LinePart, Reading, Run, SphereShape, Spot
from measure_app.runfile import load_run

BENCH = Path(__file__).parents[2] / "sample_clips" / "bench" / "bench.run.json"


@pytest.fixture(scope="module")
def info() -> ClipInfo:
    with open_clip(BENCH.with_name("bench.mp4")) as clip:
        return clip.info


@pytest.fixture
def run() -> Run:
    return load_run(BENCH)


def said(run: Run, info: ClipInfo) -> dict[str, str]:
    return {remark.about: remark.says for remark in check_run(run, info)}


def changed(part: msgspec.Struct, **values: object) -> object:
    return replace(part, **values)


def test_nothing_is_missing_in_the_bench_run(run, info):
    assert check_run(run, info) == ()
    assert could_find(run, info)


CASES = [
    ("clip", {"sha256": None}, "clip.sha256", "cannot be told whether this is the film"),
    ("clip", {"stop_frame": 5000}, "clip.stop_frame", "past the film's 300 frames"),
    ("clip", {"start_frame": 299}, "clip.start_frame", "fewer than two frames"),
    ("clip", {"stop_frame": 10}, "clip", "only 10 frames"),
    ("orifice", {"px_u": 0.0}, "orifice.px_u", "finer than a mark can be placed"),
    ("orifice", {"px_u": 50.0}, "orifice.px_u", "very coarse"),
    ("orifice", {"px": Pixel(2000.0, 10.0)}, "orifice.px", "off the frame of 1280 by 720 px"),
    ("orifice", {"diameter_m": None}, "orifice.diameter_m", "discharge coefficient stays undetermined"),
    ("orifice", {"diameter_u_m": None}, "orifice.diameter_u_m", "taken as exact"),
    ("drop", {"u_m": 0.0}, "drop.u_m", "no length is exact"),
    ("gauge_line", {"to_px": Pixel(398.0, 60.0)}, "gauge_line", "above the orifice and is blind below"),
    ("conditions", {"container_area_m2": None}, "conditions.container_area_m2", "the g from the clock stay undetermined"),
    ("conditions", {"gravity_m_s2": None}, "conditions.latitude_deg", "standard gravity is taken"),
    ("conditions", {"container_profile": SphereShape(0.1, 0.2)}, "conditions.container_profile_u", "taken as exact"),
    ("conditions", {"container_profile": SphereShape(0.1, 0.2)}, "conditions.container_area_m2", "is not used"),
    ("orifice", {"launch_angle_deg": 1.0}, "orifice.launch_angle_u_deg", "taken as exact"),
    ("orifice", {"launch_angle_u_deg": 1.0}, "orifice.launch_angle_u_deg", "stands alone; give launch_angle_deg"),
    ("orifice", {"jet_diameter_m": 0.5}, "orifice.jet_diameter_m", "wider than the hole"),
    ("corrections", {"contracted_section": True}, "corrections.contracted_section", "needs the wall's thickness"),
    (None, {"orifice": None}, "orifice", "the centre of the hole is not marked"),
    (None, {"drop": None}, "drop", "it is read from the frame"),
    (None, {"drop": None, "landing_line": None}, "drop", "no throw becomes a speed"),
    (None, {"gauge_line": None}, "gauge_line", "there are no heads; draw it"),
    (None, {"landing_line": None}, "landing_line", "there are no throws; draw it"),
    (None, {"rules": ()}, "rules", "there is no rule in the frame"),
    (None, {"landing_line": LinePart(Pixel(900.0, 613.0), Pixel(1200.0, 613.0))}, "landing_line", "does not begin under the orifice"),
    (None, {"readings": (Reading(400, Spot(Pixel(1, 1), 1.0, By.HAND)),)}, "readings", "frame 400 is read"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("part", "values", "about", "words"), CASES, ids=[f"{c[2]}-{i}" for i, c in enumerate(CASES)]
)
def test_each_lack_is_told(run, info, part, values, about, words):
    run = replace(run, **(values if part is None else {part: changed(getattr(run, part), **values)}))
    assert words in said(run, info)[about]


def test_rules_are_looked_at_one_by_one(run, info):
    head, throw = run.rules
    two = replace(head, graduations=head.graduations[:2])
    assert "mark more, well spread" in said(replace(run, rules=(two, throw)), info)["rules[0].graduations"]
    twin = replace(throw, name=head.name)
    assert "names two rules" in said(replace(run, rules=(head, twin)), info)["rules[1].name"]
    nameless = replace(head, name=" ")
    assert "has no name" in said(replace(run, rules=(nameless, throw)), info)["rules[0].name"]
    exact = replace(head, graduation_u_m=0.0)
    assert "no rule is exact" in said(replace(run, rules=(exact, throw)), info)["rules[0].graduation_u_m"]
    swapped = (replace(head.graduations[0], value_m=0.5), *head.graduations[1:])
    assert (
        "misread"
        in said(replace(run, rules=(replace(head, graduations=swapped), throw)), info)["rules[0].graduations"]
    )


def test_what_cannot_be_found_at_all(run, info):
    assert not could_find(replace(run, rules=()), info)
    assert not could_find(replace(run, orifice=None), info)
    assert not could_find(replace(run, gauge_line=None, landing_line=None), info)
    assert not could_find(replace(run, clip=replace(run.clip, start_frame=299)), info)
    heads_only = replace(run, rules=run.rules[:1])
    assert heads_only.rules[0].measures is Measures.HEAD
    assert could_find(heads_only, info)
    assert not could_find(replace(heads_only, gauge_line=None), info)
    by_hand = (
        Reading(0, Spot(Pixel(398.0, 100.0), 0.5, By.HAND)),
        Reading(9, Spot(Pixel(398.0, 120.0), 0.5, By.HAND)),
    )
    assert could_find(replace(heads_only, gauge_line=None, readings=by_hand), info)
