"""The plate to cut from: a bought sheet or a leftover of any shape."""

from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Literal

from shapely.geometry import MultiPolygon, Polygon

from nesting.geometry.contour import Contour, region
from nesting.geometry.pose import Point
from nesting.tolerances import FINE_CHORD_MM

KeepOutKind = Literal["no part", "no part, lead or rapid"]


@dataclass(frozen=True, kw_only=True)
class KeepOut:
    """A place on the plate that no part may cover: rust, an old pierce, a clamp or magnet."""

    contour: Contour
    kind: KeepOutKind = "no part"
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class Capture:
    """Who took an outline, when, the picture taken of it, and the corners by which it is laid on the table."""

    who: str | None = None
    when: date | None = None
    photo: str | None = None
    set_up_by: tuple[Point, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Plate:
    """A plate in its own drawing's place, millimetres.  What nobody knows is None and stays None.

    `certificate` is the number of the mill's test certificate.  `uncertainty_mm` is a 95 % bound on how far the
    outline may be wrong, the largest over the outline.  `settling_mm` is what settling it on the table added to that:
    the layout's margin had room for it, but what is left is known no better.  `lettered` are names and places of its
    corners, in order, where they stand on the steel already; none leaves their names to the drawing.
    """

    name: str
    outer: Contour
    holes: tuple[Contour, ...] = ()
    keep_outs: tuple[KeepOut, ...] = ()
    thickness_mm: float | None = None
    grade: str | None = None
    heat: str | None = None
    certificate: str | None = None
    grain_deg: float | None = None
    captured: str = "as given"
    capture: Capture | None = None
    uncertainty_mm: float = 0.0
    settling_mm: float = 0.0
    lettered: tuple[tuple[str, Point], ...] = ()
    parent: str | None = None
    place: str | None = None
    source: str = ""

    def __post_init__(self) -> None:
        for what, value in (("uncertainty", self.uncertainty_mm), ("settling", self.settling_mm)):
            if value < 0.0:
                raise ValueError(f"{self.name}: {what} must be 0 or more, got {value}")

    @cached_property
    def fine_polygon(self) -> Polygon | MultiPolygon:
        """The plate with its holes out (keep-outs are still plate), within `FINE_CHORD_MM`, for areas and pictures."""
        return region(self.outer, self.holes, FINE_CHORD_MM, "midway")

    @cached_property
    def area_mm2(self) -> float:
        """Area of the plate: holes out, keep-outs in, arcs as arcs."""
        return self.outer.area_mm2 - sum(h.area_mm2 for h in self.holes)

    def usable_polygon(self, chord_mm: float) -> Polygon | MultiPolygon:
        """Where finished parts may lie before any margin: holes and keep-outs out, never more than the true area."""
        cuts = (*self.holes, *(k.contour for k in self.keep_outs))
        return region(self.outer, cuts, chord_mm, "inward")
