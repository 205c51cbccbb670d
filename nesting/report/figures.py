"""Works out the yield report of one layout: every figure with its definition and what went into it.

Lengths mm, areas mm2, masses kg, times s.  What is not known is None.  Values of single parts are rounded to
the digits that are shown, and sums are made of the rounded values, so that a list and its total agree to the
last digit."""

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Final

from nesting.corner_names import named_corners
from nesting.demand import Demand
from nesting.fit.finding import FitFinding
from nesting.geometry.tape_checks import tape_checks
from nesting.layout import FreeRest, Layout, Pulled, SearchFacts
from nesting.remnant import Balance, Remnant, balance, narrowest_kept_mm
from nesting.report.cautions import cautions
from nesting.report.facts import (
    CheckFacts,
    ClearanceRow,
    DrawingFacts,
    FitRow,
    Inputs,
    LeftOverRow,
    PartRow,
    PlateFacts,
    RemnantRow,
    YieldReport,
)
from nesting.report.matter import AREA_DIGITS, LENGTH_DIGITS, Matter
from nesting.report.measures import Totals, ceiling, costs, cutting, masses, uses
from nesting.shop import Shop
from nesting.tables import material_of

SCHEMA: Final = "oddplate-yield/1"


def figures(
    layout: Layout,
    shop: Shop,
    *,
    areas: Balance | None = None,
    check: CheckFacts | None = None,
    drawings: Sequence[DrawingFacts] = (),
    notes: Sequence[str] = (),
    fit: Sequence[FitFinding] = (),
    travel_mm: float | None = None,
) -> YieldReport:
    """Return the yield report of a layout.

    `areas` saves measuring them again.  Mass needs the plate's thickness, cut time a cut-chart row for it,
    cost the shop's prices; without them those figures are None and say what is missing.  `travel_mm` is the
    rapid travel in the order of the written drawing.  Raises
    `BalanceError` as `balance`.
    """
    areas = areas or balance(layout, shop)
    matter = Matter.of(layout, shop)
    rows = tuple(_part_row(layout, d, matter, line) for line, d in enumerate(layout.demands, start=1))
    remnants = tuple(_remnant_row(r, matter) for r in areas.kept)
    totals = Totals.of(layout, rows, remnants, areas, narrowest_kept_mm=narrowest_kept_mm(layout, shop))
    names = {i: p.name for i, p in layout.parts.items()}
    return YieldReport(
        schema=SCHEMA,
        layout_id=layout.id,
        shop=shop.name,
        plate=_plate_facts(layout, totals, matter),
        figures=(
            *uses(totals),
            *ceiling(totals, layout.search),
            *masses(totals, matter),
            *cutting(totals, matter, travel_mm),
            *costs(totals, matter, shop),
        ),
        parts=rows,
        left_over=tuple(
            LeftOverRow(part_id=x.part_id, name=names.get(x.part_id, x.part_id), count=x.count, reason=x.reason)
            for x in layout.left_over
        ),
        remnants=remnants,
        clearances=_clearance_rows(layout),
        balance_mm2=totals.balance,
        density_note=matter.note,
        mass_by=matter.mass_by,
        lift_limit_kg=shop.lift_limit_kg,
        cutting_note=matter.cut_note,
        search=_search_inputs(layout.search),
        pulled=None if layout.search is None else _pulled(layout.search.pulled),
        check=check,
        drawings=tuple(drawings) or _sources(layout),
        shop_sources=dict(shop.sources),
        notes=tuple(notes),
        cautions=cautions(shop.process, material_of(layout.plate.grade)),
        fit=tuple(_fit_row(f, names) for f in fit),
    )


def _part_row(layout: Layout, demand: Demand, matter: Matter, line: int) -> PartRow:
    part = demand.part
    width, height = part.size_mm
    area = round(part.area_mm2, AREA_DIGITS)
    mass = matter.mass(area)
    return PartRow(
        part_id=part.id,
        name=part.name,
        wanted=demand.quantity,
        placed=layout.placed(part.id),
        numbers=tuple(p.number for p in layout.placements if p.part_id == part.id),
        width_mm=round(width, LENGTH_DIGITS),
        height_mm=round(height, LENGTH_DIGITS),
        area_mm2=area,
        mass_kg=mass,
        cut_length_mm=round(part.cut_length_mm, LENGTH_DIGITS),
        pierces=part.pierces,
        above_lift_limit=matter.too_heavy(mass),
        source=part.source,
        source_sha256=part.source_sha256,
        line=line,
        reference=demand.reference,
    )


