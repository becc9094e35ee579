"""The class as tables and as JSON; text from outside never becomes a formula."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from measure_app.collating.class_key import PARTS, Source
from measure_app.collating.class_result import QUANTITIES, UNITS, ClassResult, Observer, Standing
from measure_app.collating.marks import Criteria
from measure_app.collating.precision import Precision
from measure_app.finders import Part
from measure_app.report.findings_json import findings_json
from measure_app.report.readings_csv import number, text, uncertainty
from measure_app.report.results import results_of
from measure_app.words import said

FORMAT = "clepsydra-class"
FORMAT_VERSION = 1

_COLLATED = (
    "number", "observer", "frame", "time_s",
    "surface_along_px", "surface_off_px", "landing_along_px", "landing_off_px",
    "head_mm", "throw_mm", "cv", "counts",
)  # fmt: skip
_FRAMES = (
    "frame", "time_s",
    "surface_n", "surface_reference_px", "surface_mean_off_px", "surface_sd_px",
    "surface_pooled_px", "surface_u_px",
    "landing_n", "landing_reference_px", "landing_mean_off_px", "landing_sd_px",
    "landing_pooled_px", "landing_u_px",
)  # fmt: skip


def tables(result: ClassResult) -> dict[str, bytes]:
    """Return every table of a class by the name of its file."""
    return {
        "collated.csv": _csv(_COLLATED, _collated(result)),
        "observers.csv": _csv(*_observers(result)),
        "frames.csv": _csv(_FRAMES, _frames(result)),
        "marks.csv": _csv(*_marks(result)),
        "findings.json": class_json(result),
    }


def _csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(header)
    for row in rows:
        writer.writerow(row)
    return out.getvalue().encode("utf-8")


def _time(result: ClassResult, frame: int) -> str:
    seconds = result.key.key.seconds
    return "" if seconds is None or frame >= len(seconds) else number(float(seconds[frame]), 9)


def _collated(result: ClassResult) -> Iterable[Sequence[object]]:
    for each in result.observers:
        answer = each.answer
        along = {part: answer.along(part, result.key.key) for part in PARTS}
        for i, frame in enumerate(answer.frames.tolist()):
            yield (
                each.number,
                text(each.shown),
                frame,
                _time(result, frame),
                number(float(along[Part.SURFACE][i]), 3),
                number(float(each.deviations[Part.SURFACE][i]), 3),
                number(float(along[Part.LANDING][i]), 3),
                number(float(each.deviations[Part.LANDING][i]), 3),
                number(1000 * float(answer.head_m[i]), 3),
                number(1000 * float(answer.throw_m[i]), 3),
                number(float(answer.cv[i]), 5),
                "yes" if each.places_count else "no",
            )


def _observers(result: ClassResult) -> tuple[Sequence[str], Iterable[Sequence[object]]]:
    header = ["number", "observer", "file", "share", "readings", "cv", "cv_u"]
    for name in QUANTITIES:
        header += [f"{name}_{what}" for what in ("n", "bias", "s", "h", "k", "beyond")]
    header += ["questions_answered", "counts", "faults", "remarks"]
    return header, (_observer(each, result) for each in result.observers)


def _observer(each: Observer, result: ClassResult) -> list[object]:
    answer = each.answer
    cv, u = answer.cv_fit or (math.nan, math.nan)
    row: list[object] = [
        each.number,
        text(each.shown),
        "" if result.anonymous else text(answer.file),
        answer.share or "",
        len(answer.frames),
        number(cv, 5),
        uncertainty(u),
    ]
    for name in QUANTITIES:
        standing = each.standings.get(name)
        if standing is None:
            row += [""] * 6
            continue
        row += [
            standing.n,
            number(standing.bias, 4),
            uncertainty(standing.s),
            number(standing.h, 2),
            number(standing.k, 2),
            text(beyond(standing, result.precisions[name])),
        ]
    asked = f"{answer.answered} of {answer.questions}" if answer.questions else ""
    remarks = [*each.remarks, *([said("no Cv: {why}", why=answer.cv_why)] if answer.cv_why else [])]
    return [
        *row,
        asked,
        "yes" if each.places_count else "no",
        text("; ".join(fault.says for fault in each.faults)),
        text("; ".join(remarks)),
    ]


def beyond(standing: Standing, precision: Precision | str) -> str:
    """Say which of h and k lie beyond their critical values at 1 % ("h k", "h", "k" or "")."""
    if isinstance(precision, str):
        return ""
    limit = precision.h_critical_1
    signs = []
    if standing.h is not None and limit is not None and abs(standing.h) > limit:
        signs.append("h")
    if standing.k is not None and standing.k_critical_1 is not None and standing.k > standing.k_critical_1:
        signs.append("k")
    return " ".join(signs)


def _frames(result: ClassResult) -> Iterable[Sequence[object]]:
    inside = [each for each in result.observers if each.places_count]
    frames = sorted({int(f) for each in result.observers for f in each.answer.frames})
    numbers = np.array(frames, dtype=np.int64)
    columns = []
    for part in PARTS:
        off = [np.empty(0)] + [each.deviations[part] for each in inside]
        where = [np.empty(0, dtype=np.int64)] + [np.searchsorted(numbers, e.answer.frames) for e in inside]
        columns.append(_frame_columns(result, part, numbers, np.concatenate(where), np.concatenate(off)))
    for i, frame in enumerate(frames):
        yield (frame, _time(result, frame), *columns[0][i], *columns[1][i])


def _frame_columns(
    result: ClassResult, part: Part, numbers: Any, where: Any, off: Any
) -> list[tuple[object, ...]]:
    seen = np.isfinite(off)
    count = np.bincount(where[seen], minlength=len(numbers))
    total = np.bincount(where[seen], off[seen], minlength=len(numbers))
    square = np.bincount(where[seen], off[seen] ** 2, minlength=len(numbers))
    reference = result.references[part].at(numbers.astype(np.float64))
    with np.errstate(all="ignore"):
        mean = total / count
        sd = np.sqrt(np.clip(square - count * mean**2, 0.0, None) / (count - 1))
    pool = result.pooled.parts.get(part) if result.pooled is not None else None
    pools = {}
    if pool is not None:
        pools = {
            int(f): (float(a), float(u)) for f, a, u in zip(pool.frames, pool.along, pool.u, strict=True)
        }
    rows: list[tuple[object, ...]] = []
    for i, frame in enumerate(numbers.tolist()):
        place, u = pools.get(frame, (math.nan, math.nan))
        rows.append(
            (
                int(count[i]),
                number(float(reference[i]), 3),
                number(float(mean[i]), 3),
                uncertainty(float(sd[i])) if count[i] > 1 else "",
                number(place, 3),
                uncertainty(u),
            )
        )
    return rows


def criteria_applied(result: ClassResult) -> list[str]:
    """Names of the criteria that apply to this class."""
    first = next((each.marks for each in result.observers if each.marks is not None), None)
    return [] if first is None else [name for name, points in first.items.items() if points is not None]


def _marks(result: ClassResult) -> tuple[Sequence[str], Iterable[Sequence[object]]]:
    applied = criteria_applied(result)
    weights = _weights(result.criteria)
    header = [
        "number",
        "observer",
        *(f"{name} (of {weights[name]:g})" for name in applied),
        "total",
        "of",
        "percent",
        "to look at",
    ]
    rows = []
    for each in result.observers:
        if each.marks is None:
            continue
        rows.append(
            (
                each.number,
                text(each.shown),
                *(number(each.marks.items[name], 1) for name in applied),
                number(each.marks.total, 1),
                number(each.marks.most, 1),
                number(each.marks.percent, 1),
                text("; ".join([*(fault.says for fault in each.faults), *each.remarks])),
            )
        )
    return header, rows


def _weights(criteria: Criteria) -> dict[str, float]:
    parts = {name: getattr(criteria, name) for name in criteria.__struct_fields__}
    return {name: part.weight for name, part in parts.items() if part is not None}


def class_json(result: ClassResult) -> bytes:
    """Return findings.json of a class."""
    pool = result.pooled
    tree = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "title": result.title,
        "answers": len(result.observers),
        "refused": [{"file": each.file, "reason": each.reason} for each in result.refused],
        "references": {part.value: result.references[part].source.value for part in PARTS},
        "precision": {name: _precision(result, name) for name in QUANTITIES},
        "speed_coefficient_of_observers": _between(result),
        "observers": [_observer_json(each, result) for each in result.observers],
        "pooled": json.loads(findings_json(results_of(pool.outcome)))
        if pool is not None and pool.outcome
        else None,
        "pooled_missing": pool.why if pool is not None and pool.outcome is None else "",
        "remarks": list(result.remarks),
    }
    return (json.dumps(tree, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode("utf-8")


def _precision(result: ClassResult, name: str) -> dict[str, Any]:
    found = result.precisions[name]
    if isinstance(found, str):
        return {"unit": UNITS[name], "about": QUANTITIES[name], "undetermined": found}
    return {
        "unit": UNITS[name],
        "about": QUANTITIES[name],
        "observers": len(found.observers),
        "frames": found.n_frames,
        "values": found.n_values,
        "frame_means_taken_out": result.by_frame[name],
        "repeatability_sd": _real(found.repeatability),
        "between_observers_sd": _real(found.between),
        "reproducibility_sd": _real(found.reproducibility),
        "repeatability_limit": _real(found.repeatability_limit),
        "reproducibility_limit": _real(found.reproducibility_limit),
        "h_critical_5": _real(found.h_critical_5),
        "h_critical_1": _real(found.h_critical_1),
    }


def _between(result: ClassResult) -> dict[str, Any] | None:
    if result.cv_between is None:
        return None
    mean, sd, count = result.cv_between
    return {"mean": mean, "sd": sd, "observers": count, "u_of_mean": sd / math.sqrt(count)}


def _observer_json(each: Observer, result: ClassResult) -> dict[str, Any]:
    return {
        "number": each.number,
        "observer": each.shown,
        "counts": each.places_count,
        "faults": [
            {
                "kind": fault.slip.value,
                "part": fault.part.value if fault.part is not None else None,
                "size": _real(fault.size),
                "says": fault.says,
            }
            for fault in each.faults
        ],
        "standings": {
            name: {k: _real(v) if isinstance(v, float) else v for k, v in asdict(standing).items()}
            | {"beyond": beyond(standing, result.precisions[name])}
            for name, standing in each.standings.items()
        },
        "remarks": list(each.remarks),
    }


def _real(value: float | None) -> float | None:
    return float(value) if value is not None and math.isfinite(value) else None


def held_against(result: ClassResult) -> str:
    """Say what the answers are held against."""
    sources = {result.references[part].source for part in PARTS} - {Source.NONE}
    return said(" and ").join(sorted(said(source.value) for source in sources)) or said("nothing")
