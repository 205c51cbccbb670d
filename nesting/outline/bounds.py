"""From the scatter of what was measured to one figure: a 95 % bound on the largest error over an outline.

Errors of a corner are normal in x and y, so that a corner lies with probability 1 - p within sqrt(-2 ln p) times the
longer half axis of its error ellipse, or nearer.  With p = 5 % shared by all corners (Bonferroni), all of them
are within the bound at once in 95 % of all cases, or more.  A straight edge is nowhere worse than at its ends.
"""

import math
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
MISS: Final = 0.05
_MOST_PAIRS: Final = 400


@dataclass(frozen=True, kw_only=True)
class SetUp:
    """The two corners by which a plate is best laid on the table, and the bound that then holds."""

    first: int
    second: int
    bound_mm: float


def factor(corners: int) -> float:
    """How many standard deviations the bound is for an outline of so many corners."""
    return math.sqrt(-2.0 * math.log(MISS / max(corners, 1)))


def bound(sigma_mm: float, corners: int) -> float:
    """The bound where the worst corner has the standard deviation `sigma_mm` in its worst direction."""
    return sigma_mm * factor(corners)


def worst_sigma(covariance: Floats) -> float:
    """Largest standard deviation of a corner in its worst direction, of a (2n, 2n) covariance ordered x, y, x, y."""
    n = len(covariance) // 2
    blocks = np.array([covariance[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] for k in range(n)])
    return float(np.sqrt(max(np.linalg.eigvalsh(blocks)[:, 1].max(), 0.0)))


def best_set_up(points: Floats, covariance: Floats, *, among: int | None = None) -> SetUp:
    """Return the two corners, of the first `among`, that leave the least error when the plate is laid by them.

    `points` is (n, 2), `covariance` (2n, 2n) in any fixed place: what the two corners fix takes shift and turn out.
    """
    n = len(points)
    pairs = sorted(combinations(range(among or n), 2), key=lambda p: -math.dist(points[p[0]], points[p[1]]))[
        :_MOST_PAIRS
    ]
    found = []
    for i, j in pairs:
        if math.dist(points[i], points[j]) > 0.0:
            moved = _fixed_by(points, i, j)
            found.append((bound(worst_sigma(moved @ covariance @ moved.T), n), i, j))
    least, first, second = min(found)
    return SetUp(first=min(first, second), second=max(first, second), bound_mm=least)


def _fixed_by(points: Floats, i: int, j: int) -> Floats:
    """The (2n, 2n) matrix that takes small errors to those seen when corner i and the direction to j are right."""
    n = len(points)
    away = points[j] - points[i]
    across = np.array([-away[1], away[0]]) / (away @ away)
    matrix = np.eye(2 * n)
    for k in range(n):
        arm = points[k] - points[i]
        turned = np.array([-arm[1], arm[0]])
        rows = slice(2 * k, 2 * k + 2)
        turn = np.outer(turned, across)
        matrix[rows, 2 * i : 2 * i + 2] -= np.eye(2) - turn
        matrix[rows, 2 * j : 2 * j + 2] -= turn
    return matrix
