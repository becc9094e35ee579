"""Answers of a class together."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path, PurePosixPath

import numpy as np

from analysis import FloatArray
from measure_app.collating.answer import Answer, Refusal
from measure_app.collating.class_key import (
    PARTS,
    Key,
    Reference,
    Source,
    reference_from_class,
    references_from_key,
)
from measure_app.collating.class_result import ClassResult, Observer
from measure_app.collating.gather import GatherError, files_of, read_all, size_by_packs
from measure_app.collating.marking import marked
from measure_app.collating.marks import USUAL, Criteria
from measure_app.collating.naming import class_remarks, hidden, names_of
from measure_app.collating.pooling import Pooled, class_parts, pooled
from measure_app.collating.precision import Precision
from measure_app.collating.setup_slips import setup_faults
from measure_app.collating.slips import Ground, reading_faults, spread_of
from measure_app.collating.standings import Faults, Sound, counts_in, precisions_of, without_strays
from measure_app.collating.teachers_key import TeachersKey, teachers_key
from measure_app.finders import Part
from measure_app.words import said

_FEWEST = 3
"""Answers from which on a class can be its own reference."""


def collate(
    folder: Path,
    key_path: Path,
    *,
    criteria: Criteria | None = None,
    anonymous: bool = False,
    dask: str | None = None,
    progress: Callable[[int, int], None] | None = None,
    stop_requested: Callable[[], bool] | None = None,
) -> ClassResult:
    """Hold all answers of a folder together.

    Parameters
    ----------
    folder : Path
        The answers, in it or in folders below it.
    key_path : Path
        The teacher's run; its readings, if it has any, are what answers are held against.
    criteria : Criteria, optional
        For the marks; None: the usual ones.
    anonymous : bool
        Numbers in place of names and file names.
    dask : str, optional
        Address of a running cluster.
    progress : callable, optional
        Given (done, all).
    stop_requested : callable, optional
        True stops the work.

    Raises
    ------
    GatherError
        The folder holds nothing that can be read as an answer, or the cluster cannot be used.
    RunFileError, ClipError
        The key or its film cannot be used.
    Stopped
        If `stop_requested` said so.
    """
    names, foreign = files_of(folder)
    own = _inside(folder, key_path)
    names = tuple(name for name in names if name != own)
    size = size_by_packs(folder, names)
    teacher = teachers_key(key_path, size=size, progress=progress, stop_requested=stop_requested)
    read = read_all(
        folder,
        names,
        teacher.key,
        dask=dask,
        progress=progress,
        stop_requested=stop_requested,
    )
    refused = [*foreign, *(each for each in read if isinstance(each, Refusal))]
    answers, copies = _without_copies([each for each in read if isinstance(each, Answer)])
    if not answers:
        why = (
            said("; the first: {file} {reason}", file=refused[0].file, reason=refused[0].reason)
            if refused
            else ""
        )
        raise GatherError(
            said("holds no answer that can be read{why}", why=why),
            where=str(folder),
        )
    return _together(teacher, answers, [*refused, *copies], criteria or USUAL, anonymous=anonymous)


def _inside(folder: Path, key_path: Path) -> str:
    """Name of the key's own file, if it lies among the answers."""
    try:
        return PurePosixPath(*key_path.resolve().relative_to(folder.resolve()).parts).as_posix()
    except ValueError:
        return ""


def _without_copies(answers: Sequence[Answer]) -> tuple[list[Answer], list[Refusal]]:
    kept: dict[str, Answer] = {}
    copies = []
    for each in answers:
        if each.digest in kept:
            copies.append(
                Refusal(
                    each.file,
                    said("is the same file as {file}", file=kept[each.digest].file),
                    is_copy=True,
                )
            )
        else:
            kept[each.digest] = each
    return sorted(kept.values(), key=lambda each: each.digest), copies


