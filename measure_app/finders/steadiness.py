"""How far the camera moved against the frame in which the marks were made.

A few straight lines of the still background are followed through time beside the gauge line and the landing
line: rows of the frame that cross long upright edges tell the sideways motion, columns that cross long level
edges the motion up and down. What moves against most of a line (a hand, the water) has little weight in its
shift.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration import FloatArray, Pixel, Segment
from measure_app.clip import Plane
from measure_app.finders.line_shifts import FITS, LineShift, shifts_of
from measure_app.finders.medians import masked_row_medians, median
from measure_app.finders.track import Why
from measure_app.strips import Strip, StripLine

_EACH = 3
"""Lines followed in each direction."""
_LEAK, _LEAK_OF_ALL = 0.03, 0.015
"""Part of a motion that shows as a motion at right angles to it, by the slant of the edges followed: of one
line, and of all, whose edges lean alike where the camera is tilted or looks askance."""
_ASIDE_PX = 0.6
"""A line further off than this, and four times its own error, shows something else."""
_BESIDE_PX = 3.0
"""How far away on either side the lines lie that tell how edges lean."""
_UNSURE_PX = 0.75
"""A frame that cannot be brought back better than this is refused."""
_LINE_PX, _USUAL_TURN_RAD, _LARGEST_TURN_RAD = 0.05, 0.002, 0.015
"""Scatter of a line's shift, and how far a knocked camera turns: the ratio holds back a turn of noise."""
_FOCAL, _FOCAL_SHARE = 1.0, 0.4
"""Focal length of a camera that is not known, in lengths of its picture's longer side (common practice, no
source: 0.7 to 1.5), and by what part what follows from it is unsure."""
_STRANGE = 5.0
"""How much less likely, as an exponent of e, it is that a line shows something else."""
_ALIKE_PX = 0.3
"""A shift up to this that all frames share lies in the reference frame."""
_STILL_PX = 0.06
"""A camera whose shifts scatter by less than this did not move; its shifts are noise and are not applied."""
_NOISIEST_PX = 0.35
"""More than this, and lines that disagree hide a motion rather than make one up."""
ROW, COLUMN, BESIDE = "still row", "still column", "beside"


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """Displacement of the picture against the reference frame."""

    right_px: FloatArray
    """(n,) px; positive where things appear further right than in the reference frame."""
    down_px: FloatArray
    u_px: FloatArray
    """(n,) px, standard uncertainty of either at the pivot; 0 where the camera stood still."""
    lost: NDArray[np.bool_]
    """(n,) frames in which the lines do not agree, or show nothing of the reference frame."""
    turn_rad: FloatArray | None = None
    """(n,) clockwise turn about the pivot; None where the camera did not turn."""
    pivot_px: tuple[float, float] = (0.0, 0.0)
    """Where the displacement is as told; elsewhere the turn adds to it."""
    covariance: FloatArray | None = None
    """(n, 3, 3) of right, down and turn; None: `u_px` tells all."""
    focal_px: float | None = None
    """Focal length by which a camera that pans and tilts moves what is off the pivot more; None: alike."""
    seen_at: tuple[float, float] = (0.0, 0.0)
    """By what part more the lines themselves were moved so, to the right and down."""

    @property
    def moved(self) -> bool:
        """Whether the camera moved at all."""
        return bool(np.any(self.right_px) or np.any(self.down_px) or np.any(self.lost))

    def during(self, rows: slice) -> Drift:
        """Give the same in some rows, in a row."""
        return replace(
            self,
            right_px=self.right_px[rows],
            down_px=self.down_px[rows],
            u_px=self.u_px[rows],
            lost=self.lost[rows],
            turn_rad=None if self.turn_rad is None else self.turn_rad[rows],
            covariance=None if self.covariance is None else self.covariance[rows],
        )

    def along(self, direction: FloatArray, at_px: FloatArray | None = None) -> FloatArray:
        """Displacement (n,) px along a unit vector, at a place (2,) or places (2, n) px, or at the pivot."""
        if at_px is None:
            return np.asarray(self.right_px * direction[0] + self.down_px * direction[1], dtype=np.float64)
        turn = 0.0 if self.turn_rad is None else self.turn_rad
        share = self._share(direction, at_px)
        moved = self.right_px * share[0] + self.down_px * share[1] + turn * share[2]
        return np.asarray(moved, dtype=np.float64)

    def u_along(self, direction: FloatArray, at_px: FloatArray) -> FloatArray:
        """Standard uncertainty (n,) px of what `along` gives at one place (2,) px."""
        if self.covariance is None:
            return self.u_px
        share = self._share(direction, at_px)
        variance = np.einsum("i,nij,j->n", share, self.covariance, share)
        if self.focal_px is not None:
            x, y = (np.asarray(at_px) - self.pivot_px) / self.focal_px
            more = direction[0] * self.right_px * (x**2 - self.seen_at[0])
            more = more + direction[1] * self.down_px * (y**2 - self.seen_at[1])
            more = more + x * y * (direction[0] * self.down_px + direction[1] * self.right_px)
            variance = variance + (_FOCAL_SHARE * more) ** 2
        return np.asarray(np.sqrt(variance), dtype=np.float64)

    def _share(self, direction: FloatArray, at_px: FloatArray) -> FloatArray:
        """Motion along a direction at a place, for one of right, down and turn each; (3,) or (3, n)."""
        x, y = at_px[0] - self.pivot_px[0], at_px[1] - self.pivot_px[1]
        per = 0.0 if self.focal_px is None else self.focal_px**-2.0
        return np.stack(
            [
                direction[0] * (1.0 + per * x**2) + direction[1] * per * x * y,
                direction[1] * (1.0 + per * y**2) + direction[0] * per * x * y,
                direction[1] * x - direction[0] * y,
            ]
        )


