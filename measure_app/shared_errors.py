"""What all found readings of a run have in common to err by, as the run keeps it with the readings."""

from __future__ import annotations

import math
from collections.abc import Mapping

from measure_app.own_extra import own_of, with_own
from measure_app.run import Run
from measure_app.series import SharedReading

SHARED = "found_shared_u_px"
_SURFACE, _LANDING = "surface", "landing"
_MOST_PX = 1000.0


def with_shared(run: Run, shared: SharedReading | None) -> Run:
    """Keep the shared errors of the readings that were found; None takes them away."""
    kept = None if shared is None else {_SURFACE: shared.surface_u_px, _LANDING: shared.landing_u_px}
    return with_own(run, SHARED, kept)


def shared_of(run: Run) -> SharedReading:
    """Read the shared errors that a run keeps; the usual ones where it keeps none of the right kind."""
    usual = SharedReading()
    kept = own_of(run).get(SHARED)
    if not isinstance(kept, Mapping):
        return usual
    return SharedReading(
        _px(kept.get(_SURFACE), usual.surface_u_px), _px(kept.get(_LANDING), usual.landing_u_px)
    )


def scaled_shared(run: Run, factor: float) -> Run:
    """Return a run whose kept shared errors are so many times as large, for a picture of another size."""
    if SHARED not in own_of(run):
        return run
    shared = shared_of(run)
    return with_shared(run, SharedReading(shared.surface_u_px * factor, shared.landing_u_px * factor))


def _px(kept: object, usual: float) -> float:
    if isinstance(kept, bool) or not isinstance(kept, int | float):
        return usual
    return float(kept) if math.isfinite(kept) and 0.0 <= kept <= _MOST_PX else usual
