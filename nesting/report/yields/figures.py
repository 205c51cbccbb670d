"""The figures of several cuts together, each with its definition and what went into it."""

from typing import Final

from nesting.report.facts import Figure, Inputs
from nesting.report.yields.facts import Amounts, SumRow

_MASSES: Final = (
    ("plate", "Mass of the plates", "sum over the layouts"),
    ("parts", "Mass of the parts made", "sum over the layouts: pieces made x mass of one"),
    ("failed", "Mass of failed parts", "sum over the layouts: pieces cut that are no use x mass of one"),
    ("kerf", "Kerf loss", "sum over the layouts: area of the kerf bands x thickness x density or table weight"),
    ("kept", "Mass of the kept remnants", "sum over the layouts: what came back to the rack, or is planned to"),
    ("scrap", "Scrap", "sum over the layouts: neither part, failed part, kerf nor kept remnant"),
)
_COSTS: Final = (
    ("plate_cost", "Cost of the plates", "sum over the layouts: mass x price, new or as remnant"),
    ("kept_value", "Value of kept remnants", "sum over the layouts: their mass x remnant price"),
    (
        "scrap_value",
        "Value of scrap",
        "sum over the layouts: its mass x scrap price; kerf and failed parts earn nothing",
    ),
    ("material_cost", "Material cost", "sum over the layouts: plate - kept remnants - scrap"),
    (
        "saved_by_leftover",
        "Saved by using leftovers",
        "sum over the layouts on leftovers: (mass of the plate - kept remnants) x (new price - remnant price); as much "
        "new sheet would have had to be bought, used as well",
    ),
)


def figures_of(total: SumRow, *, currency: str | None, planned_mm2: float) -> tuple[Figure, ...]:
    """Return the figures; costs only where all prices are in one `currency`, `planned_mm2` is the parts' area as laid
    out.
    """
    found = [*_uses(total, planned_mm2), *_counts(total), *(_mass(total, *of) for of in _MASSES), *_cutting(total)]
    if currency is not None:
        found += [_sum(total, key, label, definition, currency) for key, label, definition in _COSTS]
        found.append(_cost_of_a_kilogram(total, currency))
    return tuple(found)


def _uses(total: SumRow, planned_mm2: float) -> tuple[Figure, ...]:
    a = total.amounts
    layouts = len(total.cuts)
    whole = a.plate_mm2 or 0.0
    return (
        Figure(
            key="utilisation",
            label="Utilisation",
            value=total.utilisation_percent,
            unit="%",
            definition="net area of the parts made (holes out) / area of the plates, each summed over the layouts",
            inputs={"parts_mm2": a.parts_mm2, "plate_mm2": a.plate_mm2, "layouts": layouts},
        ),
        Figure(
            key="utilisation_with_leftover_credit",
            label="Utilisation with leftover credit",
            value=total.utilisation_with_leftover_credit_percent,
            unit="%",
            definition="net area of the parts made / (area of the plates - area of the kept remnants)",
            inputs={"parts_mm2": a.parts_mm2, "plate_mm2": a.plate_mm2, "kept_mm2": a.kept_mm2, "layouts": layouts},
        ),
        Figure(
            key="utilisation_as_planned",
            label="Utilisation as planned",
            value=round(100.0 * planned_mm2 / whole, 2) if whole > 0.0 else None,
            unit="%",
            definition="net area of all parts laid out, made or not / area of the plates",
            inputs={"parts_laid_out_mm2": planned_mm2, "plate_mm2": a.plate_mm2},
        ),
        Figure(
            key="utilisation_by_mass",
            label="Utilisation by mass",
            value=_percent(a.parts_kg, a.plate_kg),
            unit="%",
            definition="mass of the parts made / mass of the plates: thick plate counts more than thin",
            inputs={"parts_kg": a.parts_kg, "plate_kg": a.plate_kg},
            note=_left_out(total, "plate_kg"),
        ),
    )


def _counts(total: SumRow) -> tuple[Figure, ...]:
    summed: Inputs = {"layouts": len(total.cuts)}
    counted = (
        ("made", "Parts made", "pieces that came out right, or as laid out where nobody told"),
        ("placed", "Parts laid out", "pieces with a place in the layouts"),
        ("failed", "Parts failed", "pieces cut that are no use"),
    )
    a = total.amounts.each
    return tuple(
        Figure(key=f"parts_{key}", label=label, value=a[key], unit="", definition=definition, inputs=summed)
        for key, label, definition in counted
    )


def _mass(total: SumRow, what: str, label: str, definition: str) -> Figure:
    name = f"{what}_kg"
    return Figure(
        key=f"{what}_mass",
        label=label,
        value=total.amounts.each[name],
        unit="kg",
        definition=definition,
        inputs={f"{what}_mm2": total.amounts.each[f"{what}_mm2"], "layouts": len(total.cuts)},
        note=_left_out(total, name),
    )


def _cutting(total: SumRow) -> tuple[Figure, ...]:
    a: Amounts = total.amounts
    return (
        _sum(total, "cut_length_mm", "Cut length", "true length of all contours cut; no leads, no rapids", "mm"),
        _sum(total, "pierces", "Pierces", "closed contours cut, one pierce each", ""),
        _sum(
            total,
            "cut_time_s",
            "Cut time",
            "sum over the layouts: cut length / speed + pierces x pierce delay, by each one's cut-chart row; no leads, "
            "rapids or handling",
            "s",
            {"cut_length_mm": a.cut_length_mm, "pierces": a.pierces},
        ),
    )


def _sum(total: SumRow, name: str, label: str, definition: str, unit: str, inputs: Inputs | None = None) -> Figure:
    key = name.removesuffix("_mm").removesuffix("_s")
    given: Inputs = {**(inputs or {}), "layouts": len(total.cuts)}
    value = total.amounts.each[name]
    note = _left_out(total, name)
    return Figure(key=key, label=label, value=value, unit=unit, definition=definition, inputs=given, note=note)


def _cost_of_a_kilogram(total: SumRow, currency: str) -> Figure:
    cost, mass = total.amounts.material_cost, total.amounts.parts_kg
    known = cost is not None and mass and not {"material_cost", "parts_kg"} & set(total.not_known)
    return Figure(
        key="material_cost_per_kg",
        label="Material cost of a kilogram of parts",
        value=round((cost or 0.0) / (mass or 1.0), 2) if known else None,
        unit=f"{currency}/kg",
        definition="material cost / mass of the parts made",
        inputs={"material_cost": cost, "parts_kg": mass},
        note="" if known else "cost or mass is not known for every layout",
    )


def _left_out(total: SumRow, name: str) -> str:
    missing = total.not_known.get(name, 0)
    return f"not known for {missing} of {len(total.cuts)} layouts, which are left out" if missing else ""


def _percent(part: float | None, whole: float | None) -> float | None:
    return round(100.0 * part / whole, 2) if part is not None and whole else None
