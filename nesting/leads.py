"""Where each contour is pierced: a spot in the waste, a lead-in's length away from every finished edge.

The pierce throws a crater wider than the kerf, so that its middle stays one lead-in length from every finished part,
its own and the neighbours' (common practice, no source; the length itself is about one thickness, operator manual
809240).  The straight lead from there to the contour then keeps clear of the own part all along: a point `s` away from
the contact is at least `s` away from every edge.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from nesting.clearances import Clearances
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Point, Pose
from nesting.layout import Layout, Placement
from nesting.part import Part
from nesting.tolerances import CHECK_MM, FINE_CHORD_MM, PLACING_CHORD_MM

_QUARTER_STEPS: Final = 16
_STRETCH: Final = 1 / math.cos(math.pi / (4 * _QUARTER_STEPS))
"""Chords of an offset this much larger lie outside the true one."""

_SURELY: Final = 1.02
"""The library drops corners up to a hundredth of the distance before it offsets; this much more makes up for it."""

_ROOM_STEPS: Final = 3
"""Few corners, since every one costs time in the search."""

_MOST_TRIED: Final = 1200
_NECK_MM: Final = 0.05
"""Half the width of what ties a pierce's room to its part where the kerf asks for no more."""

Area: TypeAlias = Polygon | MultiPolygon
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A straight lead-in: the arc starts at `pierce` and meets the contour at `contact`."""

    contact: Point
    pierce: Point

    @property
    def length_mm(self) -> float:
        """Length of the lead-in."""
        return math.dist(self.contact, self.pierce)

    def posed(self, pose: Pose) -> "Spot":
        """The lead-in in another place."""
        return Spot(contact=pose.point(self.contact), pierce=pose.point(self.pierce))


@dataclass(frozen=True, slots=True, kw_only=True)
class Lead:
    """The lead-in of one contour of a placed part: 0 is the outer contour, 1 the first hole."""

    number: int
    contour: int
    spot: Spot


@dataclass(frozen=True, kw_only=True)
class Leads:
    """Lead-ins of a layout, in its order, and a line for every contour that has none."""

    marked: tuple[Lead, ...] = ()
    findings: tuple[str, ...] = ()

    @cached_property
    def spots(self) -> dict[tuple[int, int], Spot]:
        """Lead-ins by the piece's number and the contour's index."""
        return {(lead.number, lead.contour): lead.spot for lead in self.marked}


def lead_spots(part: Part, clearances: Clearances, uncertainty_mm: float = 0.0) -> tuple[Spot | None, ...]:
    """Return the spot kept for each contour, outer first; None where the part itself leaves no room.

    It is the one that costs least plate.  A hole narrower than two lead-ins is pierced in its middle.
    """
    choices = (_choices(part, index, clearances, uncertainty_mm) for index in range(len(part.contours)))
    return tuple(spots[0] if spots else None for spots in choices)


def with_lead_room(grown: Polygon, part: Part, clearances: Clearances, uncertainty_mm: float) -> Polygon:
    """Return a part's polygon, grown by half the gap already, together with the room its lead-ins need.

    Polygons of others, grown likewise, that keep off it stay a lead-in's length from every pierce, and a region
    shrunk by the margin less half the gap that holds it keeps every pierce on the plate.  Unchanged unless the
    clearances ask for lead-in room.
    """
    if not clearances.keep_lead_room:
        return grown
    spots = [spot for spot in lead_spots(part, clearances, uncertainty_mm) if spot is not None]
    rooms = [_room(spot, clearances, uncertainty_mm) for spot in spots]
    joined = shapely.union_all([grown, *(room for room in rooms if room is not None)])
    found = joined if isinstance(joined, Polygon) else max(joined.geoms, key=lambda p: p.area)
    assert isinstance(found, Polygon)
    return found


def part_findings(part: Part, clearances: Clearances) -> tuple[str, ...]:
    """Name the contours of a part that have no room for a lead-in of full length, wherever the part may lie."""
    told = []
    for index, spot in enumerate(lead_spots(part, clearances)):
        x, y = _middle(part.contours[index])
        where = f"{part.name}: {_contour_name(index)} round ({x:.1f}, {y:.1f})"
        if spot is None:
            told.append(f"{where} has no room for a pierce: narrower than two kerfs; drill it or leave it out")
        elif spot.length_mm < clearances.lead_in_mm - CHECK_MM:
            told.append(
                f"{where} is too narrow for a lead-in of {clearances.lead_in_mm:g} mm: pierced in its middle, "
                f"{spot.length_mm:.2f} mm from its edge"
            )
    return tuple(told)


def leads_of(layout: Layout) -> Leads:
    """Choose the lead-in of every contour of a layout, in waste and on the plate.

    The spot kept in the search comes first; where it is not clear, the next best on the same contour.  A contour
    with no clear place is named among the findings.
    """
    placements, parts = layout.placements, layout.parts
    if not placements or layout.clearances.lead_in_mm <= 0.0:
        return Leads()
    uncertainty = layout.plate.uncertainty_mm
    kept = {
        i: lead_spots(parts[i], layout.clearances, uncertainty) for i in dict.fromkeys(p.part_id for p in placements)
    }
    ground = _Ground(layout)
    marked: list[Lead] = []
    findings: list[str] = []
    for index, placement in enumerate(placements):
        part = parts[placement.part_id]
        for contour, first in enumerate(kept[part.id]):
            spot = None if first is None else first.posed(placement.pose)
            if spot is not None and not ground.is_clear(index, [spot])[0]:
                spot = _next_best(ground, index, placement, part, contour)
            if spot is None:
                x, y = placement.pose.point(_middle(part.contours[contour]))
                findings.append(
                    f"part {placement.number} ({part.name}): no clear place for pierce and lead-in at its "
                    f"{_contour_name(contour)} round ({x:.1f}, {y:.1f})"
                )
            else:
                marked.append(Lead(number=placement.number, contour=contour, spot=spot))
    return Leads(marked=tuple(marked), findings=tuple(findings))


class _Ground:
    """The finished parts and the plate of a layout, to ask whether leads are clear."""

    def __init__(self, layout: Layout) -> None:
        self._clear = layout.clearances
        parts = layout.parts
        self._tree = shapely.STRtree([p.pose.geometry(parts[p.part_id].placing_polygon) for p in layout.placements])
        edge = min(self._clear.kerf_mm, self._clear.margin_mm) + layout.plate.uncertainty_mm
        # The usable polygon gives away a chord error that parts at the margin do not.
        self._plate = layout.plate.usable_polygon(FINE_CHORD_MM).buffer(-edge * _STRETCH + CHECK_MM, quad_segs=16)
        shapely.prepare(self._plate)

    def is_clear(self, own: int, spots: Sequence[Spot]) -> NDArray[np.bool_]:
        """Tell for each spot of placement `own` whether all other parts keep away and it lies on the plate."""
        lines = shapely.linestrings([(s.contact, s.pierce) for s in spots])
        ends = shapely.points([s.pierce for s in spots])
        clear = np.asarray(shapely.covers(self._plate, lines))
        # The chord error of placing polygons is on the safe side; half a tolerance is for rounding.
        for geometry, distance in (
            (ends, np.array([s.length_mm for s in spots]) - CHECK_MM / 2),
            (lines, np.full(len(spots), max(self._clear.kerf_mm - CHECK_MM / 2, 0.0))),
        ):
            which, near = self._tree.query(geometry, predicate="dwithin", distance=np.maximum(distance, 0.0))
            clear[which[near != own]] = False
        return clear


def _next_best(ground: _Ground, index: int, placement: Placement, part: Part, contour: int) -> Spot | None:
    spots = [s.posed(placement.pose) for s in _choices(part, contour, ground._clear, 0.0)]
    clear = ground.is_clear(index, spots) if spots else np.zeros(0, dtype=bool)
    return spots[int(np.argmax(clear))] if clear.any() else None


def _choices(part: Part, index: int, clearances: Clearances, uncertainty_mm: float) -> list[Spot]:
    """All spots of a contour that its own part leaves clear, the one that costs least plate first."""
    if index == 0:
        return _outside(part.outer, clearances, uncertainty_mm)
    return _inside(part.contours[index], clearances, uncertainty_mm)


def _outside(outer: Contour, clearances: Clearances, uncertainty_mm: float) -> list[Spot]:
    """Spots round the outside: first where the room sticks out least of the smallest rectangle, then of the hull.

    In a pocket those deep in it come first.
    """
    solid = outer.polygon(FINE_CHORD_MM, "outward")
    points = _a_lead_away(solid, clearances.lead_in_mm, 1)
    radius = _room_radius(clearances.lead_in_mm, clearances, uncertainty_mm)
    grown = solid.buffer(clearances.gap_mm / 2)
    box, hull = shapely.oriented_envelope(grown), grown.convex_hull
    mouth = hull.boundary.difference(grown.buffer(CHECK_MM))
    depth = np.zeros(len(points)) if mouth.is_empty else shapely.distance(points, mouth)
    keys = (-depth, *(np.maximum(_outside_by(points, shape) + radius, 0.0) for shape in (hull, box)))
    # Rounded, so that equals stay equal and the first of them is taken.
    order = np.lexsort([np.round(key, 3) for key in keys])
    return _spots(solid.boundary, points[order])


def _inside(hole: Contour, clearances: Clearances, uncertainty_mm: float) -> list[Spot]:
    """Spots in a hole: first where the room takes least of what other parts could use; else its middle."""
    void = hole.polygon(FINE_CHORD_MM, "inward")
    points = _a_lead_away(void, clearances.lead_in_mm, -1)
    if not len(points):
        return _middle_spot(void, clearances)
    free = void.buffer(-clearances.gap_mm / 2)
    radius = _room_radius(clearances.lead_in_mm, clearances, uncertainty_mm)
    taken = np.zeros(len(points))
    if radius > 0.0 and not free.is_empty:
        shapely.prepare(free)
        taken = shapely.area(shapely.intersection(shapely.buffer(points, radius, quad_segs=4), free))
    return _spots(void.boundary, points[np.argsort(np.round(taken, 3), kind="stable")])


def _middle_spot(void: Area, clearances: Clearances) -> list[Spot]:
    if void.is_empty:
        return []
    line = shapely.maximum_inscribed_circle(void, tolerance=max(void.length * 1e-6, CHECK_MM / 10))
    if line.length < clearances.kerf_mm:
        return []
    return _spots(void.boundary, shapely.points(line.coords[:1]))


def _a_lead_away(area: Area, lead_mm: float, side: int) -> NDArray[np.object_]:
    """Points a lead-in from an area's edge, outside it (1) or inside (-1), an eighth of that or more apart."""
    for reach in (lead_mm * _STRETCH, lead_mm * _SURELY):
        line = area.buffer(side * reach, quad_segs=_QUARTER_STEPS).boundary
        rings = [ring for ring in shapely.get_parts(line) if ring.length > 0.0]
        step = max(lead_mm / 8, sum(ring.length for ring in rings) / _MOST_TRIED)
        rows = [shapely.line_interpolate_point(r, np.arange(max(1, math.ceil(r.length / step))) * step) for r in rings]
        points = np.concatenate(rows) if rows else np.empty(0, dtype=object)
        points = points[shapely.distance(points, area.boundary) >= lead_mm]
        if len(points):
            break
    return points