def _together(
    teacher: TeachersKey,
    answers: list[Answer],
    refused: list[Refusal],
    criteria: Criteria,
    *,
    anonymous: bool,
) -> ClassResult:
    key = teacher.key
    along = {part: [each.along(part, key) for each in answers] for part in PARTS}
    references = _references(key, answers, along)
    deviations = {
        part: [
            a - references[part].at(each.frames.astype(np.float64))
            for each, a in zip(answers, along[part], strict=True)
        ]
        for part in PARTS
    }
    spreads = {part: spread_of(deviations[part]) for part in PARTS}
    ground = Ground(key.lines, references, spreads, key.info.width)
    scatter = _scale_scatter(answers)
    faults = [
        (*reading_faults(each.frames, each.places, ground), *setup_faults(each.setup, scatter))
        for each in answers
    ]
    read = without_strays(key, answers, along, deviations, faults)
    precisions, by_frame, standings = precisions_of(read, faults)
    pool = _pool(key, read, faults, precisions)
    shown, remarks, twins = names_of(answers, anonymous=anonymous)
    observers = [
        Observer(
            number=i + 1,
            shown=shown[i],
            answer=each,
            deviations={part: deviations[part][i] for part in PARTS},
            faults=faults[i],
            remarks=(*each.remarks, *remarks[i], *twins[i]),
            twins=tuple(twins[i]),
            standings=standings[i],
            marks=None,
        )
        for i, each in enumerate(answers)
    ]
    return ClassResult(
        title=key.run.title,
        key=teacher,
        references=references,
        spreads=spreads,
        observers=marked(observers, references, teacher, criteria),
        refused=hidden(refused) if anonymous else tuple(sorted(refused, key=lambda each: each.file)),
        precisions=precisions,
        by_frame=by_frame,
        pooled=pool,
        cv_between=_cv_between(answers, faults),
        criteria=criteria,
        remarks=(*teacher.remarks, *class_remarks(references, spreads, faults, key)),
        anonymous=anonymous,
    )


def _references(
    key: Key, answers: Sequence[Answer], along: Mapping[Part, Sequence[FloatArray]]
) -> dict[Part, Reference]:
    references = references_from_key(key)
    for part in PARTS:
        if references[part].source is Source.KEY or len(answers) < _FEWEST:
            continue
        seen = [np.isfinite(each) for each in along[part]]
        last = max(int(each.frames.max()) for each in answers)
        references[part] = reference_from_class(
            [each.frames[s].astype(np.float64) for each, s in zip(answers, seen, strict=True)],
            [a[s] for a, s in zip(along[part], seen, strict=True)],
            np.arange(last + 1, dtype=np.float64),
        )
    return references


def _scale_scatter(answers: Sequence[Answer]) -> float:
    """Relative standard deviation of the scales that observers made themselves; robust."""
    ratios = [
        r for each in answers if not each.setup.same for r in each.setup.scale.values() if r is not None
    ]
    if len(ratios) < 8:
        return 0.0
    off = np.array(ratios) / np.median(ratios) - 1.0
    return min(0.05, 1.4826 * float(np.median(np.abs(off))))


def _pool(key: Key, read: Sound, faults: Faults, precisions: Mapping[str, Precision | str]) -> Pooled | None:
    inside = [i for i in range(len(read.answers)) if counts_in("surface_px", faults[i])]
    parts = class_parts(
        inside,
        [read.answers[i].frames for i in inside],
        {part: [read.along[part][i] for i in inside] for part in PARTS},
        {Part.SURFACE: precisions["surface_px"], Part.LANDING: precisions["landing_px"]},
    )
    return pooled(key, parts, len(inside)) if parts else None


def _cv_between(answers: Sequence[Answer], faults: Faults) -> tuple[float, float, int] | None:
    fits = [
        each.cv_fit[0]
        for each, wrong in zip(answers, faults, strict=True)
        if each.cv_fit is not None and counts_in("cv", wrong)
    ]
    if len(fits) < 2:
        return None
    return float(np.mean(fits)), float(np.std(fits, ddof=1)), len(fits)
