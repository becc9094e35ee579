"""Run files: what is read, what is refused and in which words, and saving that never loses a run."""

import copy
import gc
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import jsonschema
import msgspec
import pytest

from calibration import Pixel
from measure_app.contract import checked
from measure_app.errors import ClipError, OutputError, RunFileError
from measure_app.run import Run
from measure_app.runfile import (
    MAX_BYTES,
    check_clip_identity,
    clip_path,
    decode_run,
    encode_run,
    load_run,
    run_schema,
    save_run,
)

BENCH = Path(__file__).parents[2] / "sample_clips" / "bench" / "bench.run.json"


@pytest.fixture
def tree() -> dict[str, Any]:
    """Plain objects of the bench run, fresh for each test."""
    return json.loads(BENCH.read_text(encoding="utf-8"))


def refusal(tree: Any) -> str:
    """Words of the error with which these objects are refused as a run file called r.json."""
    with pytest.raises(RunFileError) as caught:
        decode_run(json.dumps(tree).encode(), "r.json")
    return str(caught.value)


def put(tree: Any, key: str, value: Any) -> Any:
    """Change one value of the objects; key such as rules.0.px_u; value ... removes it."""
    *way, last = (int(step) if step.isdigit() else step for step in key.split("."))
    inside = tree
    for step in way:
        inside = inside[step]
    if value is ...:
        del inside[last]
    else:
        inside[last] = value
    return tree


def test_bench_run_is_read_as_written(tree):
    run = load_run(BENCH)
    assert run.title == tree["title"]
    assert run.rules[0].graduations[2].px == Pixel(*tree["rules"][0]["graduations"][2]["px"])
    assert run.gauge_line is not None
    assert run.gauge_line.behind_m == tree["gauge_line"]["behind_m"]
    assert run.clip.stop_frame is None


def test_written_run_reads_back_equal_and_twice_the_same_bytes():
    run = load_run(BENCH)
    data = encode_run(run)
    assert decode_run(data) == run
    assert encode_run(decode_run(data)) == data
    assert data.endswith(b"}\n")


def test_written_keys_stand_in_the_order_of_the_contract():
    keys = list(json.loads(encode_run(load_run(BENCH))))
    assert keys == [
        "format", "format_version", "title", "observer", "clip", "rules", "camera", "plumb", "orifice", "drop",
        "throw_zero", "gauge_line", "landing_line", "conditions", "corrections", "falls", "readings", "extra",
    ]  # fmt: skip


def test_positions_stand_on_one_line_so_that_a_moved_mark_is_one_changed_line():
    run = load_run(BENCH)
    assert run.orifice is not None
    moved = msgspec.structs.replace(run, orifice=msgspec.structs.replace(run.orifice, px=Pixel(1.5, 2.5)))
    before, after = encode_run(run).splitlines(), encode_run(moved).splitlines()
    changed = [line for line, other in zip(before, after, strict=True) if line != other]
    assert len(changed) == 1


def test_extra_is_carried_untouched(tree):
    tree["extra"] = {"their program": {"a": [1, 2.5, None, "ü", {"b": True}], "format": 7}}
    run = decode_run(json.dumps(tree).encode())
    assert json.loads(encode_run(run))["extra"] == tree["extra"]


def test_nullable_keys_may_be_left_out():
    run = decode_run(b'{"format": "clepsydra-run", "format_version": 1, "clip": {"path": "a.mp4"}}')
    assert run == Run(clip=run.clip)
    assert run.clip.path == "a.mp4"


def test_readings_are_put_in_order_of_frames(tree):
    tree["readings"] = [{"frame": 7}, {"frame": 2, "note": "x"}]
    assert [r.frame for r in decode_run(json.dumps(tree).encode()).readings] == [2, 7]


FALL = {"name": "a drop", "what": "drop", "marks": [{"frame": i, "px": [1, i], "px_u": 1} for i in (3, 4)]}
SPHERE = {"shape": "sphere", "centre_head_m": 0.1, "diameter_m": 0.2}
FRUSTUM = {
    "shape": "frustum",
    "lower_head_m": 0.0,
    "lower_diameter_m": 0.1,
    "upper_head_m": 0.2,
    "upper_diameter_m": 0.2,
}
PROFILE = "conditions.container_profile"

