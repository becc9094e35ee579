"""How a decoding process is started; loads nothing else, so that the first can begin before all the rest."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

_BOOT = (
    "import sys, json; sys.path[:] = json.loads(sys.argv[1]); "
    "from measure_app.decoder.serving import serve; serve()"
)


def command_of_decoder() -> tuple[str, ...]:
    """How this very program is started as a decoder."""
    if getattr(sys, "frozen", False):  # a bundle has no Python to be called
        from measure_app.__main__ import SERVE

        return (sys.executable, SERVE)
    paths = [str(Path(each or os.curdir).absolute()) for each in sys.path]
    return (sys.executable, "-c", _BOOT, json.dumps(paths))


def started(command: Sequence[str]) -> subprocess.Popen[bytes]:
    """Start a process that speaks through its standard input and output, and ends when they do.

    It is a new program, never a fork that goes on: no state of Qt, no lock and no open file comes along.

    Raises
    ------
    OSError
        If it cannot be started.
    """
    return subprocess.Popen(
        list(command),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=None if sys.stderr is not None else subprocess.DEVNULL,
        bufsize=0,
        creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),  # Windows: no terminal flashes up
    )
