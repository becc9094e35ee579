"""Medians of many rows at once: whole rows sorted, which is quicker than to select from short ones."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray

_Float = TypeVar("_Float", np.float32, np.float64)


def row_medians(values: NDArray[_Float]) -> NDArray[_Float]:
    """Median of each row of (n, m) finite values, m at least 1; (n,)."""
    ordered = np.sort(values, axis=1)
    low, high = ordered[:, (values.shape[1] - 1) // 2], ordered[:, values.shape[1] // 2]
    return np.asarray((low + high) * values.dtype.type(0.5), dtype=values.dtype)


def masked_row_medians(values: FloatArray, mask: NDArray[np.bool_]) -> FloatArray:
    """Median of each row of (n, m) over what the mask picks, (n,); NaN where it picks nothing."""
    ordered = np.sort(np.where(mask, values, np.inf), axis=1)
    count = mask.sum(axis=1)
    rows = np.arange(len(values))
    low = ordered[rows, np.maximum((count - 1) // 2, 0)]
    high = ordered[rows, np.minimum(count // 2, values.shape[1] - 1)]
    with np.errstate(invalid="ignore"):
        return np.where(count > 0, 0.5 * (low + high), np.nan)
