"""The order in which a layout is cut: inside before outside, nested parts before the part around them, short ways.

Part after part: all inside contours of a part, then its outside.  Parts that lie in a part's hole come just before it,
so that nothing is cut from a slug that has dropped.  The way starts at the plate's zero corner, its lower left one.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import numpy as np
import shapely

from nesting.geometry.pose import Point
from nesting.geometry.tour import nearest_next, short_way
from nesting.layout import Layout
from nesting.leads import Leads
from nesting.tolerances import NESTING_CHORD_MM

_ROUNDS: Final = 2
_MANY: Final = 500
"""With more parts than this one round must do, and quick ways."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """One closed contour of a placed part: where the torch begins and ends it.  Contour 0 is the outer one."""

    number: int
    contour: int
    begin: Point
    end: Point


@dataclass(frozen=True, kw_only=True)
class CutOrder:
    """All contours of a layout in the order they are cut."""

    cuts: tuple[Cut, ...] = ()
    zero: Point = (0.0, 0.0)

    @cached_property
    def travel_mm(self) -> float:
        """Rapid travel: from the zero corner to the first contour and from each contour's end to the next one."""
        return _travel(self.cuts, self.zero)


@dataclass(frozen=True, eq=False)
class _Unit:
    """A placed part with the parts that lie in its holes; it is cut from first to last before another begins."""

    outer: Cut
    holes: tuple[Cut, ...]
    fixed: bool
    nested: list["_Unit"] = field(default_factory=list)

    @property
    def openings(self) -> list[Cut]:
        """The cuts that may come first."""
        if self.nested:
            return [cut for unit in self.nested for cut in unit.openings]
        return list(self.holes[:1] if self.fixed else self.holes) or [self.outer]


def cut_order(layout: Layout, leads: Leads | None = None, *, same_inside: bool = False) -> CutOrder:
    """Return the order to cut a layout in.

    A contour begins and ends where its drawing does; one with a lead-in begins at its pierce.  With `same_inside`
    all pieces of a part have their inside contours in one order, as the block of a drawing must.  The same layout
    gives the same order, and its travel is never longer than that of always going to the nearest next contour.
    """
    x0, y0, _, _ = layout.plate.fine_polygon.bounds
    zero, units = (x0, y0), _units(layout, leads or Leads(), fixed=same_inside)
    best = _to_the_nearest(units, zero)
    for _ in range(_ROUNDS if len(units) <= _MANY else 1):
        tried = _short(units, zero, best, kicks=len(units) <= _MANY)
        if _travel(tried, zero) >= _travel(best, zero) - 1e-6:
            break
        best = tried
    return CutOrder(cuts=tuple(best), zero=zero)


def _travel(cuts: Sequence[Cut], zero: Point) -> float:
    stops = [zero, *(cut.end for cut in cuts)]
    return math.fsum(math.dist(at, cut.begin) for at, cut in zip(stops, cuts, strict=False))


def _to_the_nearest(units: Sequence[_Unit], at: Point) -> list[Cut]:
    """Cut the unit that offers the nearest first cut, then of the rest."""
    openings = [(cut.begin, index) for index, unit in enumerate(units) for cut in unit.openings]
    begins = np.array([begin for begin, _ in openings]).reshape(-1, 2)
    owners = np.array([index for _, index in openings], dtype=np.int64)
    left = np.ones(len(owners), dtype=bool)
    cuts: list[Cut] = []
    while left.any():
        away = np.where(left, np.hypot(*(begins - at).T), np.inf)
        owner = int(owners[int(np.argmin(away))])
        left &= owners != owner
        unit = units[owner]
        cuts += _to_the_nearest(unit.nested, at)
        at = cuts[-1].end if unit.nested else at
        order = range(len(unit.holes)) if unit.fixed else nearest_next(*_ends(unit.holes), at)
        cuts += [*(unit.holes[k] for k in order), unit.outer]
        at = unit.outer.end
    return cuts


