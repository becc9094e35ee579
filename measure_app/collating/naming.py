"""What observers and files are called, and what is to be said about the class as a whole."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from measure_app.collating.answer import Answer, Refusal
from measure_app.collating.class_key import PARTS, Key, Reference, Source
from measure_app.collating.slips import Fault, Slip, Spread
from measure_app.finders import Part
from measure_app.words import counted, said


def names_of(
    answers: Sequence[Answer], *, anonymous: bool
) -> tuple[list[str], list[list[str]], list[list[str]]]:
    """Names as they are shown, what is to be said about them, and who has the very same readings."""
    remarks: list[list[str]] = [[] for _ in answers]
    twins: list[list[str]] = [[] for _ in answers]
    shown = [said("observer {i}", i=i + 1) for i in range(len(answers))]
    alike = Counter(each.name.casefold() for each in answers if each.name)
    marks: dict[bytes, int] = {}
    for i, each in enumerate(answers):
        if not anonymous:
            shown[i] = each.name or each.file
            if each.name and alike[each.name.casefold()] > 1:
                shown[i] = f"{each.name} ({each.file})"
                remarks[i].append(said("another answer bears the same name"))
        if len(each.frames) >= 5:
            marks_now = each.frames.tobytes() + b"".join(each.places[part].tobytes() for part in PARTS)
            twin = marks.setdefault(marks_now, i)
            if twin != i:
                twins[i].append(
                    said("every reading is that of {shown}, to the last digit", shown=shown[twin])
                )
                twins[twin].append(
                    said("every reading is that of {shown}, to the last digit", shown=shown[i])
                )
    return shown, remarks, twins


def hidden(refused: Sequence[Refusal]) -> tuple[Refusal, ...]:
    """Refusals without file names, which may be names of people; copies name no file either."""
    words = [said("is a copy of another") if each.is_copy else each.reason for each in refused]
    return tuple(
        Refusal(
            said("file {i}", i=i + 1),
            reason,
        )
        for i, reason in enumerate(sorted(words))
    )


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
            remarks.append(
                said(
                    "the key has no line for the {value}: it cannot be compared in px", value=said(part.value)
                )
            )
            continue
        reference, spread = references[part], spreads[part]
        if reference.source is Source.CLASS:
            remarks.append(
                said(
                    "the key has no {value}: the class is held against {value2}",
                    value=said(part.value),
                    value2=said(reference.source.value),
                )
            )
        limit = 3.0 * spread.between / np.sqrt(max(1, len(faults)))
        if reference.source is Source.KEY and abs(spread.centre) > max(1.0, limit):
            remarks.append(
                said(
                    "the class as a whole reads the {value} {centre:+.1f} px along its line from the "
                    "key: one of the two sees another edge, and a fault is what differs from the class",
                    value=said(part.value),
                    centre=spread.centre,
                )
            )
    places = sum(any(f.spoils_places for f in each) for each in faults)
    lengths = sum(any(f.slip is not Slip.STRAY for f in each) for each in faults) - places
    if places:
        remarks.append(
            counted(
                "{count} answer takes no part in what the class says: the readings are at fault",
                "{count} answers take no part in what the class says: the readings are at fault",
                places,
            )
        )
    if lengths:
        remarks.append(
            counted(
                "{count} answer takes part in px but not in lengths: the set-up is at fault",
                "{count} answers take part in px but not in lengths: the set-up is at fault",
                lengths,
            )
        )
    return remarks
