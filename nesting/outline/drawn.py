"""Drawings: the outline as somebody drew it, or the sheet and what was cut from it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import shapely
from shapely.geometry import Polygon

from nesting.drawing.contours import contours_of as loops_of
from nesting.drawing.entities import Drawn
from nesting.drawing.findings import Finding, at
from nesting.drawing.layers import LABEL, MARK, PIERCE_MARK
from nesting.drawing.nest import loop_polygon
from nesting.drawing.plate import keep_out_kind, read_plate
from nesting.drawing.reader import sort_content
from nesting.errors import DrawingError
from nesting.geometry.largest import holds_rectangle
from nesting.geometry.pose import Point
from nesting.outline.captured import Captured
from nesting.outline.inside import carried, contours_of, pieces_of
from nesting.plate import KeepOut
from nesting.tolerances import JOIN_WARN_MM
from nesting.units import DrawnUnit

_NOT_CUT: Final = frozenset({MARK, LABEL, PIERCE_MARK})


@dataclass(frozen=True, kw_only=True)
class _Body:
    """The area in a closed contour, and whether its layer is one of marks."""

    area: Polygon
    entity: str
    marked: bool

    @property
    def filled(self) -> Polygon:
        """The area with whatever lies in it."""
        return Polygon(self.area.exterior)

    @property
    def place(self) -> Point:
        """A point in it."""
        point = self.area.representative_point()
        return (point.x, point.y)


def from_drawing(
    path: Path, *, uncertainty_mm: float, units: DrawnUnit | None = None
) -> tuple[Captured, tuple[Finding, ...]]:
    """Return the plate of a drawn outline, and what was found in the drawing.

    How well a drawing fits the steel no file says: `uncertainty_mm` is the user's.  Raise `DrawingError` as
    `read_plate` does, and for findings that are errors.
    """
    plate, findings = read_plate(path, units=units)
    _refuse_errors(path, findings)
    found = Captured(
        way="drawing",
        outer=plate.outer,
        holes=plate.holes,
        keep_outs=plate.keep_outs,
        uncertainty_mm=uncertainty_mm,
        basis="as said for the drawing",
    )
    return found, findings


def from_cut_drawing(
    path: Path,
    *,
    kerf_mm: float,
    notch_mm: float,
    keep_mm: Sequence[tuple[float, float]],
    narrowest_mm: float = 0.0,
    uncertainty_mm: float,
    units: DrawnUnit | None = None,
) -> tuple[tuple[Captured, ...], tuple[Finding, ...]]:
    """Return the pieces left of a sheet by the drawing of what was cut, largest first, and what was found in it.

    The largest contour is the sheet; every other one was cut, and takes the kerf and `notch_mm` round it, since its
    lead may lie anywhere; strips narrower than either, or than `narrowest_mm`, come off.  What lies inside a cut
    contour is gone.  Closed contours on layers of marks count too, with a warning.  A piece counts if one of `keep_mm`
    fits in it; keep-outs stay where they are.  Raise `DrawingError` where no such piece is left, where contours are
    open, and for findings that are errors: what could not be read may have been cut.
    """
    plate, seen = read_plate(path, units=units)
    _refuse_errors(path, seen)
    bodies, findings = _bodies(path, units)
    _refuse_errors(path, findings)
    # What `read_plate` says of marks is for drawings of what is left.
    seen = tuple(f for f in seen if f.kind != "mark taken as hole")
    findings = tuple(dict.fromkeys((*seen, *findings, *_marks_taken(bodies))))
    taken = shapely.union_all([b.filled.buffer(kerf_mm + notch_mm) for b in bodies[1:]])
    whole = pieces_of(bodies[0].area.difference(taken), max(notch_mm, kerf_mm, narrowest_mm))
    pieces = [p for p in whole if any(holds_rectangle(p, w, h) for w, h in keep_mm)]
    if not pieces:
        raise DrawingError(
            f"{path.name}: no piece is left that holds one of the keep sizes; give smaller ones (shop file: keep)"
        )
    widths, cut = (kerf_mm, notch_mm), len(bodies) - 1
    return tuple(_piece(p, plate.keep_outs, cut, widths, uncertainty_mm) for p in pieces), findings


def _refuse_errors(path: Path, findings: Iterable[Finding]) -> None:
    errors = [f.message for f in findings if f.severity == "error"]
    if errors:
        raise DrawingError(f"{path.name}: {errors[0]}")


def _bodies(path: Path, units: DrawnUnit | None) -> tuple[list[_Body], tuple[Finding, ...]]:
    """The closed contours of sheet and cuts, largest first, and what was found in chaining them."""
    content = sort_content(path, units)
    both = (content.cut, content.marked)
    cut, marked = (loops_of([d for d in drawn if _may_be_cut(d)], JOIN_WARN_MM) for drawn in both)
    if cut.chains:
        chain = cut.chains[0]
        raise DrawingError(f"{path.name}, {chain.drawn[0].entity}: open line; close it, or delete it if it was not cut")
    bodies = [
        _Body(area=loop_polygon(loop, path), entity=loop.entities[0], marked=chained is marked)
        for chained in (cut, marked)
        for loop in chained.loops
    ]
    if not bodies:
        raise DrawingError(f"{path.name}: no closed contour; draw the sheet and what was cut from it")
    return sorted(bodies, key=lambda b: -b.area.area), cut.findings


def _may_be_cut(drawn: Drawn) -> bool:
    return drawn.layer.upper() not in _NOT_CUT and not keep_out_kind(drawn.layer)


def _marks_taken(bodies: Sequence[_Body]) -> list[Finding]:
    """Say which marks count as the sheet or as cut; one inside of what was cut changes nothing."""
    gone = shapely.union_all([b.filled for b in bodies[1:] if not b.marked])
    told = []
    for k, body in enumerate(bodies):
        if body.marked and not (k and gone.covers(body.area)):
            what = "cut out of the sheet" if k else "the edge of the sheet"
            text = f"{body.entity} at {at(body.place)}: closed contour on a layer of marks taken as {what}"
            told.append(Finding(kind="mark taken", severity="warning", message=text, entity=body.entity))
    return told


def _piece(
    inside: Polygon, keep_outs: Sequence[KeepOut], cut: int, widths_mm: tuple[float, float], uncertainty_mm: float
) -> Captured:
    outer, holes = contours_of(inside)
    return Captured(
        way="drawing of what was cut",
        outer=outer,
        holes=holes,
        keep_outs=carried(keep_outs, inside),
        uncertainty_mm=uncertainty_mm,
        basis="as said for the drawing",
        notes=(f"{cut} contours cut, each with {widths_mm[0]:g} mm kerf and {widths_mm[1]:g} mm for leads round it",),
    )
