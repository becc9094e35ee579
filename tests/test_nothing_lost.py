"""Full disk, read-only and vanished folders, files that others hold: the old version or the new one, whole.

What is written, and how a version is known to be whole, is that of `tests.benchmarks.killed`, which kills at
random instants.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from measure_app.errors import AppError, OutputError
from measure_app.runfile import load_run
from tests.benchmarks.killed import BENCH, KINDS, Writing

if sys.platform != "linux":
    pytest.skip("limits and mounts of Linux", allow_module_level=True)

import fcntl
import resource

each_kind = pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)


def left_over(place: Path) -> list[str]:
    """Names of half-done things."""
    return [path.name for path in place.rglob("*") if ".part" in path.name or path.name.startswith(".clep")]


def size_of(place: Path) -> int:
    return sum(path.stat().st_size for path in place.rglob("*") if path.is_file())


@contextlib.contextmanager
def files_no_longer_than(limit: int) -> Iterator[None]:
    """Let every write past so many bytes of a file fail, as a disk does that fills up at that byte."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@each_kind
def test_a_disk_that_fills_up_at_any_byte_leaves_the_old_version(kind: Writing, tmp_path: Path) -> None:
    kind.write(tmp_path, 1)
    longest = max(path.stat().st_size for path in tmp_path.rglob("*") if path.is_file())
    failed, now = 0, 1
    for eighth in range(0, 10, 3 if kind.name == "pack" else 1):
        limit = longest * eighth // 8 + 1
        try:
            with files_no_longer_than(limit):
                kind.write(tmp_path, now + 1)
            now += 1
        except OutputError as error:
            assert "file too large" in str(error)  # noqa: PT017  either outcome is right
            assert "\n" not in str(error)  # noqa: PT017
            failed += 1
        assert kind.version_at(tmp_path) == now
        assert left_over(tmp_path) == []
    assert failed >= 2
    assert now >= 2


Mount = Callable[[str], None]


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[tuple[Path, Mount]]:
    """A small disk of its own, and what changes its options."""
    place = tmp_path / "disk"
    place.mkdir()

    def mount(options: str) -> None:
        command = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(place)]
        if subprocess.run(command, check=False, capture_output=True).returncode:
            pytest.skip("no right to mount a disk here")

    if os.geteuid() != 0 or shutil.which("mount") is None:
        pytest.skip("no right to mount a disk here")
    mount("size=64m")
    yield place, lambda options: mount(f"remount,{options}")
    subprocess.run(["umount", "-l", str(place)], check=True)  # noqa: S607  wherever the system keeps it


@each_kind
def test_a_full_disk_leaves_the_old_version_and_room_helps(kind: Writing, disk: tuple[Path, Mount]) -> None:
    place, mount = disk
    kind.write(place, 1)
    mount(f"size={size_of(place) + 40_000}")  # room for less than a second version
    with pytest.raises(OutputError, match="no space left on device"):
        kind.write(place, 2)
    assert left_over(place) == []
    assert kind.version_at(place) == 1
    mount("size=64m")
    kind.write(place, 2)
    assert kind.version_at(place) == 2


@each_kind
def test_a_read_only_folder_leaves_the_old_version(kind: Writing, disk: tuple[Path, Mount]) -> None:
    place, mount = disk
    kind.write(place, 1)
    assert kind.version_at(place) == 1  # and whoever wrote has let go of the disk
    mount("ro")
    with pytest.raises(OutputError, match=r"read-only file system|cannot be written"):
        kind.write(place, 2)
    mount("rw")
    assert kind.version_at(place) == 1
    assert left_over(place) == []


@each_kind
def test_a_folder_that_is_gone_is_said_or_made_anew_whole(kind: Writing, tmp_path: Path) -> None:
    place = tmp_path / "here"
    place.mkdir()
    kind.write(place, 1)
    shutil.rmtree(place)
    if kind.name in {"run file", "recovery file"}:
        with pytest.raises(OutputError, match="no such file or directory"):
            kind.write(place, 2)
        assert not place.exists()
    else:
        with contextlib.suppress(AppError, FileNotFoundError):  # the pack's own source went with the folder
            kind.write(place, 2)
            assert kind.version_at(place) == 2
        assert left_over(tmp_path) == []


def test_who_has_the_old_file_open_keeps_it_whole_and_a_lock_of_theirs_hinders_nothing(
    tmp_path: Path,
) -> None:
    kind = next(kind for kind in KINDS if kind.name == "run file")
    kind.write(tmp_path, 1)
    path = tmp_path / "a.run.json"
    old = path.read_bytes()
    with path.open("rb") as theirs:
        fcntl.flock(theirs, fcntl.LOCK_EX)
        head = theirs.read(1000)
        kind.write(tmp_path, 2)
        assert head + theirs.read() == old
    assert kind.version_at(tmp_path) == 2


def test_who_reads_while_it_is_saved_sees_one_version_or_the_other(tmp_path: Path) -> None:
    """A reader in another process, as fast as it can, through forty savings."""
    kind = next(kind for kind in KINDS if kind.name == "run file")
    kind.write(tmp_path, 1)
    code = (
        "import sys\nfrom pathlib import Path\nfrom tests.benchmarks.killed import KINDS\n"
        "kind = next(kind for kind in KINDS if kind.name == 'run file')\nplace = Path(sys.argv[1])\n"
        "print('ready', flush=True)\nlast = 0\n"
        "while last < 40:\n    now = kind.version_at(place)\n    assert now >= last\n    last = now\n"
        "print('whole')\n"
    )
    reader = subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)],
        stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[1],
    )  # fmt: skip
    assert reader.stdout is not None
    with reader.stdout as told:
        assert told.readline() == "ready\n"
        for n in range(2, 41):
            kind.write(tmp_path, n)
        assert told.read() == "whole\n"
    assert reader.wait() == 0


@pytest.mark.parametrize("change", ["gone", "another film", "moved into its place"])
def test_a_clip_that_was_moved_or_replaced_is_told_and_the_run_is_not_touched(
    change: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from measure_app.__main__ import main

    run = tmp_path / "bench.run.json"
    shutil.copy(BENCH, run)
    film = tmp_path / "bench.mp4"
    if change == "another film":
        shutil.copy(BENCH.parents[1] / "slow" / "slow.mp4", film)
    elif change == "moved into its place":  # the same bytes from elsewhere are the same film
        shutil.copy(BENCH.with_name("bench.mp4"), film)
        os.utime(film, (0, 0))
    before = run.read_bytes()
    assert load_run(run).clip.sha256 is not None
    status = main(["check", str(run)])
    said = capsys.readouterr()
    assert run.read_bytes() == before
    if change == "moved into its place":
        assert status != 2
    else:
        words = said.out + said.err
        assert ("no such file" if change == "gone" else "not the film") in words
    assert {path.name for path in tmp_path.iterdir()} <= {"bench.run.json", "bench.mp4"}
