"""Outlines with few corners that lie inside given ones: doubt shrinks the plate."""

from typing import Final

import shapely
from shapely.geometry import MultiPolygon, Polygon

from nesting.geometry.contour import Contour
from nesting.geometry.pose import Point

SIMPLER_MM: Final = 0.2
"""Leftover outlines are drawn so much inside their true edge at most, for the sake of fewer corners."""

_SQUARE_MITRE: Final = 1.4143


def simpler_inside(area: Polygon | MultiPolygon, tolerance_mm: float) -> Polygon:
    """Return the largest piece of an area with few corners, inside the area and within `tolerance_mm` of its edge.

    Square corners stay; sharper ones lose a bit more than that at their tip.  Empty where nothing is left.
    """
    shrunk = area.buffer(-tolerance_mm / 2, join_style="mitre", mitre_limit=_SQUARE_MITRE)
    # Every new edge stays within half the tolerance of the shrunk one, so that none leaves the area.
    plain = shrunk.simplify(tolerance_mm / 2, preserve_topology=True).intersection(area)
    pieces = [p for p in shapely.get_parts(plain) if isinstance(p, Polygon)]
    return max(pieces, key=lambda p: p.area, default=Polygon())


def contours_of(polygon: Polygon, least_hole_mm2: float = 1.0) -> tuple[Contour, tuple[Contour, ...]]:
    """Return edge and holes of a polygon; holes of hardly any area are closed up."""
    holes = [Polygon(r) for r in polygon.interiors if Polygon(r).area >= least_hole_mm2]
    return Contour.of_points(_corners(polygon)), tuple(Contour.of_points(_corners(h)) for h in holes)


def _corners(polygon: Polygon) -> list[Point]:
    return [(float(x), float(y)) for x, y in polygon.exterior.coords[:-1]]
