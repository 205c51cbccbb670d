"""Holes and keep-outs that do not lie on the plate they were measured on: a slip of one figure, most likely."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NoReturn

import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from nesting.errors import InputError
from nesting.outline.rings import LEAST_AREA_MM2
from nesting.tolerances import JOIN_SILENT_MM

Kind = Literal["outline", "hole", "keep-out", "clamp"]


@dataclass(frozen=True, kw_only=True)
class Placed:
    """The area of a contour, of which kind it is, and where it was read: file, line and kind in words."""

    kind: Kind
    where: str
    area: Polygon | MultiPolygon


def warn_of_misplaced(found: Sequence[Placed], uncertainty_mm: float) -> list[str]:
    """Return a warning for each two holes that overlap and for each keep-out that misses the plate.

    Raise `InputError` for a hole that reaches beyond the outline by more than the uncertainty.
    """
    # Chords of two arcs that touch may cross by their error.
    doubt = max(uncertainty_mm, JOIN_SILENT_MM)
    (outline,) = (p.area for p in found if p.kind == "outline")
    holes = [p for p in found if p.kind == "hole"]
    reach = outline.buffer(doubt)
    shapely.prepare(reach)
    for hole in holes:
        if not reach.covers(hole.area):
            _refuse(hole, outline)
    steel = outline.difference(shapely.union_all([h.area for h in holes]))
    kept_out = [p for p in found if p.kind in ("keep-out", "clamp")]
    return [*_overlapping(holes), *(_missing(p) for p in kept_out if p.area.distance(steel) > doubt)]


def _refuse(hole: Placed, outline: Polygon | MultiPolygon) -> NoReturn:
    if not hole.area.intersects(outline):
        raise InputError(
            f"{hole.where}: lies outside of the outline, about {_at(hole.area)}; check the figures of the hole and of "
            "the outline"
        )
    corners = shapely.points(shapely.get_coordinates(hole.area))
    away = shapely.distance(outline, corners)
    farthest = corners[int(away.argmax())]
    raise InputError(
        f"{hole.where}: reaches {away.max():.1f} mm beyond the outline at {_at(farthest)}; measure a cut-out across "
        "the edge as part of the outline, or check the figures"
    )


def _overlapping(holes: Sequence[Placed]) -> list[str]:
    areas = [h.area for h in holes]
    pairs = shapely.STRtree(areas).query(areas, predicate="intersects").T.tolist() if areas else []
    told = []
    for i, j in sorted((i, j) for i, j in pairs if i < j):
        common = areas[i].intersection(areas[j])
        if common.area >= LEAST_AREA_MM2:
            told.append(
                f"{holes[j].where}: overlaps {holes[i].where} about {_at(common)}, and the area told leaves that out "
                "twice; give one hole if they are one"
            )
    return told


def _missing(kept_out: Placed) -> str:
    return f"{kept_out.where}: no part of it lies on the plate, it is about {_at(kept_out.area)}; check its figures"


def _at(shape: BaseGeometry) -> str:
    point = shape.representative_point()
    return f"({point.x:.1f}, {point.y:.1f}) mm"
