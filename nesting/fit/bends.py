"""Bends: whether the radius is large enough, and, once parts lie on a plate, how bends run to its grain."""

import math
from collections.abc import Iterator

from nesting.fit.finding import Cutting, FitFinding, at, mm
from nesting.geometry.curves import Line
from nesting.geometry.pose import Point
from nesting.layout import Layout, Placement
from nesting.part import Part
from nesting.plate import Plate
from nesting.tables import material_of
from nesting.tables.limits import bend_radius
from nesting.tolerances import FIT_MM

ALONG_DEG = 45.0
"""A bend line nearer to the grain than this runs along it; common practice, no source."""

_ALONG_SOURCE = (
    "bends along the rolling direction crack sooner (ASTM A6 appendix X4); 45 degrees: common practice, no source"
)


def bend_findings(part: Part, cutting: Cutting) -> Iterator[FitFinding]:
    """Compare the radius that was said with the least in print; across the grain before, along it after."""
    radius, thickness = part.bend_radius_mm, cutting.thickness_mm
    lines = bend_lines(part)
    if radius is None or thickness is None or cutting.material is None or not lines:
        return
    least = bend_radius(cutting.material)
    if least is None:
        return
    places = tuple(_middle(line) for line in lines)
    across, along = least.across_thicknesses * thickness, least.along_thicknesses * thickness
    if radius >= along - FIT_MM:
        return
    under = radius < across - FIT_MM
    limit = across if under else along
    how = "in any direction" if under else "along the grain, so that the part must lie across it"
    yield FitFinding(
        part_id=part.id,
        kind="tight bend",
        severity="warning" if under else "note",
        message=f"bends of radius {mm(radius)}{at(places)} in {cutting.plate} may crack {how}: "
        f"{mm(across)} is wanted across the grain, {mm(along)} along it",
        places=places,
        value_mm=radius,
        limit_mm=round(limit, 3),
        source=f"{least.source}; material {cutting.sources.get('material', cutting.material)}",
        question=f"The bends are to have an inside radius of {mm(radius)}. In {cutting.plate} of {cutting.material} "
        f"the least in print is {mm(across)} with the bend across the grain and {mm(along)} along it. May the radius "
        "be larger, or which direction must the grain run?",
    )


def bend_lines(part: Part) -> list[Line]:
    """Return the straight bend lines of a part."""
    marks = [m.curve for m in part.marks if m.kind == "bend"]
    return [piece for curve in marks for piece in curve.pieces if isinstance(piece, Line) and piece.length_mm > FIT_MM]


def grain_findings(layout: Layout) -> tuple[FitFinding, ...]:
    """Look at every bend line of every placed part against the plate's grain, one finding a part."""
    found = []
    for part in layout.parts.values():
        placed = [p for p in layout.placements if p.part_id == part.id]
        lines = bend_lines(part)
        if not placed or not lines:
            continue
        least = _least_along(part, layout.plate)
        limit = None if least is None else least[0]
        if limit is not None and part.bend_radius_mm is not None and part.bend_radius_mm >= limit - FIT_MM:
            continue  # wide enough for any direction
        if layout.plate.grain_deg is None:
            found.append(_unknown(part, lines, limit))
        else:
            found += _along(part, lines, placed, layout.plate.grain_deg, least)
    return tuple(found)


def _least_along(part: Part, plate: Plate) -> tuple[float, str] | None:
    """Return the least inside radius of a bend along the grain and its source; None where the table has none."""
    material = material_of(part.grade or plate.grade)
    least = None if material is None else bend_radius(material)
    if least is None or plate.thickness_mm is None:
        return None
    return round(least.along_thicknesses * plate.thickness_mm, 3), least.source


def off_grain_deg(line: Line, placement: Placement, grain_deg: float) -> float:
    """Return the angle between a bend line, where it is placed, and the grain, 0 to 90."""
    run = placement.pose.vector((line.end[0] - line.start[0], line.end[1] - line.start[1]))
    apart = abs(math.degrees(math.atan2(run[1], run[0])) - grain_deg) % 180.0
    return min(apart, 180.0 - apart)


def _along(
    part: Part, lines: list[Line], placed: list[Placement], grain: float, least: tuple[float, str] | None
) -> list[FitFinding]:
    limit = None if least is None else least[0]
    hits = [(off_grain_deg(line, p, grain), p.number, line) for p in placed for line in lines]
    bad = sorted((h for h in hits if h[0] < ALONG_DEG - 1e-6), key=lambda h: h[:2])
    if not bad:
        return []
    numbers = sorted({number for _, number, _ in bad})
    places = tuple(dict.fromkeys(_middle(line) for _, _, line in bad))
    listed = ", ".join(map(str, numbers[:12])) + (f" and {len(numbers) - 12} more" if len(numbers) > 12 else "")
    wanted = "" if limit is None else f"; along it the inside radius should be {mm(limit)} at least"
    return [
        FitFinding(
            part_id=part.id,
            kind="bend along the grain",
            severity="warning",
            message=f"pieces {listed} lie with a bend line only {bad[0][0]:.0f} degrees off the plate's grain"
            f"{wanted}; give turns that lay the bend across it",
            places=places,
            value_mm=part.bend_radius_mm,
            limit_mm=limit,
            source=_ALONG_SOURCE if least is None else f"{least[1]}; 45 degrees: common practice, no source",
            question=f"On our plate a bend line lies only {bad[0][0]:.0f} degrees off the rolling direction, along "
            f"which steel cracks sooner{wanted}. Is that good enough, or must the bend lie across the grain?",
        )
    ]


def _unknown(part: Part, lines: list[Line], limit: float | None) -> FitFinding:
    return FitFinding(
        part_id=part.id,
        kind="grain not known",
        severity="warning",
        message="the part has bend lines and the plate's grain is not known: the bends may run along it and crack",
        places=tuple(_middle(line) for line in lines),
        value_mm=part.bend_radius_mm,
        limit_mm=limit,
        source="a leftover has lost the mill's direction: common practice, no source",
        question="The plate we would cut this from is a leftover whose rolling direction is not known. Are the bends "
        "wide enough for any direction, or must the rolling direction be certain?",
    )


def _middle(line: Line) -> Point:
    return ((line.start[0] + line.end[0]) / 2, (line.start[1] + line.end[1]) / 2)
