"""Signs of the numbers that are shown: a minus that is one, and none before a zero. No Qt here."""

from __future__ import annotations

import re

_SIGN_OF_ZERO = re.compile(r"(?<![\d.,eE])[-+\u2212](?=0(?:[.,]0*)?(?![\d.,eE]))")


def well_signed(text: str) -> str:
    """Write a text's hyphens as minus signs and take the sign off every zero.

    Parameters
    ----------
    text : str
        Numbers as Python formats them, such as ``-0.50`` or ``+0.00``, with or without words around them.
    """
    return _SIGN_OF_ZERO.sub("", text).replace("-", "\u2212")
