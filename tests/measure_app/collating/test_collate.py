"""A whole class by the command line and by the function, with faults, hostile files and a cluster."""

from __future__ import annotations

import csv
import io
import json
import os
import re
from pathlib import Path

import numpy as np
import pytest
from matplotlib.text import Text
from msgspec.structs import replace

from measure_app.__main__ import main
from measure_app.collating import Precision, Slip, collate, gather, read_all, read_answer, told, write_class
from measure_app.collating.answer import MAX_ANSWER_BYTES, Answer, Refusal
from measure_app.collating.figures import _drawings
from measure_app.collating.teachers_key import teachers_key
from measure_app.finders import Part
from measure_app.packs import Rescaling, rescaled
from measure_app.packs.manifest import PackMark, with_pack_mark
from measure_app.runfile import encode_run, load_run
from tests.bracketed import bare
from tests.measure_app.collating import simulated_class as sim
from tests.measure_app.test_said_elsewhere import NOT_SAID

FAULTS = {
    3: sim.reading(sim.mirrored),
    11: sim.reading(sim.other_edge(8.0)),
    20: sim.set_up(sim.in_inches),
    21: sim.set_up(sim.wrong_graduation),
    25: sim.shifted(15),
}
NAMED = {3: Slip.MIRRORED, 11: Slip.EDGE, 20: Slip.UNIT, 21: Slip.GRADUATION, 25: Slip.FRAMES}


@pytest.fixture(scope="module")
def key_path(tmp_path_factory):
    path = tmp_path_factory.mktemp("key") / "key.run.json"
    path.write_bytes(encode_run(sim.key_run()))
    return path


@pytest.fixture(scope="module")
def class_of_30(tmp_path_factory):
    folder = tmp_path_factory.mktemp("class") / "answers"
    sim.write_class(folder, 30, FAULTS, seed=8)
    (folder / "broken.run.json").write_text('{"format": ', encoding="utf-8")
    (folder / "notes.txt").write_text("=cmd", encoding="utf-8")
    (folder / "copy.run.json").write_bytes((folder / "s01.run.json").read_bytes())
    phone = sim.ROOT / "sample_clips" / "phone" / "phone.run.json"
    (folder / "phone.run.json").write_bytes(phone.read_bytes())
    return folder


@pytest.fixture(scope="module")
def result(class_of_30, key_path):
    return collate(class_of_30, key_path)


@pytest.fixture(scope="module")
def hidden(class_of_30, key_path):
    return collate(class_of_30, key_path, anonymous=True)


def by_name(result):
    return {each.answer.name: each for each in result.observers}


def test_every_fault_is_named_and_nobody_else_is(result):
    observers = by_name(result)
    assert len(observers) == 30
    for s in range(30):
        found = [f.slip for f in observers[f"Student {s:02d}"].faults if f.slip is not Slip.STRAY]
        assert found == ([NAMED[s]] if s in NAMED else []), s


def test_files_that_are_no_answers_are_listed_with_the_reason(result):
    refused = {each.file: each.reason for each in result.refused}
    assert set(refused) in (
        {"broken.run.json", "notes.txt", "copy.run.json", "phone.run.json"},
        {"broken.run.json", "notes.txt", "s01.run.json", "phone.run.json"},
    )
    assert "not JSON" in refused["broken.run.json"]
    assert "another film" in refused["phone.run.json"]


def test_spreads_are_those_that_the_class_was_made_with(result):
    """Within 25 %: 27 observers tell the spread between them to about 20 %."""
    for name, (between, within) in (("surface_px", sim.SURFACE), ("landing_px", sim.LANDING)):
        found = result.precisions[name]
        assert isinstance(found, Precision)
        assert found.repeatability == pytest.approx(within, rel=0.25)
        assert found.reproducibility == pytest.approx(np.hypot(within, between), rel=0.25)


def test_the_pooled_run_is_a_run_and_holds_the_truth(result):
    pool = result.pooled
    fit = pool.outcome.findings.finding("speed_coefficient")
    true = json.loads((sim.BENCH / "bench.truth.json").read_text(encoding="utf-8"))["physics"]["Cv"]
    low, high = fit.interval_95
    assert low - 0.001 < true < high + 0.001
    plain = sim.bench_run()
    assert pool.run.gauge_line.above_level_u_m > plain.gauge_line.above_level_u_m
    assert pool.run.throw_zero.px_u > plain.throw_zero.px_u
    for part in (Part.SURFACE, Part.LANDING):
        made = pool.parts[part]
        off = made.along - sim.lines()[part].along(sim.truth()[part][made.frames])
        scale = np.hypot(made.u, made.shared_u)
        assert np.mean(np.abs(off) < 2 * scale) > 0.85