REFUSED = [
    (
        PROFILE,
        {**SPHERE, "shape": "cube"},
        'profile.shape: must be "round", "frustum" or "sphere", got "cube"',
    ),
    (PROFILE, {"diameter_m": 1}, 'profile.shape: is missing; add it: "round", "frustum" or "sphere"'),
    (PROFILE, {**SPHERE, "diameter_m": 0}, "container_profile.diameter_m: must be greater than 0"),
    (PROFILE, {**FRUSTUM, "upper_head_m": 0}, "upper_head_m: must be above lower_head_m (0), got 0"),
    (PROFILE, {**FRUSTUM, "upper_diameter_m": 0, "lower_diameter_m": 0}, "both diameters are nought"),
    (PROFILE, [{"head_m": 0, "area_m2": 1}], "container_profile: must be a list of 2 or more, got 1"),
    (PROFILE, [{"head_m": 0, "area_m2": 1}] * 2, "profile[1].head_m: must be above the height before it (0)"),
    (
        PROFILE,
        {"shape": "round", "diameters": [{"head_m": h, "diameter_m": 1} for h in (0.2, 0.1)]},
        "profile.diameters[1].head_m: must be above the height before it (0.2), got 0.1",
    ),
    ("conditions.container_profile_u", 2, "container_profile_u: must be at most 1, got 2"),
    ("orifice.launch_angle_deg", 90, "orifice.launch_angle_deg: must be at most 80, got 90"),
    ("orifice.wall_thickness_m", -1, "orifice.wall_thickness_m: must be at least 0, got -1"),
    ("orifice.jet_diameter_m", 0, "orifice.jet_diameter_m: must be greater than 0, got 0"),
    ("corrections", {"wind": True}, "corrections.wind: unknown key"),
    ("corrections", {"low_heads": 1}, "corrections.low_heads: must be true or false, got 1"),
    (
        "falls",
        [{**FALL, "what": "stone"}],
        'falls[0].what: must be "drop", "jet drop" or "jet front", got "stone"',
    ),
    ("falls", [{**FALL, "marks": FALL["marks"][:1]}], "falls[0].marks: must be a list of 2 or more, got 1"),
    (
        "falls",
        [{**FALL, "marks": FALL["marks"][::-1]}],
        "falls[0].marks[1].frame: must be after the mark before",
    ),
    (
        "falls",
        [{**FALL, "marks": [FALL["marks"][0], {"frame": 9, "px": [1e7, 0], "px_u": 1}]}],
        "falls[0].marks[1].px: lies over 1000000 px",
    ),
    ("falls", [FALL] * 101, "falls: must be a list of 100 or fewer, got 101"),
    ("rules.0.graduations.2.valu_m", 1, "rules[0].graduations[2].valu_m: unknown key; did you mean value_m?"),
    ("camra", {}, "camra: unknown key; did you mean camera?"),
    (
        "conditions.wind",
        1,
        "conditions.wind: unknown key; what another program wants to keep goes under extra",
    ),
    ("rules.0.graduations.2.value_m", ..., "rules[0].graduations[2].value_m: is missing"),
    ("clip", ..., "clip: is missing"),
    ("clip", None, "clip: must be an object with keys, got null"),
    ("rules.0.graduations.2.px", [1], "rules[0].graduations[2].px: must be a list of 2 values"),
    ("rules.0.graduations.2.px.1", "a", 'rules[0].graduations[2].px[1]: must be a number, got "a"'),
    ("rules.0.px_u", -1, "rules[0].px_u: must be at least 0, got -1"),
    ("rules.0.px_u", True, "rules[0].px_u: must be a number, got true"),
    ("rules.0.measures", "drop", 'rules[0].measures: must be "head", "throw" or "both", got "drop"'),
    ("rules.0.graduations", [], "a rule needs 2 graduations or more, got 0; mark one more"),
    ("orifice.diameter_m", 0, "orifice.diameter_m: must be greater than 0, got 0"),
    ("drop.value_m", -0.3, "drop.value_m: must be greater than 0, got -0.3"),
    ("camera.distance_m", "1 m", 'camera.distance_m: must be a number or null, got "1 m"'),
    ("camera.lens", {"k1": 0.1, "focal_px": 900, "model": "fish"}, 'camera.lens.model: must be "radial"'),
    ("clip.start_frame", 1.5, "clip.start_frame: must be a whole number, got 1.5"),
    ("clip.start_frame", -1, "clip.start_frame: must be at least 0, got -1"),
    ("clip.stop_frame", 0, "clip.stop_frame: must be greater than start_frame (0), got 0"),
    ("clip.sha256", "abc", "clip.sha256: must be 64 hexadecimal digits or null"),
    ("clip.path", "", "clip.path: must be text of 1 or more characters, got 0"),
    ("clip.path", "../film.mp4", "clip.path: may not leave the run file's folder"),
    ("clip.path", "a\\..\\..\\film.mp4", "clip.path: may not leave the run file's folder"),
    ("clip.path", "https://a.example/film.mp4", "clip.path: must be a local file"),
    ("clip.path", "film\x00.mp4", "clip.path: holds a control character"),
    ("conditions.latitude_deg", 90.5, "conditions.latitude_deg: must be at most 90, got 90.5"),
    ("orifice.px", [1e7, 0], "orifice.px: lies over 1000000 px from the frame's corner"),
    ("orifice.px_u", 10**30, "orifice.px_u: must be at most 1e+06, got a huge whole number"),
    ("orifice.px_u", 10**400, "orifice.px_u: number out of range"),
    ("gauge_line.to_px", ["from"], "gauge_line.to_px: must be a list of 2 values"),
    ("readings", [{"frame": 3}, {"frame": 3}], "readings: frame 3 is read 2 times"),
    (
        "readings",
        [{"frame": 3, "surface": {"px": [1, 2], "px_u": 1, "by": "eye"}}],
        'must be "hand" or "found"',
    ),
    ("format_version", 2, "saved by a newer version of the program"),
    ("format_version", 0, "format_version: must be 1, got 0"),
    ("format_version", True, "format_version: must be 1, got true"),
    ("format", "other", 'format: must be "clepsydra-run", got "other"'),
    ("format", ..., 'format: must be "clepsydra-run", it is missing'),
    ("title", "\ud800", "title: holds half a character"),
    ("title", "x" * 3000, "title: must be text of 2000 or fewer characters, got 3000"),
]


