"""An upper bound on how much of a plate the parts wanted could use: cheap, and never too low.

Parts, each grown by half the gap, lie apart inside what the plate's usable area becomes when it is shrunk by the margin
and grown by half the gap.  What that leaves is a knapsack by area, one for each piece of the usable area, with parts
left out of pieces they cannot lie in, pairs left out that cannot lie in one piece together, and no more parts of a size
in a piece than circles inside them could lie there.  Every area is rounded to the safe side.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.geometry.contour import region
from nesting.plate import Plate
from nesting.search.knapsack import Sack, most_value
from nesting.tolerances import CHECK_MM, PLACING_CHORD_MM

_MOST_SIZES: Final = 30
"""Only so many of the largest parts are looked at for what they leave no room for."""

_FACTORS: Final = (1.0, 0.9995, 0.985, 0.95, 0.8)
"""The library drops corners up to a hundredth of the distance before it offsets; where that shows, offset by less."""

_STEPS: Final = 16
_STRETCH: Final = 1 / math.cos(math.pi / (4 * _STEPS))
_HAIR: Final = 1e-9

Area: TypeAlias = Polygon | MultiPolygon


@dataclass(frozen=True, kw_only=True)
class _Want:
    """A part wanted, holes that nothing goes into filled.

    `radius` is of a circle inside it, `taken` no more than it takes of a room, its gap included.
    """

    net: float
    taken: float
    radius: float
    diameter: float
    most: int | None


@dataclass(frozen=True, kw_only=True)
class _Room:
    """One piece of where finished parts may lie; `area` holds their gaps too.  None of the three is too small."""

    polygon: Polygon
    area: float
    radius: float
    diameter: float

    def takes(self, want: _Want) -> bool:
        """False if the part surely cannot lie here."""
        return (
            want.net <= self.polygon.area * (1 + _HAIR)
            and want.radius <= self.radius
            and want.diameter <= self.diameter * (1 + _HAIR)
        )


@dataclass(frozen=True, kw_only=True)
class _Rules:
    """What a room cannot hold together: `apart` pairs of wants, or one twice; `crowds` wants and how many of them."""

    apart: tuple[tuple[int, int], ...]
    crowds: tuple[tuple[tuple[int, ...], int], ...]

    @staticmethod
    def of(room: _Room, wants: Sequence[_Want], gap: float) -> "_Rules":
        """Find what the largest parts that the room takes leave room for."""
        taken = sorted(
            (i for i, w in enumerate(wants) if room.takes(w) and w.radius > 0.0), key=lambda i: -wants[i].radius
        )
        taken = taken[:_MOST_SIZES]
        middles = {i: _middles(room.polygon, wants[i].radius) for i in taken}
        crowds = []
        for n, i in enumerate(taken, start=1):
            crowds.append((tuple(taken[:n]), _most_points(middles[i], (2 * wants[i].radius + gap) * (1 - _HAIR))))
        return _Rules(
            apart=tuple(
                (i, j)
                for i, j in itertools.combinations_with_replacement(taken, 2)
                # Two that fit side by side in the room's own largest circle need no closer look.
                if wants[i].radius + wants[j].radius > room.radius * (1 - 1e-3) - gap / 2
                and _farthest_apart(middles[i], middles[j]) < (wants[i].radius + wants[j].radius + gap) * (1 - _HAIR)
            ),
            crowds=tuple(crowds),
        )


def most_area_mm2(plate: Plate, demands: Sequence[Demand], clearances: Clearances) -> float:
    """Return a net part area that no layout of the demands on the plate can exceed.

    What it leaves aside: the shapes of parts beyond their area and inscribed circle, turn rules, room for lead-ins.
    """
    # What the check lets pass is no less legal: clearances fall short by as much here.
    half_gap = max(0.0, (clearances.gap_mm - CHECK_MM) / 2)
    edge = clearances.edge_mm(plate.uncertainty_mm) - CHECK_MM
    usable = _usable(plate, edge)
    if usable.is_empty:
        return 0.0
    space = _spread_at_least(usable, half_gap)
    wants = _wants(demands, 2 * half_gap, _smallest_ring(usable))
    rooms = [r for r in _rooms(usable, half_gap) if any(r.takes(w) for w in wants)]
    if not rooms:
        return 0.0
    if len(rooms) < len(shapely.get_parts(usable)):
        space = _spread_at_least(shapely.union_all([r.polygon for r in rooms]), half_gap)
    rules = [_Rules.of(room, wants, 2 * half_gap) for room in rooms]
    if len(rooms) == 1 and _takes_all(rooms[0], rules[0], wants):
        return math.fsum(w.net * (w.most or 0) for w in wants)
    sacks = [_sack(room, own, wants) for room, own in zip(rooms, rules, strict=True)]
    most = most_value(
        [w.net for w in wants], [w.taken for w in wants], [w.most for w in wants], sacks, float(space.area)
    )
    return min(most, float(usable.area), plate.area_mm2)


def _sack(room: _Room, rules: _Rules, wants: Sequence[_Want]) -> Sack:
    """The room as the knapsack knows it."""
    return Sack(
        capacity=room.area,
        takes=tuple(i for i, want in enumerate(wants) if room.takes(want)),
        apart=rules.apart,
        crowds=rules.crowds,
    )


def _takes_all(room: _Room, rules: _Rules, wants: Sequence[_Want]) -> bool:
    """True if nothing found here keeps any part wanted out of the room."""
    counts = [w.most for w in wants]
    if None in counts or rules.apart or not all(room.takes(w) for w in wants):
        return False
    if any(sum(counts[i] or 0 for i in members) > most for members, most in rules.crowds):
        return False
    return math.fsum(w.taken * (w.most or 0) for w in wants) <= room.area


def _usable(plate: Plate, edge: float) -> Area:
    """Where finished parts may lie, and a little more."""
    cuts = (*plate.holes, *(k.contour for k in plate.keep_outs))
    whole = region(plate.outer, cuts, PLACING_CHORD_MM, "outward")
    if edge <= 0.0:
        return _areal(whole.buffer(-edge * _STRETCH, quad_segs=_STEPS)) if edge < 0.0 else whole
    for less in _FACTORS:
        found = whole.buffer(-edge * less, quad_segs=_STEPS)
        if found.is_empty or _farthest(_rim_points(found), whole.boundary) <= edge * (1 + _HAIR):
            break
    return _areal(found)


def _spread_at_least(shape: Area, distance: float) -> Area:
    """Return all within a distance of the shape, and a little more."""
    if distance <= 0.0:
        return shape
    for less in _FACTORS:
        found = shape.buffer(distance * _STRETCH / less, quad_segs=_STEPS)
        if found.boundary.distance(shape) >= distance * (1 - _HAIR):
            break
    return _areal(found)


def _grown_at_most(shape: Area, distance: float) -> Area:
    """Return a shape grown by a distance, or a little less."""
    if distance <= 0.0 or shape.is_empty:
        return shape
    for less in _FACTORS:
        found = shape.buffer(distance * less, quad_segs=_STEPS)
        if _farthest(_rim_points(found), shape) <= distance * (1 + _HAIR):
            break
    return _areal(found)


def _rooms(usable: Area, half_gap: float) -> list[_Room]:
    found = []
    for piece in shapely.get_parts(usable):
        fine = math.sqrt(piece.area) * 1e-4
        found.append(
            _Room(
                polygon=piece,
                area=float(_spread_at_least(piece, half_gap).area),
                radius=float(shapely.maximum_inscribed_circle(piece, tolerance=fine).length) + fine,
                diameter=_farthest_apart(piece, piece),
            )
        )
    return found


def _wants(demands: Sequence[Demand], gap: float, smallest_ring: float) -> list[_Want]:
    bodies = [region(d.part.outer, d.part.holes, PLACING_CHORD_MM, "inward") for d in demands]
    sizes = [(d.part.area_mm2, _inside_radius(body)) for d, body in zip(demands, bodies, strict=True)]
    found = []
    for demand, body in zip(demands, bodies, strict=True):
        solid = _solid(body, sizes, gap, smallest_ring)
        found.append(
            _Want(
                net=demand.part.area_mm2,
                taken=float(_grown_at_most(solid, gap / 2).area),
                radius=_inside_radius(solid),
                diameter=_farthest_apart(body, body),
                most=demand.quantity,
            )
        )
    return found


def _solid(body: Area, sizes: Sequence[tuple[float, float]], gap: float, smallest_ring: float) -> Area:
    """Fill the holes that no part of these areas and radii goes into: they go with the part.

    Not those that may lie round a hole of the plate, of which the smallest is given.
    """

    def goes_with(hole: Polygon) -> bool:
        fine = math.sqrt(hole.area) * 1e-2
        radius = float(shapely.maximum_inscribed_circle(hole, tolerance=fine).length) + fine
        return hole.area < smallest_ring and not any(a <= hole.area and r + gap <= radius for a, r in sizes)

    pieces = [
        Polygon(p.exterior, [ring for ring in p.interiors if not goes_with(Polygon(ring))])
        for p in shapely.get_parts(body)
    ]
    return _areal(shapely.union_all(pieces))


def _smallest_ring(usable: Area) -> float:
    """Area of the smallest hole of the usable area; a part that lies round it has no smaller one."""
    return min((Polygon(r).area for p in shapely.get_parts(usable) for r in p.interiors), default=math.inf)


def _most_points(area: BaseGeometry, apart: float) -> int:
    """Return how many points at most lie in an area's convex hull, no two nearer than `apart`.

    Oler 1961, An inequality in the geometry of numbers, Acta Math. 105, 19-48: 2 / sqrt(3) area + perimeter / 2 + 1 for
    points a unit apart in a convex set.
    """
    hull = area.convex_hull
    return math.floor(2 / math.sqrt(3) * float(hull.area) / apart**2 + float(hull.length) / (2 * apart) + 1 + _HAIR)


def _middles(room: Polygon, radius: float) -> BaseGeometry:
    """Where the middle of a circle may lie inside a room, and a little more."""
    for less in _FACTORS:
        found = room.buffer(-radius * less * (1 - 1e-6), quad_segs=_STEPS)
        if not found.is_empty and _farthest(_rim_points(found), room.boundary) <= radius * (1 + _HAIR):
            return found
    return room


def _inside_radius(body: Area) -> float:
    """Radius of a circle that lies inside, nearly the largest."""
    if body.is_empty:
        return 0.0
    return float(shapely.maximum_inscribed_circle(body, tolerance=math.sqrt(body.area) * 1e-4).length)


def _rim_points(shape: BaseGeometry) -> NDArray[np.object_]:
    """Corners and middles of all edges, as points."""
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_parts(shape.boundary)]
    found: NDArray[np.object_] = shapely.points(np.vstack([*rings, *((r[:-1] + r[1:]) / 2 for r in rings)]))
    return found


def _farthest(points: NDArray[np.object_], shape: BaseGeometry) -> float:
    return float(shapely.distance(shape, points).max())


def _farthest_apart(a: BaseGeometry, b: BaseGeometry) -> float:
    """Greatest distance from a point of one to a point of the other; 0 if one is empty."""
    if a.is_empty or b.is_empty:
        return 0.0
    p, q = (shapely.get_coordinates(g.convex_hull) for g in (a, b))
    return float(np.hypot(*(p[:, None] - q[None]).transpose(2, 0, 1)).max())


def _areal(shape: BaseGeometry) -> Area:
    return shape if isinstance(shape, Polygon | MultiPolygon) else Polygon()
