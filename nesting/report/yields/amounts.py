"""What one cut amounts to: as planned, or as somebody told it came out; and sums over cuts.

Every value is rounded to the digits that a report shows, and sums are sums of rounded values, so that a list and its
total agree to the last digit."""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields

from nesting.report.facts import Figure, PartRow, YieldReport
from nesting.report.matter import AREA_DIGITS, LENGTH_DIGITS, MASS_DIGITS, TAKEN_AS_LEFTOVER
from nesting.report.yields.facts import Amounts, CutFact, Outcome

DIGITS: dict[str, int] = {"mm2": AREA_DIGITS, "kg": MASS_DIGITS, "mm": LENGTH_DIGITS, "s": 1}
"""Digits by the end of an amount's name; money has two, counts none."""

MONEY = ("plate_cost", "kept_value", "scrap_value", "material_cost", "saved_by_leftover")
_MONEY = ("cost", "value", "leftover")
NAMES: tuple[str, ...] = tuple(f.name for f in fields(Amounts))


def digits_of(name: str) -> int:
    """Return how many digits an amount is told with."""
    end = name.rpartition("_")[2]
    return DIGITS.get(end, 2 if end in _MONEY else 0)


def amounts_of(fact: CutFact) -> Amounts:
    """Return what one cut amounts to."""
    return _planned(fact.report) if fact.outcome is None else _came_out(fact.report, fact.outcome)


def _planned(report: YieldReport) -> Amounts:
    value, balance = _values(report), report.balance_mm2
    placed = sum(row.placed for row in report.parts)
    masses = {f"{what}_kg": value(f"{what}_mass") for what in ("plate", "parts", "kerf", "kept", "scrap")}
    return _rounded(
        placed=placed,
        made=placed,
        failed=0,
        plate_mm2=balance["plate_mm2"],
        parts_mm2=balance["parts_mm2"],
        failed_mm2=0.0,
        kerf_mm2=balance["kerf_mm2"],
        kept_mm2=balance["kept_remnants_mm2"],
        scrap_mm2=balance["scrap_mm2"],
        failed_kg=None if masses["plate_kg"] is None else 0.0,
        **masses,
        cut_length_mm=value("cut_length"),
        pierces=value("pierces"),
        cut_time_s=value("cut_time"),
        **{key: value(key) for key in MONEY},
    )


def _came_out(report: YieldReport, outcome: Outcome) -> Amounts:
    value = _values(report)
    cut = {row.part_id: outcome.made.get(row.part_id, 0) + outcome.failed.get(row.part_id, 0) for row in report.parts}
    mass = _mass(report)
    length = sum(cut[row.part_id] * row.cut_length_mm for row in report.parts)
    pierces = sum(cut[row.part_id] * row.pierces for row in report.parts)
    masses = {"kept_kg": mass(outcome.kept_mm2), "scrap_kg": mass(outcome.scrap_mm2), "plate_kg": value("plate_mass")}
    return _rounded(
        placed=sum(row.placed for row in report.parts),
        made=sum(outcome.made.values()),
        failed=sum(outcome.failed.values()),
        plate_mm2=report.balance_mm2["plate_mm2"],
        parts_mm2=_pieces(report, outcome.made, lambda row: row.area_mm2),
        failed_mm2=_pieces(report, outcome.failed, lambda row: row.area_mm2),
        kerf_mm2=outcome.kerf_mm2,
        kept_mm2=outcome.kept_mm2,
        scrap_mm2=outcome.scrap_mm2,
        parts_kg=_pieces(report, outcome.made, lambda row: row.mass_kg),
        failed_kg=_pieces(report, outcome.failed, lambda row: row.mass_kg),
        kerf_kg=mass(outcome.kerf_mm2),
        **masses,
        cut_length_mm=length,
        pierces=pierces,
        cut_time_s=_time(report, length, pierces),
        **_costs(report, masses),
    )


