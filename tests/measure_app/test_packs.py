"""Packs: what goes in, what comes out, and everything that a hostile one may try."""

from __future__ import annotations

import hashlib
import json
import os
import stat
import struct
import zipfile
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from calibration import Pixel
from measure_app.__main__ import main
from measure_app.clip import open_clip, sha256_of, write_clip
from measure_app.collating import load_criteria
from measure_app.errors import AppError, ClipError, OutputError, Stopped
from measure_app.extras import Question, SetNotes, SetQuestions, questions_of
from measure_app.outcome import calibration_of
from measure_app.packs import (
    SETUP_PARTS,
    PackError,
    PackPlan,
    Rescaling,
    load_questions,
    looks_like_pack,
    pack,
    pack_mark_of,
    rescaled,
    scaled_back,
    shares_of,
    unpack,
)
from measure_app.packs.shrinking import rescaling_for
from measure_app.run import By, Reading, Spot
from measure_app.runfile import encode_run, file_mark, load_run
from tests.measure_app.strategies import runs

ROOT = Path(__file__).parents[2]
BENCH = ROOT / "sample_clips" / "bench"
TICKS = (0, 3000, 6100, 9000, 12050, 15000, 21000, 24000)
BASE = Fraction(1, 90_000)


def picture(i: int, height: int, width: int) -> np.ndarray:
    y, x = np.mgrid[0:height, 0:width]
    level = 60 + 90 * (y > height * (0.3 + 0.05 * i)) + 20 * np.sin(x / 9.0)
    return np.repeat(level[..., None], 3, axis=2).astype(np.uint8)


@pytest.fixture(scope="module")
def small_run(tmp_path_factory):
    """A run beside a film of eight frames at uneven times, 480 by 360 px."""
    folder = tmp_path_factory.mktemp("teacher")
    film = folder / "film of mine.mp4"
    write_clip(film, (picture(i, 360, 480) for i in range(8)), ticks=TICKS, base=BASE, gop=4)
    run = load_run(BENCH / "bench.run.json")
    scaled = rescaled(run, Rescaling(0.375))
    spot = Spot(px=Pixel(140.0, 120.0), px_u=0.5, by=By.HAND)
    run = replace(
        scaled,
        observer="The teacher",
        clip=replace(run.clip, path=film.name, sha256=sha256_of(film)),
        readings=(Reading(frame=2, surface=spot),),
        extra={"another program": {"the answer": 42}},
    )
    run = SetNotes("Cv is 0.975").apply(run)
    run = SetQuestions((Question("Why is Cv below 1?", "losses"),)).apply(run)
    path = folder / "mine.run.json"
    path.write_bytes(encode_run(run))
    return path


# --- shares ----------------------------------------------------------------------------------------------------------


@given(st.integers(0, 50), st.integers(2, 400), st.integers(2, 40), st.integers(4, 30), st.integers(0, 2))
@settings(max_examples=150)
def test_every_frame_read_has_two_readers_and_shares_are_equal(start, length, students, each, common):
    shares = shares_of(start, start + length, students, each, common)
    assert len(shares.frames) == students
    assert all(start <= frame < start + length for frame in shares.covered)
    assert all(shares.readers(frame) >= 2 for frame in shares.covered)
    assert len({len(share) for share in shares.frames}) == 1
    assert all(len(share) <= each for share in shares.frames)
    assert all(share == tuple(sorted(set(share))) for share in shares.frames)
    assert all(set(shares.common) <= set(share) for share in shares.frames)


@pytest.mark.parametrize("students", [2, 7, 30, 200])
def test_shares_tie_the_class_together_and_span_the_drain(students):
    """Nobody stands apart, and each reads early and late frames."""
    shares = shares_of(0, 300, students, 12, 0)
    seen, waiting = {0}, [0]
    while waiting:
        mine = set(shares.frames[waiting.pop()])
        for other, share in enumerate(shares.frames):
            if other not in seen and mine & set(share):
                seen.add(other)
                waiting.append(other)
    assert len(seen) == students
    if students <= 30:
        assert all(share[0] < 75 and share[-1] > 225 for share in shares.frames)


