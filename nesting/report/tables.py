"""Tables of a yield report: for pages in their units, and as CSV with units in the column names.

Every total is the sum of the values as shown, so that list and total agree to the last digit.
"""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from nesting.report.facts import LeftOverRow, PartRow, YieldReport
from nesting.report.wording import UNKNOWN, Kind, Measure, measures
from nesting.units import Unit

LIFT_MARK: Final = " ▲"
"""Stands behind whatever is heavier than the shop's hand-lift limit."""

_SUMMED: Final[tuple[Kind, ...]] = ("area", "mass", "travel")


@dataclass(frozen=True, kw_only=True)
class Table:
    """Rows of texts under headings; the columns numbered in `words` are text and the rest numbers."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    total: tuple[str, ...] = ()
    words: tuple[int, ...] = (0,)


@dataclass(frozen=True, kw_only=True)
class PartsTotal:
    """Sums of the parts table in the units of the page, as shown."""

    placed: int
    area: str
    mass: str
    cut_length: str
    pierces: int


def parts_table(report: YieldReport, unit: Unit) -> tuple[Table, PartsTotal]:
    """Return the table of parts and its totals."""
    m = measures(unit)
    units = tuple(m[kind] for kind in _SUMMED)
    shown = [tuple(u.shown(v) for u, v in zip(units, _values(r), strict=True)) for r in report.parts]
    placed = [r.placed for r in report.parts]
    sums = [_total(u, placed, [values[i] for values in shown]) for i, u in enumerate(units)]
    total = PartsTotal(
        placed=sum(placed),
        area=sums[0],
        mass=sums[1],
        cut_length=sums[2],
        pierces=sum(r.placed * r.pierces for r in report.parts),
    )
    headings = ["line", "part", "numbers", f"size, {m['length'].unit}", "wanted", "placed"]
    for name, u in zip(("net area", "mass", "cut"), units, strict=True):
        headings += [f"{name} of one, {u.unit}", f"{name}, {u.unit}"]
    feet = [cell for value in sums for cell in ("", value)]
    table = Table(
        headings=(*headings, "pierces of one", "pierces"),
        rows=tuple(_part_cells(r, values, unit) for r, values in zip(report.parts, shown, strict=True)),
        total=("", "all parts", "", "", "", str(total.placed), *feet, "", str(total.pierces)),
        words=(0, 1, 2),
    )
    return table, total


def _part_cells(r: PartRow, shown: tuple[float | None, ...], unit: Unit) -> tuple[str, ...]:
    m = measures(unit)
    size = " x ".join(m["length"].text(m["length"].shown(side)) for side in (r.width_mm, r.height_mm))
    cells = []
    for kind, value in zip(_SUMMED, shown, strict=True):
        cells += [m[kind].text(value), _total(m[kind], [r.placed], [value])]
    name = r.name + (LIFT_MARK if r.above_lift_limit else "")
    wanted = "as fit" if r.wanted is None else str(r.wanted)
    counts = (str(r.pierces), str(r.placed * r.pierces))
    return (r.reference or str(r.line), name, _numbers(r.numbers), size, wanted, str(r.placed), *cells, *counts)


def remnants_table(report: YieldReport, unit: Unit) -> Table:
    """Return the table of kept remnants."""
    m = measures(unit)
    length = m["length"]
    rows = tuple(
        (
            r.label + (LIFT_MARK if r.above_lift_limit else ""),
            m["area"].text(m["area"].shown(r.area_mm2)),
            m["mass"].text(m["mass"].shown(r.mass_kg)),
            " x ".join(length.text(length.shown(side)) for side in r.rectangle_mm),
            f"{r.rectangle_turn_deg:.1f}",
            length.text(length.shown(r.circle_diameter_mm)),
        )
        for r in report.remnants
    )
    one = [1] * len(rows)
    area = _total(m["area"], one, [m["area"].shown(r.area_mm2) for r in report.remnants])
    mass = _total(m["mass"], one, [m["mass"].shown(r.mass_kg) for r in report.remnants])
    headings = (
        "remnant",
        f"area, {m['area'].unit}",
        f"mass, {m['mass'].unit}",
        f"largest rectangle, {length.unit}",
        "turned, degrees",
        f"largest circle, {length.unit} across",
    )
    return Table(headings=headings, rows=rows, total=("all kept", area, mass, "", "", ""))


def balance_table(report: YieldReport, unit: Unit) -> Table:
    """Return where the area of the plate goes; the sum is that of the lines above it."""
    area = measures(unit)["area"]
    b = report.balance_mm2
    parts = parts_table(report, unit)[1].area
    kept = remnants_table(report, unit).total[1]
    lines = [
        ("parts (net area, true arcs)", parts),
        ("kerf (bands on the plate, each place once)", area.text(area.shown(b["kerf_mm2"]))),
        ("kept remnants", kept),
        ("scrap", area.text(area.shown(b["scrap_mm2"]))),
    ]
    total = f"{sum(float(value) for _, value in lines):.{area.digits}f}"
    plate = area.text(area.shown(b["plate_mm2"]))
    whole = b["plate_mm2"]
    keys = ("parts_mm2", "kerf_mm2", "kept_remnants_mm2", "scrap_mm2")
    rows = [(*line, f"{100 * b[key] / whole:.2f}") for line, key in zip(lines, keys, strict=True)]
    rows.append(("sum of the four", total, f"{100 * b['sum_mm2'] / whole:.2f}"))
    rows.append(("plate (its holes out, keep-outs in), measured by itself", plate, "100.00"))
    return Table(headings=("where the plate goes", f"area, {area.unit}", "% of the plate"), rows=tuple(rows))


_COLUMNS: Final = [
    "layout_id",
    "line",
    "reference",
    "part",
    "name",
    "drawing",
    "drawing_sha256",
    "wanted",
    "placed",
    "left_over",
    "left_over_reason",
    "numbers",
    "width_mm",
    "height_mm",
    "area_each_mm2",
    "area_mm2",
    "mass_each_kg",
    "mass_kg",
    "cut_length_each_mm",
    "cut_length_mm",
    "pierces_each",
    "pierces",
    "above_lift_limit",
]


def parts_csv(report: YieldReport) -> str:
    """Return the parts as CSV (RFC 4180: commas, quotes, CRLF); an empty cell is not known."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(_COLUMNS)
    for row in report.parts:
        left = [x for x in report.left_over if x.part_id == row.part_id]
        writer.writerow([report.layout_id, *_record(row, left)])
    return out.getvalue()


