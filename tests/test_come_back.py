"""What is written comes back the same from answers, packs, results and lists; damaged ones are refused in a line.

The damaged inputs are those of `tests.benchmarks.fuzz`, which draws them by the thousand; here a few of each kind
go through the same readers, so that a reader that breaks is seen at once.
"""

from __future__ import annotations

import io
from functools import lru_cache
from pathlib import Path
from typing import Any

import click
import msgspec
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from calibration import Pixel
from measure_app.cli.planning import columns_x_rows
from measure_app.clip import sha256_of
from measure_app.clip.opening import container_of
from measure_app.collating import Criteria, load_criteria, read_answer
from measure_app.collating.answer import Answer, Refusal
from measure_app.collating.marks import Coefficient, Places, Scale, Weighted
from measure_app.collating.teachers_key import teachers_key
from measure_app.comparing import decode_findings
from measure_app.decoder.wire import BrokenWire, Failed, Row, Shown, Wire, words
from measure_app.errors import AppError
from measure_app.finders import JetTrace, Part
from measure_app.jet_path import AdoptJet, trace_of
from measure_app.packs import PackPlan, Rescaling, load_questions, pack, pack_mark_of, rescaled, unpack
from measure_app.packs.manifest import PackMark, with_pack_mark
from measure_app.report.findings_json import findings_json
from measure_app.run import By, ClipPart, Reading, Run, Spot
from measure_app.runfile import decode_run, encode_run, load_run, save_run
from tests.benchmarks import fuzz
from tests.measure_app.collating import simulated_class as sim

few = settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)


def in_one_line(said: str) -> bool:
    return "\n" not in said and said.isprintable() and len(said) < 1000


# --- damaged files of every kind --------------------------------------------------------------------------------------


@lru_cache
def seeds_of(kind: fuzz.Kind) -> list[bytes]:
    return kind.seeds()


@pytest.mark.parametrize("kind", fuzz.KINDS, ids=lambda kind: kind.name.replace(" ", "-"))
@settings(few, max_examples=12)
@given(number=st.integers(0, 2**40))
def test_a_damaged_file_is_read_or_refused_in_one_line(kind: fuzz.Kind, number: int, tmp_path: Path) -> None:
    path = tmp_path / f"input{kind.ending}"
    path.write_bytes(fuzz.input_of(kind, seeds_of(kind), number))
    try:
        assert kind.read(path) is not None
    except AppError as error:
        assert in_one_line(str(error))  # noqa: PT017  either outcome is right


# --- answers ----------------------------------------------------------------------------------------------------------


@lru_cache
def key() -> Any:
    return teachers_key(sim.BENCH / "bench.run.json").key


frames_read = st.lists(st.integers(0, 299), min_size=1, max_size=8, unique=True).map(sorted)
places = st.tuples(st.floats(0.0, 1279.0), st.floats(0.0, 719.0))
whose = st.text(st.characters(exclude_categories=["Cs"]), max_size=60)


def answer(frames: list[int], drawn: st.DataObject, observer: str) -> Run:
    """Return the bench run with hand readings anywhere in the picture."""

    def spot() -> Spot:
        return Spot(px=Pixel(*drawn.draw(places)), px_u=drawn.draw(st.floats(0.1, 5.0)), by=By.HAND)

    readings = tuple(Reading(frame=f, surface=spot(), landing=spot()) for f in frames)
    return replace(sim.bench_run(), observer=observer, readings=readings)


@few
@given(frames=frames_read, observer=whose, drawn=st.data())
def test_the_readings_of_an_answer_are_taken_as_they_were_made(
    frames: list[int], observer: str, drawn: st.DataObject
) -> None:
    run = answer(frames, drawn, observer)
    read = read_answer("a.run.json", encode_run(run), key())
    assert isinstance(read, Answer)
    assert read.frames.tolist() == frames
    for part in (Part.SURFACE, Part.LANDING):
        spots = [r.surface if part is Part.SURFACE else r.landing for r in run.readings]
        assert read.places[part].tolist() == [list(spot.px) for spot in spots if spot is not None]
    assert (read.share, read.asked) == (None, ())
    # A name goes into tables: one line, and no sign that moves a cursor or turns the writing's direction.
    assert read.name.isprintable()
    assert len(read.name) <= 80
    assert read.name.split() == "".join(c if c.isprintable() else " " for c in observer).split()


