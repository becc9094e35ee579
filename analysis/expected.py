"""What is published for the hole of a run, at the heads that it has."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from analysis.basis import Basis
from analysis.published import ExpectedBand, expected_bands


def expected_of(basis: Basis) -> Mapping[str, ExpectedBand]:
    """
    Give the published bands that belong to a run.

    Parameters
    ----------
    basis : Basis
        Of which the conditions and the heads that are used count.

    Returns
    -------
    mapping
        By the name of the finding: "speed_coefficient" and "discharge_coefficient".
    """
    head_range = None
    if basis.series.head is not None and np.any(basis.chosen.with_head):
        heads = basis.series.head.values[basis.chosen.with_head]
        head_range = (float(np.min(heads)), float(np.max(heads)))
    bands = expected_bands(basis.conditions, head_range)
    return MappingProxyType({"speed_coefficient": bands.cv, "discharge_coefficient": bands.cd})
