"""A forecast as plain JSON with keys that stay."""

from __future__ import annotations

from typing import Any

from analysis import ExpectedBand, Forecast, Proposal
from measure_app._version import __version__
from measure_app.report.cautions import CAUTIONS
from measure_app.report.improving import advice_for
from measure_app.words import said


def plan_tree(forecast: Forecast, proposal: Proposal | None = None) -> dict[str, Any]:
    """
    Lay a forecast out as a tree of plain values.

    Parameters
    ----------
    forecast : Forecast
    proposal : Proposal, optional
        Where a better hole and drop were asked for.

    Returns
    -------
    dict
        SI units, named in the keys. What cannot be forecast is null.
    """
    return {
        "format": "clepsydra-forecast",
        "format_version": 1,
        "program": said("Clepsydra {version}", version=__version__),
        **_forecast(forecast),
        "proposal": None if proposal is None else _proposal(proposal),
        "cautions": list(CAUTIONS),
    }


def _forecast(forecast: Forecast) -> dict[str, Any]:
    plan, sight = forecast.plan, forecast.sight
    total = sum(share.u**2 for share in forecast.budget)
    return {
        "plan": {
            "container_area_m2": plan.container_area_m2,
            "head_m": plan.head_m,
            "hole_diameter_m": plan.hole_diameter_m,
            "wall_thickness_m": plan.wall_thickness_m,
            "edge": plan.edge.value,
            "drop_m": plan.drop_m,
            "tray_length_m": plan.tray_length_m,
            "camera_distance_m": plan.camera_distance_m,
            "image_px": [plan.image_width_px, plan.image_height_px],
            "frame_rate_hz": plan.frame_rate_hz,
            "water_temperature_c": plan.temperature_c,
        },
        "reckoned_with": {"cv": forecast.cv, "cd": forecast.cd},
        "expected": {"cv": _band(forecast.expected.cv), "cd": _band(forecast.expected.cd)},
        "law_limit_m": forecast.law_limit_m,
        "drain_time_s": forecast.drain_time_s,
        "drain_time_range_s": list(forecast.drain_time_range_s),
        "empty_time_s": forecast.empty_time_s,
        "least_tray_m": forecast.least_tray_m,
        "head_on_tray_m": forecast.head_on_tray_m,
        "heads": [
            {
                "head_m": at.head_m,
                "time_s": at.time_s,
                "throw_m": at.throw_m,
                "speed_m_s": at.speed_m_s,
                "reynolds": at.reynolds,
                "weber": at.weber,
                "on_tray": at.on_tray,
            }
            for at in forecast.moments
        ],
        "picture": {
            "field_m": [sight.field_width_m, sight.field_height_m],
            "needed_m": [sight.needed_width_m, sight.needed_height_m],
            "px_per_mm": sight.px_per_mm,
            "fits": sight.fits,
            "frames": forecast.frames,
        },
        "jet_diameter_m": forecast.jet_diameter_m,
        "capillary_loss_m": list(forecast.capillary_loss_m),
        "speed_coefficient_u": forecast.cv_u,
        "discharge_coefficient_u": forecast.cd_u,
        "budget": [
            {
                "source": share.source,
                "u": share.u,
                "share": share.u**2 / total if total else 0.0,
                "shared": share.shared,
                "what_helps": advice_for(share.source),
            }
            for share in forecast.budget
        ],
        "twice_the_readings_gain": forecast.more_frames_gain,
        "gravity": [
            {"route": route.name, "relative_u": route.relative_u, "needs": route.needs}
            for route in forecast.gravity
        ],
        "advice": [{"about": remark.about, "says": remark.says} for remark in forecast.advice],
    }


def _band(band: ExpectedBand) -> dict[str, Any]:
    return {
        "low": band.low,
        "high": band.high,
        "extrapolated": band.extrapolated,
        "source": band.source,
        "why": band.why,
    }


def _proposal(proposal: Proposal) -> dict[str, Any]:
    best = proposal.best
    return {
        "hole_between_m": list(proposal.limits.hole_m),
        "drop_between_m": list(proposal.limits.drop_m),
        "tried": proposal.tried,
        "refused": [{"why": why, "pairs": pairs} for why, pairs in proposal.refused],
        "hole_diameter_m": None if best is None else best.plan.hole_diameter_m,
        "drop_m": None if best is None else best.plan.drop_m,
        "speed_coefficient_u": None if best is None else best.cv_u,
        "speed_coefficient_u_before": proposal.score_before,
        "forecast": None if best is None else _forecast(best),
    }
