"""The strips of the whole film, built in a thread as soon as there are lines, and shown while they grow."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from calibration import Segment
from measure_app.gui.lane import Job
from measure_app.run import LinePart, Run

if TYPE_CHECKING:  # the thread that opens the film loads all this; the window need not wait for it
    from measure_app.clip import FrameSource
    from measure_app.strips import Strip, StripLine

HEAD_STRIP = "head"
THROW_STRIP = "throw"

_ACROSS_PX = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Sweep:
    """Lines of a film that are to be followed through all its frames."""

    source: FrameSource
    lines: tuple[StripLine, ...]


def lines_of(run: Run) -> tuple[StripLine, ...]:
    """Return the lines of a run that make strips."""
    from measure_app.strips import StripLine

    pairs = ((HEAD_STRIP, run.gauge_line), (THROW_STRIP, run.landing_line))
    return tuple(StripLine(name, _segment(part), _ACROSS_PX) for name, part in pairs if part is not None)


def read(wish: Sweep, job: Job) -> tuple[Strip, ...]:
    """Read the strips; for a `Lane`. They are given away at once, black, and fill while it runs."""
    from measure_app.strips import sweep

    count = wish.source.info.n_frames
    return sweep(
        wish.source,
        wish.lines,
        0,
        count,
        progress=job.progress,
        stop_requested=job.stop_requested,
        begun=job.tell,
    )


def _segment(part: LinePart) -> Segment:
    return Segment(part.from_px, part.to_px)