def test_observers_who_count_stand_around_nought(result):
    h = [o.standings["surface_px"].h for o in result.observers if o.places_count]
    assert np.mean(h) == pytest.approx(0.0, abs=1e-9)
    assert np.std(h, ddof=1) == pytest.approx(1.0)
    out = by_name(result)["Student 11"].standings["surface_px"]
    assert not out.counts
    assert out.h > 5.0
    assert out.bias == pytest.approx(8.0, abs=2.5)


def test_marks_follow_the_readings(result):
    observers = by_name(result)
    assert observers["Student 01"].marks.percent > 90
    assert observers["Student 03"].marks.percent < 60
    assert observers["Student 20"].marks.items["setup"] == 0.0
    assert observers["Student 01"].marks.items["complete"] is None  # these runs come from no pack


def test_all_files_are_written_and_readers_can_read_them(result, tmp_path):
    import pandas as pd

    out = tmp_path / "out"
    files = write_class(result, out)
    assert set(files) == {str(p.relative_to(out).as_posix()) for p in out.rglob("*") if p.is_file()}
    assert {"figures/class-head-strip.png", "figures/class-h.svg", "figures/class-k.pdf"} <= set(files)
    collated = pd.read_csv(out / "collated.csv")
    assert len(collated) == sum(len(each.answer.frames) for each in result.observers)
    assert pd.read_csv(out / "observers.csv").shape[0] == 30
    marks = pd.read_csv(out / "marks.csv")
    assert marks["percent"].max() > 90
    assert pd.read_csv(out / "frames.csv")["surface_n"].sum() == sum(
        np.isfinite(each.deviations[Part.SURFACE]).sum() for each in result.observers if each.places_count
    )
    tree = json.loads((out / "findings.json").read_text(encoding="utf-8"))
    assert tree["format"] == "clepsydra-class"
    assert tree["precision"]["cv"]["reproducibility_sd"] > 0
    assert load_run(out / "pooled.run.json") == result.pooled.run
    text = told(result, "out", files)
    assert all(len(line) <= 100 for line in text.splitlines())
    assert "Student 20: all heads are 25.4 times" in text


def test_the_command_replaces_its_own_result_and_nothing_else(class_of_30, key_path, tmp_path, capsys):
    few = tmp_path / "few"
    few.mkdir()
    for s in range(4):
        (few / f"s{s}.run.json").write_bytes((class_of_30 / f"s{s + 4:02d}.run.json").read_bytes())
    out = tmp_path / "out"
    for _ in range(2):
        assert main(["collate", str(few), "--key", str(key_path), "--out", str(out)]) == 0
    assert "4 answers" in capsys.readouterr().out
    (out / "mine.txt").write_text("keep", encoding="utf-8")
    assert main(["collate", str(few), "--key", str(key_path), "--out", str(out)]) == 2
    assert "mine.txt" in capsys.readouterr().err
    assert (out / "mine.txt").read_text(encoding="utf-8") == "keep"


def test_no_name_is_left_where_numbers_were_asked_for(hidden, tmp_path):
    out = tmp_path / "out"
    write_class(hidden, out)
    everything = b"".join(p.read_bytes() for p in out.rglob("*") if p.suffix in {".csv", ".json", ".svg"})
    everything += told(hidden, "out", ()).encode()
    for name in (b"Student", b"s01.run", b"notes.txt", b"broken", b"copy.run", b"phone"):
        assert name not in everything
    assert "observer 1" in everything.decode()


@pytest.mark.usefixtures("german")
def test_no_name_is_left_in_another_language_either(class_of_30, key_path):
    account = told(collate(class_of_30, key_path, anonymous=True), "out", ())
    assert "ist eine Kopie einer anderen" in account
    # Which numbers the faulty get follows the digests of their answers, and so the folder of the film.
    assert len(set(re.findall(r"• Person (\d+): ", account))) == len(NAMED)
    assert not re.search(r"Student|s\d\d\.run|notes\.txt|broken|copy\.run|phone|observer|Nr\. ", account)


