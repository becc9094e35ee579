"""Every change that a person can make to a run, as a frozen value applied by a pure function.

An edit either gives a new run that satisfies the contract or is refused with words; the run that it was
applied to is never touched, so that undo is a matter of keeping the old one.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, ClassVar, TypeVar

import msgspec
from msgspec.structs import replace

from measure_app.contract import checked
from measure_app.errors import EditRefused, RunFileError
from measure_app.run import (
    By,
    CameraPart,
    ClipPart,
    ConditionsPart,
    CorrectionsPart,
    DropPart,
    FallPart,
    GraduationPart,
    LinePart,
    OrificePart,
    PlumbPart,
    Reading,
    RulePart,
    Run,
    Spot,
    ThrowZeroPart,
)
from measure_app.words import marked, said

_Item = TypeVar("_Item")


class Edit(msgspec.Struct, frozen=True):
    """One change."""

    label: ClassVar[str] = "change"
    """What the change is called where it can be undone."""

    def apply(self, run: Run) -> Run:
        """Return the changed run.

        Raises
        ------
        EditRefused
            The changed run would break the contract, or the thing to change is not there.
        """
        try:
            return _sharing(run, checked(self._changed(run)))
        except RunFileError as error:
            raise EditRefused(error.words, where=error.where) from None

    def _changed(self, run: Run) -> Run:
        """Return the changed run, not yet checked."""
        raise NotImplementedError


class SetClip(Edit, frozen=True):
    """Take another film, whole; readings and falls of the old one go, for they belong to its frames."""

    label: ClassVar[str] = marked("choose film")
    path: str
    sha256: str | None = None

    def _changed(self, run: Run) -> Run:
        return replace(run, clip=ClipPart(path=self.path, sha256=self.sha256), readings=(), falls=())


class MoveClip(Edit, frozen=True):
    """Say where the same film lies now; readings and everything else stay."""

    label: ClassVar[str] = marked("locate film")
    path: str

    def _changed(self, run: Run) -> Run:
        return replace(run, clip=replace(run.clip, path=self.path))


class SetPart(Edit, frozen=True):
    """Measure the frames from `start_frame` up to, not including, `stop_frame` (None: to the end)."""

    label: ClassVar[str] = marked("choose part")
    start_frame: int
    stop_frame: int | None

    def _changed(self, run: Run) -> Run:
        return replace(run, clip=replace(run.clip, start_frame=self.start_frame, stop_frame=self.stop_frame))


class SetCaptureRate(Edit, frozen=True):
    """Give the rate at which a slow-motion film was taken, Hz; None: it plays at its true speed."""

    label: ClassVar[str] = marked("set capture rate")
    capture_rate_hz: float | None

    def _changed(self, run: Run) -> Run:
        return replace(run, clip=replace(run.clip, capture_rate_hz=self.capture_rate_hz))


class AddRule(Edit, frozen=True):
    """Add a rule after the others."""

    label: ClassVar[str] = marked("add rule")
    rule: RulePart

    def _changed(self, run: Run) -> Run:
        return replace(run, rules=(*run.rules, self.rule))


class ChangeRule(Edit, frozen=True):
    """Put another rule in the place of one, such as the same with another name or depth."""

    label: ClassVar[str] = marked("change rule")
    index: int
    rule: RulePart

    def _changed(self, run: Run) -> Run:
        return replace(run, rules=_swapped(run.rules, self.index, (self.rule,), "rules"))


class RemoveRule(Edit, frozen=True):
    """Remove a rule with its graduations."""

    label: ClassVar[str] = marked("remove rule")
    index: int

    def _changed(self, run: Run) -> Run:
        return replace(run, rules=_swapped(run.rules, self.index, (), "rules"))


class AddGraduation(Edit, frozen=True):
    """Add a graduation to a rule; a rule's graduations stand in the order of their values."""

    label: ClassVar[str] = marked("add graduation")
    rule: int
    graduation: GraduationPart

    def _changed(self, run: Run) -> Run:
        old = _item(run.rules, self.rule, "rules").graduations
        return _with_graduations(run, self.rule, (*old, self.graduation))


class MoveGraduation(Edit, frozen=True):
    """Put another place or value on a graduation."""

    label: ClassVar[str] = marked("move graduation")
    rule: int
    index: int
    graduation: GraduationPart

    def _changed(self, run: Run) -> Run:
        old = _item(run.rules, self.rule, "rules").graduations
        key = f"rules[{self.rule}].graduations"
        return _with_graduations(run, self.rule, _swapped(old, self.index, (self.graduation,), key))


