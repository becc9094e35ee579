"""What is refused, and what is said about a calibration that was made."""

from __future__ import annotations

from dataclasses import dataclass


class CalibrationError(ValueError):
    """The marks cannot be what they say they are, such as two graduations on one pixel.

    Parameters
    ----------
    where : str
        The key at fault, such as ``rules[0].graduations``.
    words : str
        What is wrong and what to do.
    """

    def __init__(self, where: str, words: str) -> None:
        super().__init__(f"{where}: {words}")
        self.where = where
        self.words = words


@dataclass(frozen=True, slots=True)
class CalibrationRemark:
    """A doubt about the calibration, or an assumption in it, in plain words."""

    about: str
    """What it concerns: the name of a rule, or ``camera``, ``plumb``, ``depth``, ``lens``, ``scale``."""
    says: str
