"""Turn and shift that bring known points nearest to measured ones, in closed form, and how sure they are.

No scale; a mirror only where it is asked for.  The least-squares solution for points in pairs: K. S. Arun, T. S. Huang,
S. D. Blostein, Least-squares fitting of two 3-D point sets, IEEE PAMI 9 (1987) 698-700, with the correction of
S. Umeyama, IEEE PAMI 13 (1991) 376-380, that keeps a plate from being turned over by noise.  In the plane both come
down to the angle of one sum of complex numbers.
"""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from nesting.geometry.pose import Pose

Floats = NDArray[np.float64]

SIMULTANEOUS: Final = math.sqrt(7.814727903251178)
"""How many standard deviations bound the error of a turn and a shift at every point and in every direction at once,
in 95 % of cases: the root of the 95 % point of chi-square with 3 degrees of freedom (H. Scheffe, Biometrika 40 (1953);
value of any table of chi-square)."""


@dataclass(frozen=True, kw_only=True)
class Fit:
    """The pose, and where the readings lie seen from the posed points, an array (n, 2), mm."""

    pose: Pose
    residuals: Floats

    @property
    def squares_mm2(self) -> float:
        """Sum of squared residuals."""
        return float((self.residuals**2).sum())


def fit(stored: ArrayLike, measured: ArrayLike, *, mirrored: bool = False) -> Fit:
    """Return the pose that takes (n, 2) stored points nearest to (n, 2) measured ones, n >= 2.

    Raise ValueError where the stored points are all one, which leaves every turn as good as another.
    """
    known, seen = np.asarray(stored, dtype=np.float64), np.asarray(measured, dtype=np.float64)
    laid = known * (-1.0, 1.0) if mirrored else known
    middle, middle_seen = laid.mean(axis=0), seen.mean(axis=0)
    arms, arms_seen = _complex(laid - middle), _complex(seen - middle_seen)
    if not np.abs(arms).max() > 0.0:
        raise ValueError("all points are one")
    turn = math.atan2(*_parts((arms.conj() * arms_seen).sum()))
    c, s = math.cos(turn), math.sin(turn)
    shift = middle_seen - np.array([c * middle[0] - s * middle[1], s * middle[0] + c * middle[1]])
    pose = Pose(flipped=mirrored, turn_deg=math.degrees(turn), x_mm=float(shift[0]), y_mm=float(shift[1]))
    return Fit(pose=pose, residuals=seen - pose.points(known))


def _complex(points: Floats) -> NDArray[np.complex128]:
    found: NDArray[np.complex128] = points[:, 0] + 1j * points[:, 1]
    return found


def _parts(number: complex) -> tuple[float, float]:
    return float(number.imag), float(number.real)


@dataclass(frozen=True, kw_only=True)
class Spread:
    """How sure a pose is that was found by `points` (n, 2), each of which scatters by `sigma_mm` in x and in y."""

    points: Floats
    sigma_mm: float

    @cached_property
    def middle(self) -> Floats:
        """The points' middle: what the turn leaves in place."""
        found: Floats = self.points.mean(axis=0)
        return found

    @cached_property
    def inertia_mm2(self) -> float:
        """Sum of squared distances from the middle."""
        return float(((self.points - self.middle) ** 2).sum())

    @property
    def turn_sd_deg(self) -> float:
        """Standard deviation of the turn."""
        return math.degrees(self.sigma_mm / math.sqrt(self.inertia_mm2))

    def sd_mm(self, places: ArrayLike) -> Floats:
        """Standard deviation, in its worst direction, of where each of (m, 2) stored places comes to lie.

        The shift of the middle scatters alike in every direction, the turn square to the arm from the middle.
        """
        arms = np.hypot(*(np.asarray(places, dtype=np.float64).reshape(-1, 2) - self.middle).T)
        found: Floats = self.sigma_mm * np.sqrt(1.0 / len(self.points) + arms**2 / self.inertia_mm2)
        return found

    def bound_mm(self, places: ArrayLike) -> Floats:
        """95 % bound on the error of each place, true of all of them at once."""
        found: Floats = SIMULTANEOUS * self.sd_mm(places)
        return found


def followed_by(first: Pose, then: Pose) -> Pose:
    """Return the one pose that does what `first` and `then`, which may not flip, do one after the other.

    Raise ValueError if `then` flips.
    """
    if then.flipped:
        raise ValueError("a plate that is laid on the table is turned and shifted, not flipped")
    x, y = then.point((first.x_mm, first.y_mm))
    return Pose(flipped=first.flipped, turn_deg=first.turn_deg + then.turn_deg, x_mm=x, y_mm=y)


def off_line_mm(points: ArrayLike) -> float:
    """Return how far the outermost of (n, 2) points is off the line nearest to them all."""
    xy = np.asarray(points, dtype=np.float64)
    arms = xy - xy.mean(axis=0)
    _, _, axes = np.linalg.svd(arms, full_matrices=False)
    return float(np.abs(arms @ axes[-1]).max()) if len(xy) > 2 else 0.0