class RemoveGraduation(Edit, frozen=True):
    """Remove a graduation from a rule that keeps two or more."""

    label: ClassVar[str] = marked("remove graduation")
    rule: int
    index: int

    def _changed(self, run: Run) -> Run:
        old = _item(run.rules, self.rule, "rules").graduations
        key = f"rules[{self.rule}].graduations"
        return _with_graduations(run, self.rule, _swapped(old, self.index, (), key))


class SetCamera(Edit, frozen=True):
    """Say where the camera stood and how its lens bends."""

    label: ClassVar[str] = marked("set camera")
    camera: CameraPart

    def _changed(self, run: Run) -> Run:
        return replace(run, camera=self.camera)


class SetPlumb(Edit, frozen=True):
    """Mark a line that is vertical in the world; None: the image's vertical."""

    label: ClassVar[str] = marked("set plumb")
    plumb: PlumbPart | None

    def _changed(self, run: Run) -> Run:
        return replace(run, plumb=self.plumb)


class SetOrifice(Edit, frozen=True):
    """Mark the hole and give its diameter."""

    label: ClassVar[str] = marked("set orifice")
    orifice: OrificePart | None

    def _changed(self, run: Run) -> Run:
        return replace(run, orifice=self.orifice)


class SetDrop(Edit, frozen=True):
    """Give the measured drop; None: it is read from the frame."""

    label: ClassVar[str] = marked("set drop")
    drop: DropPart | None

    def _changed(self, run: Run) -> Run:
        return replace(run, drop=self.drop)


class SetThrowZero(Edit, frozen=True):
    """Mark the point from which the throw counts; None: below the orifice on the landing line."""

    label: ClassVar[str] = marked("set throw zero")
    throw_zero: ThrowZeroPart | None

    def _changed(self, run: Run) -> Run:
        return replace(run, throw_zero=self.throw_zero)


class SetGaugeLine(Edit, frozen=True):
    """Draw the line on which the surface is read."""

    label: ClassVar[str] = marked("set gauge line")
    line: LinePart | None

    def _changed(self, run: Run) -> Run:
        return replace(run, gauge_line=self.line)


class SetLandingLine(Edit, frozen=True):
    """Draw the line on which the landing is read."""

    label: ClassVar[str] = marked("set landing line")
    line: LinePart | None

    def _changed(self, run: Run) -> Run:
        return replace(run, landing_line=self.line)


class SetConditions(Edit, frozen=True):
    """Give what was measured once, beside the film."""

    label: ClassVar[str] = marked("set conditions")
    conditions: ConditionsPart

    def _changed(self, run: Run) -> Run:
        return replace(run, conditions=self.conditions)


class SetCorrections(Edit, frozen=True):
    """Choose which corrections of the law are applied."""

    label: ClassVar[str] = marked("set corrections")
    corrections: CorrectionsPart

    def _changed(self, run: Run) -> Run:
        return replace(run, corrections=self.corrections)


class AddFall(Edit, frozen=True):
    """Add a fall after the others."""

    label: ClassVar[str] = marked("add fall")
    fall: FallPart

    def _changed(self, run: Run) -> Run:
        return replace(run, falls=(*run.falls, self.fall))


class ChangeFall(Edit, frozen=True):
    """Put another fall in the place of one, such as the same with a mark more."""

    label: ClassVar[str] = marked("change fall")
    index: int
    fall: FallPart

    def _changed(self, run: Run) -> Run:
        return replace(run, falls=_swapped(run.falls, self.index, (self.fall,), "falls"))


class RemoveFall(Edit, frozen=True):
    """Remove a fall with its marks."""

    label: ClassVar[str] = marked("remove fall")
    index: int

    def _changed(self, run: Run) -> Run:
        return replace(run, falls=_swapped(run.falls, self.index, (), "falls"))


class SetTitle(Edit, frozen=True):
    """Name the run."""

    label: ClassVar[str] = marked("set title")
    title: str

    def _changed(self, run: Run) -> Run:
        return replace(run, title=self.title)


class SetObserver(Edit, frozen=True):
    """Say who read the film."""

    label: ClassVar[str] = marked("set observer")
    observer: str

    def _changed(self, run: Run) -> Run:
        return replace(run, observer=self.observer)


class SetSurface(Edit, frozen=True):
    """Read the surface in one frame; a reading of the same part in that frame is replaced."""

    label: ClassVar[str] = marked("read surface")
    frame: int
    spot: Spot

    def _changed(self, run: Run) -> Run:
        return _with_reading(run, self.frame, surface=self.spot)


class SetLanding(Edit, frozen=True):
    """Read the landing in one frame; a reading of the same part in that frame is replaced."""

    label: ClassVar[str] = marked("read landing")
    frame: int
    spot: Spot

    def _changed(self, run: Run) -> Run:
        return _with_reading(run, self.frame, landing=self.spot)


