"""The best path through a strip: one position per frame, chosen for the whole run at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray
from measure_app.finders.medians import known_median, median


def best_path(
    evidence: NDArray[np.float32], back_px: int, forth_px: int, step_cost: float
) -> NDArray[np.int64]:
    """Follow the strongest continuous trace through all frames (Viterbi, 1967, over positions as states).

    Parameters
    ----------
    evidence : (n, L), larger where the trace is likelier to be; finite
    back_px, forth_px : largest steps from one frame to the next against and along the line, px
    step_cost : evidence given up for each px by which a step differs from none

    Returns
    -------
    (n,) positions, whole px along the line
    """
    n, length = evidence.shape
    steps = np.arange(-back_px, forth_px + 1)
    cost = (np.abs(steps) * step_cost).astype(np.float32)
    totals = np.full((n, length + forth_px + back_px), np.float32(-1e30), dtype=np.float32)
    inner = totals[:, forth_px : forth_px + length]
    inner[0] = evidence[0]
    # A step of +k comes from position s - k: the predecessors of a step are a shifted slice of a padded row.
    before = np.lib.stride_tricks.sliding_window_view(totals, length, axis=1)[:, ::-1]
    candidates = np.empty((len(steps), length), dtype=np.float32)
    for i in range(1, n):
        np.subtract(before[i - 1], cost[:, None], out=candidates)
        now = inner[i]
        np.maximum.reduce(candidates, axis=0, out=now)
        now += evidence[i]
        now -= np.maximum.reduce(now)
    path = np.zeros(n, dtype=np.int64)
    path[-1] = int(np.argmax(inner[-1]))
    # Which step was best is asked again where the path runs: cheaper than to keep it for every position.
    for i in range(n - 1, 0, -1):
        came = totals[i - 1, path[i] : path[i] + len(steps)][::-1] - cost
        path[i - 1] = path[i] - steps[np.argmax(came)]
    return path


def smooth_course(positions: FloatArray, weights: FloatArray, half: int) -> tuple[FloatArray, FloatArray]:
    """Local straight-line-and-bend (quadratic) fit around every frame, robust against single outliers.

    Parameters
    ----------
    positions : (n,) px; NaN where there is none
    weights : (n,) 0 or more; 0 leaves a frame out
    half : half width of the window, frames

    Returns
    -------
    (n,) the fitted course, and (n,) the local robust scatter about it, both px; NaN where too few frames
    support it

    Notes
    -----
    Tukey's biweight, three passes; the window moments are sums over shifted copies, so the cost is linear in
    n.
    """
    n = len(positions)
    valid = np.isfinite(positions) & (weights > 0)
    y = np.where(valid, positions, 0.0)
    w = np.where(valid, weights, 0.0)
    robust = np.ones(n)
    course = np.full(n, np.nan)
    scatter = np.full(n, np.nan)
    u = np.arange(-half, half + 1) / max(half, 1)
    kernel = (1 - np.abs(u * half / (half + 1)) ** 3) ** 3
    shrink = _residual_shrink(u, kernel)
    for _ in range(4):
        ww = w * robust
        moments = [
            np.convolve(ww, (kernel * u**p)[::-1], "same") if n >= len(u) else _short(ww, kernel * u**p, half)
            for p in range(5)
        ]
        rights = [
            np.convolve(ww * y, (kernel * u**p)[::-1], "same")
            if n >= len(u)
            else _short(ww * y, kernel * u**p, half)
            for p in range(3)
        ]
        a = np.empty((n, 3, 3))
        for i in range(3):
            for j in range(3):
                a[:, i, j] = moments[i + j]
        supported = moments[0] > 2.5
        a[~supported] = np.eye(3)
        # A ridge far below one frame's weight keeps windows with two distinct times solvable.
        a += 1e-9 * np.eye(3)
        course = np.linalg.solve(a, np.stack(rights, axis=1)[..., None])[:, 0, 0]
        course[~supported] = np.nan
        residual = np.abs(y - course)
        local = running_median(np.where(valid, residual, np.nan), half)
        scatter = 1.4826 * local / shrink
        floor = max(known_median(scatter) if np.isfinite(scatter).any() else 0.0, 1e-3)
        z = residual / (6.0 * np.maximum(scatter, 0.5 * floor))
        robust = np.where(np.isfinite(z), np.clip(1 - np.minimum(z, 1) ** 2, 0, 1) ** 2, 0.0)
    return course, scatter


def half_window(n: int) -> int:
    """Half width, frames, of the window in which n frames are held against their neighbours."""
    return int(np.clip(n // 14, 8, 60))


def steadied_variance(values: FloatArray) -> FloatArray:
    """Variance about zero near each of the values (n,), by medians; a value that is not known is NaN.

    Neighbours tell their own scatter only roughly: that of the whole run counts as much.
    """
    size = np.abs(values)
    whole = known_median(size)
    around = running_median(size, half_window(len(values)))
    around = np.where(np.isfinite(around), around, whole)
    return np.asarray(0.5 * 1.4826**2 * (whole**2 + around**2), dtype=np.float64)


def clock_of(seconds: FloatArray | None, n: int) -> FloatArray:
    """When each of n frames was taken, (n,) from −1 to 1; None: evenly spaced."""
    if seconds is None or n < 2 or not seconds[-1] > seconds[0]:
        return np.linspace(-1.0, 1.0, n)
    return np.asarray(2.0 * (seconds - seconds[0]) / (seconds[-1] - seconds[0]) - 1.0, dtype=np.float64)


def smooth_in_time(
    positions: FloatArray, weights: FloatArray, half: int, clock: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Do as `smooth_course` does, for frames that need not be evenly spaced.

    Where the clock is uneven a curve of second degree in time is taken off first: what is left hardly changes
    from frame to frame, so that it matters little when exactly each was taken. Of an even clock the windows'
    own fits hold any such curve already.

    Parameters
    ----------
    positions, weights, half : as in `smooth_course`
    clock : (n,) when each frame was taken, −1 to 1
    """
    steps = np.diff(clock)
    usual = float(np.median(steps)) if len(steps) else 0.0
    valid = np.isfinite(positions) & (weights > 0)
    if usual <= 0 or np.max(np.abs(steps - usual)) < _EVEN * usual or valid.sum() < 6:
        return smooth_course(positions, weights, half)
    trend = _curve(positions, valid, clock, 2)
    course, scatter = smooth_course(positions - trend, weights, half)
    return course + trend, scatter


