"""Whether parts fit a plate, from a few stored figures of its shape: yes and no are proofs, perhaps is the honest rest.

No: a part, or all parts with their gaps, are more than the plate has, by area, least width, greatest length or largest
circle; each of these grows with the shape, so that what is larger in one of them cannot lie inside.  Yes: rectangles
round all parts, laid in shelves with the gap between them, lie in a rectangle that lies in the plate.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from nesting.clearances import Clearances
from nesting.rack.summary import Summary
from nesting.steps.part_sizes import Box, PartSizes
from nesting.tolerances import PLACING_CHORD_MM

Verdict = Literal["yes", "perhaps", "no"]

_LENGTH_SLACK_MM: Final = 4 * PLACING_CHORD_MM
"""Stored sizes are of chords inside the plate, those of parts of chords inside the part: a no leaves so much room."""

_CIRCLE_SHARE: Final = 2e-4
"""The largest circle is found to 0.01 % of the size, of its radius."""

_AREA_SHARE: Final = 1e-3
"""Chords may take so much of an area at most: on a circle of 50 mm the chord error of 0.05 mm takes 0.3 per mille."""

_MOST_BOXES: Final = 400
"""More pieces are not laid in shelves."""


@dataclass(frozen=True, kw_only=True)
class Fit:
    """Whether parts fit a plate, and why; `share` is how much of the usable area they take, their gaps not counted."""

    verdict: Verdict
    reasons: tuple[str, ...]
    share: float


@dataclass(frozen=True, kw_only=True)
class Room:
    """What a plate has to give: its stored sizes, how far its outline may be wrong, its grain."""

    sizes: Summary
    uncertainty_mm: float
    grain_deg: float | None


def fit(parts: Sequence[PartSizes], room: Room, clearances: Clearances) -> Fit:
    """Tell whether all parts fit a plate with their clearances."""
    net = sum(p.need * p.area_mm2(0.0) for p in parts)
    usable = room.sizes.usable_mm2
    share = net / usable if usable > 0.0 else float("inf")
    why_not = _proof_against(parts, room, clearances)
    if why_not:
        return Fit(verdict="no", reasons=tuple(why_not), share=share)
    if clearances.keep_lead_room:
        return Fit(
            verdict="perhaps", reasons=("room for lead-ins is to be kept, which only a search tells",), share=share
        )
    why = _proof_for(parts, room, clearances)
    if why:
        return Fit(verdict="yes", reasons=(why,), share=share)
    return Fit(verdict="perhaps", reasons=(_doubt(parts, room, clearances),), share=share)


def _proof_against(parts: Sequence[PartSizes], room: Room, clearances: Clearances) -> list[str]:
    sizes, edge = room.sizes, clearances.edge_mm(room.uncertainty_mm)
    found = []
    for part in parts:
        name, (width, length) = part.demand.part.name, part.span_mm
        if width + 2 * edge > sizes.width_mm + _LENGTH_SLACK_MM:
            found.append(_too_large(name, "wide", width, edge, sizes.width_mm))
        elif length + 2 * edge > sizes.length_mm + _LENGTH_SLACK_MM:
            found.append(_too_large(name, "long", length, edge, sizes.length_mm))
        elif part.circle_mm + 2 * edge > sizes.circle_mm + _LENGTH_SLACK_MM + _CIRCLE_SHARE * sizes.length_mm:
            found.append(
                f"{name} has a circle of {part.circle_mm:.0f} mm inside, with {edge:g} mm to the edge round it; the "
                f"plate's largest is {sizes.circle_mm:.0f} mm"
            )
        if part.demand.turns.rule == "grain" and room.grain_deg is None:
            found.append(f"{name} is to lie along the grain, and the plate's grain is not known")
        elif part.demand.turns.rule != "any" and not any(
            w + 2 * edge <= sizes.size_x_mm + _LENGTH_SLACK_MM and h + 2 * edge <= sizes.size_y_mm + _LENGTH_SLACK_MM
            for w, h in part.boxes(0.0, room.grain_deg)
        ):
            found.append(
                f"{name} may not be turned to lie on a plate of {sizes.size_x_mm:.0f} x {sizes.size_y_mm:.0f} mm, as "
                "that is drawn"
            )
    if not found:
        # Parts grown by half the gap lie apart, and inside the plate where that is no more than the margin.
        taken = sum(p.need * p.area_mm2(min(clearances.gap_mm / 2, edge)) for p in parts)
        if taken > sizes.usable_mm2 * (1 + _AREA_SHARE):
            found.append(
                f"the parts take {taken / 1e6:.3f} m2 with their gaps, the plate has {sizes.usable_mm2 / 1e6:.3f} m2"
            )
    return found


def _too_large(name: str, how: str, part_mm: float, edge_mm: float, plate_mm: float) -> str:
    return (
        f"{name} is {part_mm:.0f} mm {how} at any turn, with {edge_mm:g} mm to the edge on either side; the plate is "
        f"{plate_mm:.0f} mm {how}"
    )


def _proof_for(parts: Sequence[PartSizes], room: Room, clearances: Clearances) -> str:
    sizes, edge, gap = room.sizes, clearances.edge_mm(room.uncertainty_mm), clearances.gap_mm
    count = sum(p.need for p in parts)
    if count == 1 and parts[0].demand.turns.rule == "any" and parts[0].round_mm + 2 * edge <= sizes.circle_mm:
        return f"the part lies in the circle of {sizes.circle_mm:.0f} mm inside the plate"
    long, short = sizes.long_mm - 2 * edge, sizes.short_mm - 2 * edge
    if count > _MOST_BOXES or long <= 0.0 or short <= 0.0:
        return ""
    items = [[(w + gap, h + gap) for w, h in p.boxes(sizes.turn_deg, room.grain_deg)] for p in parts]
    if not all(items):
        return ""
    needs = [p.need for p in parts]
    # Shelves along the long side of the plate's rectangle, or along the short one.
    across = [[(h, w) for w, h in boxes] for boxes in items]
    ways = ((items, long, short), (across, short, long))
    if any(in_shelves(boxes, needs, wide + gap, high + gap) is not None for boxes, wide, high in ways):
        return f"rectangles round the parts lie in the plate's own of {sizes.long_mm:.0f} x {sizes.short_mm:.0f} mm"
    return ""


def in_shelves(
    items: Sequence[Sequence[Box]], needs: Sequence[int], width: float, height: float
) -> list[tuple[float, float, float, float]] | None:
    """Lay boxes into a rectangle by shelves, the highest first, each as low as it may lie.

    `items` are the boxes that each item may be, `needs` how many of it there are.  Return left, bottom, right and top
    of all, None where they do not go in this way.
    """
    wanted: list[tuple[float, Sequence[Box]]] = []
    for boxes, need in zip(items, needs, strict=True):
        fitting = [b for b in boxes if b[0] <= width and b[1] <= height]
        if not fitting:
            return None
        wanted += [(min(h for _, h in fitting), fitting)] * need
    if sum(min(w * h for w, h in boxes) for _, boxes in wanted) > width * height:
        return None
    shelves: list[_Shelf] = []
    laid: list[tuple[float, float, float, float]] = []
    top = 0.0
    for lowest, boxes in sorted(wanted, key=lambda one: -one[0]):
        found = next(((s, b) for s in shelves if (b := s.narrowest(boxes, width)) is not None), None)
        if found is None:
            if top + lowest > height:
                return None
            found = (_Shelf(bottom=top, height=lowest), min(b for b in boxes if b[1] <= lowest))
            shelves.append(found[0])
            top += lowest
        shelf, (wide, high) = found
        laid.append((shelf.filled, shelf.bottom, shelf.filled + wide, shelf.bottom + high))
        shelf.filled += wide
    return laid


@dataclass(kw_only=True)
class _Shelf:
    """A row of boxes that is being filled from the left."""

    bottom: float
    height: float
    filled: float = 0.0

    def narrowest(self, boxes: Sequence[Box], width: float) -> Box | None:
        """Return the narrowest box that still goes in, None if none does."""
        return min((b for b in boxes if b[1] <= self.height and self.filled + b[0] <= width), default=None)


def _doubt(parts: Sequence[PartSizes], room: Room, clearances: Clearances) -> str:
    largest = max(parts, key=lambda p: p.area_mm2(0.0))
    boxes = largest.boxes(room.sizes.turn_deg, room.grain_deg)
    edge = clearances.edge_mm(room.uncertainty_mm)
    inside = f"its rectangle inside is {room.sizes.long_mm:.0f} x {room.sizes.short_mm:.0f} mm"
    if not boxes:
        return f"{largest.demand.part.name} may not be turned to the plate's rectangle; a search tells"
    width, height = min(boxes, key=lambda b: b[0] * b[1])
    return (
        f"no proof either way: {inside}, the largest part takes {width:.0f} x {height:.0f} mm and {edge:g} mm to the "
        "edge; a search tells"
    )
