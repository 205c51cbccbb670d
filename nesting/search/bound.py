"""An upper bound on how much of a plate the parts wanted could use: cheap, and never too low.

Parts, each grown by half the gap, lie apart inside what the plate's usable area becomes when it is shrunk by the margin
and grown by half the gap.  What that leaves is a knapsack by area, one for each piece of the usable area, with parts
left out of pieces they cannot lie in, and pairs left out that cannot lie in one piece together.  Every area is rounded
to the safe side.
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
from nesting.tolerances import CHECK_MM, PLACING_CHORD_MM

SOLVER_SECONDS: Final = 0.7

_UNITS: Final = 1e8
"""The room's area in the solver's whole numbers; fine enough that rounding 2000 pieces costs 0.002 %."""

_FACTORS: Final = (1.0, 0.9995, 0.985, 0.95, 0.8)
"""The library drops corners up to a hundredth of the distance before it offsets; where that shows, offset by less."""

_STEPS: Final = 16
_STRETCH: Final = 1 / math.cos(math.pi / (4 * _STEPS))
_HAIR: Final = 1e-9

Area: TypeAlias = Polygon | MultiPolygon


@dataclass(frozen=True, kw_only=True)
class _Want:
    """A part wanted.  `radius` is of a circle inside it, `taken` no more than it takes of a room, its gap included."""

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
    wants = _wants(demands, half_gap, _smallest_ring(space))
    rooms = [r for r in _rooms(usable, half_gap) if any(r.takes(w) for w in wants)]
    if not rooms:
        return 0.0
    if len(rooms) < len(shapely.get_parts(usable)):
        space = _spread_at_least(shapely.union_all([r.polygon for r in rooms]), half_gap)
    apart = [_apart(room, wants, 2 * half_gap) for room in rooms]
    if len(rooms) == 1 and not apart[0] and _takes_all(rooms[0], wants):
        return math.fsum(w.net * (w.most or 0) for w in wants)
    return min(_knapsack(wants, rooms, apart, float(space.area)), float(usable.area))


def _takes_all(room: _Room, wants: Sequence[_Want]) -> bool:
    """True if nothing found here keeps any part wanted out of the room."""
    return all(w.most is not None and room.takes(w) for w in wants) and (
        math.fsum(w.taken * (w.most or 0) for w in wants) <= room.area
    )


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


def _wants(demands: Sequence[Demand], half_gap: float, smallest_ring: float) -> list[_Want]:
    bodies = [region(d.part.outer, d.part.holes, PLACING_CHORD_MM, "inward") for d in demands]
    grown = [_grown_at_most(body, half_gap) for body in bodies]
    radii = [_inside_radius(body) for body in bodies]
    areas = [float(g.area) for g in grown]
    found = []
    for i, demand in enumerate(demands):
        filled = [
            hole.area
            for hole in (Polygon(r) for p in shapely.get_parts(grown[i]) for r in p.interiors)
            if hole.area < smallest_ring and not _holds_any(hole, areas, radii, half_gap)
        ]
        found.append(
            _Want(
                net=demand.part.area_mm2,
                taken=areas[i] + math.fsum(filled),
                radius=radii[i],
                diameter=_farthest_apart(bodies[i], bodies[i]),
                most=demand.quantity,
            )
        )
    return found


def _holds_any(hole: Polygon, areas: Sequence[float], radii: Sequence[float], half_gap: float) -> bool:
    """False if surely no part can lie in a hole of a grown part: the whole hole then goes with that part."""
    fine = math.sqrt(hole.area) * 1e-2
    radius = float(shapely.maximum_inscribed_circle(hole, tolerance=fine).length) + fine
    return any(a <= hole.area and r + half_gap <= radius for a, r in zip(areas, radii, strict=True))


def _smallest_ring(space: Area) -> float:
    """Area of the smallest hole of the room: a part may lie round it, and its own hole then costs no room."""
    return min((Polygon(r).area for p in shapely.get_parts(space) for r in p.interiors), default=math.inf)


def _apart(room: _Room, wants: Sequence[_Want], gap: float) -> list[tuple[int, int]]:
    """Return pairs of parts, or a part and its like, that one room cannot hold both.

    The middle of a circle inside a part keeps the circle's radius from the room's edge, and two such circles keep the
    gap; where no two places left for the middles are that far apart, there is no room for both.
    """
    taken = [i for i, w in enumerate(wants) if room.takes(w)]
    largest = max((wants[i].radius for i in taken), default=0.0)
    # Two circles fit side by side in the room's own largest circle if they are smaller than this.
    large = [i for i in taken if wants[i].radius + largest > room.radius * (1 - 1e-3) - gap / 2]
    middles = {i: _middles(room.polygon, wants[i].radius) for i in large}
    return [
        (i, j)
        for i, j in itertools.combinations_with_replacement(large, 2)
        if _farthest_apart(middles[i], middles[j]) < (wants[i].radius + wants[j].radius + gap) * (1 - _HAIR)
    ]


def _middles(room: Polygon, radius: float) -> BaseGeometry:
    """Where the middle of a circle may lie inside a room, and a little more."""
    for less in _FACTORS:
        found = room.buffer(-radius * less * (1 - 1e-6), quad_segs=_STEPS)
        if not found.is_empty and _farthest(_rim_points(found), room.boundary) <= radius * (1 + _HAIR):
            return found
    return room


def _knapsack(
    wants: Sequence[_Want], rooms: Sequence[_Room], apart: Sequence[Sequence[tuple[int, int]]], space: float
) -> float:
    """Return the solver's bound on the net area that the rooms take."""
    from ortools.sat.python import cp_model  # slow to load, and not always needed

    scale = _UNITS / space
    model = cp_model.CpModel()
    counts: dict[tuple[int, int], cp_model.IntVar] = {}
    for (i, want), (k, room) in itertools.product(enumerate(wants), enumerate(rooms)):
        if room.takes(want):
            by_area = int(room.area * (1 + _HAIR) / want.taken)
            counts[i, k] = model.new_int_var(0, by_area if want.most is None else min(by_area, want.most), "")
    weights = [math.floor(w.taken * (1 - _HAIR) * scale) for w in wants]
    for k, room in enumerate(rooms):
        inside = [(i, n) for (i, r), n in counts.items() if r == k]
        model.add(sum(weights[i] * n for i, n in inside) <= math.ceil(room.area * (1 + _HAIR) * scale))
        there = {i: model.new_bool_var("") for i in {j for pair in apart[k] for j in pair}}
        for i, is_there in there.items():
            model.add(counts[i, k] == 0).only_enforce_if(~is_there)
        for i, j in apart[k]:
            if i == j:
                model.add(counts[i, k] <= 1)
            else:
                model.add_at_most_one([there[i], there[j]])
    model.add(sum(weights[i] * n for (i, _), n in counts.items()) <= math.ceil(space * (1 + _HAIR) * scale))
    for i, want in enumerate(wants):
        if want.most is not None:
            model.add(sum(n for (j, _), n in counts.items() if j == i) <= want.most)
    model.maximize(sum(math.ceil(wants[i].net * scale) * n for (i, _), n in counts.items()))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = SOLVER_SECONDS
    # It would take Ctrl-C away from the caller, for good.
    solver.parameters.catch_sigint_signal = False
    solver.solve(model)
    return solver.best_objective_bound / scale


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
