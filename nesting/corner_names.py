"""Letters for the corners of a plate: one set for drawing, cut sheet, check distances and the operator's readouts."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from string import ascii_uppercase
from typing import Final

from nesting.geometry.pose import Point
from nesting.geometry.tape_checks import sharp_corners
from nesting.plate import Plate

_AS_NEAR_MM: Final = 1.0
"""Corners as near to the lower left as this are equally near: the lowest of them is the first."""

_SAME_MM: Final = 0.01
"""Letters are kept in files to a thousandth of a millimetre."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedCorner:
    """A corner of a plate's outline: its letter and its place in the plate's drawing, mm."""

    name: str
    point: Point


def named_corners(plate: Plate) -> tuple[NamedCorner, ...]:
    """Return the outline's corners, counter-clockwise from the one nearest to the lower left, named A, B, C, ...

    A corner is where the outline turns so much that one sees it on the steel (`sharp_corners`); where an arc runs
    smoothly into an edge there is none.  Holes and keep-outs have none of these letters.  Behind Z come A1 to Z1,
    A2 to Z2.  The lower left is that of the box round the corners.  A plate that was lettered before keeps its letters,
    as long as they all lie where its edge has an end of a line or an arc.

    The same outline has the same letters wherever its drawing begins, and rounding does not change them.  A plate
    without corners, such as a round one, has no letters: whoever needs its place on the table marks points and knows
    them by their coordinates.
    """
    if plate.lettered and _on_outline(plate):
        return tuple(NamedCorner(name=name, point=point) for name, point in plate.lettered)
    points = sharp_corners(plate.outer)
    if not points:
        return ()
    first = _lowest_left(points)
    ordered = [*points[first:], *points[:first]]
    return tuple(NamedCorner(name=corner_name(k), point=p) for k, p in enumerate(ordered))


def corner_name(index: int) -> str:
    """Return the name of a corner by its number from 0: A to Z, then A1 to Z1, A2 to Z2."""
    cycle, letter = divmod(index, len(ascii_uppercase))
    return ascii_uppercase[letter] + (str(cycle) if cycle else "")


def _on_outline(plate: Plate) -> bool:
    """Tell whether the outline still has all its lettered corners: it may have been changed since."""
    ends = [piece.start for piece in plate.outer.pieces]
    return all(min(math.dist(point, end) for end in ends) <= _SAME_MM for _, point in plate.lettered)


def _lowest_left(points: Sequence[Point]) -> int:
    lower_left = (min(x for x, _ in points), min(y for _, y in points))
    nearest = min(math.dist(p, lower_left) for p in points)
    nearly = [k for k, p in enumerate(points) if math.dist(p, lower_left) <= nearest + _AS_NEAR_MM]
    return min(nearly, key=lambda k: points[k][1])
