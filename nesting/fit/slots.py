"""Slots: whether a tab goes in, and whether they are wide enough for the plate and the cut."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import shapely

from nesting.fit.finding import SHOP_SOURCE, Cutting, FitFinding, at, mm
from nesting.fit.holes import opening
from nesting.geometry.curves import Arc
from nesting.geometry.facing import Narrow, facing, straight_edges
from nesting.geometry.pose import Point
from nesting.part import Part
from nesting.tables.limits import Limit, cut_tolerance, fit_limit, thickness_over
from nesting.tolerances import FIT_MM

_LONG = 1.2
"""Straight sides that face one another over this many times their distance make a slot, open or closed."""

_NEAR = 0.25
"""A slot is taken to be meant for a tab of the plate's own thickness down to this much under it."""


@dataclass(frozen=True, kw_only=True)
class Slot:
    """A slot: its middle and width; `round_ends` for one that a cutter or a bolt would make."""

    at: Point
    width_mm: float
    round_ends: bool


@dataclass(frozen=True, kw_only=True)
class _Tab:
    """What a slot must hold, and how that was come to."""

    thickness_mm: float
    over: Limit
    cut: Limit
    assumed: bool

    @property
    def needed_mm(self) -> float:
        return self.thickness_mm + self.over.value_mm + 2 * self.cut.value_mm


def slot_findings(part: Part, cutting: Cutting) -> Iterator[FitFinding]:
    """Look at all slots of a part: first for tabs, then for what the process asks."""
    widest = max(part.tab_thickness_mm or 0.0, cutting.thickness_mm or 0.0)
    if widest <= 0.0:
        return
    slots = slots_of(part, 2.0 * widest + 5.0)
    tight, rest = [], []
    for slot in slots:
        tab = _tab_of(slot, part, cutting)
        if tab is not None and slot.width_mm < tab.needed_mm - FIT_MM:
            tight.append((slot, tab))
        else:
            rest.append(slot)
    yield from _tight(part, tight)
    # A slot that must be wider for its tab is not told of twice.
    yield from _narrow(part, cutting, rest)


def slots_of(part: Part, widest_mm: float) -> list[Slot]:
    """Return the slots up to a width: two straight sides beside each other, and long openings of other shapes."""
    pairs = facing(straight_edges(part.outer, part.holes), widest_mm, "waste", depth=0.0)
    found: list[Slot] = []
    rings = set()
    for pair in _joined([p for p in pairs if p.rings[0] == p.rings[1] and _is_open(part, p)]):
        if pair.length_mm >= _LONG * pair.width_mm:
            rings.add(pair.rings[0])
            found.append(Slot(at=pair.at, width_mm=pair.width_mm, round_ends=_has_round_ends(part, pair.rings[0])))
    for number, hole in enumerate(part.holes, start=1):
        if number not in rings:
            center, width, long = opening(hole)
            if long and width <= widest_mm:
                found.append(Slot(at=center, width_mm=width, round_ends=True))
    return found


def _is_open(part: Part, pair: Narrow) -> bool:
    """True if nothing but waste lies between two sides, as it may not between those of two neighbouring slots."""
    (x, y), (ux, uy), half = pair.at, pair.direction, 0.499 * pair.width_mm
    way = shapely.LineString([(x - uy * half, y + ux * half), (x + uy * half, y - ux * half)])
    return pair.length_mm > 0.0 and not part.fine_polygon.intersects(way)


def _joined(pairs: list[Narrow]) -> list[Narrow]:
    """Join the pairs of sides that follow one another in one slot, whose sides may be drawn in several lines."""
    waiting, found = list(pairs), []
    while waiting:
        slot = waiting.pop()
        while True:
            more = [p for p in waiting if _same_slot(p, slot)]
            if not more:
                break
            waiting = [p for p in waiting if p not in more]
            for pair in more:
                slot = _longer(slot, pair)
        found.append(slot)
    return sorted(found, key=lambda n: (n.width_mm, n.at))


def _longer(slot: Narrow, pair: Narrow) -> Narrow:
    """Return one slot from two that follow one another."""
    (x, y), (ux, uy) = slot.at, slot.direction
    along = (pair.at[0] - x) * ux + (pair.at[1] - y) * uy
    low = min(-slot.length_mm, 2 * along - pair.length_mm) / 2
    high = max(slot.length_mm, 2 * along + pair.length_mm) / 2
    middle = (low + high) / 2
    return replace(slot, at=(x + middle * ux, y + middle * uy), length_mm=high - low)


def _same_slot(a: Narrow, b: Narrow) -> bool:
    dx, dy = a.at[0] - b.at[0], a.at[1] - b.at[1]
    aside = abs(b.direction[0] * dy - b.direction[1] * dx)
    apart = math.hypot(dx, dy) - (a.length_mm + b.length_mm) / 2
    return a.rings == b.rings and abs(a.width_mm - b.width_mm) <= FIT_MM and aside <= FIT_MM and apart <= a.width_mm