@pytest.mark.usefixtures("bracketed")
def test_all_of_a_class_is_said(class_of_30, key_path, monkeypatch):
    monkeypatch.setattr(gather, "_FEW", 100)  # processes beside know no language without a catalogue
    made = collate(class_of_30, key_path)
    account = told(made, "out", ("findings.json", "figures/a.png"))
    drawn = [
        text.get_text()
        for draw in _drawings(made).values()
        for text in draw().findobj(Text)
        if text.get_visible()
    ]
    named = r"Workshop bench: .*hole|Student \d+|\b[a-z0-9-]+\.(run\.json|txt|json)"
    assert bare(re.sub(named, "", account), NOT_SAID) == []
    assert bare(" ".join(drawn), NOT_SAID) == []
    assert "⟦Landing: who reads unsteadily⟧" in drawn


def test_numbers_are_the_same_with_names_and_without(hidden, result):
    assert [o.answer.digest for o in hidden.observers] == [o.answer.digest for o in result.observers]


def test_text_from_outside_never_becomes_a_formula(key_path, tmp_path):
    folder = tmp_path / "answers"
    rng = np.random.default_rng(3)
    folder.mkdir()
    for i, name in enumerate(['=HYPERLINK("http://x")', "+1", "@SUM(A1)", "-2", "\t=1"]):
        run = sim.answer_run(rng, np.arange(0, 300, 20), name)
        (folder / f"={i}.run.json").write_bytes(encode_run(run))
    made = collate(folder, key_path)
    from measure_app.collating.tables import tables

    for name, data in tables(made).items():
        if not name.endswith(".csv"):
            continue
        rows = list(csv.DictReader(io.StringIO(data.decode("utf-8"))))
        for row in rows:
            for column in {"observer", "file", "faults", "remarks", "to look at"} & set(row):
                assert not row[column].startswith(("=", "+", "-", "@", "\t")), (name, column, row[column])


def test_without_key_readings_and_without_film_the_class_is_its_own_reference(class_of_30, tmp_path):
    key = tmp_path / "bare.run.json"
    plain = sim.bench_run()
    key.write_bytes(encode_run(replace(plain, clip=replace(plain.clip, path="gone.mp4"))))
    made = collate(class_of_30, key)
    assert made.key.strips == {}
    found = {o.answer.name: [f.slip for f in o.faults if f.slip is not Slip.STRAY] for o in made.observers}
    assert found["Student 11"] == [Slip.EDGE]
    assert found["Student 20"] == [Slip.UNIT]
    assert [name for name, slips in found.items() if slips and int(name[-2:]) not in NAMED] == []
    assert made.observers[0].marks.items["surface"] is None
    assert any("film is not beside it" in words for words in made.remarks)


def test_an_answer_from_a_smaller_film_is_read_in_the_keys_pixels(key_path):
    key = teachers_key(key_path).key
    rng = np.random.default_rng(6)
    frames = np.arange(0, 300, 25)
    run = sim.answer_run(rng, frames, "A")
    how = Rescaling(2 / 3, 4, 2)
    mark = PackMark(
        id="0" * 16, original_sha256=key.run.clip.sha256, scale=how.scale, left_px=4, top_px=2, frames=(0, 25)
    )
    small = with_pack_mark(rescaled(run, how), mark)
    small = replace(small, clip=replace(small.clip, sha256="1" * 64))
    large, read = (read_answer("a", encode_run(each), key) for each in (run, small))
    assert isinstance(large, Answer)
    assert isinstance(read, Answer)
    for part in (Part.SURFACE, Part.LANDING):
        assert read.places[part] == pytest.approx(large.places[part], abs=1e-9)
    assert read.cv_fit == pytest.approx(large.cv_fit, rel=1e-6)
    assert read.setup.scale[Part.SURFACE] == pytest.approx(1.0, abs=1e-9)
    assert read.asked == (0, 25)
    foreign = replace(small, extra={})
    assert "another film" in read_answer("a", encode_run(foreign), key).reason


def test_found_readings_do_not_count_beside_hand_readings(key_path):
    from measure_app.run import By

    key = teachers_key(key_path).key
    run = sim.answer_run(np.random.default_rng(6), np.arange(0, 300, 25), "A")
    found = [replace(r, surface=replace(r.surface, by=By.FOUND)) for r in run.readings[:4]]
    mixed = replace(run, readings=(*found, *run.readings[4:]))
    read = read_answer("a", encode_run(mixed), key)
    assert np.isfinite(read.places[Part.SURFACE][:, 0]).sum() == 8
    assert any("found by the program" in words for words in read.remarks)


