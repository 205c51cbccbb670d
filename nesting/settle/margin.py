"""How far parts may lie off because turn and shift are not known better, and whether they still lie on steel."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from nesting.corner_names import NamedCorner
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Point
from nesting.layout import Layout
from nesting.plate import Plate
from nesting.settle.rigid import Floats, Spread
from nesting.settle.rivals import Rival
from nesting.tolerances import NESTING_CHORD_MM

_MUCH: Final = 1.5
"""Corners are too close together if those farthest apart would give a bound smaller by this factor."""


@dataclass(frozen=True, kw_only=True)
class Farthest:
    """The place of a layout that turn and shift leave least sure: its part, where on the plate's drawing, how sure."""

    number: int
    name: str
    at: Point
    sd_mm: float
    bound_mm: float


@dataclass(frozen=True, kw_only=True)
class MarginUse:
    """What settling adds to the outline's uncertainty, and what the layout has for it.

    `added_mm`: the outline's bound and that of turn and shift are independent, so that together they are the root of
    their squares; to it comes how far a symmetric plate is off its own picture.  `clear_mm` is the least distance of a
    finished part to the plate's edge, a hole or a keep-out, less the outline's uncertainty; None without parts.
    """

    farthest: Farthest
    outline_mm: float
    added_mm: float
    clear_mm: float | None
    kerf_mm: float
    break_edge: bool

    @property
    def parts_stay(self) -> bool:
        """True if no part leaves the plate."""
        return self.clear_mm is None or self.added_mm <= self.clear_mm

    @property
    def cuts_stay(self) -> bool:
        """True if no cut breaks out of the plate's edge, or the job said that it may."""
        return self.break_edge or self.clear_mm is None or self.added_mm + self.kerf_mm <= self.clear_mm


def margin_use(
    layout: Layout, spread: Spread, symmetries: Sequence[Rival] = (), *, closest_mm: float | None
) -> MarginUse:
    """Return what settling takes of the margin; `layout` lies as its drawing does, `closest_mm` is what a check found.

    Without parts the plate's own outline stands in for them.
    """
    farthest = _farthest(layout, spread)
    outline = layout.plate.uncertainty_mm
    return MarginUse(
        farthest=farthest,
        outline_mm=outline,
        added_mm=added_mm(outline, farthest.bound_mm, symmetries),
        clear_mm=None if closest_mm is None else closest_mm - outline,
        kerf_mm=layout.clearances.kerf_mm,
        break_edge=layout.clearances.break_edge,
    )


@dataclass(frozen=True, kw_only=True)
class Better:
    """Two corners by which the plate would be found more surely, and the bound at the farthest place that they give."""

    first: str
    second: str
    apart_mm: float
    bound_mm: float


def better_corners(layout: Layout, spread: Spread, corners: Sequence[NamedCorner]) -> Better | None:
    """Return the corners farthest apart where those read out lie too close together to be worth much less."""
    pairs = [(math.dist(a.point, b.point), a, b) for a, b in combinations(corners, 2)]
    if not pairs:
        return None
    apart, first, second = max(pairs, key=lambda p: p[0])
    other = Spread(points=np.array([first.point, second.point]), sigma_mm=spread.sigma_mm)
    bound = _farthest(layout, other).bound_mm
    if _farthest(layout, spread).bound_mm <= _MUCH * bound:
        return None
    return Better(first=first.name, second=second.name, apart_mm=apart, bound_mm=bound)


def added_mm(outline_mm: float, bound_mm: float, symmetries: Sequence[Rival]) -> float:
    """Return what a bound on turn and shift adds to the outline's."""
    return math.hypot(outline_mm, bound_mm) - outline_mm + max((r.differs_mm for r in symmetries), default=0.0)


def plate_added_mm(plate: Plate, spread: Spread, symmetries: Sequence[Rival] = ()) -> float:
    """Return what settling adds to the outline's uncertainty where turn and shift leave the outline itself least sure.

    For what is cut anywhere on the plate, and for what is left of it.
    """
    bound_mm = float(spread.bound_mm(_outline(plate.outer)).max())
    return added_mm(plate.uncertainty_mm, bound_mm, symmetries)


def _farthest(layout: Layout, spread: Spread) -> Farthest:
    parts = layout.parts
    shapes = [
        (p.number, parts[p.part_id].name, p.pose.points(_outline(parts[p.part_id].outer))) for p in layout.placements
    ] or [(0, layout.plate.name, _outline(layout.plate.outer))]
    number, name, points, sds = max(
        ((n, name, xy, spread.sd_mm(xy)) for n, name, xy in shapes), key=lambda s: float(s[3].max())
    )
    k = int(sds.argmax())
    return Farthest(
        number=number,
        name=name,
        at=(float(points[k, 0]), float(points[k, 1])),
        sd_mm=float(sds[k]),
        bound_mm=float(spread.bound_mm(points[k])[0]),
    )


def _outline(contour: Contour) -> Floats:
    return np.vstack([piece.points(NESTING_CHORD_MM) for piece in contour.pieces])
