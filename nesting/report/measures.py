"""The figures of use, mass, cutting and cost, each with its definition in words."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from nesting.layout import Layout, SearchFacts
from nesting.remnant import Balance
from nesting.report.facts import Figure, Inputs, PartRow, RemnantRow
from nesting.report.matter import AREA_DIGITS, LENGTH_DIGITS, MASS_DIGITS, TAKEN_AS_LEFTOVER, Matter, cut_time_s
from nesting.shop import Shop

_TAKEN_AS_SHEET: Final = "a new sheet: a rectangle of no known parent"


@dataclass(frozen=True, kw_only=True)
class Totals:
    """Sums of the rounded rows."""

    plate: float
    parts: float
    outlines: float
    kerf: float
    kept: float
    scrap: float
    pieces: int
    cut_length_mm: float
    pierces: int
    parts_kg: float | None
    kept_kg: float | None
    narrowest_kept_mm: float
    balance: dict[str, float]

    @staticmethod
    def of(
        layout: Layout,
        rows: Sequence[PartRow],
        remnants: Sequence[RemnantRow],
        areas: Balance,
        *,
        narrowest_kept_mm: float,
    ) -> "Totals":
        """Add up the rows of a report."""
        outer = {i: p.outer.area_mm2 for i, p in layout.parts.items()}
        plate, kerf, scrap = (round(a, AREA_DIGITS) for a in (areas.plate_mm2, areas.kerf_mm2, areas.scrap_mm2))
        parts = round(sum(r.placed * r.area_mm2 for r in rows), AREA_DIGITS)
        kept = round(sum(r.area_mm2 for r in remnants), AREA_DIGITS)
        total = round(parts + kerf + kept + scrap, AREA_DIGITS)
        return Totals(
            plate=plate,
            parts=parts,
            outlines=round(math.fsum(outer[p.part_id] for p in layout.placements), AREA_DIGITS),
            kerf=kerf,
            kept=kept,
            scrap=scrap,
            pieces=sum(r.placed for r in rows),
            cut_length_mm=round(sum(r.placed * r.cut_length_mm for r in rows), LENGTH_DIGITS),
            pierces=sum(r.placed * r.pierces for r in rows),
            parts_kg=_sum_kg([(r.placed, r.mass_kg) for r in rows]),
            kept_kg=_sum_kg([(1, r.mass_kg) for r in remnants]),
            narrowest_kept_mm=narrowest_kept_mm,
            balance={
                "parts_mm2": parts, "kerf_mm2": kerf, "kept_remnants_mm2": kept, "scrap_mm2": scrap,
                "sum_mm2": total, "plate_mm2": plate, "error_percent": round(100 * areas.error, 6),
            },
        )  # fmt: skip


def _sum_kg(masses: Sequence[tuple[int, float | None]]) -> float | None:
    known = [count * mass for count, mass in masses if mass is not None]
    return round(sum(known), MASS_DIGITS) if len(known) == len(masses) else None


def uses(t: Totals) -> tuple[Figure, ...]:
    """How much of the plate became parts, by three definitions."""
    return (
        Figure(
            key="utilisation",
            label="Utilisation",
            value=_percent(t.parts, t.plate),
            unit="%",
            definition="net part area (holes out) / plate area (its holes out, keep-outs in)",
            inputs={"parts_mm2": t.parts, "plate_mm2": t.plate},
        ),
        Figure(
            key="utilisation_with_leftover_credit",
            label="Utilisation with leftover credit",
            value=_percent(t.parts, t.plate - t.kept),
            unit="%",
            definition="net part area / (plate area - kept remnant area); kept is what a keep rectangle fits in, less "
            "strips narrower than stated",
            inputs={
                "parts_mm2": t.parts,
                "plate_mm2": t.plate,
                "kept_remnants_mm2": t.kept,
                "narrowest_kept_mm": t.narrowest_kept_mm,
            },
        ),
        Figure(
            key="gross_utilisation",
            label="Gross utilisation",
            value=_percent(t.outlines, t.plate),
            unit="%",
            definition="area inside each part's outer contour, holes counted, summed / plate area",
            inputs={"outlines_mm2": t.outlines, "plate_mm2": t.plate},
        ),
    )


def ceiling(t: Totals, search: SearchFacts | None) -> tuple[Figure, ...]:
    """How much of the plate these parts could use at best, if the search worked it out."""
    if search is None or search.bound_utilisation is None:
        return ()
    reached = _percent(t.parts, t.plate)
    # Rounded up, and sums of rounded areas may be a digit higher still.
    most = max(math.ceil(1e4 * search.bound_utilisation - 1e-6) / 100, reached or 0.0)
    return (
        Figure(
            key="most_utilisation",
            label="Most that could be used",
            value=most,
            unit="%",
            definition="an upper bound: no layout of these parts, quantities and clearances on this plate has a "
            "higher utilisation; by areas, by what fits nowhere and by what excludes one another, so that the best "
            "layout may lie well below it",
            inputs={"reached_percent": reached},
        ),
    )


def masses(t: Totals, matter: Matter) -> tuple[Figure, ...]:
    """Mass of plate, parts, kerf, kept remnants and scrap."""
    note = matter.note if matter.thickness_mm is not None else "the plate's thickness is not known"
    by_area = (
        ("plate_mass", "Mass of the plate", t.plate, "plate area x thickness x density"),
        (
            "kerf_mass",
            "Kerf loss",
            t.kerf,
            "area of the kerf bands on the plate, each place once, x thickness x density",
        ),
        ("scrap_mass", "Scrap", t.scrap, "area neither part, kerf nor kept remnant x thickness x density"),
    )
    plate, kerf, scrap = (
        Figure(key=k, label=n, value=matter.mass(a), unit="kg", definition=d, inputs=matter.inputs(a), note=note)
        for k, n, a, d in by_area
    )
    parts, kept = (
        Figure(key=k, label=n, value=m, unit="kg", definition=d, inputs=matter.inputs(a), note=note)
        for k, n, m, a, d in (
            (
                "parts_mass",
                "Mass of the parts",
                t.parts_kg,
                t.parts,
                "sum over the parts list: pieces x mass of one",
            ),
            (
                "kept_mass",
                "Mass of the kept remnants",
                t.kept_kg,
                t.kept,
                "sum over the list of kept remnants",
            ),
        )
    )
    return (plate, parts, kerf, kept, scrap)


def cutting(t: Totals, matter: Matter, travel_mm: float | None) -> tuple[Figure, ...]:
    """Cut length, pierces, cut time and rapid travel."""
    row = matter.row
    inputs: Inputs = {"cut_length_mm": t.cut_length_mm, "pierces": t.pierces}
    if row is not None:
        inputs |= {"speed_mm_min": row.speed_mm_min, "pierce_delay_s": row.pierce_delay_s}
    return (
        Figure(
            key="cut_length",
            label="Cut length",
            value=t.cut_length_mm,
            unit="mm",
            definition="true length of all contours of the placed parts; no leads, no rapids",
            inputs={"pieces": t.pieces},
        ),
        Figure(
            key="pierces",
            label="Pierces",
            value=t.pierces,
            unit="",
            definition="closed contours of the placed parts, one pierce each",
            inputs={"pieces": t.pieces},
        ),
        Figure(
            key="cut_time",
            label="Cut time",
            value=None if row is None else round(cut_time_s(t.cut_length_mm, t.pierces, row), 1),
            unit="s",
            definition="cut length / speed + pierces x pierce delay; no leads, rapids or handling",
            inputs=inputs,
            note=matter.cut_note,
        ),
        Figure(
            key="rapid_travel",
            label="Rapid travel",
            value=None if travel_mm is None else round(travel_mm, LENGTH_DIGITS),
            unit="mm",
            definition="straight ways from the plate's lower left corner to the first contour and from each contour "
            "to the next, in the order of the drawing",
            inputs={"contours": t.pierces},
            note="" if travel_mm is not None else "the order of the drawing is not known",
        ),
    )


def costs(t: Totals, matter: Matter, shop: Shop) -> tuple[Figure, ...]:
    """What the plate cost and what comes back, by the shop's own prices; nothing where it has given none."""
    p = shop.prices
    if (p.new_per_kg, p.remnant_per_kg, p.scrap_per_kg) == (None, None, None):
        return ()
    plate_price = p.remnant_per_kg if matter.leftover else p.new_per_kg
    plate_mass = matter.mass(t.plate)
    plate = _money(plate_mass, plate_price)
    kept, scrap = _money(t.kept_kg, p.remnant_per_kg), _money(matter.mass(t.scrap), p.scrap_per_kg)
    net = None if plate is None or kept is None or scrap is None else round(plate - kept - scrap, 2)
    used = None if plate_mass is None or t.kept_kg is None else round(plate_mass - t.kept_kg, MASS_DIGITS)
    bought = "remnant" if matter.leftover else "new"
    rows: tuple[tuple[str, str, float | None, str, Inputs], ...] = (
        (
            "plate_cost",
            "Cost of the plate",
            plate,
            f"mass of the plate x {bought} price",
            {
                "price_per_kg": plate_price,
                "plate_taken_as": TAKEN_AS_LEFTOVER if matter.leftover else _TAKEN_AS_SHEET,
            },
        ),
        (
            "kept_value",
            "Value of kept remnants",
            kept,
            "their mass x remnant price",
            {"price_per_kg": p.remnant_per_kg},
        ),
        (
            "scrap_value",
            "Value of scrap",
            scrap,
            "its mass x scrap price; kerf earns nothing",
            {"price_per_kg": p.scrap_per_kg},
        ),
        (
            "material_cost",
            "Material cost",
            net,
            "plate - kept remnants - scrap",
            {"plate": plate, "kept": kept, "scrap": scrap},
        ),
        (
            "saved_by_leftover",
            "Saved by using a leftover",
            _saved(used, p.new_per_kg, p.remnant_per_kg) if matter.leftover else 0.0,
            "(mass of the plate - kept remnants) x (new price - remnant price): as much new sheet would have had to be "
            "bought, used as well; nothing for a plate that was bought new",
            {"used_up_kg": used, "new_price_per_kg": p.new_per_kg, "remnant_price_per_kg": p.remnant_per_kg},
        ),
    )
    return tuple(
        Figure(
            key=k,
            label=n,
            value=v,
            unit=p.currency,
            definition=d,
            inputs=i,
            note="" if v is not None else "price or mass not known",
        )
        for k, n, v, d, i in rows
    )


def _percent(part: float, whole: float) -> float | None:
    return round(100.0 * part / whole, 2) if whole > 0.0 else None


def _saved(used_kg: float | None, new: float | None, remnant: float | None) -> float | None:
    return None if new is None or remnant is None else _money(used_kg, new - remnant)


def _money(mass: float | None, price: float | None) -> float | None:
    return None if mass is None or price is None else round(mass * price, 2)
