"""Lengths with their own and their shared errors kept apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.pixels import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Metres:
    """Lengths read off the frame.

    Own errors are independent from reading to reading and shrink with their number; shared errors are common
    to all readings and never do, so each keeps its name and its sensitivity column.
    """

    values: FloatArray
    """(n,) m; NaN where the position could not be turned into a length."""
    own_u: FloatArray
    """(n,) m, standard uncertainty that is independent from reading to reading."""
    shared: FloatArray
    """(n, k) m, change of each value when source k moves by one standard uncertainty."""
    sources: tuple[str, ...]
    """k names, such as "upright rule: scale"."""
    reasons: tuple[str, ...] = ()
    """(n,) or empty; why a value is NaN, "" where it is not."""

    def __post_init__(self) -> None:
        """Check the shapes and make the arrays read-only."""
        n = self.values.shape[0]
        if self.own_u.shape != (n,) or self.shared.shape != (n, len(self.sources)):
            raise ValueError(
                f"own_u must have shape ({n},) and shared ({n}, {len(self.sources)}), "
                f"got {self.own_u.shape} and {self.shared.shape}"
            )
        if self.reasons and len(self.reasons) != n:
            raise ValueError(f"reasons must be empty or have {n} entries, got {len(self.reasons)}")
        for array in (self.values, self.own_u, self.shared):
            array.setflags(write=False)

    @property
    def u(self) -> FloatArray:
        """(n,) m, standard uncertainty of each single value, own and shared combined."""
        return np.asarray(np.sqrt(self.own_u**2 + np.sum(self.shared**2, axis=1)), dtype=np.float64)
