"""The openings of a part: round holes, slots of every kind, and what is neither."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import shapely

from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc
from nesting.geometry.facing import CHORD_MM, Narrow, facing, straight_edges
from nesting.geometry.pose import Point
from nesting.part import Part
from nesting.tolerances import FIT_MM

_LONG_SIDES = 1.2
"""Straight sides that face one another over this many times their distance make a slot, open or closed."""

_LONG_AREA = 2.0
"""An opening of this many times the area of the largest circle in it is long: a slot bounded by curves."""


@dataclass(frozen=True, kw_only=True)
class Slot:
    """A slot: its middle and width; `round_ends` for one that a cutter or a bolt would make.

    `ring` is the number of its contour, 0 for one open to the outside.
    """

    at: Point
    width_mm: float
    round_ends: bool
    ring: int


@dataclass(frozen=True, kw_only=True)
class Opening:
    """A hole that is no slot: centre and diameter of the largest circle in it."""

    at: Point
    width_mm: float


@dataclass(frozen=True, kw_only=True)
class Openings:
    """All slots up to some width, and all holes up to it that are none."""

    slots: tuple[Slot, ...]
    holes: tuple[Opening, ...]


def openings_of(part: Part, widest_mm: float) -> Openings:
    """Return the openings of a part up to a width; wider ones come out well anyway."""
    pairs = facing(straight_edges(part.outer, part.holes), widest_mm, "waste", depth=0.0)
    open_pairs = [p for p in pairs if p.rings[0] == p.rings[1] and _is_open(part, p)]
    slots = [
        Slot(at=p.at, width_mm=p.width_mm, round_ends=_has_round_ends(part, p.rings[0]), ring=p.rings[0])
        for p in _joined(open_pairs)
        if p.length_mm >= _LONG_SIDES * p.width_mm
    ]
    straight, holes = {slot.ring for slot in slots}, []
    for number, hole in enumerate(part.holes, start=1):
        if number in straight:
            continue
        center, width, long = _largest_in(hole, widest_mm)
        if long:
            slots.append(Slot(at=center, width_mm=width, round_ends=True, ring=number))
        elif width <= widest_mm:
            holes.append(Opening(at=center, width_mm=width))
    return Openings(slots=tuple(slots), holes=tuple(holes))


def round_hole(contour: Contour) -> tuple[Point, float] | None:
    """Return centre and diameter of a contour that is one circle, in however many arcs, else None."""
    first = contour.pieces[0]
    if not isinstance(first, Arc):
        return None
    for piece in contour.pieces:
        same = isinstance(piece, Arc) and (
            math.dist(piece.center, first.center) <= FIT_MM and abs(piece.radius_mm - first.radius_mm) <= FIT_MM
        )
        if not same:
            return None
    swept = math.fsum(p.sweep_deg for p in contour.pieces if isinstance(p, Arc))
    return (first.center, 2 * first.radius_mm) if abs(abs(swept) - 360.0) < 1.0 else None


def _largest_in(contour: Contour, widest_mm: float) -> tuple[Point, float, bool]:
    """Return centre and diameter of the largest circle in an opening, and whether it is long.

    For what is surely wider than asked the width is told as infinite, which saves looking for the circle.
    """
    found = round_hole(contour)
    if found is not None:
        return (*found, False)
    shape = contour.polygon(CHORD_MM, "midway")
    start = contour.curves[0].start
    if not shape.buffer(-widest_mm / 2 - FIT_MM, quad_segs=4).is_empty:
        return start, math.inf, False
    if shape.is_empty:
        return start, 0.0, True
    piece = max(shapely.get_parts(shape), key=lambda p: p.area)
    radius = shapely.maximum_inscribed_circle(piece, tolerance=FIT_MM / 4)
    center, at_edge = shapely.get_coordinates(radius)
    reach = math.dist(center, at_edge)
    return (float(center[0]), float(center[1])), 2 * reach, shape.area > _LONG_AREA * math.pi * reach**2


def _is_open(part: Part, pair: Narrow) -> bool:
    """True if nothing but waste lies between two sides, as it may not between those of two neighbouring slots."""
    (x, y), (ux, uy), half = pair.at, pair.direction, 0.499 * pair.width_mm
    way = shapely.LineString([(x - uy * half, y + ux * half), (x + uy * half, y - ux * half)])
    return pair.length_mm > 0.0 and not part.fine_polygon.intersects(way)


def _joined(pairs: Iterable[Narrow]) -> list[Narrow]:
    """Join the pairs of sides that follow one another in one slot, whose sides may be drawn in several lines."""
    by_ring: dict[int, list[Narrow]] = {}
    for pair in pairs:
        by_ring.setdefault(pair.rings[0], []).append(pair)
    joined = [slot for waiting in by_ring.values() for slot in _joined_of_ring(waiting)]
    return sorted(joined, key=lambda n: (n.width_mm, n.at))


def _joined_of_ring(waiting: list[Narrow]) -> list[Narrow]:
    found = []
    while waiting:
        slot, waiting = waiting[0], waiting[1:]
        while more := [p for p in waiting if _same_slot(p, slot)]:
            waiting = [p for p in waiting if p not in more]
            for pair in more:
                slot = _longer(slot, pair)
        found.append(slot)
    return found


def _longer(slot: Narrow, pair: Narrow) -> Narrow:
    """Return one slot from two that follow one another."""
    (x, y), (ux, uy) = slot.at, slot.direction
    along = (pair.at[0] - x) * ux + (pair.at[1] - y) * uy
    low = min(-slot.length_mm, 2 * along - pair.length_mm) / 2
    high = max(slot.length_mm, 2 * along + pair.length_mm) / 2
    middle = (low + high) / 2
    return replace(slot, at=(x + middle * ux, y + middle * uy), length_mm=high - low)


def _same_slot(a: Narrow, b: Narrow) -> bool:
    dx, dy = a.at[0] - b.at[0], a.at[1] - b.at[1]
    aside = abs(b.direction[0] * dy - b.direction[1] * dx)
    apart = math.hypot(dx, dy) - (a.length_mm + b.length_mm) / 2
    return abs(a.width_mm - b.width_mm) <= FIT_MM and aside <= FIT_MM and apart <= a.width_mm


def _has_round_ends(part: Part, ring: int) -> bool:
    """True for a closed slot with an arc of a half circle, or nearly, at an end: one for a bolt."""
    contour = part.contours[ring]
    return ring > 0 and any(isinstance(p, Arc) and 150.0 < abs(p.sweep_deg) < 210.0 for p in contour.pieces)
