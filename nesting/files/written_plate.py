"""A plate written in a job by corners or sizes, and what a job adds to one that was drawn."""

from dataclasses import replace

import shapely
from shapely.geometry import Polygon
from shapely.validation import explain_validity

from nesting.errors import JobError
from nesting.files.job import PlateEntry
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Polyline
from nesting.plate import KeepOut, Plate
from nesting.tolerances import FINE_CHORD_MM

NO_AREA_MM2 = 1e-6


def written_plate(entry: PlateEntry) -> Plate:
    """Return the plate of an entry with corners, or with width and height."""
    return Plate(name="plate", outer=_outline(entry), captured=_captured(entry))


def completed(plate: Plate, entry: PlateEntry) -> Plate:
    """Return the plate with what the job says of it."""
    plate = replace(
        plate,
        name=entry.name or plate.name,
        holes=(*plate.holes, *(_ring(c, f"plate.holes.{i + 1}") for i, c in enumerate(entry.holes))),
        keep_outs=(*plate.keep_outs, *_keep_outs(entry)),
        thickness_mm=entry.thickness or plate.thickness_mm,
        grade=entry.grade or plate.grade,
        heat=entry.heat or plate.heat,
        certificate=entry.certificate or plate.certificate,
        grain_deg=plate.grain_deg if entry.grain is None else entry.grain,
        uncertainty_mm=plate.uncertainty_mm if entry.uncertainty is None else entry.uncertainty,
        parent=entry.parent or plate.parent,
        place=entry.place or plate.place,
    )
    _refuse_stray_holes(plate)
    return plate


def _outline(entry: PlateEntry) -> Contour:
    if entry.corners is not None:
        return _ring(entry.corners, "plate.corners")
    assert entry.width is not None and entry.height is not None  # the entry refuses anything else
    return Contour.of_rectangle(entry.width, entry.height)


def _captured(entry: PlateEntry) -> str:
    return "corners in the job" if entry.corners is not None else "width and height in the job"


def _keep_outs(entry: PlateEntry) -> tuple[KeepOut, ...]:
    return tuple(
        KeepOut(contour=_ring(k.corners, f"plate.keep_outs.{i + 1}"), kind=k.kind, reason=k.reason)
        for i, k in enumerate(entry.keep_outs)
    )


def _ring(corners: tuple[tuple[float, float, float], ...], key: str) -> Contour:
    """Return the contour through corners with bulges; raise `JobError` where it bounds no plain area."""
    # Many write the first corner again at the end; a corner written twice makes no edge either.
    before = (corners[-1], *corners[:-1])
    corners = tuple(c for c, b in zip(corners, before, strict=True) if c[:2] != b[:2])
    bent = any(bulge for _, _, bulge in corners)
    if len(corners) < (2 if bent else 3):
        raise JobError(f"{key}: a closed outline needs at least three corners, got {len(corners)}")
    if bent:
        contour = Contour(curves=(Polyline(vertices=corners, is_closed=True),))
    else:
        contour = Contour.of_points([(x, y) for x, y, _ in corners])
    # An arc's own end is off by rounding and may lie beyond the tangent edge that follows: the next start stands in.
    drawn = Polygon([p for piece in contour.pieces for p in piece.points(FINE_CHORD_MM)[:-1]])
    if not drawn.is_valid or contour.area_mm2 < NO_AREA_MM2:
        why = explain_validity(drawn) if not drawn.is_valid else "no area"
        raise JobError(f"{key}: the corners bound no plain area ({why}); give them in order around the edge")
    return contour


def _refuse_stray_holes(plate: Plate) -> None:
    outline = plate.outer.polygon(FINE_CHORD_MM, "midway")
    rings = [hole.polygon(FINE_CHORD_MM, "midway") for hole in plate.holes]
    for i, ring in enumerate(rings):
        if not shapely.covers(outline, ring):
            raise JobError(
                f"{plate.name}: the hole at {_place(ring)} reaches outside the plate; draw the outline round it"
            )
        for other in rings[:i]:
            if shapely.intersection(ring, other).area > NO_AREA_MM2:
                raise JobError(f"{plate.name}: two holes overlap at {_place(ring)}; draw them as one")


def _place(polygon: shapely.Geometry) -> str:
    point = polygon.representative_point()
    return f"({point.x:.1f}, {point.y:.1f}) mm"