def _short(units: Sequence[_Unit], at: Point, former: Sequence[Cut], *, kicks: bool) -> list[Cut]:
    """Order units by short ways, each entered where it was in a former order."""
    entries = _entries(units, former)
    cuts: list[Cut] = []
    for index in short_way(entries, [unit.outer.end for unit in units], at, kicks=kicks):
        unit = units[index]
        cuts += _short(unit.nested, at, former, kicks=False)
        at = cuts[-1].end if unit.nested else at
        order = list(range(len(unit.holes)))
        if not unit.fixed:
            order = short_way(*_ends(unit.holes), at, unit.outer.begin, kicks=False)
        cuts += [*(unit.holes[k] for k in order), unit.outer]
        at = unit.outer.end
    return cuts


def _ends(cuts: Sequence[Cut]) -> tuple[list[Point], list[Point]]:
    return [cut.begin for cut in cuts], [cut.end for cut in cuts]


def _entries(units: Sequence[_Unit], former: Sequence[Cut]) -> list[Point]:
    """Return where each unit was entered in an order: its cuts follow one another there."""
    first: dict[int, Point] = {}
    for cut in former:
        first.setdefault(cut.number, cut.begin)
    places = {cut.number: index for index, cut in enumerate(former)}
    return [first[min(_numbers(unit), key=lambda n: places[n])] for unit in units]


def _numbers(unit: _Unit) -> Iterator[int]:
    yield unit.outer.number
    for inner in unit.nested:
        yield from _numbers(inner)


def _units(layout: Layout, leads: Leads, *, fixed: bool) -> list[_Unit]:
    """Return the parts that lie in no other's hole, each with those that lie in its own."""
    parts, units, holes, owners = layout.parts, [], [], []
    inside = {i: _inside_order(layout, i) if fixed else range(1, len(p.contours)) for i, p in parts.items()}
    voids = {i: [h.polygon(NESTING_CHORD_MM, "midway") for h in p.holes] for i, p in parts.items()}
    for index, placement in enumerate(layout.placements):
        part, pose = parts[placement.part_id], placement.pose
        cuts = []
        for contour in (0, *inside[part.id]):
            begin = end = pose.point(part.contours[contour].curves[0].start)
            spot = leads.spots.get((placement.number, contour))
            if spot is not None:
                begin, end = spot.pierce, spot.contact
            cuts.append(Cut(number=placement.number, contour=contour, begin=begin, end=end))
        units.append(_Unit(cuts[0], tuple(cuts[1:]), fixed))
        holes += [pose.geometry(void) for void in voids[part.id]]
        owners += [index] * len(voids[part.id])
    tops: list[_Unit] = []
    for index, holder in enumerate(_holders(layout, holes, owners)):
        (tops if holder is None else units[holder].nested).append(units[index])
    return tops


def _holders(layout: Layout, holes: Sequence[shapely.Geometry], owners: Sequence[int]) -> list[int | None]:
    """Return for each placement the one in whose hole it lies, the smallest if there are several."""
    found: list[int | None] = [None] * len(layout.placements)
    if not holes:
        return found
    starts = [p.pose.point(layout.parts[p.part_id].outer.curves[0].start) for p in layout.placements]
    size = shapely.area(holes)
    inside, around = shapely.STRtree(list(holes)).query(shapely.points(starts), predicate="within")
    for index, hole in sorted(zip(inside.tolist(), around.tolist(), strict=True), key=lambda pair: -size[pair[1]]):
        if owners[hole] != index:
            found[index] = owners[hole]
    return found


def _inside_order(layout: Layout, part_id: str) -> list[int]:
    """Return one order of a part's holes that is short from and to its outer contour."""
    outer, *holes = (contour.curves[0].start for contour in layout.parts[part_id].contours)
    return [k + 1 for k in short_way(holes, holes, outer, outer)]
