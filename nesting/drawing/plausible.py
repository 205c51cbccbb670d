"""Sizes that make a unit doubtful: a drawing declared in one unit and drawn in another is told, never corrected."""

from collections.abc import Sequence
from statistics import median
from typing import Final

from nesting.drawing.findings import Finding
from nesting.geometry.curves import Arc
from nesting.part import Part

LARGEST_PART_MM: Final = 6000.0
SMALLEST_PART_MM: Final = 5.0
"""Beyond these a unit is likely wrong: widths met in a survey of 245 real drawings."""

_USUAL_PART_MM: Final = (20.0, 1500.0)
_USUAL_HOLE_MM: Final = (0.8, 60.0)
"""Where nearly all parts and median diameters of round holes of that survey lie; common practice, no source."""

_LARGE_WITH_HOLES_MM: Final = 600.0
_SMALL_WITH_HOLES_MM: Final = 60.0
"""Odd holes alone do not make a part of usual size doubtful."""

_OTHERS: Final[tuple[tuple[float, float, str], ...]] = (
    (25.4, 1.0 / 25.4, "25.4 times too large, as millimetres read as inches"),
    (10.0, 0.1, "10 times too large, as millimetres read as centimetres"),
    (1.0, 25.4, "25.4 times too small, as inches read as millimetres"),
    (1.0, 10.0, "10 times too small, as centimetres read as millimetres"),
)
"""Millimetres to a unit as read, what the other reading multiplies sizes by, and what to say."""


def size_findings(parts: Sequence[Part], mm_per_unit: float) -> list[Finding]:
    """Warn of parts beyond all usual sizes, and of a drawing that would be usual in another unit."""
    found = []
    odd = [part for part in parts if not SMALLEST_PART_MM <= max(part.size_mm) <= LARGEST_PART_MM]
    if odd:
        x0, y0, _, _ = odd[0].placing_polygon.bounds
        width, height = odd[0].size_mm
        count = "a part is" if len(odd) == 1 else f"{len(odd)} parts are under 5 mm or over 6 m, the first"
        text = f"{count} {width:.4g} x {height:.4g} mm; is the unit right? --units sets it"
        found.append(Finding(kind="size", severity="warning", message=text, place=(x0, y0)))
    doubt = _other_unit(parts, mm_per_unit)
    return [*found, doubt] if doubt else found


def plate_finding(parts: Sequence[Part], plate_mm: tuple[float, float]) -> Finding | None:
    """Warn of a part that is too large for its plate and would fit it if its drawing were in another unit."""
    room = sorted(plate_mm)
    for part in parts:
        size = sorted(part.size_mm)
        if size[1] > 2 * room[1] and _fits(size, room, 1.0 / 25.4):
            text = (
                f"part {part.name} is {part.size_mm[0]:.4g} x {part.size_mm[1]:.4g} mm, over twice the plate of "
                f"{plate_mm[0]:.4g} x {plate_mm[1]:.4g} mm; it may be 10 or 25.4 times too large: is its unit right?"
            )
            return Finding(kind="size", severity="warning", message=text)
    return None


def _fits(size: Sequence[float], room: Sequence[float], factor: float) -> bool:
    return all(factor * s <= r for s, r in zip(size, room, strict=True))


def _other_unit(parts: Sequence[Part], mm_per_unit: float) -> Finding | None:
    """Holes are the surest sign: their sizes are those of screws and pins whatever the part's size is."""
    largest = max(max(part.size_mm) for part in parts)
    holes = [d for part in parts for d in _round_holes(part)]
    hole = median(holes) if len(holes) >= 2 else None
    too_large = largest > _USUAL_PART_MM[1] or (
        hole is not None and hole > _USUAL_HOLE_MM[1] and largest > _LARGE_WITH_HOLES_MM
    )
    too_small = largest < _USUAL_PART_MM[0] or (
        hole is not None and hole < _USUAL_HOLE_MM[0] and largest < _SMALL_WITH_HOLES_MM
    )
    for unit_mm, factor, what in _OTHERS:
        if unit_mm != mm_per_unit or (too_large and too_small) or not (too_large if factor < 1.0 else too_small):
            continue
        if not _within(factor * largest, _USUAL_PART_MM) or (hole and not _within(factor * hole, _USUAL_HOLE_MM)):
            continue
        said = f"the largest part is {largest:.4g} mm across"
        said += f" and round holes are about {hole:.4g} mm" if hole else ""
        text = f"{said}: it may be {what}; look at the size, --units sets the unit"
        return Finding(kind="unit in doubt", severity="warning", message=text)
    return None


def _round_holes(part: Part) -> list[float]:
    curves = [hole.curves[0] for hole in part.holes if len(hole.curves) == 1]
    return [2.0 * curve.radius_mm for curve in curves if isinstance(curve, Arc) and curve.closed]


def _within(value: float, limits: tuple[float, float]) -> bool:
    return limits[0] <= value <= limits[1]