@few
@given(
    frames=frames_read,
    scale=st.floats(0.2, 2.0),
    left=st.integers(0, 16),
    top=st.integers(0, 16),
    drawn=st.data(),
)
def test_an_answer_from_a_pack_of_any_size_is_read_in_the_keys_pixels(
    frames: list[int], scale: float, left: int, top: int, drawn: st.DataObject
) -> None:
    run = answer(frames, drawn, "A. Reader")
    mark = PackMark(
        id="0" * 16, original_sha256=key().run.clip.sha256, scale=scale, left_px=left, top_px=top,
        share=2, shares=3, frames=tuple(frames),
    )  # fmt: skip
    packed = with_pack_mark(rescaled(run, Rescaling(scale, left, top)), mark)
    packed = replace(packed, clip=replace(packed.clip, path="film.mp4", sha256="1" * 64))
    read, plain = (read_answer("a", encode_run(each), key()) for each in (packed, run))
    assert isinstance(read, Answer)
    assert isinstance(plain, Answer)
    for part in (Part.SURFACE, Part.LANDING):
        np.testing.assert_allclose(read.places[part], plain.places[part], atol=1e-6)
    assert (read.share, list(read.asked)) == (2, frames)
    # The same answer without a word of its pack is one of a film that nobody knows.
    unknown = read_answer("a", encode_run(replace(packed, extra={})), key())
    assert isinstance(unknown, Refusal)
    assert "another film" in unknown.reason


@few
@given(data=st.binary(max_size=300) | st.binary(max_size=60).map(lambda tail: b"PK\x03\x04" + tail))
def test_any_bytes_are_an_answer_or_a_refusal_in_one_line(data: bytes) -> None:
    read = read_answer("a.run.json", data, key())
    assert isinstance(read, Refusal)
    assert in_one_line(read.reason)


# --- packs ------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run of a film of a few kilobytes, 40 frames."""
    folder = tmp_path_factory.mktemp("small")
    film = fuzz._small_film(folder)
    run = load_run(sim.BENCH / "bench.run.json")
    clip = replace(run.clip, path=film.name, sha256=sha256_of(film))
    spots = [Spot(px=Pixel(5.0 + i, 7.0), px_u=0.5, by=By.HAND) for i in range(40)]
    readings = tuple(Reading(frame=i, surface=spot) for i, spot in enumerate(spots))
    save_run(replace(run, clip=clip, observer="The teacher", readings=readings), folder / "small.run.json")
    return folder / "small.run.json"