def test_thirty_students_cover_a_film_of_300_frames():
    shares = shares_of(0, 300, 30, 12, 2)
    assert len(shares.covered) == 152
    assert [shares.readers(f) for f in shares.common] == [30, 30]
    assert shares == shares_of(0, 300, 30, 12, 2)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [((0, 10, 1), "2 to 500"), ((5, 6, 3), "1 frames"), ((0, 99, 5, 3, 2), "two more")],
)
def test_shares_that_cannot_be_are_refused(arguments, words):
    with pytest.raises(ValueError, match=words):
        shares_of(*arguments)


# --- rescaling -------------------------------------------------------------------------------------------------------


@given(runs, st.floats(0.05, 2.0), st.integers(0, 20), st.integers(0, 20))
@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
def test_rescaling_there_and_back_is_the_same_run(run, scale, left, top):
    how = Rescaling(scale, left, top)
    back = scaled_back(rescaled(run, how), how)
    for a, b in zip(_numbers(back), _numbers(run), strict=True):
        assert a == pytest.approx(b, rel=1e-9, abs=1e-6)


def _numbers(run):
    pending, found = [json.loads(encode_run(replace(run, extra={})))], []
    while pending:
        value = pending.pop()
        if isinstance(value, dict):
            pending += list(value.values())
        elif isinstance(value, list):
            pending += value
        elif isinstance(value, float | int):
            found.append(float(value))
    return found


def test_the_corner_of_the_picture_stays_its_corner():
    """(0, 0) is the centre of the top-left pixel, so the picture begins at -0.5 in any size."""
    assert Rescaling(0.5).pixel(Pixel(-0.5, -0.5)) == Pixel(-0.5, -0.5)
    assert Rescaling(0.5).pixel(Pixel(0.5, 1.5)) == Pixel(0.0, 0.5)
    assert Rescaling(0.5, 2, 4).pixel(Pixel(-0.5, -0.5)) == Pixel(0.5, 1.5)


@pytest.mark.parametrize(
    "size", [(3840, 2160), (1920, 1080), (1280, 720), (1366, 768), (1080, 1920), (720, 576), (853, 481)]
)
@pytest.mark.parametrize("rows", [240, 360, 480, 720])
def test_both_sides_are_scaled_alike_and_come_out_even(size, rows):
    how = rescaling_for(*size, rows)
    if rows >= size[1]:
        assert how.identical
        return
    scale = Fraction(how.scale).limit_denominator(18)
    across, down = (-side % (2 * scale.denominator) for side in size)
    for side, margin, first in zip(size, (across, down), (how.left_px, how.top_px), strict=True):
        new = (side + margin) * scale
        assert new.denominator == 1
        assert new % 2 == 0
        assert abs(margin - 2 * first) <= 1  # the middle stays the middle
    assert 0.9 * rows <= size[1] * how.scale <= rows


def test_lengths_are_the_same_in_a_smaller_film():
    run = load_run(BENCH / "bench.run.json")
    how = rescaling_for(1280, 720, 480)
    scale = Fraction(how.scale).limit_denominator(18)
    small = rescaled(run, how)
    width, height = (int((side + -side % (2 * scale.denominator)) * scale) for side in (1280, 720))
    places = np.array([[381.0, 100.0], [382.0, 250.0]])
    there = np.array([how.pixel(Pixel(*xy)) for xy in places])
    large = calibration_of(run, (1280, 720))
    less = calibration_of(small, (width, height))
    u = np.ones(2)
    assert less.heads(there, u).values == pytest.approx(large.heads(places, u).values, abs=1e-8)
    assert less.heads(there, u * how.scale).own_u == pytest.approx(large.heads(places, u).own_u, rel=1e-6)


# --- making ----------------------------------------------------------------------------------------------------------


def test_a_pack_comes_out_as_it_went_in(small_run, tmp_path):
    made = pack(small_run, tmp_path / "a.clepsydra", PackPlan())
    assert looks_like_pack(made.path)
    out = unpack(made.path, tmp_path / "out")
    assert sha256_of(out.film) == sha256_of(small_run.parent / "film of mine.mp4")
    run, mine = load_run(out.runs[0]), load_run(small_run)
    assert run.clip.sha256 == mine.clip.sha256
    for part in SETUP_PARTS:
        assert getattr(run, part) == getattr(mine, part)
    assert pack_mark_of(run).id == made.id


