"""In which unit a finding is shown to a person; files keep SI units."""

from __future__ import annotations


def shown_unit(name: str, unit: str) -> tuple[float, str]:
    """
    Give what a finding's value is multiplied by to be shown, and the unit that it is shown in.

    Parameters
    ----------
    name : str
        The finding's name.
    unit : str
        Its SI unit; "1" for a pure number.

    Returns
    -------
    float, str
        An offset is a matter of millimetres: powers of ten would hide how small it is.
    """
    if name.endswith("offset_m"):
        return 1e3, "mm"
    return 1.0, "" if unit == "1" else unit.replace("m^0.5", "√m")