@pytest.mark.parametrize(
    ("key", "value", "words"), REFUSED, ids=[f"{k}-{i}" for i, (k, _, _) in enumerate(REFUSED)]
)
def test_broken_rule_is_told_in_one_line_with_file_and_key(tree, key, value, words):
    said = refusal(put(tree, key, value))
    assert said.startswith("r.json: ")
    assert words in said
    assert "\n" not in said


def test_lines_and_graduations_need_different_points(tree):
    line = tree["gauge_line"]
    assert "gauge_line: a line needs two different ends" in refusal(
        put(copy.deepcopy(tree), "gauge_line.to_px", line["from_px"])
    )
    value = tree["rules"][0]["graduations"][0]["value_m"]
    assert "rules[0].graduations[3]: has the same value as graduations[0]" in refusal(
        put(tree, "rules.0.graduations.3.value_m", value)
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"", "line 1, column 1: not JSON"),
        (b'{"format": "clepsydra-run",\n "title": }', "line 2, column 11: not JSON"),
        (b"[]", "a run file is one object in braces"),
        (b"\xff\xfe{}", "is not UTF-8 text (byte 0)"),
        (b'{"format": NaN}', "holds NaN, which JSON does not have"),
        (b'{"a": {"x": -Infinity}}', "holds -Infinity"),
        (b'{"format": 1e999}', "format: must be a finite number, got inf"),
        (b'{"n": ' + b"9" * 5000 + b"}", "number of thousands of digits"),
        (b'{"clip": {"path": "a", "b": 1, "path": "c"}}', "r.json: clip.path: the key stands twice"),
        (b'{"rules": [{}, {"x": 1, "x": 1}]}', "r.json: rules[1].x: the key stands twice"),
        (b'{"extra": ' + b"[" * 100000 + b"]" * 100000 + b"}", "nested too deeply"),
        (b'{"extra": ' + b'{"a":' * 80 + b"1" + b"}" * 81, "nested more than 64 levels deep"),
    ],
    ids=range(12),
)
def test_hostile_text_is_refused_in_one_line(text, words):
    with pytest.raises(RunFileError) as caught:
        decode_run(text, "r.json")
    assert words in str(caught.value)
    assert len(str(caught.value)) < 400