def _fit_row(finding: FitFinding, names: dict[str, str]) -> FitRow:
    return FitRow(
        part_id=finding.part_id,
        name=names.get(finding.part_id, finding.part_id),
        kind=finding.kind,
        severity=finding.severity,
        message=finding.message,
        place_mm=finding.place,
        value_mm=finding.value_mm,
        limit_mm=finding.limit_mm,
        source=finding.source,
    )


def _remnant_row(remnant: Remnant, matter: Matter) -> RemnantRow:
    area = round(remnant.area_mm2, AREA_DIGITS)
    mass, box = matter.mass(area), remnant.rectangle
    return RemnantRow(
        label=remnant.label,
        area_mm2=area,
        mass_kg=mass,
        circle_diameter_mm=_down(2 * remnant.circle[1]),
        rectangle_mm=(_down(box.width_mm), _down(box.height_mm)),
        rectangle_turn_deg=round(box.turn_deg, 1) + 0.0,  # no -0.0 on a page
        above_lift_limit=matter.too_heavy(mass),
    )


def _down(length_mm: float) -> float:
    """Round down to the digits shown: a rectangle said to fit must fit."""
    scale = 10.0**LENGTH_DIGITS
    return math.floor(length_mm * scale + 1e-6) / scale


def _search_inputs(search: SearchFacts | None) -> Inputs:
    """The plain values of a search; what it pulled together has a place of its own."""
    return {} if search is None else {k: v for k, v in asdict(search).items() if k != "pulled"}


def _pulled(pulled: Pulled | None) -> Pulled | None:
    return pulled and Pulled(to=pulled.to, before=_rest(pulled.before), after=_rest(pulled.after))


def _rest(rest: FreeRest) -> FreeRest:
    long, short = rest.rectangle_mm
    return FreeRest(
        area_mm2=round(rest.area_mm2, AREA_DIGITS),
        circle_diameter_mm=_down(rest.circle_diameter_mm),
        rectangle_mm=(_down(long), _down(short)),
    )


def _plate_facts(layout: Layout, totals: Totals, matter: Matter) -> PlateFacts:
    plate = layout.plate
    return PlateFacts(
        name=plate.name,
        area_mm2=totals.plate,
        mass_kg=matter.mass(totals.plate),
        thickness_mm=plate.thickness_mm,
        grade=plate.grade,
        heat=plate.heat,
        grain_deg=plate.grain_deg,
        captured=plate.captured,
        uncertainty_mm=plate.uncertainty_mm,
        parent=plate.parent,
        place=plate.place,
        source=plate.source,
        checks=tape_checks(plate.outer),
        corners=named_corners(plate),
    )


def _clearance_rows(layout: Layout) -> tuple[ClearanceRow, ...]:
    c, uncertainty = layout.clearances, layout.plate.uncertainty_mm
    said = c.sources.get
    lead_in = "lead-in length, room kept for each" if c.keep_lead_room else "lead-in length"
    return (
        ClearanceRow(label="kerf", value_mm=c.kerf_mm, source=said("kerf_mm", "as given")),
        ClearanceRow(label="gap between finished parts", value_mm=c.gap_mm, source=said("gap_mm", "as given")),
        ClearanceRow(label="web left between two cuts", value_mm=c.web_mm, source="gap - 2 x kerf"),
        ClearanceRow(
            label="margin to plate edge, holes, keep-outs",
            value_mm=c.margin_mm,
            source=said("margin_mm", "as given"),
        ),
        ClearanceRow(
            label="added for the outline's uncertainty",
            value_mm=uncertainty,
            source=f"outline {layout.plate.captured}",
        ),
        ClearanceRow(label="margin kept in all", value_mm=c.edge_mm(uncertainty), source="margin + uncertainty"),
        ClearanceRow(label=lead_in, value_mm=c.lead_in_mm, source=said("lead_in_mm", "as given")),
    )


def _sources(layout: Layout) -> tuple[DrawingFacts, ...]:
    """The drawings that parts and plate say they came from, each once."""
    found = {(p.source, p.source_sha256): None for p in layout.parts.values() if p.source}
    rows = [DrawingFacts(name=name, role="part", sha256=sha) for name, sha in found]
    if layout.plate.source:
        rows.append(DrawingFacts(name=layout.plate.source, role="plate"))
    return tuple(rows)
