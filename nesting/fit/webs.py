"""Webs, tongues and points too thin to survive the cut, and gaps that the cut does not go into."""

import math
from collections.abc import Iterator
from typing import TypeAlias

from nesting.fit.finding import Cutting, FitFinding, at, mm
from nesting.geometry.facing import edges_of, facing, narrowest, sharp_points
from nesting.geometry.pose import Point
from nesting.part import Part
from nesting.tables.limits import fit_limit
from nesting.tolerances import FIT_MM

Tip: TypeAlias = tuple[Point, float]
"""Place and angle in degrees."""


def web_findings(part: Part, cutting: Cutting) -> Iterator[FitFinding]:
    """Look for thin metal between contours and within one, for points, and for gaps under the kerf."""
    edges = edges_of(part.outer, part.holes)
    limit = fit_limit("web", cutting.process, thickness_mm=cutting.thickness_mm, kerf_mm=cutting.kerf_mm)
    if limit is not None:
        reach = limit.value_mm - FIT_MM
        tips = [tip for tip in sharp_points(edges) if _long_enough(tip[1], limit.value_mm)]
        narrow = narrowest(facing(edges, reach, "metal"), limit.value_mm)
        thin = [n for n in narrow if _clear(n.at, tips, limit.value_mm)]
        if thin:
            places, width = tuple(n.at for n in thin), round(thin[0].width_mm, 2)
            yield FitFinding(
                part_id=part.id,
                kind="thin web",
                severity="warning",
                message=f"only {mm(width)} of metal{at(places)}: {mm(limit.value_mm)} is wanted at least for "
                f"{cutting.process}, thinner webs warp, burn through or break",
                places=places,
                value_mm=width,
                limit_mm=limit.value_mm,
                source=limit.source,
                question=f"At this place only {mm(width)} of metal are left; with {cutting.process} we need "
                f"{mm(limit.value_mm)} for it to stand. May it be wider, or may it be left away?",
            )
        if tips:
            yield _point(part, cutting, tips)
    yield from _uncut(part, cutting)


def _long_enough(angle_deg: float, limit_mm: float) -> bool:
    """A tip is told of if it is thinner than the limit over more than twice the limit."""
    return limit_mm / (2 * math.tan(math.radians(angle_deg) / 2)) > 2 * limit_mm


def _clear(place: Point, tips: list[Tip], limit: float) -> bool:
    """True away from all tips, which are thin on their way and are told of as tips."""
    reaches = [(tip, 1.1 * limit / (2 * math.sin(math.radians(max(angle, 0.5)) / 2))) for tip, angle in tips]
    return all(math.dist(place, tip) > reach for tip, reach in reaches)


def _point(part: Part, cutting: Cutting, tips: list[Tip]) -> FitFinding:
    places = tuple(tip for tip, _ in tips)
    return FitFinding(
        part_id=part.id,
        kind="sharp point",
        severity="warning",
        message=f"the metal runs out to a point of {tips[0][1]:.0f} degrees{at(places)}: the tip will burn away, "
        "and a finished one cuts hands",
        places=places,
        value_mm=None,
        limit_mm=None,
        source="geometry; 30 degrees: common practice, no source",
        question=f"The outline runs out to a point of {tips[0][1]:.0f} degrees. Its tip burns away when cut by "
        f"{cutting.process}, and what is left is sharp. May we round it or cut it off?",
    )


def _uncut(part: Part, cutting: Cutting) -> Iterator[FitFinding]:
    kerf = cutting.kerf_mm
    if kerf is None:
        return
    found = narrowest(facing(edges_of(part.outer, part.holes), kerf - FIT_MM, "waste"), 2 * kerf)
    if found:
        places, width = tuple(n.at for n in found), round(found[0].width_mm, 2)
        yield FitFinding(
            part_id=part.id,
            kind="narrower than the cut",
            severity="warning",
            message=f"an opening only {mm(width)} wide{at(places)} is narrower than the kerf of {mm(kerf)}: "
            "it cannot be cut as drawn",
            places=places,
            value_mm=width,
            limit_mm=kerf,
            source=f"geometry; kerf {cutting.sources.get('kerf_mm', 'as given')}",
            question=f"This opening is {mm(width)} wide and our cut is {mm(kerf)} wide, so that it cannot be cut as "
            "drawn. May it be wider, or is one cut along its middle what is meant?",
        )
