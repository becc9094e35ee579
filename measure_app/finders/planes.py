"""Of the surface read in the light and in the colour of a film: which is trusted, and whether they agree."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.medians import median
from measure_app.finders.track import Why
from measure_app.words import said

_APART_PX = 1.5
"""Light and colour that lie further apart than this all through do not show the same edge."""
_LATER_PX = 1.0
"""Nor do they where light lies further down than colour by more than this, half a pixel of colour. Colour
fades in the dark and can seem to begin late; light does so only where it rises so slowly below a bright dye's
edge that the middle of the rise is read."""
_PLAIN_STEP = 64.0
"""Step of light, of 255, that is no side effect of a dye: beside it colour's own error is allowed for."""
_MOSTLY = 0.7
"""Light is read where it shows no less than this part of the frames in which colour shows the edge."""
_SURER = 1.1
"""By what factor colour must be surer to be read where light shows the edge as well."""
_OF_OFFSET = 0.5
"""What part of how far light lies beside colour, all through, makes colour less sure where colour is read."""
_FEW = 0.3
"""Share of the frames from which a comparison holds."""
_SHARED_PX = 0.3 / np.sqrt(12.0)
"""Standard uncertainty that all frames read in colour share, px: colour is kept in pixels two wide, and films
differ by some tenths of a pixel in where in them it was taken, any place as likely."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """The surface as read in one sight."""

    place: FloatArray
    """(n,) px."""
    own_u: FloatArray
    """(n,) px."""
    shared_u: float
    why: tuple[Why | None, ...]
    contrast: FloatArray
    """(n,) levels, change at the edge."""
    blur_px: float
    """px, standard deviation of the blur with which it was fitted."""
    remarks: tuple[str, ...] = ()
    line: bool = False
    """Whether the thin line of clear water was read."""
    either_u: float = 0.0
    """px, how far another sensible reading of what the light shows lies, in whichever sight it is read."""

    @property
    def holds(self) -> NDArray[np.bool_]:
        """(n,) True where it was not refused."""
        return np.array([each is None for each in self.why])


def joined(light: Seen, colour: Seen, clock: FloatArray, site_u_px: float = 0.0) -> Seen:
    """Read in the light what colour confirms; in colour where light does not show the edge.

    Parameters
    ----------
    light, colour : the surface as read in either
    clock : (n,) when each frame was taken, −1 to 1
    site_u_px : px along the line, standard uncertainty of where the film's colour was taken
    """
    if light.line:
        return light
    colour = replace(colour, shared_u=float(np.sqrt(colour.shared_u**2 + _SHARED_PX**2 + site_u_px**2)))
    n = len(light.why)
    bright, tinted = light.holds, colour.holds
    both = bright & tinted
    if both.sum() >= max(8, _FEW * n):
        apart = light.place - colour.place
        offset = median(apart[both])
        plain = median(np.abs(light.contrast[both])) > _PLAIN_STEP
        # Light that lies further up shows no reflection or wet wall below a dye's edge; colour may be late.
        earliest, latest = _APART_PX + 2.0 * colour.shared_u, _LATER_PX + plain * colour.shared_u
        if -earliest <= offset <= latest:
            size = 1.4826 * median(np.abs(apart[both] - offset))
            bound = np.maximum(4.0 * np.hypot(light.own_u, np.hypot(colour.own_u, size)), 0.8)
            astray = (both & (np.abs(apart - offset) > bound)) | _turned_where_covered(light, colour)
            beside = np.where(both, np.abs(apart - offset), 0.0)
            light, colour = _as_unsure(light, colour, beside), _as_unsure(colour, light, beside)
            if bright.sum() >= _MOSTLY * tinted.sum() and _unsure(light) <= _SURER * _unsure(colour):
                why = tuple(
                    Why.ASTRAY if bad else each for each, bad in zip(light.why, astray.tolist(), strict=True)
                )
                return _filled(replace(light, why=why), colour, offset, size, clock)
            beyond = max(abs(offset) - 2.0 * light.shared_u, 0.0)
            colour = replace(colour, shared_u=float(np.hypot(colour.shared_u, _OF_OFFSET * beyond)))
    if tinted.sum() >= _FEW * n:
        words = said(
            "the surface was followed in the film's colours, where it shows, and not in brightness, where "
            "it hardly does; colour is kept more coarsely, so each place is less sure"
        )
        return replace(colour, remarks=(words,))
    return light


def _turned_where_covered(light: Seen, colour: Seen) -> NDArray[np.bool_]:
    """Frames, (n,), in which light falls where it rises in most, and colour says that the edge is covered.

    A label's edge is plainer with air behind it than with water, so that in light it stands out once the
    surface has passed.
    """
    held = light.holds
    usual = np.sign(np.median(light.contrast[held])) if held.any() else 0.0
    covered = np.array([each is Why.COVERED for each in colour.why])
    return np.asarray(held & covered & (np.sign(light.contrast) == -usual), dtype=bool)


def _as_unsure(seen: Seen, other: Seen, beside_px: FloatArray) -> Seen:
    """Make places as unsure as they lie beside what the other sight shows, by more than its own error.

    Each frame counts for itself: something behind the water can draw one of the two along for a while.
    """
    by = np.maximum(beside_px - 2.0 * other.own_u, 0.0) / 2.0
    return replace(seen, own_u=np.maximum(seen.own_u, by))


def _unsure(seen: Seen) -> float:
    """Usual standard uncertainty, px."""
    return float(np.hypot(median(seen.own_u[seen.holds]), seen.shared_u))


def _filled(light: Seen, colour: Seen, offset: float, size: float, clock: FloatArray) -> Seen:
    """Take from colour, at its usual distance from light, the frames in which light alone is too unsure."""
    weak = np.array([each in {Why.FAINT, Why.ASTRAY} for each in light.why])
    take = weak & colour.holds & (np.abs(light.place - colour.place - offset) <= _APART_PX)
    held = np.flatnonzero(light.holds)
    own_u = np.where(take, np.hypot(colour.own_u, size), light.own_u)
    # Between frames in which light holds colour must lead from one to the other.
    led = np.interp(clock, clock[held], light.place[held]) if len(held) else colour.place + offset
    take &= np.abs(colour.place + offset - led) <= np.maximum(3.0 * own_u, 0.8)
    place = np.where(take, colour.place + offset, light.place)
    own_u = np.where(take, own_u, light.own_u)
    why = tuple(None if taken else each for each, taken in zip(light.why, take.tolist(), strict=True))
    return replace(light, place=place, own_u=own_u, why=why)