def test_nothing_that_tells_the_answer_goes_along(small_run, tmp_path):
    made = pack(small_run, tmp_path / "a.zip", PackPlan())
    with zipfile.ZipFile(made.path) as archive:
        texts = b"".join(archive.read(name) for name in archive.namelist() if not name.startswith("film.mp4"))
    for secret in (b"teacher", b"0.975", b"losses", b"another program", b"film of mine"):
        assert secret not in texts.replace(b"your teacher", b"")
    run = load_run(unpack(made.path, tmp_path / "out").runs[0])
    assert questions_of(run) == (Question("Why is Cv below 1?"),)
    assert run.readings == ()


def test_parts_of_the_set_up_are_withheld(small_run, tmp_path):
    made = pack(
        small_run, tmp_path / "a.clepsydra", PackPlan(withhold=frozenset({"rules", "drop", "conditions"}))
    )
    run = load_run(unpack(made.path, tmp_path / "out").runs[0])
    assert run.rules == ()
    assert run.drop is None
    assert run.conditions.gravity_m_s2 is None
    assert run.orifice == load_run(small_run).orifice
    with pytest.raises(PackError, match="'rulers'"):
        pack(small_run, tmp_path / "b.clepsydra", PackPlan(withhold=frozenset({"rulers"})))


def test_a_share_asks_for_its_frames_and_no_others(small_run, tmp_path):
    made = pack(small_run, tmp_path / "a.clepsydra", PackPlan(students=3, each=4, common=1, blind=True))
    out = unpack(made.path, tmp_path / "two", share=2)
    assert [p.name for p in out.runs] == ["share-02.run.json"]
    assert not (tmp_path / "two" / "share-01.run.json").exists()
    run = load_run(out.runs[0])
    mark = pack_mark_of(run)
    assert (mark.share, mark.shares, mark.blind) == (2, 3, True)
    assert tuple(r.frame for r in run.readings) == mark.frames == made.shares.frames[1]
    assert all(r.surface is None and r.landing is None and "please read" in r.note for r in run.readings)
    assert len(unpack(made.path, tmp_path / "all").runs) == 3
    with pytest.raises(PackError, match="no share 4; there are 3"):
        unpack(made.path, tmp_path / "four", share=4)


def test_a_smaller_film_keeps_every_frame_at_its_exact_time(small_run, tmp_path):
    made = pack(small_run, tmp_path / "a.clepsydra", PackPlan(height=240))
    out = unpack(made.path, tmp_path / "out")
    run = load_run(out.runs[0])
    mark = pack_mark_of(run)
    with open_clip(out.film) as clip:
        since = [clip.stamps[i].after(clip.stamps[0]) for i in range(len(clip.stamps))]
        assert since == [tick * BASE for tick in TICKS]
        assert (clip.info.width, clip.info.height) == made.film_size == (320, 240)
        shown = clip.frame(3).luma().astype(float)
    with open_clip(small_run.parent / "film of mine.mp4") as clip:
        large = clip.frame(3).luma().astype(float)
    # The water's edge lies where the rescaling says it lies.
    edge_large = 0.5 + int(np.argmax(np.diff(large.mean(axis=1))))
    edge_small = 0.5 + int(np.argmax(np.diff(shown.mean(axis=1))))
    assert mark.rescaling.pixel(Pixel(0.0, edge_large)).y == pytest.approx(edge_small, abs=0.75)
    assert run.clip.sha256 == sha256_of(out.film) != load_run(small_run).clip.sha256
    assert mark.original_sha256 == load_run(small_run).clip.sha256
    assert (mark.width, mark.height) == (480, 360)
    assert run.orifice.px == mark.rescaling.pixel(load_run(small_run).orifice.px)


def test_a_film_is_made_to_fit_a_size(tmp_path):
    noise = np.random.default_rng(0)
    film = tmp_path / "noisy.mp4"
    write_clip(
        film, (noise.integers(0, 255, (240, 320, 3), dtype=np.uint8) for _ in range(40)), base=Fraction(1, 25)
    )
    run = replace(
        load_run(BENCH / "bench.run.json"),
        clip=replace(load_run(BENCH / "bench.run.json").clip, path=film.name, sha256=None),
    )
    (tmp_path / "n.run.json").write_bytes(encode_run(run))
    made = pack(tmp_path / "n.run.json", tmp_path / "a.zip", PackPlan(most_bytes=200_000))
    assert film.stat().st_size > 400_000
    assert made.film_bytes <= 200_000
    assert pack_mark_of(load_run(unpack(made.path, tmp_path / "out").runs[0])).original_sha256 == sha256_of(
        film
    )


