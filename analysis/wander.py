"""What the places found in a film have in common to err by, where it changes along the way that they go.

Which place of a blurred edge is the edge, or of a jet its centre, depends on what is seen behind it, on how
the light falls there and on what coding leaves of something that slows down. Neighbours share it whole, both
ends of a run in part. Taken as the same for all, it would leave the slope and the bend of a run untouched,
and with them the drain rate, however large it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from analysis.series import FloatArray

_NODES = 65


@dataclass(frozen=True, slots=True)
class Wander:
    """How alike the shared errors of two places are: stays + (1 - stays) exp(-(distance/reach)^power)."""

    stays: float
    """Share of the variance that is the same all along the way."""
    reach: float
    """Distance, as a share of the way, over which the rest becomes another."""
    power: int
    """1: rough, as what is seen behind; 2: smooth."""
    ways: int
    """Curves in which it is written down; what they leave out is too quick to bend a run."""


SURFACE_WANDER = Wander(stays=0.5, reach=0.25, power=1, ways=5)
LANDING_WANDER = Wander(stays=0.0, reach=0.93, power=2, ways=3)
"""By measurement on films of all kinds: tests/benchmarks/answers.md has the likeness that was found."""


def wandering(shared: FloatArray, places: FloatArray, like: Wander) -> FloatArray:
    """
    Part a shared error that changes along the way into independent sources.

    Parameters
    ----------
    shared : ndarray, shape (n,)
        Change of each length when its place errs by one standard uncertainty of what is shared; 0 where it
        does not.
    places : ndarray, shape (n,)
        Where on the way each was found, in any unit; NaN where it was not.
    like : Wander
        How alike two places are.

    Returns
    -------
    ndarray, shape (ways, n)
        A row for each source, the first nearly the same all through; the squares add up to those of `shared`.

    Notes
    -----
    The Karhunen–Loève expansion: the leading eigenvectors of the covariance, each times the root of its
    eigenvalue.
    """
    columns = np.zeros((like.ways, shared.shape[0]))
    columns[0] = shared
    seen = np.isfinite(places) & (shared != 0.0)
    if not np.any(seen):
        return columns
    first, last = float(np.min(places[seen])), float(np.max(places[seen]))
    if not last > first:
        return columns
    along = (places[seen] - first) / (last - first)
    nodes = np.linspace(0.0, 1.0, _NODES)
    shapes = np.stack([np.interp(along, nodes, shape) for shape in _shapes(like)])
    columns[:, seen] = shared[seen] * shapes / np.linalg.norm(shapes, axis=0)
    return columns


def numbered(name: str, like: Wander) -> tuple[str, ...]:
    """Name the sources of `wandering` after the first: "name", "name (2)" and so on."""
    return tuple(name if i == 1 else f"{name} ({i})" for i in range(1, like.ways))


@cache
def _shapes(like: Wander) -> FloatArray:
    """(ways, nodes) curves along the way, the strongest first."""
    nodes = np.linspace(0.0, 1.0, _NODES)
    apart = np.abs(nodes[:, None] - nodes) / like.reach
    alike = like.stays + (1.0 - like.stays) * np.exp(-(apart**like.power))
    values, vectors = np.linalg.eigh(alike)
    shapes = (vectors * np.sqrt(np.maximum(values, 0.0)))[:, ::-1][:, : like.ways].T
    return np.asarray(shapes * np.where(shapes[:, :1] < 0.0, -1.0, 1.0), dtype=np.float64)
