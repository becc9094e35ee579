"""Medians of rows are numpy's, odd or even, masked or whole."""

from __future__ import annotations

import numpy as np
import pytest

from measure_app.finders.medians import masked_row_medians, row_medians


@pytest.mark.parametrize("count", [1, 2, 7, 10])
@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_row_medians_are_numpys(count: int, kind: type) -> None:
    values = np.random.default_rng(count).normal(size=(40, count)).astype(kind)
    assert row_medians(values).dtype == kind
    assert np.array_equal(row_medians(values), np.median(values, axis=1))


def test_masked_row_medians_are_those_of_what_is_picked() -> None:
    rng = np.random.default_rng(3)
    values, mask = rng.normal(size=(60, 9)), rng.random((60, 9)) < 0.5
    mask[0], mask[1] = False, True
    values[~mask] = np.nan  # what is not picked plays no part
    got = masked_row_medians(values, mask)
    assert np.isnan(got[0])
    for row in range(1, 60):
        if mask[row].any():
            assert got[row] == pytest.approx(np.median(values[row][mask[row]]))