def test_the_same_plan_gives_the_same_pack_byte_for_byte(small_run, tmp_path):
    one, two = (
        pack(small_run, tmp_path / name, PackPlan(students=3, each=4)).path for name in ("a.zip", "b.zip")
    )
    assert one.read_bytes() == two.read_bytes()


def test_another_film_in_the_films_place_is_not_packed(small_run, tmp_path):
    (tmp_path / "film of mine.mp4").write_bytes((BENCH / "bench.mp4").read_bytes())
    (tmp_path / "m.run.json").write_bytes(small_run.read_bytes())
    with pytest.raises(ClipError, match="SHA-256"):
        pack(tmp_path / "m.run.json", tmp_path / "a.zip", PackPlan())


def test_stopping_leaves_nothing_and_the_old_pack_whole(small_run, tmp_path):
    out = tmp_path / "a.clepsydra"
    out.write_bytes(b"old")
    with pytest.raises(Stopped):
        pack(small_run, out, PackPlan(height=240), stop_requested=lambda: True)
    assert out.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [out]


def test_a_pack_never_takes_the_place_of_another_kind_of_file(small_run, tmp_path):
    with pytest.raises(OutputError, match="ends in"):
        pack(small_run, tmp_path / "thesis.docx", PackPlan())
    with pytest.raises(OutputError, match="does not exist"):
        pack(small_run, tmp_path / "no" / "a.zip", PackPlan())


def test_a_zip_that_is_no_pack_stays_what_it_is_and_an_earlier_pack_is_replaced(small_run, tmp_path):
    place = tmp_path / "homework.zip"
    with zipfile.ZipFile(place, "w") as archive:
        archive.writestr("essay.txt", "mine")
    for content in (place.read_bytes(), b"PK\x03\x04 cut off"):
        place.write_bytes(content)
        with pytest.raises(OutputError, match="is no pack; name another"):
            pack(small_run, place, PackPlan())
        assert place.read_bytes() == content
    place.unlink()
    pack(small_run, place, PackPlan())
    first = place.read_bytes()
    pack(small_run, place, PackPlan(blind=True))
    assert place.read_bytes() != first


