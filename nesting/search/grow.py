"""Clearances taken once, before the search: parts grown, the plate shrunk, each a little more than asked, never less.

Corners are rounded as the true offset is, but with chords outside it: the exact offset lies between the mitred one and
a round one of slightly larger radius, so it lies inside what is common to both.
"""

import math

import shapely
from shapely.geometry import MultiPolygon, Polygon

_QUARTER_STEPS = 3
_STRETCH = 1 / math.cos(math.pi / (4 * _QUARTER_STEPS))
THINNING_MM = 0.1
"""At most this is given away to drop vertices, and never more than a fiftieth of the gap."""


def grown(polygon: Polygon, distance_mm: float) -> Polygon:
    """Return a polygon that holds every point within `distance_mm` of the given one; holes too small vanish."""
    if distance_mm <= 0.0:
        return polygon
    base, reach = _thinned(polygon, distance_mm)
    mitred = base.buffer(reach, join_style="mitre", mitre_limit=10.0)
    rounded = base.buffer(reach * _STRETCH, quad_segs=_QUARTER_STEPS)
    both = mitred.intersection(rounded)
    return both if isinstance(both, Polygon) else max(both.geoms, key=lambda p: p.area)


def shrunk(polygon: Polygon | MultiPolygon, distance_mm: float) -> Polygon | MultiPolygon:
    """Return an area whose every point is at least `distance_mm` inside the given one; may be empty or in pieces."""
    if distance_mm <= 0.0:
        return polygon
    mitred = polygon.buffer(-distance_mm, join_style="mitre", mitre_limit=10.0)
    rounded = polygon.buffer(-distance_mm * _STRETCH, quad_segs=_QUARTER_STEPS)
    found = shapely.union(mitred, rounded)
    return found if isinstance(found, Polygon | MultiPolygon) else Polygon()


def without_small_holes(polygon: Polygon, radius: float) -> Polygon:
    """Fill the holes that no circle of `radius` fits into: nothing can lie there, and they would only cost time."""
    holes = [
        ring
        for ring in polygon.interiors
        if shapely.maximum_inscribed_circle(Polygon(ring), tolerance=radius / 100).length >= radius
    ]
    return Polygon(polygon.exterior, holes)


def _thinned(polygon: Polygon, distance_mm: float) -> tuple[Polygon, float]:
    """Return a plainer polygon and the distance to grow it by instead, if that saves a fifth of the vertices."""
    tolerance = min(THINNING_MM, distance_mm / 25)
    plain = polygon.simplify(tolerance)
    saves = shapely.get_num_coordinates(plain) < 0.8 * shapely.get_num_coordinates(polygon)
    if not saves or not isinstance(plain, Polygon) or not plain.is_valid or plain.is_empty:
        return polygon, distance_mm
    return plain, distance_mm + tolerance