@few
@given(
    students=st.none() | st.integers(2, 12),
    each=st.integers(4, 12),
    blind=st.booleans(),
    given_away=st.booleans(),
    withhold=st.frozensets(st.sampled_from(["rules", "orifice", "drop", "conditions"])),
)
def test_what_a_pack_holds_is_what_was_put_in_less_what_was_withheld(
    small: Path,
    students: int | None,
    each: int,
    blind: bool,
    given_away: bool,
    withhold: frozenset[str],
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    folder = tmp_path_factory.mktemp("pack")
    plan = PackPlan(
        withhold=withhold, give_readings=given_away, blind=blind, students=students,
        each=each if students is not None else None,
    )  # fmt: skip
    pack(small, folder / "p.clepsydra", plan)
    made = unpack(folder / "p.clepsydra", folder / "out")
    source = load_run(small)
    assert sha256_of(made.film) == source.clip.sha256 == made.manifest.film_sha256
    assert made.manifest.blind == blind
    runs = [load_run(path) for path in sorted((folder / "out").glob("*.run.json"))]
    assert len(runs) == (students or 1)
    for run in runs:
        mark = pack_mark_of(run)
        assert mark is not None
        assert mark.original_sha256 in {None, source.clip.sha256}
        assert run.observer == ""
        for name in ("rules", "orifice", "drop", "conditions", "gauge_line", "landing_line"):
            assert (getattr(run, name) == getattr(source, name)) == (name not in withhold)
        kept = {r.frame: r.surface for r in run.readings if r.surface is not None}
        asked = mark.frames if students is not None else range(40)
        assert kept == ({i: source.readings[i].surface for i in asked} if given_away else {})
        if students is not None:
            assert [r.frame for r in run.readings] == list(mark.frames)


@few
@given(data=st.binary(max_size=300) | st.binary(max_size=200).map(lambda tail: b"PK\x03\x04" + tail))
def test_any_bytes_are_no_pack_and_leave_nothing(
    data: bytes, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("bytes")
    (folder / "p.clepsydra").write_bytes(data)
    with pytest.raises(AppError) as caught:
        unpack(folder / "p.clepsydra", folder / "out")
    assert in_one_line(str(caught.value))
    assert [path.name for path in folder.iterdir()] == ["p.clepsydra"]


# --- results, criteria, questions, traces -----------------------------------------------------------------------------


@settings(few, max_examples=5)
@given(seed=st.integers(0, 10_000), drop=st.floats(0.2, 1.0))
def test_findings_come_back_to_the_last_digit(seed: int, drop: float, tmp_path: Path) -> None:
    from analysis import Conditions
    from measure_app.report import results_of_table
    from measure_app.table import load_table

    dice = np.random.default_rng(seed)
    head = np.linspace(0.2, 0.05, 9)
    throw = 2.0 * 0.97 * np.sqrt(head * drop) + dice.normal(0.0, 0.001, 9)
    rows = "\n".join(
        f"{h:.5f},{x:.5f},{4.0 * i:.1f}" for i, (h, x) in enumerate(zip(head, throw, strict=True))
    )
    path = tmp_path / "t.csv"
    path.write_text(f"head_m,throw_m,time_s\n{rows}\n", encoding="utf-8")
    results = results_of_table(load_table(path), Conditions(), drop, 0.001)
    back = decode_findings(findings_json(results), "findings.json")
    made = {each.name: each for each in results.findings.findings if each.u > 0.0}
    assert set(back.findings) == set(made)
    assert {"speed_coefficient", "slope_speed_vs_root_head"} <= set(made)
    for name, finding in back.findings.items():
        told = made[name]
        assert (finding.value, finding.u, finding.interval_95) == (told.value, told.u, told.interval_95)
        assert finding.budget == told.budget
        assert (finding.unit, finding.depends_on_assumed_g) == (told.unit, told.depends_on_assumed_g)
    assert back.gravity_m_s2 == results.findings.accepted_gravity.value


weights = st.floats(0.001, 100.0)
some_criteria = st.builds(
    Criteria,
    surface=st.none() | st.builds(Places, weights, st.floats(0.1, 50.0)),
    landing=st.none() | st.builds(Places, weights, st.floats(0.1, 50.0)),
    complete=st.none() | st.builds(Weighted, weights),
    setup=st.none() | st.builds(Scale, weights, st.floats(0.1, 50.0)),
    cv=st.none() | st.builds(Coefficient, weights, st.floats(0.001, 0.5)),
    questions=st.none() | st.builds(Weighted, weights),
)


@few
@given(criteria=some_criteria)
def test_criteria_written_as_toml_come_back(criteria: Criteria, tmp_path: Path) -> None:
    tables = {name: part for name, part in msgspec.to_builtins(criteria).items() if part is not None}
    text = "\n".join(
        f"[{name}]\n" + "\n".join(f"{k} = {v!r}" for k, v in part.items()) for name, part in tables.items()
    )
    path = tmp_path / "criteria.toml"
    path.write_text(text, encoding="utf-8")
    if tables:
        assert load_criteria(path) == criteria
    else:
        with pytest.raises(AppError, match="names no criterion"):
            load_criteria(path)


a_question = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=30).filter(
    lambda text: not text.startswith(("#", "\ufeff"))
)


@few
@given(
    asked=st.lists(a_question, min_size=1, max_size=8),
    gaps=st.sampled_from(["\n", "\r\n", "\n\n  ", "\n# no\n"]),
)
def test_questions_come_back_line_by_line(asked: list[str], gaps: str, tmp_path: Path) -> None:
    path = tmp_path / "questions.txt"
    path.write_bytes(gaps.join(asked).encode())
    assert [each.question for each in load_questions(path)] == asked


@st.composite
def traces(draw: st.DrawFn) -> JetTrace:
    """Draw a trace to the thousandth of a pixel, as it is kept; some places not seen."""
    count, lines = draw(st.integers(1, 5)), draw(st.integers(1, 6))
    dice = np.random.default_rng(draw(st.integers(0, 2**32)))
    u = np.round(dice.uniform(0.01, 9.0, (count, lines)), 3)
    px = np.round(dice.uniform(-100.0, 4000.0, (count, lines, 2)), 3)
    unseen = dice.random((count, lines)) < 0.3
    px[unseen], u[unseen] = np.nan, np.nan
    frames = np.sort(dice.choice(10_000, count, replace=False))
    return JetTrace(frames, px, u, round(float(dice.uniform(1.0, 90.0)), 2))


@few
@given(trace=traces())
def test_a_traced_jet_comes_back_from_the_run_file(trace: JetTrace) -> None:
    run = AdoptJet(trace).apply(Run(clip=ClipPart(path="film.mp4")))
    back = trace_of(decode_run(encode_run(run)))
    assert back is not None
    np.testing.assert_array_equal(back.frames, trace.frames)
    np.testing.assert_array_equal(back.px, trace.px)
    np.testing.assert_array_equal(back.u_px, trace.u_px)
    assert back.width_px == trace.width_px


# --- small texts and heads of files -----------------------------------------------------------------------------------


@few
@given(
    size=st.tuples(st.integers(1, 999_999), st.integers(1, 999_999)),
    between=st.sampled_from(["x", "X", "×", " x "]),
)
def test_a_pictures_size_comes_back(size: tuple[int, int], between: str) -> None:
    assert columns_x_rows(f"{size[0]}{between}{size[1]}") == size


@settings(few, max_examples=60)
@given(text=st.text(max_size=20) | st.from_regex(r"[0-9]{0,30}[x×X][0-9]{0,30}", fullmatch=True))
def test_any_text_is_a_pictures_size_or_refused(text: str) -> None:
    try:
        assert all(0 <= side < 10**6 for side in columns_x_rows(text))
    except click.BadParameter as error:
        assert in_one_line("".join(c for c in str(error) if c.isprintable()))  # noqa: PT017


HEADS = {
    "mov": b"\0\0\0\x18ftypisom",
    "matroska": b"\x1a\x45\xdf\xa3\x93\x42\x82\x88",
    "avi": b"RIFF\0\0\0\0AVI ",
}


@settings(few, max_examples=60)
@given(head=st.sampled_from([b"", *HEADS.values()]), rest=st.binary(max_size=40))
def test_a_container_is_known_by_its_first_bytes_alone(head: bytes, rest: bytes, tmp_path: Path) -> None:
    path = tmp_path / "film.txt"
    path.write_bytes(head + rest)
    expected = next((name for name, start in HEADS.items() if (head + rest).startswith(start)), None)
    if expected is not None and head:
        assert container_of(path) == expected
        return
    try:
        assert container_of(path) in HEADS
    except AppError as error:
        assert in_one_line(str(error))  # noqa: PT017


counts = st.integers(0, 2**31 - 1)
suspects = st.none() | whose
messages = (
    st.builds(Row, counts, st.booleans(), suspects, st.none() | st.tuples(counts, counts))
    | st.builds(Shown, st.lists(counts, max_size=3).map(tuple), st.booleans(), suspects, counts)
    | st.builds(Failed, st.booleans(), whose, whose)
)


@settings(few, max_examples=60)
@given(said=st.lists(messages, min_size=1, max_size=4), cut=st.integers(1, 3))
def test_messages_of_a_decoder_come_back_in_turn_and_a_cut_one_is_none(said: list[Any], cut: int) -> None:
    out = io.BytesIO()
    mouth: Wire[Any] = Wire(io.BytesIO(), out, words())
    for each in said:
        mouth.say(each)
    ear: Wire[Any] = Wire(io.BytesIO(out.getvalue()), io.BytesIO(), words())
    assert [ear.heard() for _ in said] == said
    cut_short: Wire[Any] = Wire(io.BytesIO(out.getvalue()[:-cut]), io.BytesIO(), words())
    assert [cut_short.heard() for _ in said[:-1]] == said[:-1]
    with pytest.raises(BrokenWire):
        cut_short.heard()