_EVEN = 0.02
"""By what part of the usual step steps may differ on an even clock."""


def from_curve(
    positions: FloatArray, usable: NDArray[np.bool_], clock: FloatArray, degree: int = 5
) -> FloatArray:
    """How far each frame lies from one smooth curve through the whole run, (n,) px; NaN where not known.

    A polynomial, of fifth degree by default, fitted robustly: smooth enough that a group of frames on a wrong
    edge between gaps stands out, supple enough for any container that narrows gently.
    """
    use = usable & np.isfinite(positions)
    if use.sum() < 30:
        return np.full(len(positions), np.nan)
    return np.where(use, positions - _curve(positions, use, clock, degree), np.nan)


def fallen_since(positions: FloatArray, usable: NDArray[np.bool_], clock: FloatArray) -> FloatArray:
    """How far, (n,) px, the smooth curve has gone on since what a frame shows was new.

    In poor light coding leaves an edge where it was for some frames: its place is then the same to the last
    digit, which noise never leaves.
    """
    use, row = usable & np.isfinite(positions), np.arange(len(positions))
    same = np.abs(np.diff(positions, prepend=np.nan)) < _SAME_PX
    if use.sum() < 30 or not same.any():
        return np.zeros(len(positions))
    curve = _curve(positions, use, clock, 3)
    new = np.maximum.accumulate(np.where(same, 0, row))
    return np.abs(curve - curve[new])


_SAME_PX = 1e-3
"""Places that differ by less are the same."""


