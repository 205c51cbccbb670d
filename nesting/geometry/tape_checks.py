"""Which three distances to tape on a plate before it is cut, so that a wrong outline shows."""

import math
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from nesting.geometry.contour import Contour
from nesting.geometry.pose import Point

_TURN_DEG: Final = 15.0
"""An edge that turns less has no corner that one could hook a tape on."""

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
    """Corners that can be seen on the steel: where the outline turns by `_TURN_DEG` or more, in its order."""
    pieces = contour.pieces
    found = []
    for before, after in zip((pieces[-1], *pieces[:-1]), pieces, strict=True):
        came, goes = before.points(0.1)[-2:], after.points(0.1)[:2]
        u, v = came[1] - came[0], goes[1] - goes[0]
        turn = math.degrees(math.atan2(u[0] * v[1] - u[1] * v[0], float(u @ v)))
        if abs(turn) >= _TURN_DEG:
            found.append((float(goes[0][0]), float(goes[0][1])))
    return found


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
