"""Outlines with few corners that lie inside given ones: doubt shrinks the plate."""

from collections.abc import Sequence
from typing import Final

import shapely
from shapely.geometry import MultiPolygon, Polygon

from nesting.geometry.contour import Contour
from nesting.geometry.pose import Point
from nesting.plate import KeepOut
from nesting.tolerances import FINE_CHORD_MM

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


def pieces_of(area: Polygon | MultiPolygon, narrowest_mm: float) -> list[Polygon]:
    """Return the pieces of an area once everything narrower than so much has come off, drawn inside, largest first."""
    half = narrowest_mm / 2
    wide = area.buffer(-half).buffer(half, join_style="mitre", mitre_limit=_SQUARE_MITRE).intersection(area)
    inside = [simpler_inside(p, SIMPLER_MM) for p in shapely.get_parts(wide) if isinstance(p, Polygon)]
    return sorted((p for p in inside if not p.is_empty), key=lambda p: -p.area)


def contours_of(polygon: Polygon, least_hole_mm2: float = 1.0) -> tuple[Contour, tuple[Contour, ...]]:
    """Return edge and holes of a polygon; holes of hardly any area are closed up."""
    holes = [Polygon(r) for r in polygon.interiors if Polygon(r).area >= least_hole_mm2]
    return Contour.of_points(_corners(polygon)), tuple(Contour.of_points(_corners(h)) for h in holes)


def _corners(polygon: Polygon) -> list[Point]:
    return [(float(x), float(y)) for x, y in polygon.exterior.coords[:-1]]


def carried(keep_outs: Sequence[KeepOut], inside: Polygon) -> tuple[KeepOut, ...]:
    """Rust and old pierces go with the piece they lie on; clamps were the machine's."""
    stays = [k for k in keep_outs if k.kind == "no part"]
    return tuple(k for k in stays if inside.intersects(k.contour.polygon(FINE_CHORD_MM, "outward")))
