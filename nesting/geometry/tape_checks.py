"""Which three distances to tape on a plate before it is cut, so that a wrong outline shows."""

import math
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from nesting.geometry.contour import Contour
from nesting.geometry.pose import Point

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_TURN_DEG: Final = 15.0
"""An edge that turns less has no corner that one could hook a tape on."""

_WITHIN_MM: Final = 0.5
_ONE_CORNER_MM: Final = 1.5
"""Nobody tells corners apart on torched steel that are nearer to one another than a kerf."""

_AS_SHARP_DEG: Final = 1.0
_CHORD_MM: Final = 0.01
_MOST_CORNERS: Final = 40
_COUNT: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeCheck:
    """Two corners of an outline and how far apart they are by the drawing."""

    start: Point
    end: Point

    @property
    def length_mm(self) -> float:
        """The distance."""
        return math.dist(self.start, self.end)


def sharp_corners(contour: Contour) -> list[Point]:
    """Corners that can be seen on the steel: where the outline turns by `_TURN_DEG` or more, in its order.

    Only ends of lines, arcs and other curves count.  The turn is taken over `_WITHIN_MM` of edge on either side, so
    that a burr in the drawing makes no corner, and of corners nearer than `_ONE_CORNER_MM` the sharpest stands for all.
    """
    xy, joints = _walked(contour)
    steps = np.hypot(*np.diff(xy, axis=0, append=xy[:1]).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    length, closed = float(along[-1]), np.vstack([xy, xy[:1]])
    reach = min(_WITHIN_MM, 0.01 * length)

    def at(distance: Floats) -> Floats:
        place = distance % length
        return np.column_stack([np.interp(place, along, closed[:, axis]) for axis in (0, 1)])

    places = along[joints]
    came, goes = xy[joints] - at(places - reach), at(places + reach) - xy[joints]
    turns = np.degrees(np.arctan2(came[:, 0] * goes[:, 1] - came[:, 1] * goes[:, 0], np.einsum("ij,ij->i", came, goes)))
    return [(float(x), float(y)) for x, y in xy[joints[_sharpest(np.abs(turns), places, length)]]]


def _walked(contour: Contour) -> tuple[Floats, Ints]:
    """Points round the outline, and which of them are ends of its lines and curves."""
    runs = [piece.points(_CHORD_MM)[:-1] for piece in contour.pieces]
    starts = np.concatenate([[0], np.cumsum([len(run) for run in runs])[:-1]])
    return np.vstack(runs), starts


def _sharpest(turns: Floats, places: Floats, length: float) -> Ints:
    """Return which joints are corners: sharp ones, and sharper than every other one close by."""
    apart = np.abs(places[:, None] - places)
    near = np.minimum(apart, length - apart) < min(_ONE_CORNER_MM, 0.02 * length)
    # Of two that are as good as equally sharp the first stands, so that rounding does not choose.
    earlier = np.arange(len(turns)) < np.arange(len(turns))[:, None]
    beaten = near & ((turns > turns[:, None] + _AS_SHARP_DEG) | (earlier & (turns > turns[:, None] - _AS_SHARP_DEG)))
    # One that is itself no corner takes nobody's place.
    sharp = turns >= _TURN_DEG
    return np.flatnonzero(sharp & ~(beaten & sharp).any(axis=1))


def tape_checks(contour: Contour) -> tuple[TapeCheck, ...]:
    """Return three distances between corners: long, crossing one another, and over as many corners as can be.

    A plate measured as its mirror image, sheared, or with one corner wrong does not keep all three.  Fewer where
    there are fewer corners; an outline without corners has its width and height taken at its outermost points.
    """
    corners = sharp_corners(contour)
    if len(corners) < 3:
        return _across(contour)
    if len(corners) > _MOST_CORNERS:
        middle = np.mean(corners, axis=0)
        corners = sorted(corners, key=lambda c: -math.dist(c, middle))[:_MOST_CORNERS]
    pairs = [TapeCheck(start=a, end=b) for a, b in combinations(corners, 2)]
    chosen = [max(pairs, key=lambda p: p.length_mm)]
    while len(chosen) < min(_COUNT, len(pairs)):
        chosen.append(max((p for p in pairs if p not in chosen), key=lambda p: _worth(p, chosen)))
    return tuple(chosen)


def _worth(pair: TapeCheck, chosen: list[TapeCheck]) -> float:
    """Length, times how squarely it crosses those chosen, times how many of its corners are new."""
    used = {c for one in chosen for c in (one.start, one.end)}
    fresh = 1.0 + sum(c not in used for c in (pair.start, pair.end))
    crossing = min(_sine(pair, one) for one in chosen)
    return pair.length_mm * (0.2 + crossing) * fresh


def _sine(one: TapeCheck, other: TapeCheck) -> float:
    ux, uy = one.end[0] - one.start[0], one.end[1] - one.start[1]
    vx, vy = other.end[0] - other.start[0], other.end[1] - other.start[1]
    return abs(ux * vy - uy * vx) / (one.length_mm * other.length_mm)


def _across(contour: Contour) -> tuple[TapeCheck, ...]:
    xy = np.vstack([p.points(0.5) for p in contour.pieces])
    found = []
    for turn in (0.0, 60.0, 120.0):
        along = xy @ np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
        a, b = xy[along.argmin()], xy[along.argmax()]
        found.append(TapeCheck(start=(float(a[0]), float(a[1])), end=(float(b[0]), float(b[1]))))
    return tuple(found)
