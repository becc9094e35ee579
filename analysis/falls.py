"""What was seen falling: places of a drop or of the jet's front in frames whose times are known."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from analysis.series import Column, FloatArray
from analysis.words import marked


class Falling(Enum):
    """What falls, and so what is known of how it set out."""

    DROP = "drop"
    """A drop that was let go; nothing is taken for granted of it but that two marks mean rest and landing."""
    JET_DROP = marked("jet drop")
    """A drop of the jet: its water left the hole."""
    JET_FRONT = marked("jet front")
    """The first water of a jet that has just been opened."""

    @property
    def from_the_hole(self) -> bool:
        """Whether it set out at the hole, along the jet."""
        return self is not Falling.DROP


@dataclass(frozen=True, slots=True, eq=False)
class Fall:
    """
    One fall, mark by mark.

    Two marks are two *events*, such as set out and landed, each seen to within one frame; three and more are
    places in frames, and then the time of each is as good as the film's clock.
    """

    name: str
    kind: Falling
    time_s: FloatArray
    """(n,) s, when each mark's row of the picture was read out; increasing."""
    step_s: FloatArray
    """(n,) s, from the frame before to each mark's frame: how long ago an event seen in it may have been."""
    time_shared: FloatArray
    """(n, k) s, change of each time when shared source k moves by one standard uncertainty."""
    down: Column
    """m, how far below the hole's centre each mark lies."""
    across: Column | None = None
    """m, how far out from the throw zero; None where no rule measures throws."""
    diameter_m: float | None = None
    """Diameter of the drop, for the drag of the air; None: no drag is taken off, as for an unbroken jet."""
    diameter_u_m: float = 0.0

    def __post_init__(self) -> None:
        """Check shapes and order, and make the arrays read-only."""
        n = self.time_s.shape[0]
        k = self.down.shared.shape[1]
        columns = [self.down] if self.across is None else [self.down, self.across]
        if n < 2:
            raise ValueError(f"a fall has two marks or more, got {n}")
        if self.step_s.shape != (n,) or self.time_shared.shape != (n, k):
            raise ValueError(
                f"step_s must have shape ({n},) and time_shared ({n}, {k}), "
                f"got {self.step_s.shape} and {self.time_shared.shape}"
            )
        if any(column.shared.shape != (n, k) for column in columns):
            raise ValueError(f"down and across must have {n} rows and {k} shared sources")
        if not all(np.all(np.isfinite(column.values)) for column in columns):
            raise ValueError("marks that cannot be turned into lengths must be left out before")
        if not np.all(np.diff(self.time_s) > 0.0):
            raise ValueError("the times of a fall's marks must increase")
        for array in (self.time_s, self.step_s, self.time_shared):
            array.setflags(write=False)

    @property
    def n(self) -> int:
        """Count of marks."""
        return int(self.time_s.shape[0])


@dataclass(frozen=True, slots=True, eq=False)
class Falls:
    """All falls of a run, with their shared sources by name."""

    sources: tuple[str, ...]
    """k names; those of the calibration are the names that the run's series has them under."""
    falls: tuple[Fall, ...]
    launch_angle_deg: float | None = None
    """Angle of the jet above the horizontal at the hole, degrees; None: not measured, taken as level."""
    launch_angle_u_deg: float | None = None
    cautions: tuple[str, ...] = ()
    """What is to be said of any g from these falls, such as how far the clock may be trusted."""
    missing: str = ""
    """Why there is no fall although some were marked; "" where none was marked or some can be used."""

    def __post_init__(self) -> None:
        """Check that all falls have the same sources."""
        k = len(self.sources)
        for fall in self.falls:
            if fall.down.shared.shape[1] != k:
                raise ValueError(
                    f"fall {fall.name!r} has {fall.down.shared.shape[1]} shared sources, not {k}"
                )
