"""Clearances from what a job, a shop and the tables say; each value keeps its source."""

from dataclasses import dataclass

from nesting.clearances import Clearances
from nesting.errors import InputError, JobError
from nesting.files.job import ClearancesEntry
from nesting.plate import Plate
from nesting.shop import Shop
from nesting.tables import CutRow, cut_row, kerf_range, material_of, spacing

LEAST_WEB_MM = 2.0
"""Narrowest web that stands between two cuts (newayprecision.com, plasma cutting design table)."""

LEAST_LEAD_MM = 3.0
"""Shortest lead-in on thin sheet; common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Derived:
    """Clearances and notes for the report."""

    clearances: Clearances
    notes: tuple[str, ...] = ()


def derive_clearances(entry: ClearancesEntry, shop: Shop, plate: Plate) -> Derived:
    """Return the clearances of a job.

    `shop` holds the job's process and amperage already.  Kerf: the job's own, else one measured in the shop,
    else the cut chart's.  Gap and margin: the job's, else the shop's, else the usual ones for process and
    thickness, never less than the kerf needs.  Raises `InputError` where a value is neither said nor found.
    """
    row, why_not = chart_row(shop, plate.thickness_mm, plate.grade)
    kerf, kerf_source = _kerf(entry, shop, plate, row, why_not)
    gap, gap_source = _gap(entry, shop, plate, kerf)
    margin, margin_source = _margin(entry, shop, plate, kerf)
    lead, lead_source = _lead_in(entry, plate)
    sources = {
        "kerf_mm": kerf_source,
        "gap_mm": gap_source,
        "margin_mm": margin_source,
        "lead_in_mm": lead_source,
    }
    clearances = Clearances(
        kerf_mm=kerf,
        gap_mm=gap,
        margin_mm=margin,
        lead_in_mm=lead,
        merge_cuts=entry.merge_cuts,
        break_edge=entry.break_edge,
        keep_lead_room=entry.keep_lead_room,
        sources=sources,
    )
    return Derived(clearances=clearances, notes=_notes(row, shop, plate))


def chart_row(shop: Shop, thickness_mm: float | None, grade: str | None) -> tuple[CutRow | None, str]:
    """Return the cut-chart row for a plate, or None and why there is none."""
    if thickness_mm is None:
        return None, "the plate's thickness is not known"
    material = material_of(grade) or shop.material
    try:
        return cut_row(shop.process, shop.amps, thickness_mm, material=material, own=shop.cut_rows), ""
    except InputError as error:
        return None, str(error)


def known_kerf(shop: Shop, thickness_mm: float | None, row: CutRow | None) -> tuple[float, str] | None:
    """Return the kerf measured in the shop, else that of the cut chart, and its source; None if neither is known."""
    measured = shop.measured_kerf(shop.process, shop.amps, thickness_mm)
    if measured is not None:
        return measured.kerf_mm, f"measured in the shop on {measured.measured_on.isoformat()}"
    if row is not None and row.kerf_mm is not None:
        return row.kerf_mm, f"cut chart: {row.source}; a starting value, measure your own"
    return None


def _kerf(
    entry: ClearancesEntry,
    shop: Shop,
    plate: Plate,
    row: CutRow | None,
    why_not: str,
) -> tuple[float, str]:
    if entry.kerf is not None:
        return entry.kerf, "given in the job"
    known = known_kerf(shop, plate.thickness_mm, row)
    if known is not None:
        return known
    reason = why_not or "the cut chart prints no kerf for it"
    found = kerf_range(shop.process, shop.amps, material_of(plate.grade) or shop.material)
    printed = f"; in print are {found.low_mm:g} to {found.high_mm:g} mm ({found.source})" if found is not None else ""
    raise JobError(f"the kerf is not known: {reason}{printed}. Measure it and give kerf")


def _gap(entry: ClearancesEntry, shop: Shop, plate: Plate, kerf: float) -> tuple[float, str]:
    if entry.gap is not None:
        return entry.gap, "given in the job"
    if shop.gap_mm is not None:
        return shop.gap_mm, "the shop's"
    if plate.thickness_mm is None:
        raise JobError("gap is not given and the plate's thickness, which it follows from, is not known")
    usual = spacing(shop.process, plate.thickness_mm)
    least = 2 * kerf + LEAST_WEB_MM
    if usual.gap_mm < least:
        return least, f"two kerfs and a web of {LEAST_WEB_MM:g} mm (newayprecision.com design table)"
    return usual.gap_mm, f"usual for {shop.process} at {plate.thickness_mm:g} mm: {usual.source}"


def _margin(entry: ClearancesEntry, shop: Shop, plate: Plate, kerf: float) -> tuple[float, str]:
    if entry.margin is not None:
        return entry.margin, "given in the job"
    if shop.margin_mm is not None:
        return shop.margin_mm, "the shop's"
    if plate.thickness_mm is None:
        raise JobError("margin is not given and the plate's thickness, which it follows from, is not known")
    usual = spacing(shop.process, plate.thickness_mm)
    return max(usual.margin_mm, kerf), f"usual for {shop.process} at {plate.thickness_mm:g} mm: {usual.source}"


def _lead_in(entry: ClearancesEntry, plate: Plate) -> tuple[float, str]:
    if entry.lead_in is not None:
        return entry.lead_in, "given in the job"
    if plate.thickness_mm is None:
        return LEAST_LEAD_MM, "least usual lead-in; common practice, no source"
    return (
        max(plate.thickness_mm, LEAST_LEAD_MM),
        "about one thickness (advice that cites operator manual 809240), 3 mm at least (common practice)",
    )


def _notes(row: CutRow | None, shop: Shop, plate: Plate) -> tuple[str, ...]:
    notes = []
    if row is not None and material_of(plate.grade) is None:
        grade = "unknown" if plate.grade is None else f"{plate.grade!r}, not in the table"
        notes.append(f"cut chart taken for {shop.material}: the plate's grade is {grade}")
    if row is not None and row.edge_start:
        notes.append(
            f"{plate.thickness_mm:g} mm is over the pierce limit of the cut chart: it asks for edge starts, "
            "so inside cuts need a drilled hole"
        )
    return tuple(notes)
