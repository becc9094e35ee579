"""Where a draining surface most likely runs through a strip, roughly, from the whole run at once.

A level that drains falls smoothly: first quickest, then ever slower, as √head falls evenly; in a container
that widens or narrows, a little differently. Curves of that family are laid over the strip, and the one along
which most frames show something that moves tells where to look. It is a wide lane, not a path: inside it the
data decide.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from measure_app.finders.medians import row_medians

LightArray = NDArray[np.float32]

_ENDS = 72
"""Places tried for the start and for the end of a curve."""
_TIMES = 64
"""Moments at which a curve is compared with the strip."""
_BENDS = (-0.5, -0.2, 0.1, 0.35, 0.55, 0.7, 0.82, 0.93)
"""Share of √head that is lost from first frame to last; below 0 for containers that narrow downwards."""
_ENOUGH = 5.0
"""Evidence beyond this counts no more: one glaring edge must not outweigh many fair ones."""

_LEAST = 0.8
"""Mean root of the evidence along a curve that stands out."""


def lane(evidence: LightArray) -> NDArray[np.bool_] | None:
    """Where along the line the surface may be at each time.

    Parameters
    ----------
    evidence : (rows, L) how strong what moves is, in units of the noise

    Returns
    -------
    (rows, L), or None where no such curve stands out.
    """
    rows, length = evidence.shape
    if rows < 24 or length < 48:
        return None
    step = max(2, -(-length // _ENDS))
    cells = -(-length // step)
    padded = np.zeros((rows, cells * step), dtype=np.float32)
    padded[:, :length] = np.minimum(evidence, np.float32(_ENOUGH))
    pooled = np.maximum.reduce([padded[:, k::step] for k in range(step)])
    parts = np.array_split(np.arange(rows), min(_TIMES, rows))
    pooled = np.stack([pooled[part].mean(axis=0) for part in parts])
    # What is common along the line at a time (a hand, a flash) tells nothing of a place.
    pooled = np.maximum(pooled - row_medians(pooled)[:, None], 0.0)
    moments = np.array([part.mean() for part in parts]) / (rows - 1)
    drops = np.arange(max(3, round(0.15 * cells)), cells)
    if not len(drops):
        return None
    # All curves of one drop are shifted copies of each other: their sums are those over windows of the strip.
    beyond = np.full((len(pooled), cells), -np.inf, dtype=np.float32)
    windows = np.lib.stride_tricks.sliding_window_view(np.hstack([np.sqrt(pooled), beyond]), cells, axis=1)
    at = np.arange(len(pooled))
    best, curve = -1.0, np.zeros(len(pooled))
    for bend in _BENDS:
        shape = (1.0 - (1.0 - bend * moments) ** 2) / (1.0 - (1.0 - bend) ** 2)
        offset = np.rint(drops[:, None] * shape).astype(np.intp)
        score = windows[at, offset].mean(axis=1)
        # The last moment may lie before the drop's end, but the curve must not.
        score[drops[:, None] + np.arange(cells) >= cells] = -np.inf
        drop, first = np.unravel_index(int(np.argmax(score)), score.shape)
        if score[drop, first] > best:
            best, curve = float(score[drop, first]), first + drops[drop] * shape
    if best < _LEAST:
        return None
    middle = np.interp(np.arange(rows) / (rows - 1), moments, curve) * step + step / 2
    margin = max(10.0, 0.08 * length)
    return np.asarray(np.abs(np.arange(length) - middle[:, None]) <= margin, dtype=bool)
