"""Files that are not films, or would lead elsewhere: one line that names them, and nothing else happens."""

from __future__ import annotations

import http.server
import os
import struct
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import av
import numpy as np
import pytest

from measure_app.clip import open_clip, write_clip
from measure_app.errors import ClipError
from tests.measure_app.clip.films import FRAMES, number_in, numbered

FilmAt = Callable[[str], Path]


def refusal(path: str | Path) -> str:
    """Return the one line with which a file is refused."""
    with pytest.raises(ClipError) as caught:
        open_clip(path)
    line = str(caught.value)
    assert "\n" not in line
    assert line.startswith(f"{Path(path).name}: ")
    assert len(line) < 200
    return line


def test_missing(tmp_path: Path) -> None:
    assert "no such file" in refusal(tmp_path / "gone.mp4")
    assert "no such file" in refusal(tmp_path / "no_folder" / "gone.mp4")


def test_folder(tmp_path: Path) -> None:
    (tmp_path / "films.mp4").mkdir()
    assert "folder" in refusal(tmp_path / "films.mp4")


def test_empty(tmp_path: Path) -> None:
    (tmp_path / "empty.mp4").touch()
    assert "empty" in refusal(tmp_path / "empty.mp4")


def test_devices_and_pipes(tmp_path: Path) -> None:
    assert "device" in refusal("/dev/zero")
    os.mkfifo(tmp_path / "pipe.mp4")
    assert "pipe" in refusal(tmp_path / "pipe.mp4")


def test_a_link_to_a_film_is_followed_and_one_in_a_circle_is_not(tmp_path: Path, film_at: FilmAt) -> None:
    (tmp_path / "link.mp4").symlink_to(film_at("open_gop.mp4"))
    with open_clip(tmp_path / "link.mp4") as clip:
        assert clip.info.path == film_at("open_gop.mp4").resolve()
    (tmp_path / "a.mp4").symlink_to(tmp_path / "b.mp4")
    (tmp_path / "b.mp4").symlink_to(tmp_path / "a.mp4")
    assert "cannot be followed" in refusal(tmp_path / "a.mp4")
    (tmp_path / "nothing.mp4").symlink_to(tmp_path / "gone")
    assert "no such file" in refusal(tmp_path / "nothing.mp4")


@pytest.mark.parametrize("name", ["a\0b.mp4", "x" * 5000 + ".mp4"])
def test_names_no_file_can_have(name: str) -> None:
    with pytest.raises(ClipError):
        open_clip(name)


@pytest.mark.parametrize("ending", ["mp4", "mov", "avi", "mkv", "webm", "m3u8"])
@pytest.mark.parametrize(
    "content",
    [
        b"just some text\n" * 50,
        b"\x00" * 5000,
        b"\xff" * 5000,
        np.random.default_rng(8).bytes(5000),
        b"#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\nfilm.mp4\n#EXT-X-ENDLIST\n",
        b"ffconcat version 1.0\nfile film.mp4\n",
        b"v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\nm=video 5004 RTP/AVP 96\n",
        b'<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011"></MPD>',
        b"RIFF\x10\x00\x00\x00AVI LIST",
        b"\x1a\x45\xdf\xa3" + b"\x00" * 400,
        struct.pack(">I4s4sI", 16, b"ftyp", b"isom", 0),
        struct.pack(">I4s4sI", 16, b"ftyp", b"heic", 0) + b"\x00" * 400,
        struct.pack(">I4s", 2**31, b"moov") + b"\x00" * 400,
    ],
    ids=[
        "text",
        "zeros",
        "ones",
        "random",
        "hls",
        "concat",
        "sdp",
        "dash",
        "avi",
        "mkv",
        "ftyp",
        "heic",
        "moov",
    ],
)
def test_whatever_is_no_film_is_refused_under_any_name(
    content: bytes, ending: str, tmp_path: Path, film_at: FilmAt
) -> None:
    (tmp_path / "film.mp4").symlink_to(film_at("open_gop.mp4"))  # what the playlists point to is there
    path = tmp_path / f"trap.{ending}"
    path.write_bytes(content)
    refusal(path)


def test_addresses_and_patterns_are_only_ever_names_of_files(film_at: FilmAt) -> None:
    for name in (
        "http://127.0.0.1/x.mp4",
        "concat:a.mp4|b.mp4",
        f"file:{film_at('open_gop.mp4')}",
        "img_%03d.png",
    ):
        assert "no such file" in refusal(name)


def test_stills(tmp_path: Path) -> None:
    import cv2

    for ending in ("png", "jpg"):
        cv2.imwrite(str(tmp_path / f"still.{ending}"), np.zeros((40, 60, 3), np.uint8))
        path = tmp_path / f"{ending}.mp4"
        path.write_bytes((tmp_path / f"still.{ending}").read_bytes())
        assert "not a film in mp4" in refusal(path)


def test_sound_only(tmp_path: Path) -> None:
    path = tmp_path / "sound.mp4"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("aac", rate=48000)
        for number in range(20):
            frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
            frame.sample_rate = 48000
            frame.pts = number * 1024
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    assert "sound only" in refusal(path)


def test_a_recording_that_was_not_finished(tmp_path: Path, film_at: FilmAt) -> None:
    whole = film_at("open_gop.mp4").read_bytes()
    at = whole.index(b"moov") - 4
    path = tmp_path / "torn.mp4"
    path.write_bytes(whole[:at] + whole[at + int.from_bytes(whole[at : at + 4], "big") :])
    assert "moov" in refusal(path)
    path.write_bytes(whole[: at + 60])
    refusal(path)


