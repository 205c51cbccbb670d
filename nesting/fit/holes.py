"""Holes too small to come out round, holes too close together, and inside cuts that nothing can pierce."""

import math
from collections.abc import Iterator

import shapely
from shapely.geometry import Polygon

from nesting.fit.finding import SHOP_SOURCE, Cutting, FitFinding, at, mm
from nesting.fit.openings import openings_of, round_hole
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Point
from nesting.part import Part
from nesting.tables.limits import Limit, fit_limit, pierce_limit
from nesting.tolerances import FIT_MM


def hole_findings(part: Part, cutting: Cutting) -> Iterator[FitFinding]:
    """Look at the size of all holes, at the metal between round ones, and at the pierce limit."""
    yield from _small(part, cutting)
    yield from _close(part, cutting)
    yield from _pierce(part, cutting)


def hole_limit(cutting: Cutting) -> Limit | None:
    """Return the smallest hole that comes out well, by the shop's own word or the table, one kerf at least."""
    if cutting.least_hole_thicknesses is not None and cutting.thickness_mm is not None:
        limit = Limit(
            value_mm=cutting.least_hole_thicknesses * cutting.thickness_mm,
            source=f"{SHOP_SOURCE}, {cutting.least_hole_thicknesses:g} x thickness",
        )
    else:
        found = fit_limit("hole", cutting.process, thickness_mm=cutting.thickness_mm, kerf_mm=cutting.kerf_mm)
        if found is None:
            return None
        limit = found
    if cutting.kerf_mm is not None and limit.value_mm < cutting.kerf_mm:
        return Limit(value_mm=cutting.kerf_mm, source="geometry: nothing narrower than the cut can be cut")
    return limit


def _small(part: Part, cutting: Cutting) -> Iterator[FitFinding]:
    limit = hole_limit(cutting)
    if limit is None:
        return
    by_size: dict[float, list[Point]] = {}
    for hole in openings_of(part, limit.value_mm).holes:
        if hole.width_mm < limit.value_mm - FIT_MM:
            by_size.setdefault(round(hole.width_mm, 2), []).append(hole.at)
    for size, found in sorted(by_size.items()):
        places = tuple(found)
        what, asked = (f"{len(places)} holes",) * 2 if len(places) > 1 else ("hole", "a hole")
        yield FitFinding(
            part_id=part.id,
            kind="small hole",
            severity="warning",
            message=f"{what} of {mm(size)}{at(places)}: {cutting.process} in {cutting.plate} wants "
            f"{mm(limit.value_mm)} at least; expect taper, or cut under size and drill",
            places=places,
            value_mm=size,
            limit_mm=limit.value_mm,
            source=limit.source,
            question=f"The drawing shows {asked} of {mm(size)}. In {cutting.plate} our {cutting.process} cut makes "
            f"clean holes from {mm(limit.value_mm)} on; smaller ones come out tapered. May the hole be larger, shall "
            "we mark its centre for drilling, or cut it under size and drill or ream it to size?",
        )


def _close(part: Part, cutting: Cutting) -> Iterator[FitFinding]:
    limit = fit_limit("hole distance", cutting.process, thickness_mm=cutting.thickness_mm, kerf_mm=cutting.kerf_mm)
    rounds = [r for r in map(round_hole, part.holes) if r is not None]
    if limit is None or len(rounds) < 2:
        return
    centers = shapely.points([c for c, _ in rounds])
    reach = limit.value_mm + max(d for _, d in rounds)
    found = []
    for a, b in shapely.STRtree(centers).query(centers, predicate="dwithin", distance=reach).T:
        if a < b:
            (p, d), (q, e) = rounds[a], rounds[b]
            between = math.dist(p, q) - (d + e) / 2
            if between < limit.value_mm - FIT_MM:
                share = (d / 2 + between / 2) / max(math.dist(p, q), FIT_MM)
                found.append((between, (p[0] + share * (q[0] - p[0]), p[1] + share * (q[1] - p[1]))))
    if found:
        found.sort()
        places = tuple(place for _, place in found)
        yield FitFinding(
            part_id=part.id,
            kind="holes close together",
            severity="warning",
            message=f"holes only {mm(found[0][0])} apart{at(places)}: {mm(limit.value_mm)} of metal is wanted between "
            f"holes in {cutting.plate}; the heat of one spoils the other",
            places=places,
            value_mm=round(found[0][0], 3),
            limit_mm=limit.value_mm,
            source=limit.source,
            question=f"Between two holes only {mm(found[0][0])} of metal are left; in {cutting.plate} we would like "
            f"{mm(limit.value_mm)}. May the holes be moved apart or made smaller, or shall we drill them instead?",
        )


def _pierce(part: Part, cutting: Cutting) -> Iterator[FitFinding]:
    thickness = cutting.thickness_mm
    if not part.holes or thickness is None:
        return
    if cutting.pierce_limit_mm is not None:
        limit: Limit | None = Limit(value_mm=cutting.pierce_limit_mm, source=SHOP_SOURCE)
    else:
        limit = pierce_limit(cutting.process, cutting.amps)
    if limit is None or thickness <= limit.value_mm + FIT_MM:
        return
    places = tuple(_middle(h) for h in part.holes)
    count = f"{len(places)} inside cuts" if len(places) > 1 else "an inside cut"
    yield FitFinding(
        part_id=part.id,
        kind="over the pierce limit",
        severity="warning",
        message=f"{count}{at(places)} in {cutting.plate}, which is over the pierce limit of {mm(limit.value_mm)}: "
        "start from a drilled hole",
        places=places,
        value_mm=thickness,
        limit_mm=limit.value_mm,
        source=limit.source,
        question=f"This part has {count} in {cutting.plate}, more than our torch pierces "
        f"({mm(limit.value_mm)}). May we drill a start hole inside each cut-out, or may holes be drilled altogether?",
    )


def _middle(hole: Contour) -> Point:
    found = round_hole(hole)
    if found is not None:
        return found[0]
    shape = hole.polygon(0.1, "midway")
    point = (shape if not shape.is_empty else Polygon()).representative_point()
    return hole.curves[0].start if point.is_empty else (float(point.x), float(point.y))