def test_questions_and_criteria_in_a_pipe_are_refused_rather_than_waited_for(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for read in (load_questions, load_criteria):
        for place in (pipe, tmp_path):
            with pytest.raises(AppError, match="not a plain file"):
                read(place)
    assert file_mark(pipe) is None


def test_questions_are_read_one_a_line(tmp_path):
    path = tmp_path / "q.txt"
    path.write_text("\ufeff# for class 10\nWhy?\n\n  How sure? \n", encoding="utf-8")
    assert load_questions(path) == (Question("Why?"), Question("How sure?"))
    path.write_text("# nothing\n", encoding="utf-8")
    with pytest.raises(PackError, match="no question"):
        load_questions(path)
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(PackError, match="UTF-8"):
        load_questions(path)


def test_the_commands(small_run, tmp_path, capsys):
    out = str(tmp_path / "a.clepsydra")
    assert (
        main(
            [
                "pack",
                str(small_run),
                "--out",
                out,
                "--students",
                "3",
                "--each",
                "4",
                "--withhold",
                "gauge-line",
            ]
        )
        == 0
    )
    said = capsys.readouterr().out
    assert "3 shares of 4 frames" in said
    assert "gauge line (withheld)" in said
    assert main(["unpack", out, "--out", str(tmp_path / "mine"), "--share", "1"]) == 0
    assert main(["unpack", out, "--out", str(tmp_path / "mine")]) == 2
    assert "not empty" in capsys.readouterr().err


# --- hostile packs ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def entries(small_run, tmp_path_factory):
    """Name and bytes of every entry of a sound pack."""
    made = pack(small_run, tmp_path_factory.mktemp("sound") / "a.zip", PackPlan())
    with zipfile.ZipFile(made.path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def zipped(path, entries, *, extra=(), how=zipfile.ZIP_DEFLATED, comment=b""):
    with zipfile.ZipFile(path, "w", how) as archive:
        for name, data in [*entries.items(), *extra]:
            archive.writestr(name, data)
        archive.comment = comment
    return path


def refused(path, tmp_path) -> str:
    """Return the words of the refusal; nothing is left behind."""
    out = tmp_path / "out"
    with pytest.raises(PackError) as error:
        unpack(path, out)
    assert not out.exists()
    assert [p for p in tmp_path.rglob("*") if p.name.endswith(".part")] == []
    assert "\n" not in str(error.value)
    return str(error.value)


def test_the_sound_pack_is_taken(entries, tmp_path):
    assert unpack(zipped(tmp_path / "p.zip", entries), tmp_path / "out").film.is_file()


@pytest.mark.parametrize(
    "name",
    [
        "../film.mp4", "/etc/film.mp4", "..\\film.mp4", "C:\\film.mp4", "C:film.mp4", "sub/film.mp4", "./film.mp4",
        "film.mp4.exe", "film.MP4", "FILM.run.json", "share-0001.run.json", ".bashrc", "autorun.inf", "film.run.json ",
        "film.run.json\n", "sub/", "pack.json/", "share-０1.run.json", "film.m3u8", "film.mp4:stream", "con", "film.sdp",
        "share-1.run.json", "a" * 300,
    ],
)  # fmt: skip
def test_a_name_that_no_pack_holds_refuses_the_whole(entries, tmp_path, name):
    words = refused(zipped(tmp_path / "p.zip", entries, extra=[(name, b"x")]), tmp_path)
    assert "names that a pack may hold" in words or "link or a folder" in words


def test_a_zero_byte_in_a_name_hides_nothing(entries, tmp_path):
    """A reader of ZIPs cuts a name at a zero byte; what stands behind it must not be overlooked."""
    path = zipped(tmp_path / "p.zip", entries, extra=[("film.aviXexe", b"x")])
    path.write_bytes(path.read_bytes().replace(b"film.aviXexe", b"film.avi\x00exe"))
    refused(path, tmp_path)


def test_a_key_twice_in_the_description_is_refused(entries, tmp_path):
    told = entries["pack.json"].replace(b'"film":', b'"film": "film.avi", "film":', 1)
    assert told != entries["pack.json"]
    assert "film: the key stands twice" in refused(
        zipped(tmp_path / "p.zip", {**entries, "pack.json": told}), tmp_path
    )


def test_links_are_refused(entries, tmp_path):
    path = tmp_path / "p.zip"
    link = zipfile.ZipInfo("read-me.txt")
    link.create_system = 3
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    rest = {name: data for name, data in entries.items() if name != "read-me.txt"}
    zipped(path, rest, extra=[(link, b"/etc/passwd")])
    assert "link or a folder" in refused(path, tmp_path)


def test_a_name_that_stands_twice_is_refused(entries, tmp_path):
    with pytest.warns(UserWarning, match="Duplicate name"):
        path = zipped(tmp_path / "p.zip", entries, extra=[("film.run.json", b"{}")])
    assert "twice" in refused(path, tmp_path)


@pytest.mark.parametrize("name", ["film.run.json", "film.mp4", "read-me.txt", "pack.json"])
def test_bombs_are_refused_before_they_unfold(entries, tmp_path, name):
    path = zipped(tmp_path / "p.zip", {**entries, name: b"\0" * 40 * 2**20})
    words = refused(path, tmp_path)
    assert "unfolds" in words


def test_an_entry_that_lies_about_its_size_is_stopped(entries, tmp_path):
    """The list of entries says 1000 bytes, the data unfold to a megabyte."""
    path = zipped(tmp_path / "p.zip", {**entries, "read-me.txt": b"\0" * 2**20})
    data = bytearray(path.read_bytes())
    size = struct.pack("<I", 2**20)
    assert data.count(size) == 2
    path.write_bytes(bytes(data).replace(size, struct.pack("<I", 1000)))
    refused(path, tmp_path)


def test_entries_that_share_their_bytes_are_refused(entries, tmp_path):
    """Two entries of the list point at the same data, as in bombs that overlap."""
    path = zipped(tmp_path / "p.zip", entries, extra=[("film.avi", b"x" * 10)])
    data = bytearray(path.read_bytes())
    at = data.rindex(b"PK\x01\x02", 0, data.rindex(b"film.avi"))
    data[at + 42 : at + 46] = struct.pack("<I", 0)
    path.write_bytes(bytes(data))
    refused(path, tmp_path)


def test_many_entries_are_refused_unread(tmp_path):
    path = zipped(tmp_path / "p.zip", {f"share-{i:03d}.run.json": b"" for i in range(600)})
    assert "more than the 520 entries" in refused(path, tmp_path)


@pytest.mark.parametrize("cut", [0, 1, 21, 22, 200, -1, -22, -100])
def test_a_pack_that_was_cut_off_is_refused(entries, tmp_path, cut):
    path = zipped(tmp_path / "p.zip", entries)
    path.write_bytes(path.read_bytes()[:cut])
    refused(path, tmp_path)


def test_something_before_or_behind_is_refused(entries, tmp_path):
    path = zipped(tmp_path / "p.zip", entries)
    data = path.read_bytes()
    for changed in (b"#!/bin/sh\n" + data, data + b"x"):
        path.write_bytes(changed)
        refused(path, tmp_path)
    refused(zipped(path, entries, comment=b"PK\x05\x06" + b"\0" * 18), tmp_path)


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_changed_bytes_are_refused_or_give_the_same(entries, tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("fuzz")
    path = zipped(folder / "p.zip", entries)
    sound = path.read_bytes()
    changed = bytearray(sound)
    for _ in range(data.draw(st.integers(1, 4))):
        # Half of the changes go into the list at the end, where most can be done.
        low = data.draw(st.sampled_from([0, len(sound) - 600]))
        changed[data.draw(st.integers(low, len(sound) - 1))] = data.draw(st.integers(0, 255))
    path.write_bytes(bytes(changed))
    try:
        made = unpack(path, folder / "out")
    except PackError:
        assert not (folder / "out").exists()
        return
    assert {p.name for p in (folder / "out").iterdir()} <= set(entries)
    assert hashlib.sha256(made.film.read_bytes()).hexdigest() == made.manifest.film_sha256


def changed_manifest(entries, **changes):
    tree = json.loads(entries["pack.json"]) | changes
    return {**entries, "pack.json": json.dumps(tree).encode()}


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"film": "../film.mp4"}, "names a film"),
        ({"film": "film.avi"}, "is missing"),
        ({"runs": ["../../x.run.json"]}, "names runs"),
        ({"runs": ["film.run.json", "film.run.json"]}, "names runs"),
        ({"runs": []}, "not a pack's own description"),
        ({"film_sha256": "0" * 64}, "another film"),
        ({"id": "0" * 16}, "does not belong"),
        ({"id": "../../../../x"}, "not a pack's own description"),
        ({"script": "x"}, "not a pack's own description"),
        ({"format_version": 2}, "not a pack's own description"),
    ],
)
def test_a_description_that_lies_is_refused(entries, tmp_path, changes, words):
    assert words in refused(zipped(tmp_path / "p.zip", changed_manifest(entries, **changes)), tmp_path)


