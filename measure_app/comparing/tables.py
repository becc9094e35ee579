"""A comparison as JSON and as CSV; text from outside never becomes a formula."""

from __future__ import annotations

import csv
import io
import json
import math
from typing import Any

from measure_app.comparing.comparison import Comparison
from measure_app.comparing.holes import QUANTITIES, Holes
from measure_app.comparing.pools import Pool
from measure_app.report.readings_csv import text, uncertainty

FORMAT = "clepsydra-comparison"
FORMAT_VERSION = 1
COLUMNS = (
    "finding", "unit", "group", "run", "value", "u", "independent_u", "common_u", "weight",
    "off_the_others_u", "odd",
)  # fmt: skip


def comparison_json(comparison: Comparison) -> bytes:
    """Return comparison.json: runs, what they share, every pool and how coefficients go with the hole."""
    tree = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "runs": [
            {
                "label": each.label,
                "orifice_diameter_m": each.diameter_m,
                "findings": {
                    name: {"value": _real(found.value), "u": _real(found.u), "unit": found.unit}
                    for name, found in each.findings.items()
                },
            }
            for each in comparison.entries
        ],
        "sources": [
            {"source": each.source, "common": each.common, "why": each.why} for each in comparison.commons
        ],
        "pooled": [_pool(pool) for pool in comparison.pools],
        "holes": None if comparison.holes is None else _holes(comparison.holes),
        "remarks": list(comparison.remarks),
    }
    return (json.dumps(tree, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode("utf-8")


def _pool(pool: Pool) -> dict[str, Any]:
    found = pool.found
    low, high = found.mean.interval_95
    return {
        "name": pool.name,
        "symbol": pool.symbol,
        "unit": pool.unit,
        "group": pool.group,
        "mean": _real(found.mean.value),
        "u": _real(found.mean.u),
        "interval_95": [_real(low), _real(high)],
        "budget": [
            {"source": share.source, "u": _real(share.u), "shared": share.shared}
            for share in found.mean.budget
        ],
        "chi_squared": _real(found.chi_squared),
        "degrees_of_freedom": found.dof,
        "chance": _real(found.chance),
        "birge_ratio": _real(found.birge),
        "between_runs": _real(found.between),
        "between_runs_dersimonian_laird": _real(found.between_dersimonian_laird),
        "standard_deviation": _real(found.scatter),
        "agree": found.consistent,
        "odd_one_out": None if found.odd is None else found.values[found.odd].label,
        "runs": [
            {
                "label": each.label,
                "value": _real(each.value),
                "u": _real(each.u),
                "independent_u": _real(each.independent_u),
                "weight": _real(float(weight)),
                "off_the_others_u": _real(float(off)),
            }
            for each, weight, off in zip(found.values, found.weights, found.deviations, strict=True)
        ],
        "remarks": list(pool.remarks),
    }


def _holes(holes: Holes) -> dict[str, Any]:
    return {
        "holes": [
            {
                "orifice_diameter_m": each.diameter_m,
                **{
                    name: {"value": _real(each.values[name][0]), "u": _real(each.values[name][1])}
                    for name in QUANTITIES
                },
            }
            for each in holes.holes
        ],
        "offset_times_diameter_m2": {
            "predicted": list(holes.predicted_m2),
            "found": None
            if holes.fitted_m2 is None
            else {"value": _real(holes.fitted_m2[0]), "u": _real(holes.fitted_m2[1])},
        },
        "offset_of_all_holes_m": None
        if holes.fitted_m is None
        else {"value": _real(holes.fitted_m[0]), "u": _real(holes.fitted_m[1])},
        "remarks": list(holes.says),
    }


def _real(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def comparison_csv(comparison: Comparison) -> bytes:
    """Return comparison.csv: RFC 4180, UTF-8, a row for each run in each pool and one for each mean."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for pool in comparison.pools:
        found = pool.found
        for i, (each, weight, off) in enumerate(
            zip(found.values, found.weights.tolist(), found.deviations.tolist(), strict=True)
        ):
            writer.writerow(
                (
                    text(pool.name), text(pool.unit), text(pool.group), text(each.label),
                    _figure(each.value), uncertainty(each.u), uncertainty(each.independent_u),
                    uncertainty(math.hypot(*each.common.values())), uncertainty(weight), _figure(off, 3),
                    "yes" if i == found.odd else "",
                )
            )  # fmt: skip
        mean = found.mean
        writer.writerow(
            (
                text(pool.name), text(pool.unit), text(pool.group), "mean", _figure(mean.value),
                uncertainty(mean.u), uncertainty(mean.u_own), uncertainty(math.hypot(*mean.shared.values())),
                "1", "", "",
            )
        )  # fmt: skip
    return out.getvalue().encode("utf-8")


def _figure(value: float, figures: int = 8) -> str:
    return f"{value:.{figures}g}" if math.isfinite(value) else ""