def _has_round_ends(part: Part, ring: int) -> bool:
    """True for a closed slot with an arc of a half circle, or nearly, at an end: one for a bolt."""
    contour = part.contours[ring]
    return ring > 0 and any(isinstance(p, Arc) and 150.0 < abs(p.sweep_deg) < 210.0 for p in contour.pieces)


def _tab_of(slot: Slot, part: Part, cutting: Cutting) -> _Tab | None:
    """Return the tab that a slot is for: the thickness that was said, else the plate's own if it is near."""
    said = part.tab_thickness_mm
    thickness = said or cutting.thickness_mm
    if thickness is None or (said is None and slot.round_ends):
        return None
    over = (
        Limit(value_mm=part.tab_over_mm, source="as given")
        if part.tab_over_mm is not None
        else thickness_over(thickness) or Limit(value_mm=0.0, source="none known")
    )
    cut = _tolerance(slot, cutting, thickness)
    tab = _Tab(thickness_mm=thickness, over=over, cut=cut, assumed=said is None)
    return tab if slot.width_mm >= (1.0 - _NEAR) * thickness else None


def _tolerance(slot: Slot, cutting: Cutting, thickness: float) -> Limit:
    if cutting.cut_tolerance_mm is not None:
        return Limit(value_mm=cutting.cut_tolerance_mm, source=SHOP_SOURCE)
    found = cut_tolerance(cutting.process, cutting.thickness_mm or thickness, slot.width_mm)
    return found or Limit(value_mm=0.0, source="none known")


def _tight(part: Part, found: list[tuple[Slot, _Tab]]) -> Iterator[FitFinding]:
    by_size: dict[tuple[float, _Tab], list[Point]] = {}
    for slot, tab in found:
        by_size.setdefault((round(slot.width_mm, 2), tab), []).append(slot.at)
    for (width, tab), spots in by_size.items():
        places, count = tuple(spots), len(spots)
        what, asked = (f"{count} slots",) * 2 if count > 1 else ("slot", "a slot")
        added = f"{mm(tab.over.value_mm)} plate tolerance + 2 x {mm(tab.cut.value_mm)} cut tolerance"
        sum_text = f"{mm(tab.thickness_mm)} + {added}"
        whose = (
            "if it is for a tab of the same plate (assumed: its width is near the plate's thickness; say tab_thickness)"
            if tab.assumed
            else f"for a tab of {mm(tab.thickness_mm)}"
        )
        yield FitFinding(
            part_id=part.id,
            kind="slot too tight for its tab",
            severity="warning",
            message=f"{what} {mm(width)} wide{at(places)}, {whose}: it should be {mm(tab.needed_mm)} = {sum_text}",
            places=places,
            value_mm=width,
            limit_mm=round(tab.needed_mm, 3),
            source=f"rule: sendcutsend.com, tabs and slots; plate tolerance: {tab.over.source}; "
            f"cut tolerance: {tab.cut.source}",
            question=f"The drawing shows {asked} {mm(width)} wide. Will a tab go in here, and how thick is it? For a "
            f"tab of {mm(tab.thickness_mm)} plate we would need {mm(tab.needed_mm)} ({sum_text}), or it has to be "
            "ground to fit. May we widen it?",
        )


def _narrow(part: Part, cutting: Cutting, slots: list[Slot]) -> Iterator[FitFinding]:
    limit = fit_limit("slot", cutting.process, thickness_mm=cutting.thickness_mm, kerf_mm=cutting.kerf_mm)
    if limit is None:
        return
    # What is under the kerf cannot be cut at all, and is told of as such.
    low, high = (cutting.kerf_mm or 0.0) - FIT_MM, limit.value_mm - FIT_MM
    narrow = sorted((s for s in slots if low <= s.width_mm < high), key=lambda s: s.width_mm)
    if not narrow:
        return
    places, width = tuple(s.at for s in narrow), narrow[0].width_mm
    yield FitFinding(
        part_id=part.id,
        kind="narrow slot",
        severity="warning",
        message=f"slot only {mm(width)} wide{at(places)}: {cutting.process} in {cutting.plate} wants "
        f"{mm(limit.value_mm)} at least; its sides will not come out straight",
        places=places,
        value_mm=round(width, 3),
        limit_mm=limit.value_mm,
        source=limit.source,
        question=f"This slot is {mm(width)} wide in {cutting.plate}; our {cutting.process} cut keeps straight sides "
        f"from about {mm(limit.value_mm)} on. May the slot be wider, or shall we saw or mill it?",
    )
