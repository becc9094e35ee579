"""What is said where Qt cannot start."""

from __future__ import annotations

import importlib
import subprocess
import sys

import pytest

from measure_app import screen
from measure_app.errors import AppError


def test_a_missing_library_is_named_with_its_package(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_name: str) -> object:
        raise ImportError("libEGL.so.1: cannot open shared object file: No such file or directory")

    monkeypatch.setattr(importlib, "import_module", broken)
    with pytest.raises(AppError) as error:
        screen.check_screen()
    assert "libEGL.so.1" in str(error.value)
    assert "apt-get install libegl1" in str(error.value)
    assert "\n" not in str(error.value)


def test_a_missing_library_of_the_screen_is_found_before_qt_ends_the_process(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def missing(name: str) -> None:
        raise OSError(name)

    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.delenv("QT_QPA_PLATFORM", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    monkeypatch.setenv("DISPLAY", ":99")
    monkeypatch.setattr(screen.ctypes, "CDLL", missing)
    with pytest.raises(
        AppError, match=r"libxcb-cursor\.so\.0, which is missing; apt-get install libxcb-cursor0"
    ):
        screen.check_screen()


def test_without_a_screen_the_command_says_so_in_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(sys, "platform", "linux")
    with pytest.raises(AppError, match="there is no screen"):
        screen.check_screen()


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux may lack a screen")
def test_the_command_ends_with_status_2_and_no_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    done = subprocess.run(
        [sys.executable, "-m", "measure_app", "open"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert "screen" in done.stderr
