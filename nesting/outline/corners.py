"""Corners typed, pasted or from a table: x and y, arcs by a point on them or by bulge, holes, keep-outs."""

from typing import Final

from nesting.outline.captured import Captured
from nesting.outline.pasted import Pasted, Row, is_length
from nesting.outline.traced import Spot, captured, drawn, sections
from nesting.units import Unit

SIGMA_MM: Final = 1.0
"""How far a corner measured by hand scatters in x and in y, one standard deviation (common practice, no source)."""

ON_ARC: Final = frozenset({"arc", "through", "on"})


def from_corners(pasted: Pasted, *, unit: Unit = "mm", sigma_mm: float = SIGMA_MM) -> Captured:
    """Return the plate of corners: lines `x,y`, `x,y,bulge`, `x,y,arc` (a point on an arc), `circle,x,y,diameter`.

    A name may stand in front.  Raise `InputError` with file and line for what cannot be read, where the corners bound
    no plain area, and for holes that reach beyond the outline.
    """
    started = False

    def place(row: Row) -> Spot | None:
        nonlocal started
        spot = _corner(row, unit, may_be_heading=not started)
        started = True
        return spot

    found = [(s, drawn(s, pasted.name)) for s in sections(pasted, place)]
    return captured("corners", found, source=pasted.name, sigma_mm=sigma_mm)


def _corner(row: Row, unit: Unit, *, may_be_heading: bool) -> Spot | None:
    fields = row.fields

    def is_number(text: str) -> bool:
        return is_length(text, unit, decimal_comma=row.decimal_comma)

    if fields[0].lower() == "circle" and len(fields) == 4:
        x, y, diameter = (row.length(f, unit) for f in fields[1:])
        if not diameter > 0.0:
            row.refuse(f"a circle of diameter {fields[3]}", "give more than 0")
        return Spot(line=row.line, at=(x, y), diameter_mm=diameter)
    numbers = [is_number(f) for f in fields]
    if may_be_heading and row.is_heading:
        return None
    if row.is_named and sum(numbers[1:]) >= 2:
        fields = fields[1:]
    if len(fields) not in (2, 3):
        row.refuse(
            f"{row.text!r} is no corner", "write x,y with a comma, or x,y,bulge, or x,y,arc for a point on an arc"
        )
    x, y = (row.length(f, unit) for f in fields[:2])
    if len(fields) == 2:
        return Spot(line=row.line, at=(x, y))
    if fields[2].lower() in ON_ARC:
        return Spot(line=row.line, at=(x, y), on_arc=True)
    try:
        bulge = float(fields[2].replace(",", "."))
    except ValueError:
        row.refuse(f"{fields[2]!r} after x and y", "write 'arc' for a point on an arc, or the bulge as a number")
    if not abs(bulge) < 1e3:
        row.refuse(f"a bulge of {fields[2]}", "it is the tangent of a quarter of the arc's angle, 1 for a half circle")
    return Spot(line=row.line, at=(x, y), bulge=bulge)
