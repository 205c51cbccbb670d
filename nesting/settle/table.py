"""The table: how far the machine travels, what lies beyond, and the points of a dry run with the torch off."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import shapely
from shapely.geometry import Polygon

from nesting.corner_names import NamedCorner, named_corners
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Point
from nesting.layout import Layout
from nesting.leads import Leads
from nesting.plate import KeepOut, Plate
from nesting.tolerances import CHECK_MM, NESTING_CHORD_MM

Zero = Literal["lower-left", "lower-right", "upper-left", "upper-right", "middle"]
Side = Literal["left", "right", "bottom", "top"]
Box = tuple[float, float, float, float]

_ROUND_STEPS: Final = 8
OVERHANG_MM: Final = 10.0
"""How far a keep-out outside the travel reaches past the plate."""


@dataclass(frozen=True, kw_only=True)
class Travel:
    """How far the machine travels in x and y, mm, and where on the table its zero is, x to the right, y up."""

    width_mm: float
    height_mm: float
    zero: Zero = "lower-left"

    @property
    def box(self) -> Box:
        """x0, y0, x1, y1 in table coordinates."""
        x = {"middle": -self.width_mm / 2}.get(self.zero, -self.width_mm if "right" in self.zero else 0.0)
        y = {"middle": -self.height_mm / 2}.get(self.zero, -self.height_mm if "upper" in self.zero else 0.0)
        return (x, y, x + self.width_mm, y + self.height_mm)


@dataclass(frozen=True, kw_only=True)
class Beyond:
    """Something beyond the travel: what, on which side, by how much, and its outermost point."""

    what: str
    side: Side
    by_mm: float
    at: Point


@dataclass(frozen=True, kw_only=True)
class DryRun:
    """Where to send the torch, off: the outline's corners in order, the holes' middles, the box round all cuts."""

    outline: tuple[NamedCorner, ...]
    holes: tuple[NamedCorner, ...]
    cuts: Box | None


def dry_run(layout: Layout, cuts: Box | None) -> DryRun:
    """Return the points of a dry run; `layout` lies in table coordinates.  A round plate gets points round its edge."""
    corners = named_corners(layout.plate)
    if len(corners) < 3:
        xy = np.vstack([p.points(NESTING_CHORD_MM)[:-1] for p in layout.plate.outer.pieces])
        ring = shapely.LinearRing(xy)
        spots = [ring.interpolate(k / _ROUND_STEPS, normalized=True) for k in range(_ROUND_STEPS)]
        corners = tuple(NamedCorner(name=f"edge {k}", point=(p.x, p.y)) for k, p in enumerate(spots, start=1))
    holes = [h.polygon(NESTING_CHORD_MM, "midway").representative_point() for h in layout.plate.holes]
    return DryRun(
        outline=corners,
        holes=tuple(NamedCorner(name=f"hole {k}", point=(p.x, p.y)) for k, p in enumerate(holes, start=1)),
        cuts=cuts,
    )


def cut_reach_mm(layout: Layout, *, leads_marked: bool) -> float:
    """Return how far from a finished edge the torch may go: the kerf, or a lead-in where nobody marked any."""
    clear = layout.clearances
    return clear.kerf_mm if leads_marked else max(clear.kerf_mm, clear.lead_in_mm)


def cut_boxes(layout: Layout, leads: Leads, reach_mm: float) -> list[tuple[str, Box]]:
    """Return a box round each part with its cuts, grown by `reach_mm` and round its marked pierces."""
    parts = layout.parts
    pierces: dict[int, list[Point]] = {}
    for lead in leads.marked:
        pierces.setdefault(lead.number, []).append(lead.spot.pierce)
    found = []
    for placement in layout.placements:
        part = parts[placement.part_id]
        x0, y0, x1, y1 = part.outer.posed(placement.pose).polygon(NESTING_CHORD_MM, "outward").bounds
        at = np.array(
            [(x0 - reach_mm, y0 - reach_mm), (x1 + reach_mm, y1 + reach_mm), *pierces.get(placement.number, [])]
        )
        low, high = at.min(axis=0), at.max(axis=0)
        name = f"part {placement.number} ({part.name})"
        found.append((name, (float(low[0]), float(low[1]), float(high[0]), float(high[1]))))
    return found


def around(boxes: Sequence[Box]) -> Box | None:
    """Return the box round boxes, None for none."""
    if not boxes:
        return None
    at = np.array(boxes)
    (x0, y0), (x1, y1) = at[:, :2].min(axis=0), at[:, 2:].max(axis=0)
    return (float(x0), float(y0), float(x1), float(y1))


def beyond(boxes: Sequence[tuple[str, Box]], travel: Travel) -> tuple[Beyond, ...]:
    """Return what lies beyond the travel, the worst first."""
    x0, y0, x1, y1 = travel.box
    found = []
    for what, (a, b, c, d) in boxes:
        middle = ((a + c) / 2, (b + d) / 2)
        sides: tuple[tuple[Side, float, Point], ...] = (
            ("left", x0 - a, (a, middle[1])),
            ("right", c - x1, (c, middle[1])),
            ("bottom", y0 - b, (middle[0], b)),
            ("top", d - y1, (middle[0], d)),
        )
        found += [Beyond(what=what, side=side, by_mm=by, at=at) for side, by, at in sides if by > CHECK_MM]
    return tuple(sorted(found, key=lambda f: -f.by_mm))


def plate_box(plate: Plate) -> Box:
    """Return the box round a plate."""
    x0, y0, x1, y1 = plate.outer.polygon(NESTING_CHORD_MM, "outward").bounds
    return (float(x0), float(y0), float(x1), float(y1))


def push(cuts: Box, travel: Travel) -> Point | None:
    """Return by how much to push the plate, x and y, so that all cuts lie within the travel; None if none is enough."""
    x0, y0, x1, y1 = travel.box
    if cuts[2] - cuts[0] > x1 - x0 or cuts[3] - cuts[1] > y1 - y0:
        return None
    return (_needed(cuts[0], cuts[2], x0, x1), _needed(cuts[1], cuts[3], y0, y1))


def _needed(low: float, high: float, least: float, most: float) -> float:
    return max(0.0, least - low) - max(0.0, high - most)


def outside_travel(plate: Plate, travel: Travel, inset_mm: float = 0.0) -> tuple[KeepOut, ...]:
    """Return keep-outs that cover what of a plate, in table coordinates, lies beyond the travel less `inset_mm`."""
    a, b, c, d = plate_box(plate)
    whole: Polygon = shapely.box(a - OVERHANG_MM, b - OVERHANG_MM, c + OVERHANG_MM, d + OVERHANG_MM)
    x0, y0, x1, y1 = (v + s * inset_mm for v, s in zip(travel.box, (1, 1, -1, -1), strict=True))
    a, b, c, d = whole.bounds
    strips = (
        (a, b, min(x0, c), d),
        (max(x1, a), b, c, d),
        (max(x0, a), b, min(x1, c), min(y0, d)),
        (max(x0, a), max(y1, b), min(x1, c), d),
    )
    inside = plate.outer.polygon(NESTING_CHORD_MM, "outward")
    return tuple(
        KeepOut(
            contour=Contour.of_points([(p, q), (r, q), (r, s), (p, s)]),
            kind="no part, lead or rapid",
            reason="beyond the table's travel",
        )
        for p, q, r, s in strips
        if r - p > CHECK_MM and s - q > CHECK_MM and shapely.box(p, q, r, s).intersection(inside).area > 1.0
    )
