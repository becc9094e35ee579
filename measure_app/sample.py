"""Where the sample run lies: in the installed package, or in a checkout beside it."""

from __future__ import annotations

from pathlib import Path

from measure_app.errors import RunFileError
from measure_app.words import said

_NAME = "bench.run.json"


def sample_run() -> Path:
    """Return the sample's run file.

    Raises
    ------
    RunFileError
        The sample is in neither place.
    """
    here = Path(__file__).resolve().parent
    for folder in (here / "sample" / "bench", here.parent / "sample_clips" / "bench"):
        if (folder / _NAME).is_file():
            return folder / _NAME
    raise RunFileError(said("the sample run is missing; install the package anew"), where=_NAME)