def _curve(positions: FloatArray, use: NDArray[np.bool_], clock: FloatArray, degree: int) -> FloatArray:
    """Polynomial in time through the frames in use, fitted robustly (Tukey's biweight); (n,) px."""
    weights = use.astype(np.float64)
    y = np.where(use, positions, 0.0)
    basis = np.asarray(np.polynomial.chebyshev.chebvander(clock, degree), dtype=np.float64)
    curve = np.zeros(len(positions))
    before = np.inf
    for _ in range(12):
        weighted = basis * weights[:, None]
        curve = basis @ np.linalg.lstsq(weighted.T @ basis, weighted.T @ y, rcond=None)[0]
        gap = y - curve
        size = max(1.4826 * median(np.abs(gap[use])), 0.05)
        if abs(size - before) < 0.01 * size:
            break
        before = size
        weights = np.where(use, np.clip(1.0 - (gap / (6.0 * size)) ** 2, 0.0, None) ** 2, 0.0)
    return curve


def strayed(positions: FloatArray, usable: NDArray[np.bool_], clock: FloatArray) -> NDArray[np.bool_]:
    """Frames (n,) of stretches that lie elsewhere than the rest of the run leads to.

    A stretch between gaps, or after one, is smooth in itself even where it follows something else. It is held
    against a curve of third degree through all other frames, with that curve's own uncertainty where it ends.
    """
    out = np.zeros(len(positions), dtype=bool)
    basis = np.asarray(np.polynomial.chebyshev.chebvander(clock, 3), dtype=np.float64)
    at = np.flatnonzero(usable & np.isfinite(positions))
    stretches = stretches_of(at, _GAP) if len(at) else []
    # The worst goes first: until then it bends the curve that the others are held against.
    while len(stretches) > 1:
        at = np.concatenate(stretches)
        off = [
            _off(positions, basis, np.setdiff1d(at, one, assume_unique=True), one, clock) for one in stretches
        ]
        worst = int(np.argmax(off))
        if off[worst] <= 1.0:
            break
        out[stretches.pop(worst)] = True
    return out


def _off(
    positions: FloatArray,
    basis: FloatArray,
    rest: NDArray[np.intp],
    stretch: NDArray[np.intp],
    clock: FloatArray,
) -> float:
    """How far a stretch lies, or runs, from where the rest leads to, against the furthest believed."""
    # Where the rest leads to is known better between its frames than beyond them.
    beside = min((rest < stretch[0]).sum(), (rest > stretch[-1]).sum())
    most = 1.0 if beside >= _EITHER_SIDE * len(rest) else 0.5
    if len(stretch) > most * len(rest) or len(rest) < 30:
        return 0.0
    inverse, weights, size = fitted(positions[rest], basis[rest], _SCATTER_PX)
    middle = basis[stretch].mean(axis=0)
    # Neighbours wander together: half a dozen tell no more than one that stands for them.
    u = size * np.sqrt(1.0 + 6.0 * float(middle @ inverse @ middle))
    apart = positions[stretch] - basis[stretch] @ weights
    gap = abs(float(np.mean(apart))) / max(1.0, 3.5 * float(u))
    if not _SHORT[0] <= len(stretch) <= _SHORT[2]:
        return gap
    # What stands still, or runs elsewhere, does so within the stretch as well, however unsure its place is.
    _, other, u = _runs(positions, basis, rest, stretch, clock)
    # Its speed falls evenly, or nearly so: two degrees tell of what stands still better than three.
    expected, short, u_short = _runs(positions, basis[:, :3], rest, stretch, clock)
    # A longer one that runs about as the rest does may bend as its container does.
    least = 1.0 if len(stretch) <= _SHORT[1] else max(1.0, 0.5 * abs(expected))
    off = max(gap, abs(other) / max(least, 3.5 * u))
    stands = abs(expected + short) < _STANDS * abs(expected)
    return max(off, abs(short) / max(least, 2.0 * u_short)) if stands else off


def fitted(positions: FloatArray, basis: FloatArray, least_px: float) -> tuple[FloatArray, FloatArray, float]:
    """Fit positions (m,), px, by the columns of a basis (m, k), by least squares.

    Gives the covariance of the weights in units of the scatter, (k, k), the weights, (k,), and the scatter
    about them, px, but at least so much.
    """
    inverse: FloatArray = np.asarray(
        np.linalg.inv(basis.T @ basis + 1e-9 * np.eye(basis.shape[1])), dtype=np.float64
    )
    weights = inverse @ (basis.T @ positions)
    return inverse, weights, max(float(np.std(positions - basis @ weights)), least_px)


