"""Distances between placed parts, and from them to everything on the plate they must keep away from.

Curves are flattened so that parts and obstacles only grow, by at most `FINE_CHORD_MM` each: a distance found
is never more than the true one, and at most `CHECK_MM` less.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from nesting.checking.findings import CheckFinding, Closest, Kind, Piece
from nesting.clearances import Clearances
from nesting.geometry.contour import Contour, region
from nesting.geometry.pose import Point, Pose
from nesting.plate import Plate
from nesting.tolerances import CHECK_MM, FINE_CHORD_MM

COARSE_CHORD_MM: Final = 0.05
"""Enough to dismiss what lies far apart; everything nearer is measured again at `FINE_CHORD_MM`."""

_COARSE_DOUBT_MM: Final = 4 * COARSE_CHORD_MM

Area: TypeAlias = Polygon | MultiPolygon
Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Shape:
    """A part's contours with their polygons, flattened once however often the part is placed."""

    outer: Contour
    holes: tuple[Contour, ...]

    @cached_property
    def coarse(self) -> Area:
        """The part and at most `COARSE_CHORD_MM` more."""
        return region(self.outer, self.holes, COARSE_CHORD_MM, "outward")

    @cached_property
    def fine(self) -> Area:
        """The part and at most `FINE_CHORD_MM` more."""
        return region(self.outer, self.holes, FINE_CHORD_MM, "outward")


@dataclass(frozen=True, eq=False)
class Body:
    """A part in its place."""

    name: str
    shape: Shape
    pose: Pose
    number: int | None

    @cached_property
    def coarse(self) -> Area:
        """Coarse polygon in its place."""
        return self.pose.geometry(self.shape.coarse)

    @cached_property
    def fine(self) -> Area:
        """Fine polygon in its place."""
        return self.pose.geometry(self.shape.fine)

    @cached_property
    def piece(self) -> Piece:
        """The name to use in findings."""
        middle = self.coarse.representative_point()
        return Piece(number=self.number, name=self.name, place=(middle.x, middle.y))


@dataclass(frozen=True, eq=False)
class Obstacle:
    """What parts must keep the margin from, coarse and fine; never less than it truly is."""

    name: str
    coarse: Area
    fine: Area


@dataclass(frozen=True)
class Measured:
    """One distance between two solids, negative where they overlap."""

    distance_mm: float
    place: Point
    overlap_mm2: float = 0.0


def check_gaps(bodies: Sequence[Body], gap_mm: float) -> tuple[list[CheckFinding], Closest | None]:
    """Measure every pair that could be too near, and the closest pair whatever its distance."""
    findings: list[CheckFinding] = []
    worst: Closest | None = None
    for coarse_mm, i, j in _near_pairs(bodies, gap_mm):
        if _settled(coarse_mm, gap_mm, worst):
            break
        a, b = sorted((bodies[i], bodies[j]), key=lambda body: body.number or 0)
        found = _measure(a.fine, b.fine, coarse_mm)
        if worst is None or found.distance_mm < worst.found_mm:
            worst = _closest((a.piece, b.piece), str(b.piece), found, gap_mm)
        if not found.distance_mm >= gap_mm - CHECK_MM:
            findings.append(_finding("gap", "overlap", (a.piece, b.piece), str(b.piece), found, gap_mm))
    return findings, worst


def check_margins(
    bodies: Sequence[Body], plate: Plate, clearances: Clearances
) -> tuple[list[CheckFinding], Closest | None]:
    """Measure every part against the plate's edge, its holes and its keep-outs."""
    findings: list[CheckFinding] = []
    worst: Closest | None = None
    if not bodies:
        return findings, worst
    needed_mm = clearances.edge_mm(plate.uncertainty_mm)
    for coarse_mm, body, obstacle in _near_obstacles(bodies, plate, needed_mm):
        if _settled(coarse_mm, needed_mm, worst):
            break
        found = _measure(obstacle.fine, body.fine, coarse_mm)
        if worst is None or found.distance_mm < worst.found_mm:
            worst = _closest((body.piece,), obstacle.name, found, needed_mm)
        if not found.distance_mm >= needed_mm - CHECK_MM:
            findings.append(_finding("margin", "outside", (body.piece,), obstacle.name, found, needed_mm))
    return findings, worst


def _near_pairs(bodies: Sequence[Body], gap_mm: float) -> list[tuple[float, int, int]]:
    """Return coarse distance and indices of the pairs nearer than the gap and of the closest, in order."""
    polygons = np.array([b.coarse for b in bodies], dtype=object)
    if len(bodies) < 2:
        return []
    tree, bounds = shapely.STRtree(polygons), shapely.bounds(polygons)
    for reach in _reaches(bounds, gap_mm):
        boxes = shapely.box(*(bounds + np.array([-reach, -reach, reach, reach])).T)
        pairs = ((int(i), int(j)) for i, j in tree.query(boxes).T if i < j)
        found = [(_way(polygons[i], polygons[j], reach), i, j) for i, j in pairs]
        near = sorted((way[0], i, j) for way, i, j in found if way)
        if near:
            break
    return near


def _near_obstacles(bodies: Sequence[Body], plate: Plate, needed_mm: float) -> list[tuple[float, Body, Obstacle]]:
    """Return coarse distances of all parts too near to an obstacle and of the closest one, nearest first."""
    obstacles = _obstacles(plate, bodies)
    for reach in _reaches(shapely.bounds([o.coarse for o in obstacles]), needed_mm):
        found = [(_way(o.coarse, b.coarse, reach), b, o) for o in obstacles for b in bodies]
        near = [(way[0], b, o) for way, b, o in found if way]
        if near:
            break
    return sorted(near, key=lambda entry: entry[0])


