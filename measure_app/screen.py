"""Whether the window can start here: what the system lacks, said in one line before Qt ends the process."""

from __future__ import annotations

import ctypes
import importlib
import importlib.util
import os
import re
import sys
from pathlib import Path

from measure_app.errors import AppError
from measure_app.words import said

DEBIAN_PACKAGES = {
    "libGL.so.1": "libgl1",
    "libEGL.so.1": "libegl1",
    "libdbus-1.so.3": "libdbus-1-3",
    "libfontconfig.so.1": "libfontconfig1",
    "libfreetype.so.6": "libfreetype6",
    "libxkbcommon.so.0": "libxkbcommon0",
    "libglib-2.0.so.0": "libglib2.0-0",
    "libX11.so.6": "libx11-6",
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
    "libxcb-shape.so.0": "libxcb-shape0",
    "libwayland-cursor.so.0": "libwayland-cursor0",
}
"""Debian 12 packages of the libraries that Qt needs and a bare system lacks."""
_X11 = (
    "libxcb-cursor.so.0",
    "libxkbcommon-x11.so.0",
    "libxcb-icccm.so.4",
    "libxcb-keysyms.so.1",
    "libxcb-shape.so.0",
)


def check_screen() -> None:
    """Make sure that Qt can be loaded and has a screen to draw on.

    Raises
    ------
    AppError
        Names the missing library and the package that brings it, or says that there is no screen.
    """
    if importlib.util.find_spec("PySide6") is None:
        raise AppError(
            said("PySide6 is not installed; install the package anew with pip"), where=said("window")
        )
    try:
        importlib.import_module("PySide6.QtWidgets")
    except ImportError as error:
        raise AppError(_import_words(str(error)), where=said("window")) from None
    words = _screen_words()
    if words:
        raise AppError(words, where=said("window"))


def _import_words(told: str) -> str:
    found = re.search(r"(lib[\w.+-]+\.so[.\d]*)", told)
    if found is None:
        told = " ".join(told.split())
        return said("Qt cannot be loaded ({told}); install the package anew with pip", told=told)
    return _missing(found[1])


def _missing(library: str) -> str:
    package = DEBIAN_PACKAGES.get(library)
    if package:
        remedy = f"apt-get install {package}"
        return said(
            "Qt needs the system library {library}, which is missing; {remedy}",
            library=library,
            remedy=remedy,
        )
    return said(
        "Qt needs the system library {library}, which is missing; install the system's package that holds it",
        library=library,
    )


def _screen_words() -> str:
    """Say what keeps Qt from a screen on Linux; elsewhere the system always has one."""
    if not sys.platform.startswith("linux"):
        return ""
    platform = os.environ.get("QT_QPA_PLATFORM", "").partition(":")[0]
    if platform not in ("", "xcb", "wayland"):
        return ""
    wayland = platform == "wayland" or (not platform and _wayland_socket())
    if platform != "wayland" and os.environ.get("DISPLAY"):
        for library in _X11:
            try:
                ctypes.CDLL(library)
            except OSError:
                if not wayland:
                    return _missing(library)
        return ""
    if wayland:
        return ""
    return said("there is no screen (neither DISPLAY nor WAYLAND_DISPLAY is set); start it from a desktop")


def _wayland_socket() -> bool:
    name = os.environ.get("WAYLAND_DISPLAY", "")
    runtime = os.environ.get("XDG_RUNTIME_DIR", "")
    return bool(name) and (Path(name).is_absolute() or bool(runtime))
