"""Corners tied by taped distances: is the figure held, where are the corners, which tape was misread.

Distances alone leave shift and turn free: n corners need 2n - 3 of them, well spread.  Whether they are, the rank of
the rigidity matrix tells (one row a tape, with the unit vector between its ends), at corners in general position.
Adjustment by least squares, redundancy numbers and the test of every reading in turn: W. Baarda, A testing
procedure for use in geodetic networks, Netherlands Geodetic Commission, 1968.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

Floats = NDArray[np.float64]
Pair = tuple[int, int]

CRITICAL: Final = 3.29
"""A reading off by more than this many of its standard deviations is one in a thousand (two-sided normal)."""

_TOLD_APART: Final = 0.95
_THE_SAME: Final = 0.999
_NO_CHECK: Final = 1e-6
_RANK: Final = 1e-8
_FAINT: Final = 1e-5


@dataclass(frozen=True, kw_only=True)
class Tapes:
    """Readings of one figure: which two corners, how long, how sure; `count` corners, numbered from 0."""

    count: int
    pairs: tuple[Pair, ...]
    lengths: Floats
    sigmas: Floats

    def misfits(self, points: Floats) -> Floats:
        """Distance less reading, in standard deviations of the reading."""
        i, j = np.array(self.pairs).T
        found = np.hypot(*(points[i] - points[j]).T)
        misses: Floats = (found - self.lengths) / self.sigmas
        return misses


@dataclass(frozen=True, kw_only=True)
class Adjusted:
    """Corners adjusted to all readings; corner 0 is the origin, corner 1 on the x axis.

    `residuals` are distance less reading in mm; `redundancy` tells how far each reading is checked by the others, 0
    to 1; `tests` are residuals over their own standard deviation; `alike` their correlations.
    `covariance` is (2n, 2n) in that place, for the readings' stated deviations.
    """

    points: Floats
    covariance: Floats
    residuals: Floats
    redundancy: Floats
    tests: Floats
    alike: Floats
    cost: float
    spare: int
    steady: bool

    @property
    def spread(self) -> float:
        """Standard deviation of unit weight, how much more readings disagree than stated; 1 where none is spare."""
        return float(np.sqrt(self.cost / self.spare)) if self.spare else 1.0


def rigidity(points: Floats, pairs: Sequence[Pair]) -> Floats:
    """The rigidity matrix at these corners, (readings, 2 corners)."""
    rows = np.zeros((len(pairs), 2 * len(points)))
    for row, (i, j) in zip(rows, pairs, strict=True):
        away = points[i] - points[j]
        unit = away / max(float(np.hypot(*away)), 1e-12)
        row[2 * i : 2 * i + 2], row[2 * j : 2 * j + 2] = unit, -unit
    return rows


def missing_tapes(count: int, pairs: Sequence[Pair], wanted: Sequence[int]) -> tuple[Pair, ...]:
    """Return tapes that would hold the figure, none if it is held; corners stand in `wanted` in order round the edge.

    Taken at corners in general position, so that it holds whatever the true shape, odd coincidences apart.
    """
    points = np.random.default_rng(7).uniform(-1.0, 1.0, (count, 2))
    held = list(pairs)
    rank = _rank(points, held)
    missing: list[Pair] = []
    for pair in sorted(combinations(range(count), 2), key=lambda p: -_apart(p, wanted)):
        if rank == 2 * count - 3:
            break
        if _rank(points, [*held, pair]) > rank:
            held.append(pair)
            missing.append(pair)
            rank += 1
    return tuple(missing)


def _apart(pair: Pair, order: Sequence[int]) -> int:
    """How far two corners are from one another round the edge; a base point counts as far."""
    if pair[0] not in order or pair[1] not in order:
        return len(order)
    steps = abs(order.index(pair[0]) - order.index(pair[1]))
    return min(steps, len(order) - steps)


def _rank(points: Floats, pairs: Sequence[Pair]) -> int:
    return int(np.linalg.matrix_rank(rigidity(points, pairs), tol=_RANK)) if pairs else 0


def adjust(tapes: Tapes, start: Floats) -> Adjusted:
    """Adjust the corners, beginning at `start` (n, 2), to all readings by least squares."""
    free = np.array([k for k in range(2 * tapes.count) if k not in (0, 1, 3)])
    weights = 1.0 / tapes.sigmas

    def placed(values: Floats) -> Floats:
        flat = np.zeros(2 * tapes.count)
        flat[free] = values
        return flat.reshape(-1, 2)

    def misfits(values: Floats) -> Floats:
        return tapes.misfits(placed(values))

    def slopes(values: Floats) -> Floats:
        return weights[:, None] * rigidity(placed(values), tapes.pairs)[:, free]

    begin = in_place(start).ravel()[free]
    scale = float(np.abs(tapes.lengths).max())
    found = least_squares(misfits, begin, slopes, method="trf", x_scale=scale, xtol=1e-13, ftol=1e-13, gtol=1e-13)
    return _judged(tapes, placed(found.x), slopes(found.x), found.fun, free)


def in_place(points: Floats) -> Floats:
    """Turn and shift so that corner 0 is the origin and corner 1 on the positive x axis."""
    shifted = points - points[0]
    away = shifted[1] / max(float(np.hypot(*shifted[1])), 1e-12)
    turned: Floats = shifted @ np.array([[away[0], -away[1]], [away[1], away[0]]])
    turned[1, 1] = 0.0
    return turned


def _judged(tapes: Tapes, points: Floats, slopes: Floats, misfits: Floats, free: NDArray[np.int64]) -> Adjusted:
    u, s, vt = np.linalg.svd(slopes, full_matrices=False)
    steady = bool(s[-1] > _FAINT * s[0])
    s = np.maximum(s, _FAINT * s[0])
    inverse = (vt.T / s**2) @ vt
    covariance = np.zeros((2 * tapes.count, 2 * tapes.count))
    covariance[np.ix_(free, free)] = inverse
    residual_share = np.eye(len(misfits)) - u @ u.T
    redundancy = np.clip(np.diag(residual_share), 0.0, 1.0)
    seen = np.sqrt(np.where(redundancy > _NO_CHECK, redundancy, np.inf))
    return Adjusted(
        points=points,
        covariance=covariance,
        residuals=misfits * tapes.sigmas,
        redundancy=redundancy,
        tests=misfits / seen,
        alike=residual_share / np.outer(seen, seen),
        cost=float(misfits @ misfits),
        spare=len(misfits) - len(free),
        steady=steady,
    )


@dataclass(frozen=True, kw_only=True)
class Suspect:
    """A reading that does not go with the others; `misread_mm` is what it reads too much.

    `like` are readings that would explain the disagreement nearly as well.
    """

    reading: int
    test: float
    misread_mm: float
    like: tuple[int, ...]


def suspects(tapes: Tapes, found: Adjusted) -> tuple[Suspect, ...]:
    """Return misread tapes, the likeliest first: the worst is named, taken out, and the rest tested again."""
    left = list(range(len(tapes.pairs)))
    tests, alike, redundancy, misfits = found.tests, found.alike, found.redundancy, found.residuals / tapes.sigmas
    named: list[Suspect] = []
    share = alike * np.sqrt(np.outer(redundancy, redundancy))
    while len(named) < found.spare and left:
        worst = max(left, key=lambda k: abs(tests[k]))
        if abs(tests[worst]) < CRITICAL:
            break
        near = [
            k
            for k in left
            if k != worst
            and abs(alike[worst, k]) > _TOLD_APART
            # Tests that are one and the same differ only by how far a large mistake bends the figure.
            and (abs(alike[worst, k]) > _THE_SAME or abs(tests[k]) > abs(tests[worst]) - 1)
        ]
        misread = -float(misfits[worst] * tapes.sigmas[worst] / max(share[worst, worst], _NO_CHECK))
        named.append(Suspect(reading=worst, test=abs(float(tests[worst])), misread_mm=misread, like=tuple(near)))
        left.remove(worst)
        # Without one reading: the share of the others' errors that stays visible shrinks by what it explained.
        column = share[:, worst] / max(share[worst, worst], _NO_CHECK)
        misfits = misfits - column * misfits[worst]
        share = share - np.outer(column, share[worst])
        seen = np.sqrt(np.where(np.diag(share) > _NO_CHECK, np.clip(np.diag(share), 0, 1), np.inf))
        tests, alike = misfits / seen, share / np.outer(seen, seen)
    return tuple(named)
