"""Whatever bytes a reader is given, it reads them or refuses them in one line; and what we write comes back.

The readers of run files, tables and `extra` have such tests beside their own (`test_edits`, `test_table`,
`test_extras`); here are the others.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from functools import reduce
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.drain_clock import DrainClock
from calibration import Pixel, Segment
from measure_app.collating import Criteria, load_criteria
from measure_app.comparing import decode_findings
from measure_app.contract import MAX_DEPTH, check_plain
from measure_app.errors import AppError, RunFileError
from measure_app.gui import recovery
from measure_app.gui.value_entry import number_of
from measure_app.packs import load_questions
from measure_app.packs.manifest import Manifest, manifest_bytes, manifest_from, share_name
from measure_app.planning.lengths import length_of
from measure_app.runfile import decode_run
from tests.measure_app.strategies import runs

few = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
scalars = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8)
trees = st.recursive(
    scalars,
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                ["format", "format_version", "clip", "findings", "film", "runs", "run", "path", "id", "x"]
            ),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)
anything = st.binary(max_size=200) | trees.map(lambda tree: json.dumps(tree).encode())


def recovered(data: bytes, folder: Path) -> object:
    path = folder / "a.recovery.json"
    path.write_bytes(data)
    return recovery._read(path)


def questions(data: bytes, folder: Path) -> object:
    path = folder / "q.txt"
    path.write_bytes(data)
    return load_questions(path)


def criteria(data: bytes, folder: Path) -> object:
    path = folder / "criteria.toml"
    path.write_bytes(data)
    return load_criteria(path)


READERS: dict[str, Callable[[bytes, Path], object]] = {
    "run file": lambda data, _: decode_run(data, "a.run.json"),
    "findings": lambda data, _: decode_findings(data, "findings.json"),
    "pack's description": lambda data, _: manifest_from(data, "pack.json"),
    "recovery file": recovered,
    "questions": questions,
    "criteria of marking": criteria,
}


@pytest.mark.parametrize("name", READERS)
@few
@given(data=anything)
def test_any_bytes_are_read_or_refused_in_one_line(name: str, data: bytes, tmp_path: Path) -> None:
    try:
        assert READERS[name](data, tmp_path) is not None
    except AppError as error:
        said = str(error)
        assert "\n" not in said
        assert said.isprintable()
        assert 10 < len(said) < 1000


deep = st.tuples(st.integers(60, 70), scalars).map(
    lambda drawn: reduce(lambda inner, _: [inner], range(drawn[0]), drawn[1])
)
halves = st.sampled_from(
    ["\ud800", "a\udfff", "\ud83d\ude00", "ü"]
)  # a pair of halves is one character in JSON alone
plain_trees = st.recursive(
    scalars | halves,
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.tuples(inner, inner)
        | st.dictionaries(st.text(max_size=3) | halves, inner, max_size=3)
    ),
    max_leaves=10,
)


def levels(tree: object) -> int:
    inner: Sequence[object] = ()
    if isinstance(tree, dict | list | tuple):
        inner = tuple(tree.values()) if isinstance(tree, dict) else tree
        return 1 + max(map(levels, inner), default=0)
    return 0


@settings(few, max_examples=200)
@given(tree=plain_trees | deep)
def test_what_json_in_utf_8_cannot_hold_is_refused_and_nothing_else(tree: object) -> None:
    try:
        json.dumps(tree, allow_nan=False, ensure_ascii=False).encode()
        sound = levels(tree) <= MAX_DEPTH
    except ValueError:  # not finite, or half a character
        sound = False
    try:
        check_plain(tree, "a.run.json")
    except RunFileError as error:
        assert not sound
        assert str(error).startswith("a.run.json")  # noqa: PT017
        assert "\n" not in str(error)  # noqa: PT017
    else:
        assert sound


hexes = st.text("0123456789abcdef", min_size=64, max_size=64)


@few
@given(students=st.integers(0, 40), identity=hexes, digest=hexes)
def test_a_packs_description_comes_back(students: int, identity: str, digest: str) -> None:
    runs_in = tuple(share_name(i + 1) for i in range(students)) or ("film.run.json",)
    manifest = Manifest(id=identity[:16], film="film.mp4", film_sha256=digest, runs=runs_in, title="A drain")
    assert manifest_from(manifest_bytes(manifest), "pack.json") == manifest


@few
@given(run=runs, mark=st.none() | hexes, saved=st.booleans())
def test_what_a_window_keeps_for_a_crash_comes_back(
    run: Any, mark: str | None, saved: bool, tmp_path: Path
) -> None:
    path = tmp_path / "mine.run.json" if saved else None
    store = recovery.RecoveryStore(tmp_path)
    try:
        store.keep(recovery.Snapshot(run, tmp_path, path, mark=mark))
        back = recovery._read(store._file)
    finally:
        store.keep(None)
        store.close()
    assert (back.run, back.folder, back.path, back.mark) == (run, tmp_path, path, mark)


@few
@given(value=st.floats(-1e6, 1e6), unit=st.sampled_from(["", "m", "cm", "mm"]), comma=st.booleans())
def test_a_length_typed_with_any_unit_is_that_length(value: float, unit: str, comma: bool) -> None:
    typed = f"{value!r}{unit}"
    scale = {"": 1.0, "m": 1.0, "cm": 0.01, "mm": 0.001}[unit]
    assert length_of(typed.replace(".", ",") if comma else typed) == pytest.approx(value * scale, rel=1e-15)


@few
@given(text=st.text(max_size=20))
def test_any_text_is_a_finite_length_or_is_refused(text: str) -> None:
    try:
        assert np.isfinite(length_of(text))
    except ValueError as error:
        assert "length" in str(error)  # noqa: PT017


@few
@given(value=st.floats(-1e8, 1e8), comma=st.booleans(), minus=st.booleans())
def test_a_number_typed_beside_a_graduation_is_that_number(value: float, comma: bool, minus: bool) -> None:
    typed = f" {value!r} "
    typed = typed.replace(".", ",") if comma else typed
    assert number_of(typed.replace("-", "−") if minus else typed) == value


@few
@given(text=st.text(max_size=12) | st.sampled_from(["nan", "inf", "-inf", "1e999", "1_0", "", "1,2,3"]))
def test_any_text_beside_a_graduation_is_a_finite_number_or_none(text: str) -> None:
    value = number_of(text)
    assert value is None or abs(value) < 1e9


toml_values = st.integers(-(10**20), 10**20).map(str) | st.sampled_from(
    ["nan", "-inf", "1.5", '"x"', "true", "[1]", "{}"]
)
toml_keys = st.sampled_from(["weight", "tolerance_px", "tolerance", "x"])
toml_texts = st.lists(
    st.tuples(
        st.sampled_from([*Criteria.__struct_fields__, "y"]),
        toml_keys,
        toml_values,
    ),
    max_size=4,
).map(lambda rows: "\n".join(f"[{table}]\n{key} = {value}" for table, key, value in rows))


@few
@given(text=toml_texts)
def test_any_toml_is_criteria_or_is_refused_in_one_line(text: str, tmp_path: Path) -> None:
    try:
        assert criteria(text.encode(), tmp_path) is not None
    except AppError as error:
        assert "\n" not in str(error)  # noqa: PT017


heads = st.lists(st.floats(1e-6, 10.0), min_size=1, max_size=20)


@few
@given(heads)
def test_a_head_is_the_square_of_its_root_and_back(values: list[float]) -> None:
    clock, head = DrainClock(), np.array(values)
    root = clock.root(head)
    np.testing.assert_allclose(clock.head(root), head, rtol=1e-14)
    # d(h)/d(√h) = 2 √h, by differences of the law itself.
    step = 1e-6 * root
    slope = (clock.head(root + step) - clock.head(root - step)) / (2.0 * step)
    np.testing.assert_allclose(clock.head_by_root(root, head), slope, rtol=1e-6)


places = st.tuples(st.floats(-2000, 2000), st.floats(-2000, 2000))


@few
@given(start=places, end=places, along=st.lists(st.floats(-3000, 3000), min_size=1, max_size=8))
def test_a_place_along_a_line_is_found_there_again(
    start: tuple[float, float], end: tuple[float, float], along: list[float]
) -> None:
    if np.hypot(start[0] - end[0], start[1] - end[1]) < 1.0:
        return
    segment = Segment(Pixel(*start), Pixel(*end))
    assert np.linalg.norm(segment.direction) == pytest.approx(1.0)
    np.testing.assert_allclose(segment.along(segment.at(np.array(along))), along, atol=1e-8)
    assert segment.along(np.array([end]))[0] == pytest.approx(segment.length_px)
