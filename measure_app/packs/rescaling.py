"""A run in the pixels of a film of another size: every position, every uncertainty in px, the lens."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import msgspec
import numpy as np
from msgspec.structs import replace

from calibration import Pixel
from measure_app.finders import JetTrace
from measure_app.jet_path import AdoptJet, trace_of
from measure_app.run import Run
from measure_app.shared_errors import scaled_shared


@dataclass(frozen=True, slots=True)
class Rescaling:
    """From the pixels of one picture to those of another: widened at its edges, then scaled as a whole.

    (0, 0) is the centre of the top-left pixel in either picture, so its corner lies at (-0.5, -0.5), and
    x' = (x + left + 0.5)·scale - 0.5.
    """

    scale: float = 1.0
    """Pixels of the new picture in one of the old."""
    left_px: int = 0
    """Columns added at the left before scaling, px of the old picture."""
    top_px: int = 0
    """Rows added at the top before scaling, px of the old picture."""

    @property
    def identical(self) -> bool:
        """Whether nothing is changed."""
        return self.scale == 1.0 and not self.left_px and not self.top_px

    def pixel(self, px: Pixel) -> Pixel:
        """Return where a position of the old picture lies in the new one."""
        return Pixel(
            (px.x + self.left_px + 0.5) * self.scale - 0.5, (px.y + self.top_px + 0.5) * self.scale - 0.5
        )

    def back(self, px: Pixel) -> Pixel:
        """Return where a position of the new picture lies in the old one; the inverse of `pixel`."""
        return Pixel(
            (px.x + 0.5) / self.scale - 0.5 - self.left_px, (px.y + 0.5) / self.scale - 0.5 - self.top_px
        )


def rescaled(run: Run, how: Rescaling) -> Run:
    """Return a run as it reads in the pixels of the new picture; lengths in metres are the same."""
    return run if how.identical else _converted(run, how, back=False)


def scaled_back(run: Run, how: Rescaling) -> Run:
    """Return a run made on the new picture as it reads in the pixels of the old one."""
    return run if how.identical else _converted(run, how, back=True)


def _converted(run: Run, how: Rescaling, *, back: bool) -> Run:
    turn = how.back if back else how.pixel
    factor = 1.0 / how.scale if back else how.scale

    def of(value: Any) -> Any:
        # The run's own types say what is a position: Pixel, and numbers whose key ends in the unit px.
        if isinstance(value, Pixel):
            return turn(value)
        if isinstance(value, tuple):
            return tuple(of(each) for each in value)
        if not isinstance(value, msgspec.Struct):
            return value
        changes = {}
        for name in value.__struct_fields__:
            old = getattr(value, name)
            if name in {"px_u", "focal_px"}:
                changes[name] = old * factor
            elif name != "extra":
                changes[name] = of(old)
        return replace(value, **changes)

    converted: Run = scaled_shared(of(run), factor)
    trace = trace_of(run)
    if trace is None:
        return converted
    px = [[turn(Pixel(*place)) for place in line] for line in trace.px.tolist()]
    moved = JetTrace(
        trace.frames.copy(), np.array(px, dtype=np.float64), trace.u_px * factor, trace.width_px * factor
    )
    return AdoptJet(moved).apply(converted)