def _outside_by(points: NDArray[np.object_], shape: BaseGeometry) -> Floats:
    """How far points lie outside a shape, negative inside."""
    rim: Floats = shapely.distance(points, shape.boundary)
    return np.where(shapely.intersects(points, shape), -rim, rim)


def _spots(edge: BaseGeometry, points: NDArray[np.object_]) -> list[Spot]:
    starts = shapely.get_coordinates(shapely.shortest_line(edge, points))[::2]
    ends = shapely.get_coordinates(points)
    return [
        Spot(contact=(float(cx), float(cy)), pierce=(float(px), float(py)))
        for (cx, cy), (px, py) in zip(starts, ends, strict=True)
        if (cx, cy) != (px, py)
    ]


def _room_radius(length_mm: float, clearances: Clearances, uncertainty_mm: float) -> float:
    """Radius round the pierce that polygons grown by half the gap, and the shrunk plate's edge, must keep off."""
    half_gap = clearances.gap_mm / 2
    kept_by_region = max(clearances.edge_mm(uncertainty_mm) - half_gap, 0.0)
    return max(length_mm - half_gap, clearances.kerf_mm + uncertainty_mm - kept_by_region)


def _room(spot: Spot, clearances: Clearances, uncertainty_mm: float) -> Polygon | None:
    radius = _room_radius(spot.length_mm, clearances, uncertainty_mm)
    if radius <= 0.0:
        return None
    neck = max(clearances.kerf_mm - clearances.gap_mm / 2, _NECK_MM)
    rims = [
        shapely.Point(at).buffer(size / math.cos(math.pi / (4 * _ROOM_STEPS)), quad_segs=_ROOM_STEPS)
        for at, size in ((spot.pierce, radius), (spot.contact, neck))
    ]
    hull = shapely.union_all(rims).convex_hull
    assert isinstance(hull, Polygon)
    return hull


def _middle(contour: Contour) -> Point:
    x0, y0, x1, y1 = contour.polygon(PLACING_CHORD_MM, "midway").bounds
    return ((x0 + x1) / 2, (y0 + y1) / 2)


def _contour_name(index: int) -> str:
    return "outside contour" if index == 0 else f"inside contour {index}"