def test_byte_order_mark_is_skipped():
    assert decode_run(b"\xef\xbb\xbf" + BENCH.read_bytes()) == load_run(BENCH)


def test_size_bound_holds_before_anything_is_parsed(tmp_path):
    big = tmp_path / "big.run.json"
    with big.open("wb") as file:
        file.truncate(MAX_BYTES + 1)
    with pytest.raises(RunFileError, match="larger than a run file may be"):
        load_run(big)
    with pytest.raises(RunFileError, match="larger than a run file may be"):
        decode_run(b" " * (MAX_BYTES + 1))


def test_terminal_controls_in_a_key_are_not_passed_on(tree):
    assert "\x1b" not in refusal(put(tree, "\x1b[2Jx", 1))


def test_places_that_are_not_files(tmp_path):
    with pytest.raises(RunFileError, match="there is no such file"):
        load_run(tmp_path / "none.run.json")
    with pytest.raises(RunFileError, match="not a plain file"):
        load_run(tmp_path)
    with pytest.raises(RunFileError, match="not a file name"):
        load_run(Path("a\x00b"))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_a_pipe_does_not_hang_the_reader(tmp_path):
    os.mkfifo(tmp_path / "pipe.run.json")
    with pytest.raises(RunFileError, match="not a plain file"):
        load_run(tmp_path / "pipe.run.json")


def test_a_key_twice_among_a_million_is_found_at_once():
    text = "{" + ",".join(f'"k{i}":1' for i in range(200_000)) + ',"k5":2}'
    start = time.perf_counter()
    with pytest.raises(RunFileError, match="k5: the key stands twice"):
        decode_run(text.encode())
    assert time.perf_counter() - start < 5


def test_a_long_run_is_read_and_checked_without_a_search_for_cycles_and_the_search_goes_on_after():
    spot = {"px": [455.0, 160.0], "px_u": 0.5, "by": "hand"}
    long = json.loads(BENCH.read_text(encoding="utf-8"))
    long["readings"] = [{"frame": i, "surface": spot} for i in range(20_000)]
    text, searches = json.dumps(long).encode(), []
    gc.callbacks.append(lambda phase, told: searches.append((phase, told["generation"])))
    try:
        run = decode_run(text)
        checked(run)
        # Leaving the stretch allows one search; on a tree of this size there would be hundreds.
        assert len([each for each in searches if each[0] == "start"]) <= 4
    finally:
        gc.callbacks.pop()
    assert not gc.is_tracked(run.readings[7])
    assert not gc.is_tracked(run.readings[7].surface)
    assert gc.isenabled()
    with pytest.raises(RunFileError):
        decode_run(b"{}")
    assert gc.isenabled()
    gc.disable()
    try:
        checked(run)
        assert not gc.isenabled()
    finally:
        gc.enable()


# --- saving ----------------------------------------------------------------------------------------------------------


def test_saved_run_loads_equal_and_leaves_no_other_file(tmp_path):
    run = load_run(BENCH)
    save_run(run, tmp_path / "a.run.json")
    save_run(run, tmp_path / "a.run.json")
    assert load_run(tmp_path / "a.run.json") == run
    assert [p.name for p in tmp_path.iterdir()] == ["a.run.json"]


