"""A decoder that really ends on chosen frames, as one does that a film brings down in native code.

python -c "… falling.main()" {"falls": [12], "on_open": false, "sleeps": [], "ahead": []}
"""

from __future__ import annotations

import ctypes
import json
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[3]


def command(**faults: Any) -> tuple[str, ...]:
    """What starts such a decoder, for `Decoder`."""
    boot = (
        f"import sys; sys.path.insert(0, {str(ROOT)!r}); "
        "from tests.measure_app.decoder.falling import main; main()"
    )
    return (sys.executable, "-c", boot, json.dumps(faults))


def fall() -> None:
    """Read where no memory is: the process ends by a signal (SIGSEGV), no Python sees it."""
    ctypes.string_at(0)


class _Falling:
    """A film that falls."""

    def __init__(self, clip: Any, faults: dict[str, Any]) -> None:
        self._clip = clip
        self._falls = set(faults.get("falls", ()))
        self._sleeps = set(faults.get("sleeps", ()))
        self._ahead = set(faults.get("ahead", ()))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._clip, name)

    def at_hand(self, index: int) -> Any:
        return None if index in self._falls | self._sleeps else self._clip.at_hand(index)

    def frame(self, index: int) -> Any:
        self._meet(index)
        return self._clip.frame(index)

    def prefetch(self, first: int, last: int, stop_requested: Any = None) -> bool:
        if self._ahead & set(range(first, last + 1)):
            fall()
        return bool(self._clip.prefetch(first, last, stop_requested))

    def luma_planes(self, *args: Any, **more: Any) -> Iterator[Any]:
        for luma in self._clip.luma_planes(*args, **more):
            self._meet(luma.index)
            yield luma

    def _meet(self, index: int) -> None:
        if index in self._falls:
            fall()
        if index in self._sleeps:
            time.sleep(1000)


def main() -> None:
    from measure_app.clip import open_source
    from measure_app.decoder.serving import serve

    faults = json.loads(sys.argv[1])

    def opener(path: Path) -> Any:
        if faults.get("on_open"):
            fall()
        return _Falling(open_source(path), faults)

    serve(opener)
