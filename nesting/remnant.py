"""Where the plate goes: parts, kerf, remnants worth keeping, scrap; each by its own polygons, none as what
is left.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeAlias

import shapely
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from nesting.errors import BalanceError
from nesting.geometry.largest import Rectangle, holds_rectangle, largest_circle, largest_rectangle
from nesting.geometry.pose import Point
from nesting.layout import Layout
from nesting.part import Part
from nesting.plate import Plate
from nesting.shop import Shop
from nesting.tolerances import BALANCE_RELATIVE, FINE_CHORD_MM

Shape: TypeAlias = Polygon | MultiPolygon

# Round corners of the kerf bands: at 64 chords a quarter turn a 4 mm kerf is 0.0003 mm short at most.
_KERF_CORNER_CHORDS = 64
_OPENING_SIMPLIFY_MM = 0.01
_PARTING_MM = 0.001
# Just enough for a dilation to give a square corner back.
_SQUARE_MITRE = 1.4143


@dataclass(frozen=True, kw_only=True)
class Remnant:
    """One piece left of the plate that is worth keeping; `label` is what is chalked on it.

    `spoilt` is what of the plate no part may cover whenever it is cut: rust, old pierces.
    """

    label: str
    polygon: Polygon
    spoilt: Shape = field(default_factory=Polygon)

    @property
    def area_mm2(self) -> float:
        """Its area, its own holes out; spoilt ground is in, since it is weighed and carried too."""
        return float(self.polygon.area)

    @cached_property
    def usable(self) -> Shape:
        """Where parts may lie."""
        return _areal(self.polygon.difference(self.spoilt))

    @cached_property
    def circle(self) -> tuple[Point, float]:
        """Centre and radius of the largest circle inside, clear of spoilt ground."""
        return largest_circle(self.usable)

    @cached_property
    def rectangle(self) -> Rectangle:
        """A rectangle inside, at any turn, of nearly the largest area, clear of spoilt ground."""
        return largest_rectangle(self.usable)


@dataclass(frozen=True, kw_only=True)
class Balance:
    """Areas of a plate after cutting, mm2, and the polygons they were measured on.

    `plate_mm2` and `parts_mm2` are true areas with arcs as arcs; the other three come from polygons within
    `FINE_CHORD_MM` of the true shapes.
    """

    plate_mm2: float
    parts_mm2: float
    parts: tuple[Shape, ...]
    kerf: Shape
    kept: tuple[Remnant, ...]
    scrap: Shape

    @property
    def kerf_mm2(self) -> float:
        """Area of the kerf bands on the plate."""
        return float(self.kerf.area)

    @property
    def kept_mm2(self) -> float:
        """Area of all kept remnants."""
        return math.fsum(r.area_mm2 for r in self.kept)

    @property
    def scrap_mm2(self) -> float:
        """Area of what is neither part, kerf nor kept."""
        return float(self.scrap.area)

    @property
    def error(self) -> float:
        """(parts + kerf + kept + scrap - plate) / plate."""
        parts = self.parts_mm2 + self.kerf_mm2 + self.kept_mm2 + self.scrap_mm2
        return (parts - self.plate_mm2) / self.plate_mm2


def balance(layout: Layout, shop: Shop, *, shears: Sequence[tuple[Point, Point]] = ()) -> Balance:
    """Return where the area of the plate goes.

    `shears` are straight cuts from one point to another that part the skeleton afterwards: each takes a band as wide
    as the kerf, its middle on the line, where no part lies.

    The kerf is the union of the bands `kerf_mm` wide outside the outer contours and inside the holes, as far
    as they lie on the plate and on no part.  What then remains is opened (eroded and dilated by half of
    `narrowest_kept_mm`, square corners kept), so that strips too narrow to be of use come off and what hangs
    together by them comes apart; a piece is kept if any of the shop's keep rectangles fits in it at any turn, clear
    of the plate's bad spots, the rest is scrap.  Keep-outs count in the areas.  Each is measured on its own polygons.

    Raises `BalanceError` if they do not add up to the plate within `BALANCE_RELATIVE`: parts that overlap or
    leave it.
    """
    plate = layout.plate.fine_polygon
    shapes = _Shapes.of(layout)
    parts = shapely.union_all(shapes.parts)
    cuts = [*shapes.bands, *(_shear_band(a, b, layout.clearances.kerf_mm) for a, b in shears)]
    kerf = _areal(shapely.intersection(shapely.union_all(cuts), plate).difference(parts))
    rest = _areal(plate.difference(shapely.union_all([parts, kerf])))
    opened = _opened(rest, narrowest_kept_mm(layout, shop) / 2)
    spoilt = _spoilt(layout.plate)
    kept, small = _sorted_out(opened, spoilt, shop)
    scrap = _areal(shapely.union_all([rest.difference(opened), *small]))
    found = Balance(
        plate_mm2=layout.plate.area_mm2,
        parts_mm2=math.fsum(layout.parts[p.part_id].area_mm2 for p in layout.placements),
        parts=shapes.parts,
        kerf=kerf,
        kept=tuple(Remnant(label=f"R{i}", polygon=p, spoilt=spoilt) for i, p in enumerate(kept, start=1)),
        scrap=scrap,
    )
    if not abs(found.error) <= BALANCE_RELATIVE:
        raise BalanceError(_unbalanced(found))
    return found


def narrowest_kept_mm(layout: Layout, shop: Shop) -> float:
    """Return the width under which a strip of what remains is scrap, though it may hang on a piece worth keeping.

    No less than a lead-in: no lead fits in there.  A keep rectangle is never narrower, so that none is lost.
    """
    return max(layout.clearances.lead_in_mm, shop.keep_width_mm)


def _unbalanced(found: Balance) -> str:
    total = found.plate_mm2 * (1 + found.error)
    return (
        f"parts {found.parts_mm2:.1f} + kerf {found.kerf_mm2:.1f} + kept remnants {found.kept_mm2:.1f} "
        f"+ scrap {found.scrap_mm2:.1f} = {total:.1f} mm2, but the plate has {found.plate_mm2:.1f} mm2 "
        f"({100 * found.error:+.4f} %, allowed {100 * BALANCE_RELATIVE:g} %): "
        "parts overlap or leave the plate; check the layout"
    )


@dataclass(frozen=True, kw_only=True)
class _Shapes:
    """Placed parts and their kerf bands, one of each for every placement."""

    parts: tuple[Shape, ...]
    bands: tuple[Shape, ...]

    @staticmethod
    def of(layout: Layout) -> "_Shapes":
        bands = {i: _kerf_band(part, layout.clearances.kerf_mm) for i, part in layout.parts.items()}
        bodies = {i: part.fine_polygon for i, part in layout.parts.items()}
        return _Shapes(
            parts=tuple(p.pose.geometry(bodies[p.part_id]) for p in layout.placements),
            bands=tuple(p.pose.geometry(bands[p.part_id]) for p in layout.placements),
        )


def _shear_band(start: Point, end: Point, kerf_mm: float) -> Shape:
    """What a straight cut takes; a cut of no width still parts what it crosses."""
    return LineString([start, end]).buffer(max(kerf_mm, _PARTING_MM) / 2, cap_style="flat")


def _kerf_band(part: Part, kerf_mm: float) -> Shape:
    """What the cuts of one part take, in its own place: outside its outer contour, inside its holes."""
    if kerf_mm == 0.0:
        return Polygon()
    outer = part.outer.polygon(FINE_CHORD_MM, "midway")
    bands = [outer.buffer(kerf_mm, quad_segs=_KERF_CORNER_CHORDS).difference(outer)]
    for hole in part.holes:
        inside = hole.polygon(FINE_CHORD_MM, "midway")
        bands.append(inside.difference(inside.buffer(-kerf_mm, quad_segs=_KERF_CORNER_CHORDS)))
    return _areal(shapely.union_all(bands))


def _opened(rest: Shape, radius_mm: float) -> Shape:
    if radius_mm == 0.0:
        return rest
    eroded = rest.simplify(_OPENING_SIMPLIFY_MM).buffer(-radius_mm)
    dilated = eroded.buffer(radius_mm, join_style="mitre", mitre_limit=_SQUARE_MITRE)
    return _areal(rest.intersection(dilated))


def _spoilt(plate: Plate) -> Shape:
    """The bad spots that go with the steel; clamps are of one setting, and the ground under them is good again."""
    stays = [k.contour.polygon(FINE_CHORD_MM, "outward") for k in plate.keep_outs if k.kind == "no part"]
    return _areal(shapely.union_all(stays)) if stays else Polygon()


def _sorted_out(opened: Shape, spoilt: Shape, shop: Shop) -> tuple[list[Polygon], list[Polygon]]:
    """Pieces kept, largest first, and pieces that take no keep rectangle clear of what is spoilt."""
    kept: list[Polygon] = []
    small: list[Polygon] = []
    for piece in sorted(shapely.get_parts(opened), key=lambda p: -p.area):
        usable = piece.difference(spoilt)
        keep = any(holds_rectangle(usable, width, height) for width, height in shop.keep_mm)
        (kept if keep else small).append(piece)
    return kept, small


def _areal(geometry: BaseGeometry) -> Shape:
    """Drop the points and lines that set operations leave behind."""
    if isinstance(geometry, Polygon | MultiPolygon):
        return geometry
    kept = [g for g in shapely.get_parts(geometry) if isinstance(g, Polygon)]
    return MultiPolygon(kept)
