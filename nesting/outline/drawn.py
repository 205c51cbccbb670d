"""Drawings: the outline as somebody drew it, or the sheet and what was cut from it."""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import shapely
from shapely.geometry import Polygon

from nesting.drawing.contours import contours_of as loops_of
from nesting.drawing.findings import Finding
from nesting.drawing.layers import LABEL, MARK, PIERCE_MARK
from nesting.drawing.nest import loop_polygon
from nesting.drawing.plate import keep_out_kind, read_plate
from nesting.drawing.reader import sort_content
from nesting.errors import DrawingError
from nesting.geometry.largest import holds_rectangle
from nesting.outline.captured import Captured
from nesting.outline.inside import carried, contours_of, pieces_of
from nesting.plate import KeepOut
from nesting.tolerances import JOIN_WARN_MM
from nesting.units import DrawnUnit

_NOT_CUT: Final = frozenset({MARK, LABEL, PIERCE_MARK})


def from_drawing(
    path: Path, *, uncertainty_mm: float, units: DrawnUnit | None = None
) -> tuple[Captured, tuple[Finding, ...]]:
    """Return the plate of a drawn outline, and what was found in the drawing.

    How well a drawing fits the steel no file says: `uncertainty_mm` is the user's.  Raise `DrawingError` as
    `read_plate` does, and for findings that are errors.
    """
    plate, findings = read_plate(path, units=units)
    errors = [f.message for f in findings if f.severity == "error"]
    if errors:
        raise DrawingError(f"{path.name}: {errors[0]}")
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
) -> tuple[Captured, ...]:
    """Return the pieces left of a sheet by the drawing of what was cut, largest first.

    The largest contour is the sheet; every other one was cut, and takes the kerf and `notch_mm` round it, since its
    lead may lie anywhere; strips narrower than either, or than `narrowest_mm`, come off.  What lies inside a cut
    contour is gone.  A piece counts if one of `keep_mm` fits in it; keep-outs stay where they are.  Raise
    `DrawingError` where no such piece is left, or contours are open.
    """
    plate, _ = read_plate(path, units=units)
    content = sort_content(path, units)
    edges = [d for d in content.cut if d.layer.upper() not in _NOT_CUT and not keep_out_kind(d.layer)]
    found = loops_of(edges, JOIN_WARN_MM)
    if found.chains:
        chain = found.chains[0]
        raise DrawingError(f"{path.name}, {chain.drawn[0].entity}: open line; close it, or delete it if it was not cut")
    if not found.loops:
        raise DrawingError(f"{path.name}: no closed contour; draw the sheet and what was cut from it")
    bodies = sorted((loop_polygon(loop, path) for loop in found.loops), key=lambda b: -b.area)
    taken = shapely.union_all([Polygon(b.exterior).buffer(kerf_mm + notch_mm) for b in bodies[1:]])
    whole = pieces_of(bodies[0].difference(taken), max(notch_mm, kerf_mm, narrowest_mm))
    pieces = [p for p in whole if any(holds_rectangle(p, w, h) for w, h in keep_mm)]
    if not pieces:
        raise DrawingError(
            f"{path.name}: no piece is left that holds one of the keep sizes; give smaller ones (shop file: keep)"
        )
    return tuple(_piece(p, plate.keep_outs, len(bodies) - 1, (kerf_mm, notch_mm), uncertainty_mm) for p in pieces)


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
