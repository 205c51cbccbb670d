"""The free rest of a plate: what is left for more parts beside those laid out."""

from collections.abc import Mapping, Sequence
from typing import Final

import shapely
from shapely.geometry import MultiPolygon, Polygon

from nesting.clearances import Clearances
from nesting.geometry.largest import largest_circle, largest_rectangle
from nesting.layout import FreeRest, Placement
from nesting.part import Part
from nesting.plate import Plate
from nesting.tolerances import PLACING_CHORD_MM

_MITRE: Final = 1.5
"""Enough for square corners to stay square."""


def free_rest(
    plate: Plate, parts: Mapping[str, Part], placements: Sequence[Placement], clearances: Clearances
) -> Polygon | MultiPolygon:
    """Return the plate less its holes and keep-outs, less the parts and the gap round them; never more than that."""
    gap = clearances.gap_mm
    used = {p.part_id for p in placements}
    grown = {i: parts[i].placing_polygon.buffer(gap, join_style="mitre", mitre_limit=_MITRE) for i in used}
    taken = shapely.union_all([p.pose.geometry(grown[p.part_id]) for p in placements])
    rest = plate.usable_polygon(PLACING_CHORD_MM).difference(taken)
    return rest if isinstance(rest, Polygon | MultiPolygon) else Polygon()


def measured(rest: Polygon | MultiPolygon) -> FreeRest:
    """Return area, largest circle and largest rectangle of a free rest."""
    if rest.area <= 0.0:
        return FreeRest(area_mm2=0.0, circle_diameter_mm=0.0, rectangle_mm=(0.0, 0.0))
    _, radius = largest_circle(rest)
    box = largest_rectangle(rest)
    return FreeRest(
        area_mm2=float(rest.area), circle_diameter_mm=2 * radius, rectangle_mm=(box.width_mm, box.height_mm)
    )
