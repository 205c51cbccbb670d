"""B-splines, plain and rational, kept by their control points."""

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise
from typing import Literal

import numpy as np
from ezdxf.math import BSpline
from numpy.typing import NDArray

from nesting.geometry.pose import Point, Pose
from nesting.geometry.quadrature import settled_integral

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Spline:
    """A clamped or open B-spline by control points; `weights` empty means not rational."""

    type: Literal["spline"] = "spline"
    degree: int
    control: tuple[Point, ...]
    knots: tuple[float, ...]
    weights: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if len(self.knots) != len(self.control) + self.degree + 1:
            raise ValueError(
                f"a spline of degree {self.degree} with {len(self.control)} control points needs "
                f"{len(self.control) + self.degree + 1} knots, got {len(self.knots)}"
            )
        if self.weights and len(self.weights) != len(self.control):
            raise ValueError(f"{len(self.weights)} weights for {len(self.control)} control points")

    @property
    def closed(self) -> bool:
        """True if it ends where it starts, to a thousandth of a micron."""
        return math.dist(self.start, self.end) < 1e-6

    @cached_property
    def start(self) -> Point:
        """First point of the curve (not of the control polygon)."""
        return self.at(self._domain[0])

    @cached_property
    def end(self) -> Point:
        """Last point of the curve."""
        return self.at(self._domain[1])

    @cached_property
    def length_mm(self) -> float:
        """Length along the curve, by Gauss quadrature over knot spans halved until that changes nothing."""
        evaluator = _evaluator(self)

        def speed(t: Floats) -> Floats:
            return np.array([evaluator.derivative(float(u), 1)[1].magnitude for u in t])

        return settled_integral(speed, self._spans(4))

    @property
    def pieces(self) -> tuple["Spline", ...]:
        """Itself."""
        return (self,)

    def posed(self, pose: Pose) -> "Spline":
        """The spline in another place."""
        control = tuple(pose.point(p) for p in self.control)
        return Spline(degree=self.degree, control=control, knots=self.knots, weights=self.weights)

    def reversed(self) -> "Spline":
        """The same spline, travelled the other way."""
        total = self.knots[0] + self.knots[-1]
        return Spline(
            degree=self.degree,
            control=self.control[::-1],
            knots=tuple(total - k for k in reversed(self.knots)),
            weights=self.weights[::-1],
        )

    def points(self, chord_mm: float) -> Floats:
        """Points on the curve whose chords stay within `chord_mm` of it, by halving until they do."""
        found = _spline_points(self, chord_mm)
        return found.copy()

    @cached_property
    def swept_area_mm2(self) -> float:
        """Signed area between the curve and the origin, by Gauss quadrature (exact where not rational)."""
        evaluator = _evaluator(self)

        def moment(t: Floats) -> Floats:
            out = []
            for u in t:
                p, d = evaluator.derivative(float(u), 1)[:2]
                out.append(0.5 * (p.x * d.y - p.y * d.x))
            return np.array(out)

        return settled_integral(moment, self._spans(2))

    @property
    def _domain(self) -> tuple[float, float]:
        return self.knots[self.degree], self.knots[len(self.control)]

    def at(self, t: float) -> Point:
        """The point at a parameter within the knots that span the curve."""
        p = _evaluator(self).point(t)
        return (p.x, p.y)

    def _spans(self, split: int) -> Floats:
        low, high = self._domain
        knots = np.unique(np.clip(self.knots, low, high))
        inner = [np.linspace(a, b, split, endpoint=False) for a, b in pairwise(knots)]
        return np.concatenate([*inner, [high]])


@lru_cache(maxsize=4096)
def _evaluator(spline: Spline) -> BSpline:
    return BSpline(
        [(x, y, 0.0) for x, y in spline.control],
        order=spline.degree + 1,
        knots=spline.knots,
        weights=spline.weights or None,
    )


@lru_cache(maxsize=4096)
def _spline_points(spline: Spline, chord_mm: float) -> Floats:
    """Halve knot spans until three points in each lie near its chord; one alone would pass an S for a line.

    A cubic that vanishes at both ends is nowhere 1.4 times as high as at its highest quarter point.
    """
    ends = spline._spans(4)
    low, high, done = ends[:-1], ends[1:], []
    while len(low):
        away = _off_chord(_along_spline(spline, np.linspace(low, high, 5)))
        middle = (low + high) / 2
        split = (away > chord_mm / 1.4) & (low < middle) & (middle < high)
        done.append(low[~split])
        low, high = np.append(low[split], middle[split]), np.append(middle[split], high[split])
    found = _along_spline(spline, np.append(np.sort(np.concatenate(done)), ends[-1]))
    found[0], found[-1] = spline.start, spline.end
    return found


def _along_spline(spline: Spline, t: Floats) -> Floats:
    points = [(p.x, p.y) for p in _evaluator(spline).points(t.ravel().tolist())]
    return np.array(points).reshape(*t.shape, 2)


def _off_chord(xy: Floats) -> Floats:
    """Return how far points at the quarters of each run (first axis, five points) lie off the run's chord.

    Where the run does not keep pace with its chord it may double back beyond the chord's ends, between the
    points; there they are held against the chord's own quarters.
    """
    quarters = np.array([0.25, 0.5, 0.75])[:, None]
    inner, chord = xy[1:-1] - xy[0], xy[-1] - xy[0]
    square = np.maximum(np.sum(chord * chord, axis=-1), 1e-300)
    along = np.sum(inner * chord, axis=-1) / square
    # A cubic that strays less from an even pace at its quarters never turns back.
    even = (np.abs(along - quarters) < 0.09).all(axis=0)
    foot = np.where(even, along, quarters)
    off: Floats = np.hypot(*np.moveaxis(inner - foot[..., None] * chord, -1, 0)).max(axis=0)
    return off
