"""Medians by sorting all: sorting is done on many values at once, and is quicker than to select among few."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray

_Float = TypeVar("_Float", np.float32, np.float64)


def median(values: NDArray[_Float]) -> float:
    """Median of all values, in their own precision; NaN where one is NaN, or none is there."""
    ordered = np.sort(values, axis=None)
    if not len(ordered) or np.isnan(ordered[-1]):
        return float("nan")
    return float((ordered[(len(ordered) - 1) // 2] + ordered[len(ordered) // 2]) * values.dtype.type(0.5))


def quantile(values: NDArray[_Float], share: float) -> float:
    """Value below which a share of all values lies, interpolated between neighbours; NaN as `median`."""
    ordered = np.sort(values, axis=None)
    if not len(ordered) or np.isnan(ordered[-1]):
        return float("nan")
    place = share * (len(ordered) - 1)
    low = int(place)
    left, right = ordered[low], ordered[min(low + 1, len(ordered) - 1)]
    return float(left + (right - left) * values.dtype.type(place - low))


def known_median(values: NDArray[_Float]) -> float:
    """Median of the values that are not NaN; NaN where there is none."""
    return median(values[~np.isnan(values)])


def row_medians(values: NDArray[_Float]) -> NDArray[_Float]:
    """Median of each row of (n, m) finite values, m at least 1; (n,)."""
    ordered = np.sort(values, axis=1)
    low, high = ordered[:, (values.shape[1] - 1) // 2], ordered[:, values.shape[1] // 2]
    return np.asarray((low + high) * values.dtype.type(0.5), dtype=values.dtype)


def column_medians(values: NDArray[_Float]) -> NDArray[_Float]:
    """Median of each column of (n, m) finite values, n at least 1; (m,)."""
    return row_medians(values.T)


def masked_row_medians(values: FloatArray, mask: NDArray[np.bool_]) -> FloatArray:
    """Median of each row of (n, m) over what the mask picks, (n,); NaN where it picks nothing."""
    ordered = np.sort(np.where(mask, values, np.inf), axis=1)
    count = mask.sum(axis=1)
    rows = np.arange(len(values))
    low = ordered[rows, np.maximum((count - 1) // 2, 0)]
    high = ordered[rows, np.minimum(count // 2, values.shape[1] - 1)]
    with np.errstate(invalid="ignore"):
        return np.where(count > 0, 0.5 * (low + high), np.nan)
