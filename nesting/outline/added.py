"""Holes, keep-outs and clamps that are added to a plate that is there already: an old cut-out, a patch of rust."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from shapely.geometry import Polygon

from nesting.errors import InputError
from nesting.geometry.contour import Contour
from nesting.geometry.curves import circle
from nesting.outline.misplaced import Placed, warn_of_misplaced
from nesting.outline.pasted import measure
from nesting.outline.rings import Vertex, ring
from nesting.plate import KeepOut, KeepOutKind, Plate
from nesting.tolerances import NESTING_CHORD_MM
from nesting.units import Unit

AddedKind = Literal["hole", "keep-out", "clamp"]

_SMALL_MM: Final = 10.0
"""What is smaller than this all over is looked at for a slip of unit: 3 for 3 in makes it 3 mm (common practice)."""

_MOST_BULGE: Final = 1e3


@dataclass(frozen=True, kw_only=True)
class Added:
    """A place as it was written, and the unit its plain numbers were taken in."""

    kind: AddedKind
    text: str
    unit: Unit
    contour: Contour

    @property
    def where(self) -> str:
        """How it is called in what is told of it."""
        return f'--{self.kind} "{self.text}" (plain numbers taken in {self.unit})'


def read_place(kind: AddedKind, text: str, unit: Unit) -> Added:
    """Read `X,Y X,Y ...`, a third number being the bulge of the edge that leaves a corner, or `circle,X,Y,D`.

    Raise `InputError` for anything else, and where the corners bound no plain area.
    """
    where = f'--{kind} "{text}"'
    fields = [f.strip() for f in text.split(",")]
    if fields[0].lower() == "circle":
        contour = _circle(fields[1:], unit, where)
    else:
        contour = ring([_corner(c, unit, where) for c in text.replace(";", " ").split()], where)
    return Added(kind=kind, text=text, unit=unit, contour=contour)


def with_added(plate: Plate, added: Sequence[Added], reason: str = "") -> tuple[Plate, list[str]]:
    """Return the plate with what was added, and warnings of what looks like a slip of unit or lies off the steel.

    Raise `InputError` for a hole that reaches beyond the outline by more than the plate's uncertainty.
    """
    outline = _area(plate.outer)
    # Of a hole from before only what lies on the steel counts: where it lies was looked at when it came in.
    old = [_area(h).intersection(outline) for h in plate.holes]
    placed = [
        Placed(kind="outline", where=plate.name, area=outline),
        *(Placed(kind="hole", where=f"hole {n}", area=h) for n, h in enumerate(old, start=1) if not h.is_empty),
        *(Placed(kind=a.kind, where=a.where, area=_area(a.contour)) for a in added),
    ]
    told = warn_of_misplaced(placed, plate.uncertainty_mm)
    changed = replace(
        plate,
        holes=(*plate.holes, *(a.contour for a in added if a.kind == "hole")),
        keep_outs=(*plate.keep_outs, *(_keep_out(a, reason) for a in added if a.kind != "hole")),
    )
    return changed, [*_small(added), *told]


def _keep_out(added: Added, reason: str) -> KeepOut:
    kind: KeepOutKind = "no part" if added.kind == "keep-out" else "no part, lead or rapid"
    return KeepOut(contour=added.contour, kind=kind, reason=reason)


def _small(added: Sequence[Added]) -> list[str]:
    told = []
    for one in added:
        x0, y0, x1, y1 = _area(one.contour).bounds
        if max(x1 - x0, y1 - y0) < _SMALL_MM:
            told.append(f"{one.where}: is only {x1 - x0:.1f} x {y1 - y0:.1f} mm; check the unit, and say it by --units")
    return told


def _area(contour: Contour) -> Polygon:
    return contour.polygon(NESTING_CHORD_MM, "midway")


def _circle(fields: Sequence[str], unit: Unit, where: str) -> Contour:
    if len(fields) != 3:
        raise InputError(f"{where}: a circle is written circle,X,Y,DIAMETER")
    x, y, diameter = (_length(f, unit, where) for f in fields)
    if not diameter > 0.0:
        raise InputError(f"{where}: a circle of diameter {fields[2]}; give more than 0")
    return Contour(curves=(circle((x, y), diameter / 2),))


def _corner(text: str, unit: Unit, where: str) -> Vertex:
    fields = text.split(",")
    if len(fields) not in (2, 3):
        raise InputError(f"{where}: {text!r} is not a corner; write X,Y or X,Y,BULGE, or circle,X,Y,DIAMETER alone")
    x, y = (_length(f, unit, where) for f in fields[:2])
    return (x, y, _bulge(fields[2], where) if len(fields) == 3 else 0.0)


def _bulge(text: str, where: str) -> float:
    try:
        bulge = float(text)
    except ValueError:
        raise InputError(f"{where}: {text!r} is not a bulge; write it as a number") from None
    if not abs(bulge) < _MOST_BULGE:
        raise InputError(f"{where}: a bulge of {text}; it is the tangent of a quarter of the arc's angle")
    return bulge


def _length(text: str, unit: Unit, where: str) -> float:
    try:
        return measure(text, unit)
    except InputError as error:
        raise InputError(f"{where}: {error}") from None