_SCATTER_PX = 0.15
"""Neighbours that scatter by less do not tell how surely they lead elsewhere."""


def _runs(
    positions: FloatArray,
    basis: FloatArray,
    rest: NDArray[np.intp],
    stretch: NDArray[np.intp],
    clock: FloatArray,
) -> tuple[float, float, float]:
    """How far the rest leads from a stretch's first frame to its last, how much further it runs, and u."""
    inverse, weights, size = fitted(positions[rest], basis[rest], _SCATTER_PX)
    lever = clock[stretch] - np.mean(clock[stretch])
    rise = float(np.ptp(clock[stretch])) / float(lever @ lever) * lever
    slope = rise @ basis[stretch]
    u = size * np.sqrt(float(rise @ rise) + 6.0 * float(slope @ inverse @ slope))
    expected = float(slope @ weights)
    return expected, float(rise @ positions[stretch]) - expected, float(u)


def stretches_of(rows: NDArray[np.intp], apart: int = 1) -> list[NDArray[np.intp]]:
    """Split rows, ascending, into those that follow one another, no further apart than so many."""
    return np.split(rows, np.flatnonzero(np.diff(rows) > apart) + 1)


def loose_ends(
    positions: FloatArray,
    own_u: FloatArray,
    usable: NDArray[np.bool_],
    clock: FloatArray,
    half: int,
    least_px: float,
) -> tuple[NDArray[np.bool_], FloatArray]:
    """Frames (n,) at the ends of stretches that leave the way on which the frames before them lead.

    Also gives how far, (n,) px, others there lie off it by more than chance.

    The first and the last frames of a stretch draw the course that they are held against along with them, and
    what hides the surface in the next frame disturbs it in these. They are held against a curve of second
    degree through their neighbours within, with that curve's own uncertainty where it ends.

    Parameters
    ----------
    positions, own_u : (n,) px
    usable : (n,) frames that hold so far
    clock : (n,) when each frame was taken, −1 to 1
    half : as many neighbours are asked at least, where there are any, three times as many
    least_px : by how much an end must be off
    """
    out = np.zeros(len(positions), dtype=bool)
    away = np.zeros(len(positions))
    at = np.flatnonzero(usable & np.isfinite(positions))
    for stretch in stretches_of(at):
        for inward in (stretch, stretch[::-1]):
            for loose in range(_ENDS_MOST, 0, -1):
                ends, rest = inward[:loose], inward[loose : loose + 3 * half]
                if len(rest) < half:
                    continue
                off, u = _led_to(positions, own_u, clock, ends, rest)
                # Neighbours wander together, so more of them lead less surely as far as they seem to.
                times = 1.0 if loose <= _ENDS else 2.0
                if np.all(off > times * np.maximum(4.0 * u, least_px)):
                    out[ends] = True
                    break
                if loose > _ENDS:
                    continue
                # What leads astray leads those beyond it too, where the others lead is less sure.
                told = np.maximum.accumulate(np.where(off > 2.5 * u, off, 0.0)[::-1])[::-1]
                away[ends] = np.maximum(away[ends], told)
    return out, away


def cut_off(
    positions: FloatArray, own_u: FloatArray, usable: NDArray[np.bool_], clock: FloatArray, half: int
) -> tuple[NDArray[np.bool_], FloatArray, FloatArray]:
    """Frames (n,) of a short stretch at either end of the run, beyond a gap, that the others do not lead to.

    Also gives how far, (n,) px, those of one up to twice as long lie off it by more than chance: each
    frame, and the stretch as a whole.

    Something that stands still behind the surface can be followed for a few frames after it was lost. There
    are too few to be held against one another, and no frames beyond them that would tell.

    Parameters
    ----------
    positions, own_u : (n,) px
    usable : (n,) frames that hold so far
    clock : (n,) when each frame was taken, −1 to 1
    half : half width, in frames, of the window that neighbours share; a stretch up to it is short
    """
    out = np.zeros(len(positions), dtype=bool)
    away, together = np.zeros(len(positions)), np.zeros(len(positions))
    at = np.flatnonzero(usable & np.isfinite(positions))
    stretches = stretches_of(at)
    for order in (stretches, [each[::-1] for each in stretches[::-1]]):
        rest = np.concatenate([at[:0], *order[1:]])[: 3 * half]
        if len(order[0]) > 2 * half or len(rest) < half:
            continue
        off, u = _led_to(positions, own_u, clock, order[0], rest)
        if np.median(off / u) <= 4.0:
            away[order[0]] = np.where(off > 2.0 * u, off, 0.0)
            together[order[0]] = np.sqrt(max(float(np.mean(off**2 - u**2)), 0.0))
        elif len(order[0]) <= half:
            out[order[0]] = True
    return out, away, together


