"""Random runs and edits that satisfy the contract, for property tests."""

from __future__ import annotations

import string

from hypothesis import strategies as st

from calibration import Measures, Pixel
from measure_app import edits
from measure_app.run import (
    AreaAtHead,
    By,
    CameraPart,
    ClipPart,
    ConditionsPart,
    CorrectionsPart,
    DiameterAtHead,
    DropPart,
    FallMark,
    FallPart,
    FrustumShape,
    GraduationPart,
    LensPart,
    LinePart,
    OrificePart,
    PlumbPart,
    Reading,
    RoundShape,
    RulePart,
    Run,
    SphereShape,
    Spot,
    ThrowZeroPart,
)

# Scaling there and back must not end beyond the 10⁶ of the contract, nor bring two points together.
_px = st.floats(-999_000, 999_000).map(lambda px: round(px, 3))
_length = st.floats(-1000, 1000)
_u = st.floats(0, 1000)
_positive = st.floats(1e-12, 1000)
_text = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
_frame = st.integers(0, 10**9)

pixels = st.builds(Pixel, _px, _px)
_ends = st.lists(pixels, min_size=2, max_size=2, unique=True)
spots = st.builds(Spot, px=pixels, px_u=st.floats(0, 999_000), by=st.sampled_from(By))
found_spots = st.builds(Spot, px=pixels, px_u=st.floats(0, 999_000), by=st.just(By.FOUND))
names = st.text(string.ascii_letters + " -_.", min_size=1, max_size=20).filter(lambda name: name != "..")
digests = st.none() | st.text("0123456789abcdef", min_size=64, max_size=64)
graduations = st.builds(GraduationPart, px=pixels, value_m=_length)


@st.composite
def rules(draw: st.DrawFn) -> RulePart:
    """Draw a rule whose graduations all differ in place and value."""
    places = draw(st.lists(pixels, min_size=2, max_size=5, unique=True))
    values = draw(st.lists(_length, min_size=len(places), max_size=len(places), unique=True))
    return RulePart(
        name=draw(_text),
        measures=draw(st.sampled_from(Measures)),
        graduations=tuple(map(GraduationPart, places, sorted(values))),
        graduation_u_m=draw(_u),
        px_u=draw(_u),
        behind_m=draw(_length),
        behind_u_m=draw(_u),
    )


