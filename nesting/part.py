"""A part as drawn: true contours for writing out, polygons for placing."""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from shapely.geometry import MultiPolygon, Polygon

from nesting.geometry.contour import Contour, region
from nesting.geometry.curves import Curve
from nesting.geometry.pose import Point, Pose
from nesting.tolerances import FINE_CHORD_MM, PLACING_CHORD_MM

MarkKind = Literal["bend", "etch", "centre", "text", "other"]


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A curve that rides along with a part and is never cut, such as a bend line."""

    kind: MarkKind
    curve: Curve


@dataclass(frozen=True, kw_only=True)
class TextMark:
    """A line of text that rides along with a part; `at` is the lower left end of its baseline."""

    text: str
    at: Point
    height_mm: float
    turn_deg: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Part:
    """One flat part in its own drawing's place, millimetres.

    `id` is unique within a job.  `source` is the drawing's name as given, `place` says which part of the drawing it is.
    `tab_thickness_mm` is the plate whose tabs enter its slots, `tab_over_mm` how much thicker that may be;
    `bend_radius_mm` the inside radius of its bends.
    """

    id: str
    name: str
    outer: Contour
    holes: tuple[Contour, ...] = ()
    marks: tuple[Mark, ...] = ()
    texts: tuple[TextMark, ...] = ()
    source: str = ""
    source_sha256: str = ""
    thickness_mm: float | None = None
    grade: str | None = None
    tab_thickness_mm: float | None = None
    tab_over_mm: float | None = None
    bend_radius_mm: float | None = None

    @property
    def contours(self) -> tuple[Contour, ...]:
        """Outer contour first, then the holes."""
        return (self.outer, *self.holes)

    @cached_property
    def area_mm2(self) -> float:
        """Net area, holes out, arcs as arcs."""
        return self.outer.area_mm2 - math.fsum(h.area_mm2 for h in self.holes)

    @cached_property
    def cut_length_mm(self) -> float:
        """True length of all contours."""
        return math.fsum(c.length_mm for c in self.contours)

    @property
    def pierces(self) -> int:
        """One for each closed contour."""
        return len(self.contours)

    @cached_property
    def placing_polygon(self) -> Polygon:
        """The part and at most `PLACING_CHORD_MM` more, for the search."""
        grown = region(self.outer, self.holes, PLACING_CHORD_MM, "outward")
        return grown if isinstance(grown, Polygon) else max(grown.geoms, key=lambda g: g.area)

    @cached_property
    def fine_polygon(self) -> Polygon | MultiPolygon:
        """The part with corners on its curves, within `FINE_CHORD_MM`, for areas and pictures."""
        return region(self.outer, self.holes, FINE_CHORD_MM, "midway")

    @cached_property
    def size_mm(self) -> tuple[float, float]:
        """Width and height as drawn."""
        x0, y0, x1, y1 = self.fine_polygon.bounds
        return (x1 - x0, y1 - y0)

    def posed_contours(self, pose: Pose) -> tuple[Contour, ...]:
        """Outer contour and holes in another place."""
        return tuple(c.posed(pose) for c in self.contours)
