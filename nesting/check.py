"""The independent check of a layout or a written drawing: clearances on true contours, and the job's rules.

Works with shapely alone and knows nothing of the search; a layout leaves only after passing here.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from nesting.checking.distances import Body, Shape, check_gaps, check_margins
from nesting.checking.drawn import compare, drawn_bodies, drawn_plate, stray_cuts
from nesting.checking.findings import CheckFinding, CheckReport
from nesting.checking.leads import check_leads, odd_leads
from nesting.checking.marks import marks_differ
from nesting.checking.rules import check_rules, usable
from nesting.clearances import Clearances
from nesting.drawing.readback import CutDrawing, read_cuts
from nesting.errors import DrawingError, InputError
from nesting.layout import Layout
from nesting.plate import Plate
from nesting.units import Unit

__all__ = ["CheckFinding", "CheckReport", "check_drawing", "check_layout"]


def check_layout(layout: Layout) -> CheckReport:
    """Check a layout: gaps, margins, quantities, turns, thickness and grade.

    Priorities are not checked.  Distances are exact to `CHECK_MM`, in doubt too short.
    """
    shapes = {part_id: Shape(part.outer, part.holes) for part_id, part in layout.parts.items()}
    bodies = [
        Body(layout.parts[p.part_id].name, shapes[p.part_id], p.pose, p.number)
        for p in layout.placements
        if p.part_id in shapes and usable(p)
    ]
    return _report(bodies, layout.plate, layout.clearances, check_rules(layout), layout_id=layout.id)


def check_drawing(
    path: Path,
    *,
    layout: Layout | None = None,
    clearances: Clearances | None = None,
    plate: Plate | None = None,
    units: Unit | None = None,
) -> CheckReport:
    """Check a drawing as written: all distances are measured on what the file holds, lead-ins marked in it too.

    With a layout, also that the drawing holds its placements' contours, all of them, in place and nothing
    else, and that the layout keeps the job's rules; marks that differ are notes.  Clearances come from the argument,
    else the layout; the plate from the argument, else the layout, else the drawing: from its layer, or, where its parts
    are not on layers of ours either, the contour that lies round all others.  Without a layout the drawing's keep-outs
    count whatever the plate comes from.

    Raises
    ------
    DrawingError
        The drawing cannot be read, something in it cannot be cut or cannot be looked at, or it holds no part.
    InputError
        Nothing says the clearances or the plate.
    """
    cuts = read_cuts(path, units=units, find_edge=layout is None and plate is None)
    clearances = clearances or (layout.clearances if layout else None)
    if clearances is None:
        raise InputError(f"{path}: a drawing does not say its clearances; give the layout, or gap and margin")
    plate = _plate(cuts, layout, plate)
    if layout is None and not cuts.parts:
        raise DrawingError(f"{path}: no part in this drawing, nothing to check; look at which layers are cut")
    bodies, found = (drawn_bodies(cuts), []) if layout is None else compare(cuts, layout)
    found = [*found, *stray_cuts(cuts), *odd_leads(cuts.odd_leads)]
    found += check_leads(cuts.leads, bodies, plate, clearances)
    notes = [f.message for f in cuts.findings if f.severity == "warning" or f.kind == "hidden"]
    holes = sum(len(part.holes) for part in cuts.parts)
    if holes and not cuts.own_layers:
        notes.append(f"taken as holes of the parts they lie in, and not measured against one another: {holes} contours")
    if layout is not None:
        found += check_rules(layout)
        notes += marks_differ(cuts, layout)
    report = _report(bodies, plate, clearances, found, layout_id=layout.id if layout else "")
    return replace(report, shown_in="inch" if cuts.unit in ("inch", "foot") else "mm", notes=tuple(notes))


def _plate(cuts: CutDrawing, layout: Layout | None, given: Plate | None) -> Plate:
    if layout is not None:
        return given or layout.plate
    if given is not None:
        return replace(given, keep_outs=(*given.keep_outs, *cuts.keep_outs))
    drawn = drawn_plate(cuts)
    if drawn is None:
        raise InputError(f"{cuts.path}: no plate edge in this drawing; give the layout, or the plate (--plate)")
    return drawn


def _report(
    bodies: Sequence[Body],
    plate: Plate,
    clearances: Clearances,
    findings: Sequence[CheckFinding],
    *,
    layout_id: str = "",
) -> CheckReport:
    gaps, worst_gap = check_gaps(bodies, clearances.gap_mm)
    margins, worst_margin = check_margins(bodies, plate, clearances)
    broken = (*findings, *gaps, *margins)
    return CheckReport(
        passed=not broken,
        findings=broken,
        worst_gap=worst_gap,
        worst_margin=worst_margin,
        parts_checked=len(bodies),
        needed_gap_mm=clearances.gap_mm,
        needed_margin_mm=clearances.edge_mm(plate.uncertainty_mm),
        layout_id=layout_id,
    )
