"""Shared errors that change along the way: what they are like, and that the drain rate carries them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis import (
    LANDING_WANDER,
    SURFACE_WANDER,
    Column,
    Conditions,
    Findings,
    Series,
    Wander,
    findings_of,
    numbered,
    wandering,
)

G, CV, K, DROP, N = 9.81, 0.97, 0.02, 0.30, 120
SHARED = 2e-4
TIME = np.linspace(0.0, 10.0, N)
HEAD = (math.sqrt(0.18) - K * TIME) ** 2
THROW = 2.0 * CV * np.sqrt(DROP * (np.sqrt(HEAD) + K * math.sqrt(2.0 * DROP / G)) ** 2)


def likeness(like: Wander, places: np.ndarray) -> np.ndarray:
    apart = np.abs(places[:, None] - places) / like.reach
    return like.stays + (1.0 - like.stays) * np.exp(-(apart**like.power))


@pytest.mark.parametrize("like", [SURFACE_WANDER, LANDING_WANDER])
def test_the_sources_are_as_large_as_what_was_shared_and_as_alike_as_said(like: Wander) -> None:
    places = np.linspace(310.0, 90.0, 40)  # px along a line that runs against the way
    shared = np.linspace(1e-4, 3e-4, 40)
    columns = wandering(shared, places, like)
    assert columns.shape == (like.ways, 40)
    assert np.sum(columns**2, axis=0) == pytest.approx(shared**2, rel=1e-12)
    alike = (columns / shared).T @ (columns / shared)
    wanted = likeness(like, (places - 90.0) / 220.0)
    # Rough likeness in few curves: what they leave out makes neighbours more alike, and hardly others.
    far = np.abs(places[:, None] - places) > 60.0
    assert np.abs(alike - wanted)[far].max() < (0.01 if like.power == 2 else 0.16)


def test_what_was_not_found_has_none_of_it_and_one_place_alone_cannot_wander() -> None:
    places = np.array([10.0, np.nan, 30.0, 50.0])
    columns = wandering(np.array([1.0, 0.0, 1.0, 1.0]), places, SURFACE_WANDER)
    assert not np.any(columns[:, 1])
    still = wandering(np.array([1.0, 1.0]), np.array([7.0, 7.0]), SURFACE_WANDER)
    assert still[0] == pytest.approx([1.0, 1.0])
    assert not np.any(still[1:])
    assert numbered("a", LANDING_WANDER) == ("a", "a (2)")


def run(head_error: np.ndarray, columns: np.ndarray, *, throws: bool = True) -> Findings:
    """A run whose surface errs by that, with those shared sources of the head beside its zero."""
    rng = np.random.default_rng(8)
    shared = np.concatenate([np.full((1, N), 4e-4), columns]).T
    none = np.zeros_like(shared)
    series = Series(
        sources=("orifice, up and down", *(f"edge {i}" for i in range(len(columns)))),
        time_s=TIME,
        head=Column(HEAD + head_error + 4e-5 * rng.standard_normal(N), np.full(N, 4e-5), shared),
        throw=Column(THROW + 6e-4 * rng.standard_normal(N), np.full(N, 6e-4), none) if throws else None,
        drop=Column(np.full(N, DROP), np.zeros(N), none) if throws else None,
        kept=np.ones(N, dtype=bool),
    )
    return findings_of(series, Conditions(gravity_m_s2=G))


def test_the_drain_rate_is_off_by_what_it_says_when_the_edge_wanders() -> None:
    alike = SHARED**2 * likeness(SURFACE_WANDER, (HEAD - HEAD[-1]) / np.ptp(HEAD))
    root = np.linalg.cholesky(alike + 1e-14 * np.eye(N))
    rng = np.random.default_rng(3)
    columns = wandering(np.full(N, SHARED), HEAD, SURFACE_WANDER)
    same = np.full((1, N), SHARED)
    z: dict[str, list[float]] = {"wanders": [], "taken as the same": []}
    for _ in range(50):
        error = root @ rng.standard_normal(N) + 4e-4 * rng.standard_normal()
        for name, sources in (("wanders", columns), ("taken as the same", same)):
            k = run(error, sources, throws=False).finding("drain_rate_root_m_per_s")
            assert k is not None
            z[name].append((k.value - K) / k.u)
    # 50 runs tell a root mean square of 1 to within a tenth.
    told = {name: math.sqrt(np.mean(np.square(each))) for name, each in z.items()}
    assert told["wanders"] == pytest.approx(1.0, abs=0.25)
    assert told["taken as the same"] > 1.25 * told["wanders"]


def test_a_zero_that_only_the_drain_curve_wants_is_not_believed() -> None:
    # An edge read lower and lower towards the end bends the drain curve as a zero too high does.
    late = np.linspace(0.0, 1.0, N) ** 6
    made = run(-1.1e-3 * late, np.full((1, N), 3e-5))
    assert made.throws is not None
    assert made.drain is not None
    assert not made.drain.has("head_zero")
    assert any("√head is not straight in time" in remark.says for remark in made.remarks)


def test_a_zero_that_both_laws_want_is_believed() -> None:
    made = run(np.full(N, 6e-3), np.full((1, N), 3e-5))
    assert made.throws is not None
    assert made.throws.has("head_zero")
    assert made.drain is not None
    assert made.drain.has("head_zero")
    assert made.drain.value("head_zero") == pytest.approx(-6e-3, abs=1e-3)
