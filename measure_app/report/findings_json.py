"""The findings as JSON."""

from __future__ import annotations

import json
import math
from importlib import resources
from typing import Any

from analysis import (
    CorrectionSize,
    Diagnosis,
    ExpectedBand,
    Finding,
    Flow,
    Improvement,
    Remark,
    Suspect,
    improvements_of,
)
from measure_app.report.results import Results
from measure_app.words import language, said

FORMAT = "clepsydra-findings"
FORMAT_VERSION = 1


def findings_json(results: Results) -> bytes:
    """Return findings.json: every finding, what stays undetermined, and doubts about the run as a whole."""
    tree = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "language": language(),
        "title": results.title,
        "accepted_gravity": _gravity(results),
        "findings": [_finding(finding) for finding in results.findings.findings],
        "undetermined": [
            {"name": item.name, "missing": said(item.missing)} for item in results.findings.undetermined
        ],
        "corrections": [_correction(each) for each in results.findings.corrections],
        "flow": _flow(results.findings.flow),
        "diagnosis": _diagnosis(results.findings.diagnosis),
        "improvement": [_improvement(each) for each in improvements_of(results.findings.findings)],
        "remarks": [_remark(remark) for remark in results.remarks],
    }
    return (json.dumps(tree, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode("utf-8")


def findings_schema() -> dict[str, Any]:
    """Return the published JSON Schema (draft 2020-12) of findings.json."""
    text = resources.files("measure_app.report").joinpath("findings.schema.json").read_text("utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def _gravity(results: Results) -> dict[str, Any]:
    accepted = results.findings.accepted_gravity
    return {
        "value": _real(accepted.value),
        "u": _real(accepted.u),
        "unit": "m/s²",
        "source": said(accepted.source),
    }


def _finding(finding: Finding) -> dict[str, Any]:
    low, high = finding.interval_95
    band = finding.expected
    expected = {} if band is None else {"expected": _band(band)}
    return {
        "name": finding.name,
        "symbol": finding.symbol,
        "value": _real(finding.value),
        "u": _real(finding.u),
        "interval_95": [_real(low), _real(high)],
        "unit": finding.unit,
        "method": said(finding.method),
        "depends_on_assumed_g": finding.depends_on_assumed_g,
        "remarks": [said(each) for each in finding.remarks],
        "budget": [
            {"source": share.source, "u": _real(share.u), "shared": share.shared} for share in finding.budget
        ],
        **expected,
    }


def _band(band: ExpectedBand) -> dict[str, Any]:
    return {
        "low": _real(band.low),
        "high": _real(band.high),
        "extrapolated": band.extrapolated,
        "source": band.source,
        "why": said(band.why),
    }


def _correction(size: CorrectionSize) -> dict[str, Any]:
    return {
        "name": size.name,
        "says": said(size.says),
        "applied": size.applied,
        "missing": said(size.missing) or None,
        "note": said(size.note) or None,
        "effects": [
            {"of": effect.of, "change": _real(effect.change), "unit": effect.unit} for effect in size.effects
        ],
    }


def _flow(flow: Flow | None) -> dict[str, Any] | None:
    if flow is None:
        return None
    return {
        "reynolds": [_real(each) for each in flow.reynolds],
        "weber": [_real(each) for each in flow.weber],
        "temperature_c": _real(flow.temperature_c),
        "temperature_known": flow.temperature_known,
    }


def _diagnosis(diagnosis: Diagnosis | None) -> dict[str, Any] | None:
    if diagnosis is None:
        return None
    return {
        "triggers": [said(each) for each in diagnosis.triggers],
        "unexplained": diagnosis.unexplained,
        "groups": [[_suspect(each) for each in group] for group in diagnosis.groups],
    }


def _suspect(suspect: Suspect) -> dict[str, Any]:
    return {
        "name": suspect.name,
        "size": _real(suspect.size),
        "size_u": _real(suspect.size_u),
        "unit": suspect.unit,
        "stated_u": None if suspect.stated_u is None else _real(suspect.stated_u),
        "ratio": None if suspect.ratio is None else _real(suspect.ratio),
        "shape": suspect.shape.value,
        "explains": _real(suspect.explains),
        "says": said(suspect.says),
        "check": said(suspect.check),
    }


def _improvement(improvement: Improvement) -> dict[str, Any]:
    return {
        "name": improvement.name,
        "sources": [
            {
                "source": each.source,
                "shared": each.shared,
                "share": _real(each.share),
                "gain": _real(each.gain),
            }
            for each in improvement.sources
        ],
        "more": [
            {"times": each.times, "u": _real(each.u), "gain": _real(each.gain)} for each in improvement.more
        ],
    }


def _remark(remark: Remark) -> dict[str, Any]:
    frames = None if remark.frames is None else [int(frame) for frame in remark.frames]
    return {"about": said(remark.about), "says": said(remark.says), "frames": frames}


def _real(value: float) -> float | None:
    """Return a plain float, or None for what JSON has no number for."""
    return float(value) if math.isfinite(value) else None