def _costs(report: YieldReport, masses: Mapping[str, float | None]) -> dict[str, float | None]:
    """What came back valued at the prices of the report; failed parts earn nothing."""
    price = _inputs(report)
    plate = _values(report)("plate_cost")
    kept = _times(masses["kept_kg"], price("kept_value", "price_per_kg"))
    scrap = _times(masses["scrap_kg"], price("scrap_value", "price_per_kg"))
    used = None if masses["plate_kg"] is None or masses["kept_kg"] is None else masses["plate_kg"] - masses["kept_kg"]
    new, remnant = (price("saved_by_leftover", f"{kind}_price_per_kg") for kind in ("new", "remnant"))
    more = None if new is None or remnant is None else new - remnant
    known = None not in (plate, kept, scrap)
    return {
        "plate_cost": plate,
        "kept_value": kept,
        "scrap_value": scrap,
        "material_cost": (plate or 0.0) - (kept or 0.0) - (scrap or 0.0) if known else None,
        "saved_by_leftover": _times(used, more) if is_leftover(report) else _values(report)("saved_by_leftover"),
    }


def is_leftover(report: YieldReport) -> bool:
    """True where the plate was taken for a leftover in the report, by its parent or its shape."""
    taken = next((f.inputs.get("plate_taken_as") for f in report.figures if f.key == "plate_cost"), None)
    return report.plate.parent is not None if taken is None else taken == TAKEN_AS_LEFTOVER


def _time(report: YieldReport, length_mm: float, pierces: int) -> float | None:
    """Seconds, by the cut-chart row of the report."""
    given = _inputs(report)
    speed, delay = given("cut_time", "speed_mm_min"), given("cut_time", "pierce_delay_s")
    return None if not speed else 60.0 * length_mm / speed + pierces * (delay or 0.0)


def _mass(report: YieldReport) -> Callable[[float], float | None]:
    """Mass of an area, by the convention of the report."""
    kg_m3 = _inputs(report)("plate_mass", "density_kg_m3")
    thickness = report.plate.thickness_mm
    known = kg_m3 is not None and thickness is not None
    return lambda area: round(area * (thickness or 0.0) * (kg_m3 or 0.0) * 1e-9, MASS_DIGITS) if known else None


def _values(report: YieldReport) -> Callable[[str], float | None]:
    found = {f.key: f.value for f in report.figures}
    return found.get


def _inputs(report: YieldReport) -> Callable[[str, str], float | None]:
    found: dict[str, Figure] = {f.key: f for f in report.figures}

    def number(key: str, name: str) -> float | None:
        value = found[key].inputs.get(name) if key in found else None
        return float(value) if isinstance(value, int | float) else None

    return number


def _times(a: float | None, b: float | None) -> float | None:
    return None if a is None or b is None else round(a * b, 2)


def _pieces(report: YieldReport, counts: Mapping[str, int], each: Callable[[PartRow], float | None]) -> float | None:
    found = [(counts.get(row.part_id, 0), each(row)) for row in report.parts]
    known = [count * (value or 0.0) for count, value in found if value is not None or count == 0]
    return sum(known) if len(known) == len(found) else None


def _rounded(**values: float | None) -> Amounts:
    return Amounts(**{k: None if v is None else round(v, digits_of(k)) for k, v in values.items()})


def added(rows: Iterable[Mapping[str, float | None]]) -> tuple[dict[str, float | None], dict[str, int]]:
    """Add amounts by name: sums over the rows that know them (None where none does), and how many do not."""
    listed = list(rows)
    sums: dict[str, float | None] = {}
    not_known: dict[str, int] = {}
    for name in NAMES:
        known = [value for row in listed if (value := row[name]) is not None]
        sums[name] = math.fsum(known) if known or not listed else None
        if len(known) < len(listed):
            not_known[name] = len(listed) - len(known)
    return sums, not_known


def total(rows: Sequence[Amounts]) -> tuple[Amounts, dict[str, int]]:
    """Return the sums of rounded amounts, and of how many rows each is not known."""
    sums, not_known = added(row.each for row in rows)
    return _rounded(**sums), not_known


def utilisation(amounts: Amounts, *, credit: bool = False) -> float | None:
    """Return net part area / plate area in percent; with `credit` the kept area is taken off the plate."""
    whole = (amounts.plate_mm2 or 0.0) - ((amounts.kept_mm2 or 0.0) if credit else 0.0)
    return round(100.0 * (amounts.parts_mm2 or 0.0) / whole, 2) if whole > 0.0 else None
