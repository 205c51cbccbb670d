"""Leftover of a layout: what remains when its parts are cut; every piece worth keeping becomes a plate."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import shapely
from shapely.geometry import LineString, Polygon

from nesting.errors import InputError
from nesting.geometry.largest import holds_rectangle
from nesting.geometry.pose import Point
from nesting.layout import Layout
from nesting.outline.inside import carried, contours_of, pieces_of
from nesting.plate import Plate
from nesting.remnant import Balance, balance, narrowest_kept_mm
from nesting.shop import Shop

CUT_EDGE_MM: Final = 1.0
"""How far a cut edge may be off its drawn place, a 95 % bound (common practice, no source)."""

Shear = tuple[Point, Point]


class NothingLeftError(InputError):
    """No piece of a layout's plate is left that is worth keeping."""


@dataclass(frozen=True, kw_only=True)
class Leftover:
    """The plates left of a layout, largest first, the area balance behind them, and what was assumed."""

    plates: tuple[Plate, ...]
    areas: Balance
    notes: tuple[str, ...]

    @property
    def figures(self) -> dict[str, Any]:
        """Areas for a JSON document, mm2."""
        return {
            "plate_mm2": round(self.areas.plate_mm2, 2),
            "parts_mm2": round(self.areas.parts_mm2, 2),
            "kerf_mm2": round(self.areas.kerf_mm2, 2),
            "kept_mm2": round(self.areas.kept_mm2, 2),
            "scrap_mm2": round(self.areas.scrap_mm2, 2),
            "balance_error": self.areas.error,
        }


def from_layout(layout: Layout, shop: Shop, *, shears: Sequence[Shear] = (), notch_mm: float | None = None) -> Leftover:
    """Return the pieces left of a layout that are worth keeping, as plates.

    `shears` say where the skeleton is parted by straight cuts; each takes a kerf of its own.  `notch_mm` is how far
    leads may have cut into the leftover beside the parts: the layout's lead-in length unless said.  What is narrower
    than that or than what the shop has a use for comes off (`narrowest_kept_mm`), and pieces are drawn inside their
    true edge by up to `SIMPLER_MM`.  What is known of the parent goes to each; a piece is as uncertain as its
    parent's outline as it lay on the table, or `CUT_EDGE_MM` if that is more.

    Raise `InputError` where a shear crosses a part, `NothingLeftError` where nothing is left that is worth keeping.
    """
    _refuse_shears(layout, shears)
    areas = balance(layout, shop, shears=shears)
    notch = layout.clearances.lead_in_mm if notch_mm is None else notch_mm
    near = (
        shapely.union_all(areas.parts).buffer(layout.clearances.kerf_mm + notch) if areas.parts and notch else Polygon()
    )
    narrow = max(notch, narrowest_kept_mm(layout, shop))
    plates: list[Plate] = []
    for remnant in areas.kept:
        for inside in pieces_of(remnant.polygon.difference(near), narrow):
            usable = inside.difference(remnant.spoilt)
            if not usable.is_empty and any(holds_rectangle(usable, w, h) for w, h in shop.keep_mm):
                plates.append(_plate(layout, inside))
    if not plates:
        raise NothingLeftError(
            f"layout {layout.id or 'given'} of {layout.plate.name}: no piece is left that holds one of the shop's keep "
            "sizes; give smaller ones in the shop file (keep), or shears elsewhere"
        )
    plates.sort(key=lambda p: -p.area_mm2)
    named = tuple(replace(p, name=f"{layout.plate.name}-R{k}") for k, p in enumerate(plates, start=1))
    notes = [
        f"strips narrower than {narrow:g} mm are left out of the outlines; cut them off, so that a piece is what its "
        "outline says"
    ]
    if notch:
        notes.append(
            f"leads may have notched the leftover beside the parts: {notch:g} mm left out there; --notch 0 if none do"
        )
    if any(k.kind != "no part" for k in layout.plate.keep_outs):
        notes.append("clamps and magnets of the parent are not carried over")
    return Leftover(plates=named, areas=areas, notes=tuple(notes))


def _plate(layout: Layout, inside: Polygon) -> Plate:
    parent = layout.plate
    outer, holes = contours_of(inside)
    return Plate(
        name=parent.name,
        outer=outer,
        holes=holes,
        keep_outs=carried(parent.keep_outs, inside),
        thickness_mm=parent.thickness_mm,
        grade=parent.grade,
        heat=parent.heat,
        certificate=parent.certificate,
        grain_deg=parent.grain_deg,
        captured="leftover of a layout",
        uncertainty_mm=max(parent.uncertainty_mm + parent.settling_mm, CUT_EDGE_MM),
        parent=parent.name,
        source=parent.source,
    )


def _refuse_shears(layout: Layout, shears: Sequence[Shear]) -> None:
    for number, (start, end) in enumerate(shears, start=1):
        if start == end:
            raise InputError(f"shear {number}: begins and ends at one point; give two")
        band = LineString([start, end]).buffer(layout.clearances.kerf_mm / 2 + 1e-3, cap_style="flat")
        for placement in layout.placements:
            part = layout.parts[placement.part_id]
            body = placement.pose.geometry(part.fine_polygon)
            if band.intersects(body):
                raise InputError(
                    f"shear {number}: from ({start[0]:g}, {start[1]:g}) to ({end[0]:g}, {end[1]:g}) cuts into part "
                    f"{placement.number} ({part.name}); lead it round the parts; its kerf is "
                    f"{layout.clearances.kerf_mm:g} mm"
                )