def _reaches(bounds: Floats, needed_mm: float) -> Iterator[float]:
    """Yield how far to look, from just beyond what is needed to everything."""
    whole = float(np.hypot(*(bounds[:, 2:].max(axis=0) - bounds[:, :2].min(axis=0))))
    reach = needed_mm + 1.0
    while reach < whole:
        yield reach
        reach *= 4.0
    yield max(reach, whole) + 1.0


def _settled(coarse_mm: float, needed_mm: float, worst: Closest | None) -> bool:
    """Tell whether this coarse distance, which is never too long, is enough and cannot be the shortest."""
    return worst is not None and coarse_mm >= max(needed_mm, worst.found_mm) - CHECK_MM


def _obstacles(plate: Plate, bodies: Sequence[Body]) -> list[Obstacle]:
    named = [(f"plate hole {i}", hole) for i, hole in enumerate(plate.holes, 1)]
    for i, keep_out in enumerate(plate.keep_outs, 1):
        reason = f" ({keep_out.reason})" if keep_out.reason else ""
        named.append((f"keep-out {i}{reason}", keep_out.contour))
    solid = [
        Obstacle(name, c.polygon(COARSE_CHORD_MM, "outward"), c.polygon(FINE_CHORD_MM, "outward")) for name, c in named
    ]
    bounds = [b.coarse.bounds for b in bodies] + [plate.outer.polygon(COARSE_CHORD_MM, "outward").bounds]
    low, high = np.min(bounds, axis=0)[:2] - 1.0, np.max(bounds, axis=0)[2:] + 1.0
    inside = [plate.outer.polygon(chord, "inward") for chord in (COARSE_CHORD_MM, FINE_CHORD_MM)]
    coarse, fine = (shapely.box(*low, *high).difference(polygon) for polygon in inside)
    return [Obstacle("the plate's edge", coarse, fine), *solid]


def _way(a: Area, b: Area, reach_mm: float) -> tuple[float, Point] | None:
    """Return length and middle of the shortest way between two solids, 0 where they meet; None beyond reach.

    Only edges within reach of the other's box are looked at; the rest would make this many times slower.
    """
    low, high = np.array([a.bounds, b.bounds]).reshape(2, 2, 2).transpose(1, 0, 2)
    one_in_other = (low[0] <= low[1]).all() and (high[1] <= high[0]).all()
    other_in_one = (low[1] <= low[0]).all() and (high[0] <= high[1]).all()
    if (one_in_other or other_in_one) and shapely.intersects(a, b):
        return 0.0, (float("nan"), float("nan"))
    window = (*(low.max(axis=0) - reach_mm), *(high.min(axis=0) + reach_mm))
    if window[0] >= window[2] or window[1] >= window[3]:
        return None
    way = shapely.shortest_line(*(shapely.clip_by_rect(solid.boundary, *window) for solid in (a, b)))
    if way is None or way.length > reach_mm:
        return None
    middle = way.interpolate(0.5, normalized=True)
    return way.length, (middle.x, middle.y)


def _measure(a: Area, b: Area, coarse_mm: float) -> Measured:
    way = _way(a, b, coarse_mm + _COARSE_DOUBT_MM) or _way(a, b, 1e9)
    if way and way[0] > 0.0:
        return Measured(*way)
    common = shapely.intersection(_valid(a), _valid(b))
    areas = [g for g in shapely.get_parts(common) if g.area > 0.0]
    if not areas:
        # Edges that meet within rounding may have nothing in common.
        touch = (shapely.shortest_line(a, b) if common.is_empty else common).representative_point()
        return Measured(0.0, (touch.x, touch.y))
    deepest = max(areas, key=lambda g: _depth(g, a, b))
    place = deepest.representative_point()
    return Measured(-_depth(deepest, a, b), (place.x, place.y), float(common.area))


def _depth(common: Polygon, a: Area, b: Area) -> float:
    """How far two solids reach into each other, within a factor of two.

    The first figure tells how deep corners go; the second is the width of a long sliver, and also catches
    overlaps whose corners all lie on both edges.
    """
    corners = shapely.points(shapely.get_coordinates(common))
    reach = max(shapely.distance(corners, solid.boundary).max() for solid in (a, b))
    return float(max(reach, 2.0 * common.area / common.length))


def _valid(area: Area) -> Area:
    """Turning moves corners by rounding, which can make a needle of a polygon cross itself."""
    return area if area.is_valid else shapely.make_valid(area)


def _closest(pieces: tuple[Piece, ...], against: str, found: Measured, needed_mm: float) -> Closest:
    return Closest(pieces=pieces, against=against, place=found.place, found_mm=found.distance_mm, needed_mm=needed_mm)


def _finding(
    apart: Kind, over: Kind, pieces: tuple[Piece, ...], against: str, found: Measured, needed_mm: float
) -> CheckFinding:
    at = f"at ({found.place[0]:.2f}, {found.place[1]:.2f}) mm"
    touches = found.distance_mm <= 0.0
    if touches and found.overlap_mm2 > 0.0:
        tale = f"overlap by {found.overlap_mm2:.4g} mm2, {-found.distance_mm:.4g} mm deep, {at}"
    else:
        tale = f"are {found.distance_mm:.4f} mm apart {at}"
    return CheckFinding(
        kind=over if touches else apart,
        message=f"{pieces[0]} and {against} {tale}; needed {needed_mm:g} mm",
        pieces=pieces,
        place=found.place,
        found_mm=found.distance_mm,
        needed_mm=needed_mm,
        overlap_mm2=found.overlap_mm2 or None,
    )