@pytest.mark.parametrize(
    ("width", "height", "words"),
    [
        (20_000, 3_000, "20000 × 3000 px are too large"),
        (60_000, 60_000, "no usable size"),
        (12_000, 12_000, "no usable size"),
    ],
)
def test_absurd_sizes_are_refused_before_any_picture_is_made(
    width: int, height: int, words: str, request: pytest.FixtureRequest
) -> None:
    film_at, folder = request.getfixturevalue("film_at"), request.getfixturevalue("tmp_path")
    whole = bytearray(film_at("mjpeg.avi").read_bytes())
    at = whole.index(b"\xff\xc0\x00\x11\x08")  # frame header: length, depth, height, width
    assert struct.unpack(">HH", whole[at + 5 : at + 9]) == (96, 128)
    whole = whole.replace(whole[at : at + 9], whole[at : at + 5] + struct.pack(">HH", height, width))
    header = whole.index(b"strf") + 12  # the bitmap header of the stream states the size as well
    assert struct.unpack("<ii", whole[header : header + 8]) == (128, 96)
    whole[header : header + 8] = struct.pack("<ii", width, height)
    (folder / "huge.avi").write_bytes(whole)
    assert words in refusal(folder / "huge.avi")


def test_a_picture_larger_than_its_container_says_is_no_frame(tmp_path: Path, film_at: FilmAt) -> None:
    whole = film_at("mjpeg.avi").read_bytes()
    at = whole.index(b"\xff\xc0\x00\x11\x08")
    heads = whole.count(whole[at : at + 9])
    assert heads == FRAMES
    later = whole.index(whole[at : at + 9], whole.index(b"00dc", len(whole) // 2))
    big = whole[:later] + whole[later : later + 5] + struct.pack(">HH", 48, 64) + whole[later + 9 :]
    (tmp_path / "changes.avi").write_bytes(big)
    with open_clip(tmp_path / "changes.avi") as clip:
        odd = [p.index for p in clip.luma_planes() if p.plane is None]
        assert len(odd) == 1
        with pytest.raises(ClipError, match=f"frame {odd[0]}: the picture changes its size"):
            clip.frame(odd[0])
        assert clip.frame(odd[0] + 1).luma().shape == (96, 128)


def test_an_absurd_pixel_aspect_is_not_applied(tmp_path: Path) -> None:
    from fractions import Fraction

    write_clip(tmp_path / "flat.mp4", list(numbered(3)), sample_aspect=Fraction(20, 1))
    with open_clip(tmp_path / "flat.mp4") as clip:
        assert (clip.info.width, clip.info.height) == (128, 96)
        assert any("cannot be" in words for words in clip.info.remarks)


@pytest.fixture
def listener() -> Iterator[tuple[str, list[str]]]:
    """Listen on this machine and note who asks."""
    asked: list[str] = []

    class Ear(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        def log_message(self, *_: object) -> None:
            pass

    server = http.server.HTTPServer(("127.0.0.1", 0), Ear)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}", asked
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.mark.parametrize("ending", ["mp4", "m3u8", "mov", "mkv"])
def test_nothing_is_ever_asked_of_the_network(
    ending: str, tmp_path: Path, listener: tuple[str, list[str]]
) -> None:
    address, asked = listener
    path = tmp_path / f"list.{ending}"
    for text in (
        f"#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\n{address}/film.ts\n#EXT-X-ENDLIST\n",
        f"ffconcat version 1.0\nfile {address}/film.mp4\n",
    ):
        path.write_text(text)
        refusal(path)
    refusal(f"{address}/film.mp4")
    assert asked == []


def test_a_mov_that_points_to_another_file_does_not_lead_there(tmp_path: Path, film_at: FilmAt) -> None:
    # The data reference of the track says "the samples are in the file named here" instead of "in this file".
    whole = bytearray(film_at("mjpeg.mov").read_bytes())
    at = whole.index(b"dref")
    assert whole[at + 12 + 4 : at + 12 + 8] == b"url "
    whole[at + 12 + 8 : at + 12 + 12] = b"\0\0\0\0"  # no longer "self-contained"
    (tmp_path / "pointer.mov").write_bytes(whole)
    with open_clip(tmp_path / "pointer.mov") as clip:
        assert clip.info.path == (tmp_path / "pointer.mov").resolve()
        assert number_in(clip.frame(3).plane) == 3


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(
    "name", ["open_gop.mp4", "uneven.mkv", "mpeg4_b.avi", "h264_b.avi", "trimmed.mp4", "mjpeg.mov"]
)
def test_headers_full_of_wrong_bytes_are_refused_or_give_honest_frames(
    name: str, seed: int, tmp_path: Path, film_at: FilmAt
) -> None:
    rng = np.random.default_rng(seed)
    path = tmp_path / name
    for _ in range(3):
        data = bytearray(film_at(name).read_bytes())
        head = max(data.find(b"moov"), 0)
        for at in rng.integers(head, head + 900, rng.choice([1, 4, 20])):
            data[at] = rng.integers(256)
        path.write_bytes(data)
        try:
            clip = open_clip(path)
        except ClipError as error:
            assert str(error).startswith(f"{name}: ")  # noqa: PT017  either outcome is right
            continue
        with clip:
            stop = min(clip.info.n_frames, 120)
            assert [p.index for p in clip.luma_planes(0, stop)] == list(range(stop))
            assert clip.times_s().size == clip.info.n_frames