HOSTILE = {
    "nothing": b"",
    "nought": b"\x00" * 1000,
    "deep": b"[" * 100_000,
    "nan": b'{"format": "clepsydra-run", "format_version": 1, "clip": NaN}',
    "large": b" " * (MAX_ANSWER_BYTES + 1),
    "pack": b"PK\x03\x04rest",
    "number": b"7",
    "long number": b'{"format": ' + b"9" * 5000 + b"}",
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_bytes_are_refused_in_words(name, key_path):
    key = _key(key_path)
    refused = read_answer(name, HOSTILE[name], key)
    assert isinstance(refused, Refusal)
    assert refused.reason
    assert "\n" not in refused.reason


_keys = {}


def _key(path: Path):
    if path not in _keys:
        _keys[path] = teachers_key(path).key
    return _keys[path]


def test_absurd_numbers_in_a_sound_run_stop_nothing(key_path):
    """Positions far off, frames far off, rules without length in the world: an answer or a refusal, no error."""
    key = _key(key_path)
    base = sim.answer_run(np.random.default_rng(1), np.arange(0, 300, 30), "x")
    tree = json.loads(encode_run(base))
    rng = np.random.default_rng(2)
    for _ in range(25):
        wild = json.loads(json.dumps(tree))
        for reading in wild["readings"]:
            reading["frame"] = int(rng.integers(0, 10**9)) if rng.random() < 0.3 else reading["frame"]
            reading["surface"]["px"] = [float(v) for v in rng.uniform(-1e6, 1e6, 2)]
            reading["landing"]["px_u"] = float(rng.choice([0.0, 1e6]))
        for rule in wild["rules"]:
            for graduation in rule["graduations"]:
                graduation["value_m"] = float(rng.uniform(-1000, 1000))
        wild["camera"]["distance_m"] = float(rng.choice([1e-9, 1000.0]))
        read = read_answer("w", json.dumps(wild).encode(), key)
        assert isinstance(read, Answer | Refusal)


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_links_and_pipes_are_listed_and_never_followed(key_path, tmp_path, class_of_30):
    folder = tmp_path / "answers"
    folder.mkdir()
    (folder / "a.run.json").write_bytes((class_of_30 / "s05.run.json").read_bytes())
    (folder / "link.run.json").symlink_to(class_of_30 / "s06.run.json")
    (folder / "loop").symlink_to(folder)
    os.mkfifo(folder / "pipe.run.json")
    (folder / "Ann").mkdir()
    (folder / "Ann" / "answer.run.json").write_bytes((class_of_30 / "s07.run.json").read_bytes())
    made = collate(folder, key_path)
    assert {o.answer.file for o in made.observers} == {"a.run.json", "Ann/answer.run.json"}
    assert {r.file for r in made.refused} == {"link.run.json", "loop", "pipe.run.json"}


def test_answers_copied_from_another_are_said(key_path, tmp_path):
    folder = tmp_path / "answers"
    sim.write_class(folder, 5)
    run = load_run(folder / "s00.run.json")
    (folder / "z.run.json").write_bytes(encode_run(replace(run, observer="Somebody else")))
    made = collate(folder, key_path)
    remarks = by_name(made)["Somebody else"].remarks
    assert any("Student 00, to the last digit" in words for words in remarks)


def test_an_answer_alone_says_what_it_can(key_path, tmp_path):
    folder = tmp_path / "answers"
    folder.mkdir()
    (folder / "a.run.json").write_bytes(
        encode_run(sim.answer_run(np.random.default_rng(1), np.arange(0, 300, 25), "A"))
    )
    made = collate(folder, key_path)
    assert "fewer than two" in made.precisions["cv"]
    write_class(made, tmp_path / "out")


def test_processes_beside_give_what_this_one_gives(class_of_30, key_path):
    names = [f"s{s:02d}.run.json" for s in range(14)]
    key = _key(key_path)
    here = read_all(class_of_30, names, key, workers=1)
    beside = read_all(class_of_30, names, key, workers=2)
    assert [(a.file, a.digest, a.cv_fit) for a in beside] == [(a.file, a.digest, a.cv_fit) for a in here]


def test_a_cluster_gives_what_this_process_gives(class_of_30, key_path):
    distributed = pytest.importorskip("distributed")
    names = [f"s{s:02d}.run.json" for s in range(3)] + ["broken.run.json", "gone.run.json"]
    key = _key(key_path)
    here = read_all(class_of_30, names, key)
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None, protocol="tcp"
    ) as cluster:
        there = read_all(class_of_30, names, key, dask=cluster.scheduler_address)
    assert [type(each) for each in there] == [type(each) for each in here]
    assert [a.cv_fit for a in there[:3]] == [a.cv_fit for a in here[:3]]
    assert there[3:] == here[3:]
