"""Formulas as small trees, written as data for the typesetter, as MathML, and as words to be read out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from measure_app.words import marked, said


@dataclass(frozen=True, slots=True)
class Symbol:
    """A quantity's letter with an index."""

    letter: str
    index: str = ""
    spoken: str = ""
    """How it is read out; "" as it is written."""


@dataclass(frozen=True, slots=True)
class Number:
    """A number as it is shown, with its unit."""

    shown: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Sign:
    """An operator or a relation."""

    shown: str


@dataclass(frozen=True, slots=True)
class Root:
    """A square root."""

    of: Sequence[Node]


@dataclass(frozen=True, slots=True)
class Fraction:
    """One thing over another."""

    above: Sequence[Node]
    below: Sequence[Node]


@dataclass(frozen=True, slots=True)
class Square:
    """Something squared; more than one part is put in brackets."""

    of: Sequence[Node]


Node = Symbol | Number | Sign | Root | Fraction | Square

EQUALS, TIMES, PLUS, ABOUT = Sign("="), Sign("×"), Sign("+"), Sign("≈")
_SPOKEN_SIGNS = {
    "=": marked("equals"),
    "×": marked("times"),
    "+": marked("plus"),
    "−": marked("minus"),
    "≈": marked("is about"),
    "·": marked("times"),
}


def as_data(nodes: Sequence[Node]) -> list[dict[str, Any]]:
    """Write a formula as data that the typesetter's template understands."""
    return [_data(node) for node in nodes]


def _data(node: Node) -> dict[str, Any]:
    match node:
        case Symbol():
            return {"is": "symbol", "letter": node.letter, "index": node.index}
        case Number():
            return {"is": "number", "shown": node.shown, "unit": node.unit}
        case Sign():
            return {"is": "sign", "shown": node.shown}
        case Root():
            return {"is": "root", "of": as_data(node.of)}
        case Square():
            return {"is": "square", "of": as_data(node.of), "brackets": len(node.of) > 1 or _wide(node.of[0])}
        case Fraction():
            return {"is": "fraction", "above": as_data(node.above), "below": as_data(node.below)}


def _wide(node: Node) -> bool:
    return isinstance(node, Fraction) or (isinstance(node, Number) and bool(node.unit))


def as_mathml(nodes: Sequence[Node]) -> str:
    """Write a formula as MathML Core, to stand in a page."""
    inside = "".join(_mathml(node) for node in nodes)
    return f'<math display="block" alttext="{escape(as_speech(nodes))}"><mrow>{inside}</mrow></math>'


def _row(nodes: Sequence[Node]) -> str:
    return f"<mrow>{''.join(_mathml(node) for node in nodes)}</mrow>"


def _mathml(node: Node) -> str:
    match node:
        case Symbol():
            letter = f"<mi>{escape(node.letter)}</mi>"
            return f"<msub>{letter}<mi>{escape(node.index)}</mi></msub>" if node.index else letter
        case Number():
            unit = f'<mspace width="0.17em"/><mtext>{escape(node.unit)}</mtext>' if node.unit else ""
            return f"<mn>{escape(node.shown)}</mn>{unit}"
        case Sign():
            return f"<mo>{escape(node.shown)}</mo>"
        case Root():
            return f"<msqrt>{_row(node.of)}</msqrt>"
        case Square():
            brackets = len(node.of) > 1 or _wide(node.of[0])
            base = f"<mrow><mo>(</mo>{_row(node.of)}<mo>)</mo></mrow>" if brackets else _row(node.of)
            return f"<msup>{base}<mn>2</mn></msup>"
        case Fraction():
            return f"<mfrac>{_row(node.above)}{_row(node.below)}</mfrac>"


def as_speech(nodes: Sequence[Node]) -> str:
    """Write a formula as words."""
    return " ".join(_speech(node) for node in nodes)


def _speech(node: Node) -> str:
    match node:
        case Symbol():
            return said(node.spoken) or f"{node.letter} {node.index}".strip()
        case Number():
            return f"{node.shown} {node.unit}".strip()
        case Sign():
            return said(_SPOKEN_SIGNS.get(node.shown, node.shown))
        case Root():
            return said("square root of ({of})", of=as_speech(node.of))
        case Square():
            return said("({of}) squared", of=as_speech(node.of))
        case Fraction():
            return said("({above}) over ({below})", above=as_speech(node.above), below=as_speech(node.below))
