"""What falls evenly in time while a container drains: √head, or its like where the width changes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.profile import AreaProfile
from analysis.series import BoolArray, FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class DrainClock:
    """
    The scale on which the drain curve is a straight line.

    With a constant area it is √h. With a profile it is ∫A/(2√h) dh over a reference area, so that it is in
    m^0.5 again, falls at k = Cd (a/A_ref) √(g/2) and is zero at zero head.
    """

    profile: AreaProfile | None = None
    reference_m2: float = 1.0
    """A_ref; of no account without a profile."""

    def root(self, head: FloatArray) -> FloatArray:
        """Give (n,) m^0.5 for heads of (n,) m, not below zero."""
        if self.profile is None:
            return np.asarray(np.sqrt(head), dtype=np.float64)
        return self.profile.clock(head) / self.reference_m2

    def head(self, root: FloatArray) -> FloatArray:
        """Give (n,) m for (n,) m^0.5."""
        if self.profile is None:
            return np.asarray(root**2, dtype=np.float64)
        return self.profile.head(root * self.reference_m2)

    def head_by_root(self, root: FloatArray, head: FloatArray) -> FloatArray:
        """Give (n,) m^0.5, the change of the head with the clock at heads that belong to `root`."""
        if self.profile is None:
            return np.asarray(2.0 * root, dtype=np.float64)
        area = np.maximum(self.profile.area(head), 1e-9 * self.reference_m2)
        return np.asarray(2.0 * np.sqrt(head) * self.reference_m2 / area, dtype=np.float64)

    def covers(self, head: FloatArray) -> BoolArray:
        """Say which of (n,) heads the profile tells of; all of them without one."""
        if self.profile is None:
            return np.ones(head.shape, dtype=bool)
        with np.errstate(invalid="ignore"):
            inside = (head >= self.profile.lowest_m) & (head <= self.profile.highest_m)
        return np.asarray(inside, dtype=bool)


def drain_clock(profile: AreaProfile | None, heads: FloatArray) -> DrainClock:
    """
    Choose the clock of a run, its reference area being that at the middle of the heads read.

    Parameters
    ----------
    profile : AreaProfile, optional
        None: the container is equally wide at all heights.
    heads : ndarray, shape (n,)
        m; NaN where none was read.

    Returns
    -------
    DrainClock
        Without a profile too where that tells of none of the heads.
    """
    if profile is None:
        return DrainClock()
    seen = heads[DrainClock(profile).covers(heads)]
    if not seen.size:
        return DrainClock()
    middle = 0.5 * (float(np.min(seen)) + float(np.max(seen)))
    return DrainClock(profile, float(profile.area(np.array([middle]))[0]))