def _led_to(
    positions: FloatArray,
    own_u: FloatArray,
    clock: FloatArray,
    ends: NDArray[np.intp],
    rest: NDArray[np.intp],
) -> tuple[FloatArray, FloatArray]:
    """How far each of the ends lies off where the rest leads to, px, and how sure that is."""
    length = np.ptp(clock[rest])
    at_ends, at_rest = (
        np.polynomial.chebyshev.chebvander((clock[rows] - clock[rest[0]]) / length, 2)
        for rows in (ends, rest)
    )
    inverse = np.linalg.inv(at_rest.T @ at_rest + 1e-9 * np.eye(3))
    curve = at_ends @ (inverse @ (at_rest.T @ positions[rest]))
    bent = np.sum((at_ends @ inverse) * at_ends, axis=1)
    u = np.median(own_u[rest]) * np.sqrt(1.0 + bent)
    return np.abs(positions[ends] - curve), np.asarray(u, dtype=np.float64)


_ENDS, _ENDS_MOST = 3, 8
"""So many frames at either end of a stretch are held against the others, and so many if they are far off."""
_EITHER_SIDE = 0.25
"""Part of the other frames that must lie on either side of a stretch longer than half of them."""
_SHORT = (3, 12, 40)
"""Frames from which a stretch tells how it runs, up to which its mean does not tell it as well, and up to
which it is asked at all."""
_STANDS = 0.15
"""A stretch that moves by less than this part of what the rest leads to stands still: nothing that drains
does, so that it need not be as far off as what runs elsewhere."""
_GAP = 3
"""Frames missing from which what follows is a stretch of its own."""


def _residual_shrink(u: FloatArray, kernel: FloatArray) -> float:
    """How much smaller than the scatter the residuals are, because the fit follows each frame a little."""
    powers = np.stack([np.ones_like(u), u, u**2])
    inverse = np.linalg.inv((powers * kernel) @ powers.T + 1e-9 * np.eye(3))
    pull = kernel * (inverse[0] @ powers)
    return float(np.sqrt(max(1.0 - 2.0 * pull[len(u) // 2] + np.sum(pull**2), 0.05)))


def _short(values: FloatArray, kernel: FloatArray, half: int) -> FloatArray:
    full = np.convolve(values, kernel[::-1], "full")
    return np.asarray(full[half : half + len(values)], dtype=np.float64)


def running_median(values: FloatArray, half: int) -> FloatArray:
    """Median of the frames within `half` of each, of (n, ...); NaN where none has a value."""
    beyond = [(half, half)] + [(0, 0)] * (values.ndim - 1)
    padded = np.pad(values, beyond, mode="reflect" if len(values) > half else "edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1, axis=0)
    # A frame step keeps long windows affordable: 41 places carry the median well enough.
    step = max(1, (2 * half + 1) // 41)
    ordered = np.sort(windows[..., ::step], axis=-1)  # NaN comes last
    count = np.isfinite(ordered).sum(axis=-1, keepdims=True)
    low = np.take_along_axis(ordered, np.maximum(count - 1, 0) // 2, axis=-1)
    high = np.take_along_axis(ordered, np.minimum(count // 2, ordered.shape[-1] - 1), axis=-1)
    middle = 0.5 * (low + high)[..., 0]
    return np.asarray(np.where(count[..., 0] > 0, middle, np.nan), dtype=np.float64)
