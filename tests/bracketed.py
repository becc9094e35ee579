"""A language of brackets: what stands in the catalogue is said as in English, between brackets."""

from __future__ import annotations

import gettext
import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from babel.messages.pofile import read_po

from measure_app import words


@cache
def _known() -> frozenset[str]:
    with (Path(words.__file__).parent / "languages" / "clepsydra.pot").open("rb") as stream:
        return frozenset(each.id[0] if each.pluralizable else each.id for each in read_po(stream) if each.id)


class Bracketed(words.Catalogue):
    """Says what the catalogue knows between brackets, and all else bare."""

    def __init__(self) -> None:
        super().__init__(gettext.NullTranslations(), "qq")

    def said(self, template: str, values: Mapping[str, object]) -> str:
        text = super().said(template, values)
        return f"⟦{text}⟧" if template in _known() else text

    def counted(self, one: str, many: str, count: int, values: Mapping[str, object]) -> str:
        return f"⟦{super().counted(one, many, count, values)}⟧"


def bare(text: str, not_said: re.Pattern[str]) -> list[str]:
    """Words of a text that stand outside all brackets, without what `not_said` matches."""
    depth, outside = 0, ""
    for sign in text:
        depth += (sign == "⟦") - (sign == "⟧")
        outside += sign if depth == 0 and sign not in "⟦⟧" else " " if depth else ""
    return re.findall(r"[A-Za-zÄÖÜäöü]{3,}", not_said.sub(" ", outside))