def along_line(strip: Strip, drift: Drift) -> FloatArray:
    """Displacement (n,) px along a strip's line; a turn shifts all of a straight line alike along it."""
    segment = strip.line.segment
    return drift.along(segment.direction, segment.at(np.array([0.5 * segment.length_px]))[0])


def still(n: int) -> Drift:
    """Return the drift of a camera that did not move."""
    return Drift(np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n, dtype=bool))


def still_lines(luma: Plane, avoid: Sequence[tuple[float, float, float, float]]) -> tuple[StripLine, ...]:
    """Choose the lines to follow, from the reference frame.

    Parameters
    ----------
    luma : (h, w) brightness as displayed
    avoid : boxes (left, top, right, bottom) px in which things move on purpose: container, jet, landing

    Returns
    -------
    Up to three rows, then up to three columns, none where the frame has no long edges; and beside each two
    that are read in the first frame alone.
    """
    height, width = luma.shape
    step = max(1, max(height, width) // 320)
    small = luma[::step, ::step].astype(np.float32)
    free = np.ones(small.shape, dtype=bool)
    for left, top, right, bottom in avoid:
        rows = slice(max(0, int(top / step)), max(0, int(bottom / step) + 1))
        columns = slice(max(0, int(left / step)), max(0, int(right / step) + 1))
        free[rows, columns] = False
    lines = [
        StripLine(f"{ROW} {i + 1}", Segment(Pixel(2.0, place * step), Pixel(width - 3.0, place * step)), 1.0)
        for i, place in enumerate(_richest(small, free))
    ]
    lines += [
        StripLine(
            f"{COLUMN} {i + 1}", Segment(Pixel(place * step, 2.0), Pixel(place * step, height - 3.0)), 1.0
        )
        for i, place in enumerate(_richest(small.T, free.T))
    ]
    return (*lines, *(each for line in lines for each in beside_of(line)))


def beside_of(line: StripLine) -> tuple[StripLine, StripLine]:
    """Lines on either side of one, to the left or above first."""
    off = _BESIDE_PX * np.abs(line.segment.direction[::-1])

    def moved(by: FloatArray) -> StripLine:
        first, last = line.segment.start + by, np.asarray(line.segment.end) + by
        ends = Segment(Pixel(*first.tolist()), Pixel(*last.tolist()))
        return StripLine(f"{BESIDE} {line.name}", ends, 1.0, most_frames=1)

    return moved(-off), moved(off)


def _richest(picture: NDArray[np.float32], free: NDArray[np.bool_]) -> list[int]:
    """Rows that cross the most edges which are long in the other direction."""
    height = picture.shape[0]
    reach = max(2, height // 60)
    steep = np.zeros_like(picture)
    steep[:, 1:-1] = 0.5 * (picture[:, 2:] - picture[:, :-2])
    # Averaging down the column keeps edges that are long there and drops specks and lettering.
    total = np.cumsum(np.vstack([np.zeros((1, picture.shape[1]), np.float32), steep]), axis=0)
    clear = np.cumsum(np.vstack([np.zeros((1, picture.shape[1])), ~free]), axis=0)
    top = np.clip(np.arange(height) - reach, 0, height)
    bottom = np.clip(np.arange(height) + reach + 1, 0, height)
    mean = (total[bottom] - total[top]) / (bottom - top)[:, None]
    mean[(clear[bottom] - clear[top]) > 0] = 0.0
    # Strong edges saturate: three fair edges tell more than one glaring one.
    energy = np.minimum(np.abs(mean), 20.0).astype(np.float64) ** 2
    worth = energy.sum(axis=1)
    worth[:reach] = worth[-reach:] = 0.0
    chosen: list[int] = []
    for _ in range(_EACH):
        best = int(np.argmax(worth))
        if worth[best] < 100.0:
            break
        chosen.append(best)
        worth[max(0, best - height // 8) : best + height // 8 + 1] = 0.0
    return chosen


def drift_of(
    strips: Sequence[Strip], avoid: Sequence[tuple[float, float, float, float]], reference_row: int = 0
) -> Drift:
    """Measure the displacement of every frame from the strips of `still_lines`.

    Parameters
    ----------
    strips : those lines through time
    avoid : the boxes given to `still_lines`; those parts of the lines are left out
    reference_row : row of the strips whose frame is the reference

    Returns
    -------
    Drift
        Zero throughout where the camera stood still within what can be seen.
    """
    lines = [strip for strip in strips if not strip.line.name.startswith(BESIDE)]
    if not lines:
        return still(0)
    n = len(lines[0].frames)
    beside = {
        line.line.name: [strip for strip in strips if strip.line.name == f"{BESIDE} {line.line.name}"]
        for line in lines
    }
    shifts = [(line, shifts_of(line, avoid, reference_row, beside[line.line.name])) for line in lines]
    usable = [(line.line, each) for line, each in shifts if np.isfinite(each.shift_px).all()]
    found, covariance, lost, field = _rigid(usable, n)
    right, down, turn = found.T
    u = np.sqrt(0.5 * (covariance[:, 0, 0] + covariance[:, 1, 1]))
    # The noise of the reference frame itself shifts all others alike, by little.
    middle = [median(v[~lost]) if (~lost).any() else 0.0 for v in (right, down)]
    apart = [v[~lost] - m * (abs(m) < _ALIKE_PX) for v, m in zip((right, down), middle, strict=True)]
    quiet = [float(np.sqrt(np.mean(v**2))) if len(v) else 0.0 for v in apart]
    jolts = [float(np.max(np.abs(v), initial=0.0)) for v in apart]
    # How far the lines disagree tells how much of a shift is noise.
    unsure = median(u[~lost]) if (~lost).any() else 0.0
    noisy = max(_STILL_PX, min(2.5 * unsure, _NOISIEST_PX))
    if max(quiet) < noisy and max(jolts) < max(0.5, 5.0 * noisy) and lost.mean() < 0.5:
        return still(n)
    none = np.where(lost, 0.0, 1.0)
    return Drift(
        right * none,
        down * none,
        u * none,
        lost,
        turn * none,
        field.pivot_px,
        covariance * none[:, None, None],
        field.focal_px,
        field.seen_at,
    )


def _rigid(
    shifts: Sequence[tuple[StripLine, LineShift]], n: int
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_], _Field]:
    """Displacement and turn that the lines' shifts tell together, by least squares in every frame.

    A row of the frame tells the shift to the right at its height, a column the shift downwards at its
    place across; where the camera turns, rows differ from one another, and columns too. One line may show
    something else: where the lines part, each is left out in turn, and what most of them agree on is taken.

    A camera that is knocked turns: what is off the picture's middle moves by more than what is in it.

    Returns
    -------
    (n, 3) right, down and turn, (n, 3, 3) their covariance, (n,) where none can be had, and the field
    """
    found, covariance = np.zeros((n, 3)), np.zeros((n, 3, 3))
    if not shifts:
        return found, covariance, np.zeros(n, dtype=bool), _Field((0.0, 0.0), None, (0.0, 0.0))
    across = np.array([line.name.startswith(COLUMN) for line, _ in shifts])
    values = np.stack([each.shift_px for _, each in shifts], axis=1)
    good = np.stack([each.fit for _, each in shifts], axis=1) > FITS
    field, design = _field(shifts, across)
    # Edges lean: what moves across a line moves along it by a part, which is known roughly.
    lean = np.hypot(_LEAK, [each.lean for _, each in shifts])
    sideways = [np.nan_to_num(masked_row_medians(values, good & kind)) for kind in (across, ~across)]
    own = np.hypot(_LINE_PX, np.nan_to_num(np.stack([each.u_px for _, each in shifts], axis=1)))
    size = np.hypot(own, lean * np.where(across, sideways[1][:, None], sideways[0][:, None]))
    lines = _Lines(design, np.where(good, values, 0.0), np.where(good, 1.0 / size**2, 0.0), size)
    found, weights, loss = lines.agreed(np.ones(len(design)))
    apart = np.max(np.where(good, np.abs(values - found @ design.T), 0.0), axis=1)
    best, spread = found.copy(), np.zeros((n, 3, 3))
    # A turn can be made of one line that shows something else.
    doubt = np.flatnonzero((apart > _ALIKE_PX) | (np.abs(found[:, 2]) > 0.5 * _USUAL_TURN_RAD))
    if len(doubt):
        few = lines.rows(doubt)
        tries = [(found[doubt], weights[doubt], loss[doubt])]
        tries += [few.agreed(1.0 - np.eye(len(design))[k]) for k in range(len(design))]
        all_found, all_weights, losses = (np.stack(each) for each in zip(*tries, strict=True))
        pick = np.argmin(losses, axis=0)
        row = np.arange(len(doubt))
        best[doubt], weights[doubt] = all_found[pick, row], all_weights[pick, row]
        # Others that the lines tell nearly as well are as likely in that measure.
        likely = np.exp(losses[pick, row] - losses)
        off = all_found - best[doubt]
        spread[doubt] = np.einsum("kn,kni,knj->nij", likely / likely.sum(axis=0), off, off)
    gap = np.where(good, np.abs(values - best @ design.T), 0.0)
    aside = gap > np.maximum(_ASIDE_PX, 4.0 * size)
    told = np.sum(weights, axis=1) ** 2 / np.maximum(np.sum(weights**2, axis=1), 1e-12)
    excess = np.sum(weights * gap**2, axis=1) / np.maximum(told - 2.0, 1.0)
    covariance = np.linalg.inv(lines.normal(weights)) * np.maximum(excess, 1.0)[:, None, None] + spread
    for axis in (0, 1):
        covariance[:, axis, axis] += (_LEAK_OF_ALL * best[:, 1 - axis]) ** 2
    lost = aside.sum(axis=1) > 1
    # A turn so large is a line that shows something else.
    lost |= np.abs(best[:, 2]) > _LARGEST_TURN_RAD
    for kind in (across, ~across):
        if kind.any():
            lost |= ~(good & ~aside)[:, kind].any(axis=1)
    return best, covariance, lost, field


@dataclass(frozen=True, slots=True)
class _Field:
    """How a camera's turn moves its picture."""

    pivot_px: tuple[float, float]
    focal_px: float | None
    seen_at: tuple[float, float]


def _field(
    shifts: Sequence[tuple[StripLine, LineShift]], across: NDArray[np.bool_]
) -> tuple[_Field, FloatArray]:
    """The field, and what each line sees (m, 3) of right and down in the picture's middle, and of a turn."""
    far = np.max([[*line.segment.start, *line.segment.end] for line, _ in shifts], axis=0)
    size = np.maximum(far[:2], far[2:]) + 3.0
    pivot, focal = 0.5 * (size - 1.0), _FOCAL * float(np.max(size))
    middles = [line.segment.at(np.array([each.middle_px]))[0] - pivot for line, each in shifts]
    x, y = np.transpose(middles) / focal
    spread = (np.array([each.spread_px for _, each in shifts]) / focal) ** 2
    more = np.where(across, y**2, x**2) + spread
    seen = [float(np.mean(more[kind])) if kind.any() else 0.0 for kind in (~across, across)]
    own, other = 1.0 + more, x * y
    design = np.stack(
        [np.where(across, other, own), np.where(across, own, other), focal * np.where(across, x, -y)], axis=1
    )
    return _Field((float(pivot[0]), float(pivot[1])), focal, (seen[0], seen[1])), design


@dataclass(frozen=True, slots=True, eq=False)
class _Lines:
    """What the lines tell in every frame, to be joined."""

    design: FloatArray
    """(m, 3) what each line sees of right, down and turn."""
    values: FloatArray
    """(n, m) px."""
    worth: FloatArray
    """(n, m) inverse variance, 0 where a line tells nothing."""
    size: FloatArray
    """(n, m) px, standard uncertainty of each."""

    def rows(self, rows: NDArray[np.intp]) -> _Lines:
        """Some frames alone."""
        return _Lines(self.design, self.values[rows], self.worth[rows], self.size[rows])

    def normal(self, weights: FloatArray) -> FloatArray:
        """Normal equations (n, 3, 3); a camera hardly turns: two lines shall not make a turn of noise."""
        prior = np.diag([1e-6, 1e-6, 1.0 / _USUAL_TURN_RAD**2])
        return np.asarray(np.einsum("nl,li,lj->nij", weights, self.design, self.design) + prior)

    def agreed(self, take: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Right, down and turn (n, 3), by the lines taken (m,); their weights, and the loss of all lines."""
        weights = self.worth * take
        bound = np.maximum(3.0 * self.size, _ALIKE_PX)
        found = np.zeros((len(weights), 3))
        for _ in range(4):
            right = np.einsum("nl,li,nl->ni", weights, self.design, self.values)
            found = np.linalg.solve(self.normal(weights), right[..., None])[..., 0]
            away = 1.0 + ((self.values - found @ self.design.T) / bound) ** 2
            weights = self.worth * take / away
        loss = np.sum(np.where(self.worth > 0, np.minimum(2.0 * np.log(away), _STRANGE), 0.0), axis=1)
        return found, weights, loss + 0.5 * (found[:, 2] / _USUAL_TURN_RAD) ** 2


def with_shared_drift(
    own_u: FloatArray,
    shared_u: float,
    why: tuple[Why | None, ...],
    drift: Drift | None,
    direction: FloatArray,
    at_px: FloatArray,
    part: float = 1.0,
) -> tuple[FloatArray, float, tuple[Why | None, ...]]:
    """Add the error of bringing each frame back, and refuse the frames that could not be brought back.

    What is unsure of most frames' correction is the same edges' fault in all of them, and shared; only what
    single frames are more unsure by is their own.

    Parameters
    ----------
    own_u, shared_u : px, of places along the line
    why : (n,) refusals so far
    drift : how the camera moved; None: not at all
    direction : (2,) px by which a place along the line is off for each px by which the correction is
    at_px : (2,) where in the picture that is
    part : how much of what lines, leaning edges and turns could make of it together it errs by there
    """
    if drift is None or not drift.moved:
        return own_u, shared_u, why
    u = part * drift.u_along(direction, at_px)
    lost = drift.lost | (u > _UNSURE_PX)
    refused = tuple(
        Why.CAMERA if gone and each is not Why.DAMAGED else each
        for each, gone in zip(why, lost.tolist(), strict=True)
    )
    if lost.all():
        return own_u, shared_u, refused
    usual = median(u[~lost])
    own_u = np.sqrt(own_u**2 + np.maximum(u**2 - usual**2, 0.0))
    return np.asarray(own_u, dtype=np.float64), float(np.hypot(shared_u, usual)), refused