class ClearSurface(Edit, frozen=True):
    """Take back the surface read in one frame."""

    label: ClassVar[str] = marked("clear surface")
    frame: int

    def _changed(self, run: Run) -> Run:
        return _with_reading(run, self.frame, surface=None)


class ClearLanding(Edit, frozen=True):
    """Take back the landing read in one frame."""

    label: ClassVar[str] = marked("clear landing")
    frame: int

    def _changed(self, run: Run) -> Run:
        return _with_reading(run, self.frame, landing=None)


class SetNote(Edit, frozen=True):
    """Write a note to one frame."""

    label: ClassVar[str] = marked("write note")
    frame: int
    note: str

    def _changed(self, run: Run) -> Run:
        return _with_reading(run, self.frame, note=self.note)


class AdoptFound(Edit, frozen=True):
    """Take in what was found, as one step.

    What an earlier search found is replaced as a whole; what was read by hand, and every note, stays. Where a
    frame has both, the hand reading wins part by part. Frames that a person set aside stay without.
    """

    label: ClassVar[str] = marked("adopt found readings")
    readings: tuple[Reading, ...]

    def _changed(self, run: Run) -> Run:
        found: dict[int, Reading] = {}
        for reading in self.readings:
            if reading.frame in found:
                words = said(
                    "frame {frame} was found twice; a frame has at most one reading", frame=reading.frame
                )
                raise RunFileError(words, where="readings")
            found[reading.frame] = reading
        # What a person took out stays out. The import is here because set-asides are edits themselves.
        from measure_app.extras import frames_set_aside

        for frame in frames_set_aside(run):
            found.pop(frame, None)
        own = {reading.frame: reading for reading in run.readings}
        merged = (_merged(own.get(frame), found.get(frame), frame) for frame in own.keys() | found.keys())
        return replace(run, readings=_tidy(merged))


def _sharing(before: Run, after: Run) -> Run:
    """Return the changed run, with the very parts of the one before where they are equal.

    A run that was checked is a copy of the whole; undo keeps every one of them, and each would else hold all
    its thousands of readings once more.
    """
    same = {
        name: part
        for name in Run.__struct_fields__
        if (part := getattr(before, name)) == getattr(after, name)
    }
    if "readings" not in same:
        known = {reading.frame: reading for reading in before.readings}
        same["readings"] = tuple(
            old if (old := known.get(reading.frame)) == reading else reading for reading in after.readings
        )
    return replace(after, **same)


def _merged(own: Reading | None, found: Reading | None, frame: int) -> Reading:
    own = own or Reading(frame=frame)
    found = found or Reading(frame=frame)
    return Reading(
        frame=frame,
        surface=_by_hand(own.surface) or _by_search(found.surface),
        landing=_by_hand(own.landing) or _by_search(found.landing),
        note=own.note or found.note,
    )


def _by_hand(spot: Spot | None) -> Spot | None:
    return spot if spot is not None and spot.by is By.HAND else None


def _by_search(spot: Spot | None) -> Spot | None:
    """Return the spot if a search found it; a hand reading comes from a hand alone, never by adoption."""
    return spot if spot is not None and spot.by is By.FOUND else None


def _with_reading(run: Run, frame: int, **parts: Any) -> Run:
    """Return the run with parts of one frame's reading replaced."""
    old = next((reading for reading in run.readings if reading.frame == frame), Reading(frame=frame))
    others = (reading for reading in run.readings if reading.frame != frame)
    return replace(run, readings=_tidy((*others, replace(old, **parts))))


def _tidy(readings: Iterable[Reading]) -> tuple[Reading, ...]:
    """Return the readings in order of frames, without those that say nothing."""
    telling = (r for r in readings if r.surface is not None or r.landing is not None or r.note)
    return tuple(sorted(telling, key=lambda reading: reading.frame))


def _with_graduations(run: Run, index: int, graduations: tuple[GraduationPart, ...]) -> Run:
    rule = _item(run.rules, index, "rules")
    in_order = tuple(sorted(graduations, key=lambda graduation: graduation.value_m))
    return replace(run, rules=_swapped(run.rules, index, (replace(rule, graduations=in_order),), "rules"))


def _item(items: tuple[_Item, ...], index: int, key: str) -> _Item:
    if not 0 <= index < len(items):
        raise RunFileError(
            said("there is no number {index}, only {items}", index=index, items=len(items)), where=key
        )
    return items[index]


def _swapped(items: tuple[_Item, ...], index: int, instead: tuple[_Item, ...], key: str) -> tuple[_Item, ...]:
    _item(items, index, key)
    return (*items[:index], *instead, *items[index + 1 :])
