"""What scatter and outline explain of a misfit between readouts and plate; what is more is somebody's mistake."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Final

import numpy as np
from scipy.special import chdtri

from nesting.outline.bounds import Floats, factor

SIGMA_MM: Final = 0.5
"""How far a corner seen under the torch scatters in x and in y, one standard deviation (common practice, no source)."""

BY_CHANCE: Final = 0.001
"""A set-up without any mistake is refused this often: one in a thousand, as for misread tapes; distances and squared
residuals have half of it each."""

_RULED_OUT: Final = 1e-6
_RULED_OUT_LIMITS: Final = 1.5
"""Other readings of the names are ruled out by more than it takes to accept one: by odds of a million to one, or by so
many stated limits."""


@dataclass(frozen=True, kw_only=True)
class Allowance:
    """How much readouts and stored corners may disagree.

    `uncertainty_mm` is the outline's 95 % bound for a plate of `corners` corners, from which the deviation of one
    corner follows (`outline.bounds`).  `limit_mm`, where stated, stands in for what a distance may be off by chance.
    """

    sigma_mm: float
    uncertainty_mm: float
    corners: int
    limit_mm: float | None = None
    by_chance: float = BY_CHANCE

    @property
    def doubting(self) -> "Allowance":
        """What a misfit must exceed to rule a reading of the names out."""
        limit = None if self.limit_mm is None else _RULED_OUT_LIMITS * self.limit_mm
        return replace(self, by_chance=_RULED_OUT, limit_mm=limit)

    @property
    def corner_sd_mm(self) -> float:
        """Standard deviation of readout less stored corner, in x and in y."""
        return math.hypot(self.sigma_mm, self.outline_sd_mm)

    @property
    def outline_sd_mm(self) -> float:
        """Standard deviation of a stored corner in x and in y."""
        return self.uncertainty_mm / factor(self.corners)

    def distance_mm(self, among: int) -> float:
        """Most that one of so many distances may be off."""
        if self.limit_mm is not None:
            return self.limit_mm
        return NormalDist().inv_cdf(1.0 - self.by_chance / (4 * max(among, 1))) * math.sqrt(2.0) * self.corner_sd_mm

    def squares_mm2(self, readings: int) -> float:
        """Most that the squared residuals of so many readings may add up to; three of their parts the pose takes.

        A stated limit counts for each corner's residual as half of it does for a distance.
        """
        if self.limit_mm is not None:
            return readings * (self.limit_mm / 2) ** 2
        return float(chdtri(2 * readings - 3, self.by_chance / 2)) * self.corner_sd_mm**2

    def holds(self, stored: Floats, measured: Floats, squares_mm2: float) -> bool:
        """Tell whether (n, 2) stored and measured points go together: all distances, and what the pose leaves."""
        off = np.abs(distances(measured) - distances(stored))
        return bool(off.max() <= self.distance_mm(len(off)) and squares_mm2 <= self.squares_mm2(len(stored)))


def pairs(count: int) -> Sequence[tuple[int, int]]:
    """Return all pairs of so many points, in the order of `distances`."""
    return [(i, j) for i in range(count) for j in range(i + 1, count)]


def distances(points: Floats) -> Floats:
    """Return the distances of all pairs of (n, 2) points."""
    i, j = np.triu_indices(len(points), 1)
    found: Floats = np.hypot(*(points[i] - points[j]).T)
    return found