def test_run_that_breaks_the_contract_is_not_saved(tmp_path):
    run = load_run(BENCH)
    path = tmp_path / "a.run.json"
    save_run(run, path)
    before = path.read_bytes()
    assert run.orifice is not None
    for px in (Pixel(float("nan"), 0.0), Pixel(0.0, float("inf"))):
        bad = msgspec.structs.replace(run, orifice=msgspec.structs.replace(run.orifice, px=px))
        with pytest.raises(RunFileError, match=r"orifice\.px\[[01]\]: must be a finite number"):
            save_run(bad, path)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["a.run.json"]


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_failing_disk_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch, step):
    run = load_run(BENCH)
    path = tmp_path / "a.run.json"
    save_run(run, path)
    before = path.read_bytes()

    def fail(*_args: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync" if step == "fsync" else "os.replace", fail)
    with pytest.raises(OutputError, match=r"a\.run\.json: cannot be written \(no space left on device\)"):
        save_run(msgspec.structs.replace(run, title="new"), path)
    monkeypatch.undo()
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["a.run.json"]


def test_saving_keeps_permissions_and_follows_a_link(tmp_path):
    run = load_run(BENCH)
    real = tmp_path / "real.run.json"
    save_run(run, real)
    real.chmod(0o640)
    link = tmp_path / "link.run.json"
    link.symlink_to(real)
    save_run(msgspec.structs.replace(run, title="new"), link)
    assert link.is_symlink()
    assert load_run(real).title == "new"
    assert real.stat().st_mode & 0o777 == 0o640


def test_saving_into_a_missing_folder_or_over_a_folder_says_so(tmp_path):
    run = load_run(BENCH)
    with pytest.raises(OutputError, match="no such file or directory"):
        save_run(run, tmp_path / "none" / "a.run.json")
    with pytest.raises(OutputError, match="not a plain file"):
        save_run(run, tmp_path)


def test_killed_while_saving_the_file_is_the_old_or_the_new_one(tmp_path):
    path = tmp_path / "a.run.json"
    code = (
        "import sys, msgspec\nfrom pathlib import Path\nfrom measure_app.runfile import load_run, save_run\n"
        f"run = load_run(Path({str(BENCH)!r}))\nrun = msgspec.structs.replace(run, extra={{'pad': ['x' * 50] * 4000}})\n"
        f"n = 0\nprint('up', flush=True)\nwhile True:\n    n += 1\n"
        f"    save_run(msgspec.structs.replace(run, title=str(n)), Path({str(path)!r}))\n"
    )
    for delay in (0.02, 0.05, 0.08, 0.11):
        with subprocess.Popen(
            [sys.executable, "-c", code], stdout=subprocess.PIPE, cwd=BENCH.parents[2]
        ) as saver:
            assert saver.stdout is not None
            saver.stdout.readline()
            time.sleep(delay)
            saver.send_signal(signal.SIGKILL)
        if path.exists():
            assert len(load_run(path).extra["pad"]) == 4000
    assert path.exists()


# --- clip ------------------------------------------------------------------------------------------------------------


def with_path(path: str) -> Run:
    return decode_run(
        json.dumps({"format": "clepsydra-run", "format_version": 1, "clip": {"path": path}}).encode()
    )


def test_clip_lies_beside_the_run_file_or_where_an_absolute_path_says(tmp_path):
    assert clip_path(with_path("films/a.mp4"), tmp_path / "r.run.json") == tmp_path / "films" / "a.mp4"
    assert clip_path(with_path("films\\a.mp4"), tmp_path / "r.run.json") == tmp_path / "films" / "a.mp4"
    assert clip_path(with_path("/films/../a.mp4"), tmp_path / "r.run.json") == Path("/films/../a.mp4")
    assert clip_path(with_path("..a.mp4"), tmp_path / "r.run.json") == tmp_path / "..a.mp4"


def test_clip_identity_is_the_digest_of_its_bytes(tmp_path):
    run = load_run(BENCH)
    check_clip_identity(run, clip_path(run, BENCH))
    other = tmp_path / "bench.mp4"
    other.write_bytes(b"another film")
    with pytest.raises(ClipError, match=r"bench\.mp4: is not the film"):
        check_clip_identity(run, other)
    with pytest.raises(ClipError, match="no such file"):
        check_clip_identity(run, tmp_path / "none.mp4")
    check_clip_identity(with_path("bench.mp4"), other)


# --- schema ----------------------------------------------------------------------------------------------------------


def test_schema_is_valid_and_accepts_what_loading_accepts(tree):
    schema = run_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    assert validator.is_valid(tree)
    assert validator.is_valid(json.loads(encode_run(load_run(BENCH))))


@pytest.mark.parametrize(
    ("key", "value"),
    [(k, v) for k, v, _ in REFUSED if k.split(".")[-1] in {
        "valu_m", "camra", "wind", "value_m", "px_u", "measures", "graduations", "diameter_m", "distance_m", "lens",
        "start_frame", "sha256", "latitude_deg", "format",
    }],
    ids=str,
)  # fmt: skip
def test_schema_refuses_what_loading_refuses(tree, key, value):
    assert not jsonschema.Draft202012Validator(run_schema()).is_valid(put(tree, key, value))


def test_shipped_schema_is_the_one_of_the_types():
    shipped = Path(sys.modules["measure_app.runfile"].__file__ or "").with_name("run.schema.json")
    assert json.loads(shipped.read_text(encoding="utf-8")) == json.loads(json.dumps(run_schema()))
