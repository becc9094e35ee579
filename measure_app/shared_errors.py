"""What all found readings of a run have in common to err by, as the run keeps it with the readings."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from msgspec.structs import replace

from measure_app.errors import RunFileError
from measure_app.run import Run
from measure_app.series import SharedReading
from measure_app.words import said

KEY = "clepsydra"
"""The program's own key under `extra`."""
SHARED = "found_shared_u_px"
_SURFACE, _LANDING = "surface", "landing"
_MOST_PX = 1000.0


def own_part(run: Run) -> dict[str, Any]:
    """Return what the program keeps under `extra`.

    Raises
    ------
    RunFileError
        If something else is there.
    """
    own = run.extra.get(KEY, {})
    if not isinstance(own, dict):
        words = said("holds something that this program did not put there; rename that key in the run file")
        raise RunFileError(words, where=f"extra.{KEY}")
    return own


def with_own(run: Run, name: str, value: object | None) -> Run:
    """Keep a value under the program's own key, in place of an earlier one; None takes it away.

    Raises
    ------
    RunFileError
        If something else is under that key.
    """
    own = {each: kept for each, kept in own_part(run).items() if each != name}
    if value is not None:
        own[name] = value
    extra = {each: kept for each, kept in run.extra.items() if each != KEY}
    return replace(run, extra={**extra, KEY: own} if own else extra)


def with_shared(run: Run, shared: SharedReading | None) -> Run:
    """Keep the shared errors of the readings that were found; None takes them away."""
    kept = None if shared is None else {_SURFACE: shared.surface_u_px, _LANDING: shared.landing_u_px}
    return with_own(run, SHARED, kept)


def shared_of(run: Run) -> SharedReading:
    """Read the shared errors that a run keeps; the usual ones where it keeps none of the right kind."""
    usual = SharedReading()
    own = run.extra.get(KEY)
    kept = own.get(SHARED) if isinstance(own, Mapping) else None
    if not isinstance(kept, Mapping):
        return usual
    return SharedReading(
        _px(kept.get(_SURFACE), usual.surface_u_px), _px(kept.get(_LANDING), usual.landing_u_px)
    )


def scaled_shared(run: Run, factor: float) -> Run:
    """Return a run whose kept shared errors are so many times as large, for a picture of another size."""
    own = run.extra.get(KEY)
    if not isinstance(own, Mapping) or SHARED not in own:
        return run
    shared = shared_of(run)
    return with_shared(run, SharedReading(shared.surface_u_px * factor, shared.landing_u_px * factor))


def _px(kept: object, usual: float) -> float:
    if isinstance(kept, bool) or not isinstance(kept, int | float):
        return usual
    return float(kept) if math.isfinite(kept) and 0.0 <= kept <= _MOST_PX else usual
