"""The program's own part of a run's `extra`, under a key of its own.

`extra` is free: another program, or a hand with an editor, may have put anything there. Reading passes over
what is not of the right shape; writing never puts itself over it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from msgspec.structs import replace

from measure_app.errors import RunFileError
from measure_app.run import Run
from measure_app.words import said

KEY = "clepsydra"
"""The key of `extra` under which this program keeps its own."""


def own_of(run: Run) -> Mapping[str, Any]:
    """Return what the program keeps; nothing where something else is under its key."""
    own = run.extra.get(KEY)
    return own if isinstance(own, Mapping) else {}


def with_own(run: Run, name: str, value: object | None) -> Run:
    """Keep a value under the program's own key, in place of an earlier one; None takes it away.

    Raises
    ------
    RunFileError
        If something else is under that key.
    """
    old = run.extra.get(KEY, {})
    if not isinstance(old, dict):
        words = said("holds something that this program did not put there; rename that key in the run file")
        raise RunFileError(words, where=f"extra.{KEY}")
    own = {each: kept for each, kept in old.items() if each != name}
    if value is not None:
        own[name] = value
    extra = {each: kept for each, kept in run.extra.items() if each != KEY}
    return replace(run, extra={**extra, KEY: own} if own else extra)
