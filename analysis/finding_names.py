"""What the findings of the contract are called."""

from types import MappingProxyType

from analysis.words import marked, said

FINDING_NAMES = MappingProxyType(
    {
        "speed_coefficient": marked("speed coefficient"),
        "speed_coefficient_zero_intercept": marked("Cv of the line from zero"),
        "speed_coefficient_mean_of_ratios": marked("Cv, mean of single ratios"),
        "discharge_coefficient": marked("discharge coefficient"),
        "head_zero_offset_m": marked("head's zero, offset"),
        "throw_zero_offset_m": marked("throw's zero, offset"),
        "slope_speed_vs_root_head": marked("slope, speed on √head"),
        "slope_speed_squared_vs_head": marked("slope, speed² on head"),
        "slope_throw_squared_vs_head": marked("slope, throw² on head"),
        "gravity_from_slope_root": marked("g from speed on √head"),
        "gravity_from_slope_squared": marked("g from speed² on head"),
        "gravity_from_clock": marked("g from the clock"),
        "gravity_from_fall_time": marked("g from the time of a fall"),
        "gravity_from_parabola": marked("g from a fall's parabola"),
        "gravity_from_track": marked("g from a fall's track"),
        "gravity_combined": marked("g, all routes together"),
        "drain_rate_root_m_per_s": marked("fall of √head per second"),
        "time_to_empty_s": marked("time to empty"),
        "launch_angle_deg": marked("launch angle, by the throws"),
        "jet_launch_angle_deg": marked("launch angle, jet traced"),
        "jet_curvature_cv": marked("Cv from the jet's curve"),
    }
)
"""By name of finding, to be said where they are shown."""


def finding_name(name: str) -> str:
    """Return what a finding is called, in the reader's language; a name that is not known is spelt out."""
    return said(FINDING_NAMES.get(name, name.replace("_", " ")))
