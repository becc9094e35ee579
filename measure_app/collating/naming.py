"""What observers and files are called, and what is to be said about the class as a whole."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from measure_app.collating.answer import Answer, Refusal
from measure_app.collating.class_key import PARTS, Key, Reference, Source
from measure_app.collating.slips import Fault, Slip, Spread
from measure_app.finders import Part


def names_of(answers: Sequence[Answer], *, anonymous: bool) -> tuple[list[str], list[list[str]]]:
    """Names as they are shown, and what is to be said about them."""
    remarks: list[list[str]] = [[] for _ in answers]
    shown = [f"observer {i + 1}" for i in range(len(answers))]
    alike = Counter(each.name.casefold() for each in answers if each.name)
    marks: dict[bytes, int] = {}
    for i, each in enumerate(answers):
        if not anonymous:
            shown[i] = each.name or each.file
            if each.name and alike[each.name.casefold()] > 1:
                shown[i] = f"{each.name} ({each.file})"
                remarks[i].append("another answer bears the same name")
        if len(each.frames) >= 5:
            marks_now = each.frames.tobytes() + b"".join(each.places[part].tobytes() for part in PARTS)
            twin = marks.setdefault(marks_now, i)
            if twin != i:
                remarks[i].append(f"every reading is that of {shown[twin]}, to the last digit")
                remarks[twin].append(f"every reading is that of {shown[i]}, to the last digit")
    return shown, remarks


def hidden(refused: Sequence[Refusal]) -> tuple[Refusal, ...]:
    """Refusals without file names, which may be names of people; copies name no file either."""
    words = ["is a copy of another" if "same file" in each.reason else each.reason for each in refused]
    return tuple(Refusal(f"file {i + 1}", reason) for i, reason in enumerate(sorted(words)))


def class_remarks(
    references: Mapping[Part, Reference],
    spreads: Mapping[Part, Spread],
    faults: Sequence[tuple[Fault, ...]],
    key: Key,
) -> list[str]:
    """Say what the class shows as a whole."""
    remarks = []
    for part in PARTS:
        if key.lines[part] is None:
            remarks.append(f"the key has no line for the {part.value}: it cannot be compared in px")
            continue
        reference, spread = references[part], spreads[part]
        if reference.source is Source.CLASS:
            remarks.append(f"the key has no {part.value}: the class is held against {reference.source.value}")
        limit = 3.0 * spread.between / np.sqrt(max(1, len(faults)))
        if reference.source is Source.KEY and abs(spread.centre) > max(1.0, limit):
            remarks.append(
                f"the class as a whole reads the {part.value} {spread.centre:+.1f} px along its line from "
                "the key: one of the two sees another edge, and a fault is what differs from the class"
            )
    places = sum(any(f.spoils_places for f in each) for each in faults)
    lengths = sum(any(f.slip is not Slip.STRAY for f in each) for each in faults) - places
    if places:
        words = "answer takes" if places == 1 else "answers take"
        remarks.append(f"{places} {words} no part in what the class says: the readings are at fault")
    if lengths:
        words = "answer takes" if lengths == 1 else "answers take"
        remarks.append(f"{lengths} {words} part in px but not in lengths: the set-up is at fault")
    return remarks
