"""Slots: whether a tab goes in, and whether they are wide enough for the plate and the cut."""

from collections.abc import Iterator
from dataclasses import dataclass

from nesting.fit.finding import SHOP_SOURCE, Cutting, FitFinding, at, mm
from nesting.fit.openings import Slot, openings_of
from nesting.geometry.pose import Point
from nesting.part import Part
from nesting.tables.limits import Limit, cut_tolerance, fit_limit, thickness_over
from nesting.tolerances import FIT_MM

_NEAR = 0.25
"""A slot is taken to be meant for a tab of the plate's own thickness down to this much under it."""


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
    slots = openings_of(part, 2.0 * widest + 5.0).slots
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
