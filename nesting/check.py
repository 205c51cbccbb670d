"""The independent check of a layout or a written drawing: clearances on true contours, and the job's rules.

Works with shapely alone and knows nothing of the search; a layout leaves only after passing here.
"""

from collections.abc import Sequence

from nesting.checking.distances import Body, Shape, check_gaps, check_margins
from nesting.checking.findings import CheckFinding, CheckReport
from nesting.checking.rules import check_rules, usable
from nesting.clearances import Clearances
from nesting.layout import Layout
from nesting.plate import Plate


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
    return _report(bodies, layout.plate, layout.clearances, check_rules(layout), layout.id)


def _report(
    bodies: Sequence[Body],
    plate: Plate,
    clearances: Clearances,
    findings: Sequence[CheckFinding],
    layout_id: str,
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