def _record(r: PartRow, left: list[LeftOverRow]) -> tuple[str | float, ...]:
    mass = None if r.mass_kg is None else round(r.placed * r.mass_kg, 3)
    heavy = None if r.above_lift_limit is None else "yes" if r.above_lift_limit else "no"
    wanted = "as many as fit" if r.wanted is None else r.wanted
    numbers = " ".join(map(str, r.numbers))
    count, reason = sum(x.count for x in left), "; ".join(x.reason for x in left)
    return (
        *(
            r.line,
            _cell(r.reference),
            r.part_id,
            r.name,
            r.source,
            r.source_sha256,
            wanted,
            r.placed,
            count,
            reason,
            numbers,
        ),
        *(
            r.width_mm,
            r.height_mm,
            r.area_mm2,
            round(r.placed * r.area_mm2, 1),
            _cell(r.mass_kg),
            _cell(mass),
        ),
        *(r.cut_length_mm, round(r.placed * r.cut_length_mm, 1), r.pierces, r.placed * r.pierces),
        _cell(heavy),
    )


def _cell(value: float | str | None) -> float | str:
    return "" if value is None else value


def _values(row: PartRow) -> tuple[float | None, ...]:
    return (row.area_mm2, row.mass_kg, row.cut_length_mm)


def _total(measure: Measure, counts: Sequence[int], shown: Sequence[float | None]) -> str:
    known = [count * value for count, value in zip(counts, shown, strict=True) if value is not None]
    return measure.text(sum(known)) if len(known) == len(shown) else UNKNOWN


def _numbers(numbers: tuple[int, ...]) -> str:
    """Numbers with runs of three and more drawn together: 1-4, 7."""
    runs: list[list[int]] = []
    for n in sorted(numbers):
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    return ", ".join(f"{r[0]}-{r[-1]}" if len(r) > 2 else ", ".join(map(str, r)) for r in runs)
