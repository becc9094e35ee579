"""A folder of results appears whole or not at all, and nothing of anybody else's is ever touched."""

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from measure_app.errors import OutputError
from measure_app.report import whole
from measure_app.report.whole import check_folder, write_folder

ROOT = Path(__file__).parents[3]
JSON = b'{\n "format": "clepsydra-findings",\n "format_version": 1\n}\n'


def result(mark: bytes) -> dict[str, bytes]:
    return {"readings.csv": mark, "findings.json": JSON + mark, "figures/head-strip.png": mark}


def content(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()
    }


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_new_folder_appears_with_its_parents(tmp_path):
    write_folder(tmp_path / "a" / "b", result(b"1"))
    assert content(tmp_path / "a" / "b") == result(b"1")
    assert names(tmp_path / "a") == ["b"]


@pytest.mark.parametrize("in_one_step", [True, False])
def test_earlier_result_is_replaced_as_a_whole(tmp_path, monkeypatch, in_one_step):
    if not in_one_step:
        monkeypatch.setattr(whole, "_exchange", lambda _one, _other: False)
    folder = tmp_path / "out"
    write_folder(folder, {**result(b"1"), "figures/throw-strip.svg": b"old"})
    write_folder(folder, result(b"2"))
    assert content(folder) == result(b"2")
    assert names(tmp_path) == ["out"]


def test_empty_folder_is_filled(tmp_path):
    (tmp_path / "out").mkdir()
    write_folder(tmp_path / "out", result(b"1"))
    assert content(tmp_path / "out") == result(b"1")


def test_link_to_a_folder_stays_a_link(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "out").symlink_to(tmp_path / "real")
    write_folder(tmp_path / "out", result(b"1"))
    assert (tmp_path / "out").is_symlink()
    assert content(tmp_path / "real") == result(b"1")


def foreign_file(folder: Path) -> None:
    write_folder(folder, result(b"1"))
    (folder / "my thesis.docx").write_bytes(b"years of work")


def foreign_figure(folder: Path) -> None:
    write_folder(folder, result(b"1"))
    (folder / "figures" / "mine.png").write_bytes(b"mine")


def foreign_folder(folder: Path) -> None:
    write_folder(folder, result(b"1"))
    (folder / "films").mkdir()


def same_names_only(folder: Path) -> None:
    folder.mkdir()
    (folder / "report.pdf").write_bytes(b"somebody's report")


def link_inside(folder: Path) -> None:
    write_folder(folder, result(b"1"))
    (folder / "report.pdf").symlink_to("/")


@pytest.mark.parametrize(
    "prepare", [foreign_file, foreign_figure, foreign_folder, same_names_only, link_inside]
)
def test_anything_of_anybody_else_s_is_refused(tmp_path, prepare):
    folder = tmp_path / "out"
    prepare(folder)
    before = content(folder)
    for attempt in (lambda: check_folder(folder), lambda: write_folder(folder, result(b"2"))):
        with pytest.raises(OutputError, match=r"out: .*nothing was written"):
            attempt()
    assert content(folder) == before
    assert names(tmp_path) == ["out"]


def test_places_that_cannot_be_a_result_folder(tmp_path, monkeypatch):
    (tmp_path / "file").write_bytes(b"x")
    with pytest.raises(OutputError, match="is a file"):
        check_folder(tmp_path / "file")
    with pytest.raises(OutputError, match="lies below a file"):
        check_folder(tmp_path / "file" / "out")
    (tmp_path / "here" / "below").mkdir(parents=True)
    monkeypatch.chdir(tmp_path / "here" / "below")
    for place in (".", "..", str(tmp_path)):
        with pytest.raises(OutputError, match="the folder that you stand in"):
            check_folder(Path(place))
    with pytest.raises(OutputError, match="no zero bytes"):
        check_folder(Path("a\0b"))


def test_unknown_file_names_are_a_mistake_of_ours(tmp_path):
    with pytest.raises(ValueError, match="only known files"):
        write_folder(tmp_path / "out", {"../x": b""})


@pytest.mark.parametrize("at", ["write", "place"])
@pytest.mark.parametrize("earlier", [True, False])
def test_failing_disk_leaves_what_was_there_and_nothing_else(tmp_path, monkeypatch, at, earlier):
    folder = tmp_path / "deep" / "out"
    if earlier:
        write_folder(folder, result(b"1"))

    def fail(*_args: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(whole, "write_new" if at == "write" else "_put_in_place", fail)
    with pytest.raises(OutputError, match="no space left on device"):
        write_folder(folder, result(b"2"))
    if earlier:
        assert content(folder) == result(b"1")
        assert names(tmp_path / "deep") == ["out"]
    else:
        assert names(tmp_path) == []


@pytest.mark.parametrize(
    "error", [OSError(5, "Input/output error"), KeyboardInterrupt()], ids=["disk", "ctrl-c"]
)
def test_failing_between_two_renames_puts_the_old_result_back(tmp_path, monkeypatch, error):
    folder = tmp_path / "out"
    write_folder(folder, result(b"1"))
    rename = Path.rename

    def fail_for_the_new(self: Path, target: Path) -> Path:
        if self.name.endswith(".part") and target == folder:
            raise error
        return rename(self, target)

    monkeypatch.setattr(whole, "_exchange", lambda _one, _other: False)
    monkeypatch.setattr(Path, "rename", fail_for_the_new)
    with pytest.raises((OutputError, KeyboardInterrupt)):
        write_folder(folder, result(b"2"))
    assert content(folder) == result(b"1")
    assert names(tmp_path) == ["out"]


def test_interrupted_between_files_leaves_nothing(tmp_path, monkeypatch):
    def interrupt(*_args: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(whole, "write_new", interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_folder(tmp_path / "out", result(b"1"))
    assert names(tmp_path) == []


@pytest.mark.skipif(sys.platform != "linux", reason="folders change places in one step on Linux")
def test_killed_while_writing_the_folder_is_the_old_or_the_new_one(tmp_path):
    folder = tmp_path / "out"
    code = (
        "from pathlib import Path\nfrom measure_app.report.whole import write_folder\n"
        f"folder = Path({str(folder)!r})\nn = 0\nprint('up', flush=True)\n"
        "while True:\n    n += 1\n    mark = b'%d' % n\n"
        f"    write_folder(folder, {{'readings.csv': mark, 'findings.json': {JSON!r} + mark, 'figures/head-strip.png': mark}})\n"
        "    if n == 1: print('first', flush=True)\n"
    )
    for delay in (0.011, 0.023, 0.037, 0.051):
        with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, cwd=ROOT) as writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            writer.stdout.readline()
            time.sleep(delay)
            writer.send_signal(signal.SIGKILL)
        files = content(folder)
        assert files == result(files["readings.csv"])
    assert folder.is_dir()
