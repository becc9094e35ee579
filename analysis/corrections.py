"""Every correction of the law with its size for this run."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from analysis.basis import Basis
from analysis.from_lines import lost_zero
from analysis.launch import Origin, angle_words, origin_of
from analysis.law_fits import TENSION
from analysis.notation import plain, with_uncertainty
from analysis.series import FloatArray
from analysis.shifts import Shift, launch_angle_shift, level_drop
from analysis.words import marked, said


@dataclass(frozen=True, slots=True)
class Effect:
    """What a correction changes."""

    of: str
    """A quantity: Cv (joint fit), mean Cv (of single ratios), Cd, head (it drives the jet), drain head (it
    drives the discharge), throw or drop."""
    change: float
    """With the correction less without it; of a length the mean over the rows used."""
    unit: str


@dataclass(frozen=True, slots=True)
class CorrectionSize:
    """One correction: what it is, whether it was applied, and how much it changes in this run."""

    name: str
    """As in `Corrections`."""
    says: str
    """What happens, in plain words."""
    applied: bool
    missing: str
    """The input without which it cannot be made or its size be told; "" where nothing is missing."""
    effects: tuple[Effect, ...]
    """Empty where its size cannot be told."""
    note: str = ""
    """What is to be said of its size in this run, such as that the readings deny it; "" where nothing is."""
    instead: tuple[Effect, ...] = ()
    """What it would change with the other value that the note speaks of."""

    def change_of(self, what: str) -> float | None:
        """Give the change of one quantity, None where it is not among the effects."""
        return next((effect.change for effect in self.effects if effect.of == what), None)


SAYS = MappingProxyType(
    {
        "surface_speed": marked(
            "the surface sinks while the jet leaves, so that the jet is a little faster than "
            "from a surface at rest"
        ),
        "fall_during_flight": marked(
            "water that lands now left when the level was higher; each throw is compared with "
            "that earlier head"
        ),
        "launch_angle": marked(
            "a jet that leaves upwards lands farther than a level one, a jet that leaves downwards nearer"
        ),
        "hole_size": marked(
            "the water at the lower edge of the hole is under more head than at the upper edge; "
            "this counts when the head is only a few hole's widths"
        ),
        "landing_level": marked(
            "a throw that is read above the level to which the drop was measured, such as on a "
            "film of water in the tray, belongs to a smaller drop"
        ),
        "capillary": marked(
            "the skin of a thin jet squeezes it and pulls it back, which looks like a loss of "
            "head; our own estimate, so it is told but not applied unless asked for"
        ),
        "contracted_section": marked(
            "the jet is free only where it has narrowed, half a hole's width from the inner "
            "edge; its throw counts from there and not from the wall"
        ),
        "low_heads": marked(
            "at heads below two hole's widths, or so low that water clings to the wall, the law "
            "ends; such readings are left out"
        ),
    }
)
_NAMES = MappingProxyType(
    {
        "surface_speed": marked("surface speed"),
        "fall_during_flight": marked("fall during flight"),
        "launch_angle": marked("launch angle"),
        "hole_size": marked("hole size"),
        "landing_level": marked("landing level"),
        "capillary": marked("capillary"),
        "contracted_section": marked("contracted section"),
        "low_heads": marked("low heads"),
    }
)
_MOVED = MappingProxyType(
    {
        "jet_head": marked("head"),
        "drain_head": marked("drain head"),
        "throw": marked("throw"),
        "drop": marked("drop"),
    }
)


def correction_sizes(basis: Basis, cd: float | None) -> tuple[CorrectionSize, ...]:
    """
    Give every correction with what it changes.

    Parameters
    ----------
    basis : Basis
        Rows, pairs and fits.
    cd : float, optional
        The discharge coefficient as found.

    Returns
    -------
    tuple of CorrectionSize
        In the order of `Corrections`. Changes of Cv and Cd come from one step of the fit about its answer,
        its gain times what the correction adds to each reading; that of low heads comes from a fit anew.
    """
    shifts = [
        _NOTED.get(name, _as_it_is)(basis, _of_shift(basis, name, basis.shifts[name], cd))
        for name in ("launch_angle", "hole_size", "landing_level", "capillary", "contracted_section")
    ]
    return (_surface_speed(basis), _fall(basis), *shifts, _low_heads(basis))


_DENIED = 2.0
"""Standard uncertainties by which what the readings show differs from a model before they deny it (common
practice, no source)."""


def _size(basis: Basis, name: str, missing: str, *effects: Effect | None) -> CorrectionSize:
    return CorrectionSize(
        name=name,
        says=said(SAYS[name]),
        applied=getattr(basis.corrections, name) and not missing,
        missing=missing,
        effects=tuple(each for each in effects if each is not None and math.isfinite(each.change)),
    )


def _surface_speed(basis: Basis) -> CorrectionSize:
    r = basis.full_approach
    if r is None:
        return _size(
            basis, "surface_speed", said("times of the readings, or container area and the hole's diameter")
        )
    if basis.throws is None:
        return _size(basis, "surface_speed", basis.missing_pairs)
    level = basis.throws.value("cv") / math.sqrt(1.0 - basis.approach**2)
    return _size(basis, "surface_speed", "", Effect("Cv", level * (math.sqrt(1.0 - r**2) - 1.0), "1"))


def _fall(basis: Basis) -> CorrectionSize:
    if basis.drain is None:
        return _size(
            basis,
            "fall_during_flight",
            said("the drain curve: {no_drain}", no_drain=basis.no_drain),
        )
    if basis.throws is None or basis.series.head is None:
        return _size(basis, "fall_during_flight", basis.missing_pairs)
    rows = basis.throws.rows
    fall = basis.fall_in_flight
    moved = _throw_like(basis, Shift(MappingProxyType({"jet_head": fall})))
    return _size(
        basis,
        "fall_during_flight",
        "",
        Effect("Cv", _change_of_cv(basis, moved, on=basis.corrections.fall_during_flight), "1"),
        Effect(marked("mean Cv"), _change_of_mean(basis, moved), "1"),
        Effect("head", float(np.mean(fall[rows])), "m"),
    )


def _low_heads(basis: Basis) -> CorrectionSize:
    if basis.limit_m is None:
        return _size(basis, "low_heads", said("the hole's diameter"))
    if basis.cv_other_cut is None or basis.throws is None:
        none_low = basis.throws is not None and not basis.any_low
        return _size(basis, "low_heads", "", Effect("Cv", 0.0, "1") if none_low else None)
    cv, other = basis.throws.value("cv"), basis.cv_other_cut
    change = cv - other if basis.corrections.low_heads else other - cv
    return _size(basis, "low_heads", "", Effect("Cv", change, "1"))


def _of_shift(basis: Basis, name: str, shift: Shift | str, cd: float | None) -> CorrectionSize:
    if isinstance(shift, str):
        return _size(basis, name, shift)
    effects: list[Effect | None] = []
    if basis.throws is not None:
        moved = _throw_like(basis, shift)
        effects.append(Effect("Cv", _change_of_cv(basis, moved, on=getattr(basis.corrections, name)), "1"))
        effects.append(Effect(marked("mean Cv"), _change_of_mean(basis, moved), "1"))
    if basis.drain is not None and cd is not None and "drain_head" in shift.adds:
        k = basis.drain.value("k")
        step = float(basis.drain.gain[1] @ shift.adds["drain_head"][basis.drain.rows])
        effects.append(Effect("Cd", cd * step / k if k > 0.0 else math.nan, "1"))
    rows = basis.throws.rows if basis.throws is not None else np.nonzero(basis.chosen.with_head)[0]
    for what, values in shift.adds.items():
        if rows.size:
            effects.append(Effect(_MOVED[what], float(np.mean(values[rows])), "m"))
    return _size(basis, name, "", *effects)


def _as_it_is(_basis: Basis, size: CorrectionSize) -> CorrectionSize:
    return size


def _with_angle(basis: Basis, size: CorrectionSize) -> CorrectionSize:
    """Say where the angle comes from, and what the traced one would change where it does not stand."""
    if size.missing:
        return size
    at, words = basis.conditions, angle_words(basis.conditions)
    instead: tuple[Effect, ...] = ()
    if origin_of(at) is Origin.LEVEL:
        traced = launch_angle_shift(basis.series, replace(at, launch_angle_deg=at.traced_angle_deg))
        if not isinstance(traced, str) and basis.throws is not None:
            moved = _throw_like(basis, traced)
            effects = (
                Effect("Cv", _change_of_cv(basis, moved, on=False), "1"),
                Effect(marked("mean Cv"), _change_of_mean(basis, moved), "1"),
            )
            instead = tuple(each for each in effects if math.isfinite(each.change))
    if instead:
        words = said(
            "{words}; the traced angle itself would change {changes}", words=words, changes=_listed(instead)
        )
    return replace(size, note=words, instead=instead)


def _with_denial(basis: Basis, size: CorrectionSize) -> CorrectionSize:
    """Say where the readings deny what the model of the thin jet takes from the head."""
    found = lost_zero(basis)
    taken, shift = size.change_of("head"), basis.shifts["capillary"]
    if size.missing or taken is None or isinstance(shift, str) or found is None:
        return size
    # With the correction made, the line stands where it would without a loss.
    lost = -found.value - (taken if size.applied else 0.0)
    u_model = float(np.mean(np.abs(shift.moves["jet_head"])))
    if not abs(lost + taken) > _DENIED * math.hypot(found.u, u_model):
        return size
    words = said(
        "the readings deny this size: they show a loss of {lost}, the model takes {taken}",
        lost=with_uncertainty(1e3 * lost, 1e3 * found.u, "mm"),
        taken=with_uncertainty(-1e3 * taken, 1e3 * u_model, "mm"),
    )
    return replace(size, note=words)


_NOTED = MappingProxyType({"launch_angle": _with_angle, "capillary": _with_denial})


def _throw_like(basis: Basis, shift: Shift) -> FloatArray:
    """Change of each row's throw that counts in the throws' fit as much as the shift does; (n,) m."""
    seen = basis.corrected.throws
    if seen.head is None or seen.throw is None or seen.drop is None:
        return np.full(basis.n, math.nan)
    throw = seen.throw.values
    head = seen.head.values + (basis.fall_in_flight if basis.corrections.fall_during_flight else 0.0)
    drop = level_drop(seen.drop.values, throw, basis.corrected.angle_rad)
    moved = np.zeros(basis.n)
    if "jet_head" in shift.adds:
        moved = moved - throw / (2.0 * head) * shift.adds["jet_head"]
    if "throw" in shift.adds:
        moved = moved + shift.adds["throw"]
    if "drop" in shift.adds:
        moved = moved - throw / (2.0 * drop) * shift.adds["drop"]
    return moved


def _change_of_cv(basis: Basis, moved: FloatArray, *, on: bool) -> float:
    """
    Change of Cv with a correction less without it.

    The state that the run is not in is foretold by one step of both fits about their answers. Whether the
    head's zero would be left free there is foretold as well. That a correction's own uncertainty would come
    or go with it, and what the throws pull on that, is not.
    """
    both, fit = basis.both_zeros, basis.throws
    if fit is None:
        return math.nan
    back = -1.0 if on else 1.0
    there = both.held or fit
    if both.free is not None:
        i = both.free.names.index("head_zero")
        gained = back * float(both.free.gain[i] @ moved[both.free.rows])
        miss = abs(both.free.value("head_zero") + gained) / math.sqrt(float(both.free.covariance[i, i]))
        if miss > TENSION or both.unstated:
            there = both.free
    other = there.value("cv") + back * float(there.gain[0] @ moved[there.rows])
    return back * (other - fit.value("cv"))


def _change_of_mean(basis: Basis, moved: FloatArray) -> float:
    """Change of the mean of single ratios."""
    if basis.mean_of_ratios is None or basis.throws is None or basis.series.throw is None:
        return math.nan
    rows = basis.throws.rows
    return basis.mean_of_ratios.value * float(np.mean(moved[rows] / basis.series.throw.values[rows]))


def size_words(size: CorrectionSize) -> str:
    """Say in one line whether a correction was applied and what it changes."""
    name = said(_NAMES[size.name])
    words = _bare_words(size, name)
    return f"{words}; {said(size.note)}" if size.note else words


def _bare_words(size: CorrectionSize, name: str) -> str:
    if size.missing:
        return said("{name}: cannot be told for want of {missing}", name=name, missing=size.missing)
    told = [each for each in size.effects if each.of != "drain head"]
    if size.note and told and not any(each.change for each in told):
        return said("{name}: applied", name=name) if size.applied else said("{name}: not applied", name=name)
    done = said("applied:") if size.applied else said("not applied; it would change")
    if not told:
        return said(
            "{name}: {words}; its size cannot be told",
            name=name,
            words=said("applied") if size.applied else said("not applied"),
        )
    return f"{name}: {done} {_listed(told)}"


def _listed(effects: Sequence[Effect]) -> str:
    return ", ".join(f"{said(each.of)} {_amount(each)}" for each in effects)


def _amount(effect: Effect) -> str:
    scale, unit = (1e3, " mm") if effect.unit == "m" else (1.0, "")
    value = scale * effect.change
    floor = 0.001 if unit else 1e-6
    if value == 0.0:
        return said("unchanged")
    if abs(value) < floor:
        return said("by less than {floor:g}{unit}", floor=floor, unit=unit)
    sign = "+" if value > 0.0 else "−"
    return f"{sign}{plain(abs(value), 2)}{unit}"