def test_a_run_that_points_elsewhere_is_refused(entries, tmp_path):
    tree = json.loads(entries["film.run.json"])
    for path in ("/etc/passwd", "other.mp4", "../film.mp4"):
        tree["clip"]["path"] = path
        changed = {**entries, "film.run.json": json.dumps(tree).encode()}
        with pytest.raises(Exception, match=r"clip\.path"):
            unpack(zipped(tmp_path / "p.zip", changed), tmp_path / "out")
        assert not (tmp_path / "out").exists()


def test_a_film_that_is_no_film_is_refused(entries, tmp_path):
    text = b"#EXTM3U\n#EXTINF:1,\nfile:///etc/passwd\n"
    sha = hashlib.sha256(text).hexdigest()
    tree = json.loads(entries["film.run.json"])
    tree["clip"]["sha256"] = sha
    changed = {
        **changed_manifest(entries, film_sha256=sha),
        "film.mp4": text,
        "film.run.json": json.dumps(tree).encode(),
    }
    assert "not a film" in refused(zipped(tmp_path / "p.zip", changed), tmp_path)


def test_a_film_that_was_changed_is_refused(entries, tmp_path):
    film = bytearray(entries["film.mp4"])
    film[len(film) // 2] ^= 1
    assert "is not the film" in refused(
        zipped(tmp_path / "p.zip", {**entries, "film.mp4": bytes(film)}), tmp_path
    )


def test_nobodys_readings_are_written_over(entries, tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / "film.run.json").write_bytes(b"my readings")
    with pytest.raises(OutputError, match="not empty"):
        unpack(zipped(tmp_path / "p.zip", entries), out)
    assert (out / "film.run.json").read_bytes() == b"my readings"


def test_what_is_no_file_is_refused(tmp_path):
    refused(tmp_path / "gone.clepsydra", tmp_path)
    refused(tmp_path, tmp_path)
    assert not looks_like_pack(tmp_path)
    assert not looks_like_pack(BENCH / "bench.mp4")