lines = _ends.flatmap(
    lambda ends: st.builds(
        LinePart,
        from_px=st.just(ends[0]),
        to_px=st.just(ends[1]),
        behind_m=_length,
        behind_u_m=_u,
        above_level_m=_length,
        above_level_u_m=_u,
    )
)
plumbs = _ends.map(lambda ends: PlumbPart(*ends))
lenses = st.builds(
    LensPart,
    k1=st.floats(-1, 1),
    focal_px=st.floats(1, 1e5),
    k2=st.floats(-1, 1),
    centre_px=st.none() | pixels,
)
cameras = st.builds(
    CameraPart,
    distance_m=st.none() | _positive,
    distance_u_m=st.none() | _u,
    facing_px=st.none() | pixels,
    facing_u_deg=st.floats(0, 90),
    lens=st.none() | lenses,
    rolling_shutter_s=st.none() | st.floats(0, 1),
    rolling_shutter_u_s=st.none() | st.floats(0, 1),
)
orifices = st.builds(
    OrificePart,
    px=pixels,
    px_u=_u,
    diameter_m=st.none() | _positive,
    diameter_u_m=st.none() | _u,
    behind_m=_length,
    behind_u_m=_u,
    wall_thickness_m=st.none() | _u,
    launch_angle_deg=st.none() | st.floats(-80, 80),
    launch_angle_u_deg=st.none() | st.floats(0, 90),
    jet_diameter_m=st.none() | _positive,
    jet_diameter_u_m=st.none() | _u,
)
drops = st.builds(DropPart, value_m=_positive, u_m=_u)
throw_zeros = st.builds(ThrowZeroPart, px=pixels, px_u=_u, behind_m=_length, behind_u_m=_u)
_heights = st.lists(_length, min_size=2, max_size=4, unique=True).map(sorted)
profiles = (
    _heights.flatmap(lambda hs: st.tuples(*(st.builds(AreaAtHead, st.just(h), _positive) for h in hs)))
    | _heights.flatmap(
        lambda hs: st.tuples(*(st.builds(DiameterAtHead, st.just(h), _positive) for h in hs))
    ).map(RoundShape)
    | _heights.flatmap(lambda hs: st.builds(FrustumShape, st.just(hs[0]), _positive, st.just(hs[-1]), _u))
    | st.builds(SphereShape, _length, _positive)
)
corrections = st.builds(CorrectionsPart, *[st.booleans()] * len(CorrectionsPart.__struct_fields__))
falls = st.builds(
    FallPart,
    name=_text,
    what=st.sampled_from(["drop", "jet drop", "jet front"]),
    marks=st.lists(_frame, min_size=2, max_size=4, unique=True)
    .map(sorted)
    .flatmap(
        lambda at: st.tuples(*(st.builds(FallMark, st.just(i), pixels, st.floats(0, 999_000)) for i in at))
    ),
    behind_m=_length,
    behind_u_m=_u,
)
conditions = st.builds(
    ConditionsPart,
    gravity_m_s2=st.none() | st.floats(0.1, 100),
    latitude_deg=st.none() | st.floats(-90, 90),
    elevation_m=st.none() | st.floats(-11000, 100000),
    water_temperature_c=st.none() | st.floats(-10, 110),
    container_area_m2=st.none() | _positive,
    container_area_u_m2=st.none() | _u,
    container_profile=st.none() | profiles,
    container_profile_u=st.none() | st.floats(0, 1),
)
readings = st.lists(
    st.builds(Reading, frame=_frame, surface=st.none() | spots, landing=st.none() | spots, note=_text),
    max_size=6,
    unique_by=lambda reading: reading.frame,
).map(lambda some: tuple(sorted(some, key=lambda reading: reading.frame)))
found_readings = st.lists(
    st.builds(
        Reading,
        frame=st.integers(0, 8),
        surface=st.none() | found_spots,
        landing=st.none() | found_spots,
    ),
    max_size=6,
    unique_by=lambda reading: reading.frame,
).map(tuple)
clips = st.builds(
    ClipPart,
    path=names,
    sha256=digests,
    capture_rate_hz=st.none() | st.floats(0.1, 1e5),
    start_frame=st.integers(0, 100),
    stop_frame=st.none() | st.integers(101, 10**9),
)
_json = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53), 2**53)
    | st.floats(allow_nan=False, allow_infinity=False)
    | _text,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_text, inner, max_size=3),
    max_leaves=5,
)
runs = st.builds(
    Run,
    title=_text,
    observer=_text,
    clip=clips,
    rules=st.lists(rules(), max_size=2).map(tuple),
    camera=cameras,
    plumb=st.none() | plumbs,
    orifice=st.none() | orifices,
    drop=st.none() | drops,
    throw_zero=st.none() | throw_zeros,
    gauge_line=st.none() | lines,
    landing_line=st.none() | lines,
    conditions=conditions,
    corrections=corrections,
    falls=st.lists(falls, max_size=2).map(tuple),
    readings=readings,
    extra=st.dictionaries(_text, _json, max_size=2),
)
_few = st.integers(0, 3)
any_edit: st.SearchStrategy[edits.Edit] = st.one_of(
    st.builds(edits.SetClip, path=names, sha256=digests),
    st.builds(edits.MoveClip, path=names),
    st.builds(edits.SetPart, start_frame=_few, stop_frame=st.none() | _few),
    st.builds(edits.SetCaptureRate, st.none() | st.floats(-1, 1e5)),
    st.builds(edits.AddRule, rules()),
    st.builds(edits.ChangeRule, index=_few, rule=rules()),
    st.builds(edits.RemoveRule, index=_few),
    st.builds(edits.AddGraduation, rule=_few, graduation=graduations),
    st.builds(edits.MoveGraduation, rule=_few, index=_few, graduation=graduations),
    st.builds(edits.RemoveGraduation, rule=_few, index=_few),
    st.builds(edits.SetCamera, cameras),
    st.builds(edits.SetPlumb, st.none() | plumbs),
    st.builds(edits.SetOrifice, st.none() | orifices),
    st.builds(edits.SetDrop, st.none() | drops),
    st.builds(edits.SetThrowZero, st.none() | throw_zeros),
    st.builds(edits.SetGaugeLine, st.none() | lines),
    st.builds(edits.SetLandingLine, st.none() | lines),
    st.builds(edits.SetConditions, conditions),
    st.builds(edits.SetCorrections, corrections),
    st.builds(edits.AddFall, falls),
    st.builds(edits.ChangeFall, index=_few, fall=falls),
    st.builds(edits.RemoveFall, index=_few),
    st.builds(edits.SetTitle, _text),
    st.builds(edits.SetObserver, _text),
    st.builds(edits.SetSurface, frame=_few, spot=spots),
    st.builds(edits.SetLanding, frame=_few, spot=spots),
    st.builds(edits.ClearSurface, frame=_few),
    st.builds(edits.ClearLanding, frame=_few),
    st.builds(edits.SetNote, frame=_few, note=_text),
    st.builds(edits.AdoptFound, found_readings),
)
