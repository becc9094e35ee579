"""Medians by sorting are those of numpy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from measure_app.finders import medians

FINITE = {"allow_nan": False, "allow_infinity": False, "width": 32}
TABLES = hnp.arrays(
    np.float32,
    hnp.array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=9),
    elements=st.floats(-1e6, 1e6, **FINITE),
)


@settings(max_examples=40)
@given(TABLES)
def test_medians_are_those_of_numpy(values: np.ndarray) -> None:
    for each in (values, values.astype(np.float64)):
        assert medians.median(each) == pytest.approx(np.median(each), rel=1e-6)
        np.testing.assert_allclose(medians.row_medians(each), np.median(each, axis=1), rtol=1e-6)
        np.testing.assert_allclose(medians.column_medians(each), np.median(each, axis=0), rtol=1e-6)


@settings(max_examples=40)
@given(TABLES, st.floats(0.0, 1.0))
def test_quantiles_are_those_of_numpy(values: np.ndarray, share: float) -> None:
    double = values.astype(np.float64)
    expected = np.quantile(double, share)
    assert medians.quantile(double, share) == pytest.approx(expected, rel=1e-9, abs=1e-6 * np.ptp(double))


def test_what_is_not_known_is_left_out_where_that_is_asked() -> None:
    values = np.array([3.0, np.nan, 1.0, 8.0])
    assert np.isnan(medians.median(values))
    assert np.isnan(medians.quantile(values, 0.9))
    assert medians.known_median(values) == 3.0
    assert medians.known_median(np.array([np.nan, 4.0, 2.0])) == 3.0
    assert np.isnan(medians.known_median(np.array([np.nan])))
    assert np.isnan(medians.median(np.zeros(0)))
    mask = np.array([[True, False, True, True], [False] * 4])
    got = medians.masked_row_medians(np.array([[4.0, 1.0, 6.0, 9.0]] * 2), mask)
    assert got[0] == 6.0
    assert np.isnan(got[1])
