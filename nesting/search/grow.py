"""Clearances taken once, before the search: parts grown, the plate shrunk, each a little more than asked, never less.

Corners are rounded as the true offset is, but with chords outside it: the exact offset lies between the mitred one and
a round one of slightly larger radius, so it lies inside what is common to both.
"""

import math

import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from nesting.search.coarse import outward

_QUARTER_STEPS = 3
_STRETCH = 1 / math.cos(math.pi / (4 * _QUARTER_STEPS))
_NEARLY = 1 - 1e-9
_FACTORS = (1.0, 1.015, 1.05, 1.2)
"""The library drops corners up to a hundredth of the distance before it offsets; where that shows, offset by more."""

_SAME_POINT_MM = 1e-9

THINNING_MM = 0.1
"""At most this is given away to drop vertices, and never more than a fiftieth of the gap."""


def grown(polygon: Polygon, distance_mm: float) -> Polygon:
    """Return a polygon that holds every point within `distance_mm` of the given one; holes too small vanish."""
    # Curves that follow one another share an end, which would count as a vertex saved when thinning drops it.
    polygon = shapely.remove_repeated_points(polygon, _SAME_POINT_MM)
    if distance_mm <= 0.0:
        return polygon
    base = outward(polygon, min(THINNING_MM, distance_mm / 25))
    for more in _FACTORS:
        found = _largest(_mitred(base, distance_mm * more).intersection(_rounded(base, distance_mm * more)))
        if found.boundary.distance(polygon) >= distance_mm * _NEARLY:
            break
    return found


def shrunk(polygon: Polygon | MultiPolygon, distance_mm: float) -> Polygon | MultiPolygon:
    """Return an area whose every point is at least `distance_mm` inside the given one; may be empty or in pieces.

    A distance below 0 moves the edges of a convex polygon out: what lies in there grown by as much and more lies in
    the polygon.  Of another shape that is not true, a hole could vanish, and it stays as it is.
    """
    if distance_mm < 0.0 and _is_convex(polygon):
        wider = _mitred(polygon, -distance_mm)
        assert isinstance(wider, Polygon)
        return wider
    if distance_mm <= 0.0:
        return polygon
    for more in _FACTORS:
        found = shapely.union(_mitred(polygon, -distance_mm * more), _rounded(polygon, -distance_mm * more))
        if found.is_empty or found.distance(polygon.boundary) >= distance_mm * _NEARLY:
            break
    return found if isinstance(found, Polygon | MultiPolygon) else Polygon()


def without_small_holes(polygon: Polygon, radius: float) -> Polygon:
    """Fill the holes that no circle of `radius` fits into: nothing can lie there, and they would only cost time."""
    holes = [
        ring
        for ring in polygon.interiors
        if shapely.maximum_inscribed_circle(Polygon(ring), tolerance=radius / 100).length >= radius
    ]
    return Polygon(polygon.exterior, holes)


def _is_convex(polygon: Polygon | MultiPolygon) -> bool:
    return isinstance(polygon, Polygon) and polygon.convex_hull.area - polygon.area <= 1e-12 * polygon.area


def _mitred(polygon: Polygon | MultiPolygon, distance: float) -> BaseGeometry:
    return polygon.buffer(distance, join_style="mitre", mitre_limit=1e4)


def _rounded(polygon: Polygon | MultiPolygon, distance: float) -> BaseGeometry:
    return polygon.buffer(distance * _STRETCH, quad_segs=_QUARTER_STEPS)


def _largest(geometry: BaseGeometry) -> Polygon:
    found = geometry if isinstance(geometry, Polygon) else max(geometry.geoms, key=lambda p: p.area)
    assert isinstance(found, Polygon)
    return found
