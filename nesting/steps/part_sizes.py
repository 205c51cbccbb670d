"""Sizes of a part by which a plate can be told to hold it, or not to, without laying it out."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.demand import Demand, Turns
from nesting.geometry.contour import region
from nesting.geometry.largest import Shape, largest_circle
from nesting.geometry.span import span
from nesting.tolerances import PLACING_CHORD_MM

Box = tuple[float, float]

_MOST_TURNS: Final = 60
_SAME_MM: Final = 0.01
_HALF_TURN: Final = 180.0


@dataclass(frozen=True)
class PartSizes:
    """Sizes of one demand's part, millimetres; what tells of room is on the large side, what tells of need is not.

    Parts are measured as drawn.  `need` is how many must have a place; as many as fit means one.
    """

    demand: Demand

    @property
    def need(self) -> int:
        """How many pieces must have a place."""
        return self.demand.quantity or 1

    @cached_property
    def _within(self) -> Shape:
        """The part on chords inside it: what it surely takes."""
        return region(self.demand.part.outer, self.demand.part.holes, PLACING_CHORD_MM, "inward")

    @cached_property
    def _around(self) -> NDArray[np.float64]:
        """Corners of a convex outline round the part."""
        outline = self.demand.part.outer.polygon(PLACING_CHORD_MM, "outward")
        around: NDArray[np.float64] = shapely.get_coordinates(shapely.convex_hull(outline))[:-1]
        return around

    @cached_property
    def span_mm(self) -> tuple[float, float]:
        """Least width and greatest length, neither too large."""
        return span(self._within)

    @cached_property
    def circle_mm(self) -> float:
        """Diameter of a circle that lies in the part."""
        return 2 * largest_circle(self._within)[1]

    @cached_property
    def round_mm(self) -> float:
        """Diameter of a circle that the part lies in."""
        return 2 * float(shapely.minimum_bounding_radius(shapely.multipoints(self._around)))

    def area_mm2(self, grown_mm: float) -> float:
        """Area that one piece takes with so much round it, not too large."""
        if grown_mm not in self._areas:
            self._areas[grown_mm] = float((self._within.buffer(grown_mm) if grown_mm > 0.0 else self._within).area)
        return self._areas[grown_mm]

    @cached_property
    def _areas(self) -> dict[float, float]:
        """What was measured already."""
        return {}

    def boxes(self, rectangle_turn_deg: float, grain_deg: float | None) -> list[Box]:
        """Return the sides of rectangles round the part that lie square to a rectangle of the plate.

        The first side lies along the direction given, degrees in the plate's drawing.  Where any turn is allowed there
        are several, none of them larger than another in both.  Empty where the part cannot be laid by its turns.
        """
        turns = self.demand.turns
        if turns.rule == "any":
            return self._any_boxes
        listed = _listed(turns, grain_deg)
        found = {self._box(a - rectangle_turn_deg) for a in listed}
        if self.demand.may_flip:
            found |= {self._box(a - rectangle_turn_deg, flipped=True) for a in listed}
        return _least(found)

    @cached_property
    def _any_boxes(self) -> list[Box]:
        """Boxes along the edges of the hull; the smallest rectangle round a convex outline lies along one."""
        edges = np.roll(self._around, -1, axis=0) - self._around
        order = np.argsort(-np.hypot(edges[:, 0], edges[:, 1]))[:_MOST_TURNS]
        turns = {round(math.degrees(math.atan2(*edges[i][::-1])) % _HALF_TURN, 4) for i in order}
        found = {self._box(-turn) for turn in turns}
        return _least(found | {(h, w) for w, h in found})

    def _box(self, turn_deg: float, *, flipped: bool = False) -> Box:
        xy = self._around * (-1.0, 1.0) if flipped else self._around
        c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
        x, y = xy[:, 0] * c - xy[:, 1] * s, xy[:, 0] * s + xy[:, 1] * c
        return round(float(np.ptp(x)) + _SAME_MM / 2, 4), round(float(np.ptp(y)) + _SAME_MM / 2, 4)


def sizes_of(demands: Sequence[Demand]) -> tuple[PartSizes, ...]:
    """Return the sizes of all parts wanted."""
    return tuple(PartSizes(d) for d in demands)


def _listed(turns: Turns, grain_deg: float | None) -> tuple[float, ...]:
    if turns.rule == "listed":
        return turns.angles_deg
    return () if grain_deg is None else (grain_deg, grain_deg + _HALF_TURN)


def _least(boxes: set[Box]) -> list[Box]:
    """Leave out boxes that are no smaller than another in either side."""
    kept: list[Box] = []
    for width, height in sorted(boxes):
        if not kept or height < kept[-1][1] - _SAME_MM:
            kept.append((width, height))
    return kept
