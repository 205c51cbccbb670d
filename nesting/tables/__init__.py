"""Reference tables, each row with its source: densities, gauges, cut charts, kerf ranges, usual spacing.

A table value is a starting value.  A measured one always wins, and nothing here fills in what nobody knows.
"""

import csv
import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Literal, TypeVar

from nesting.errors import InputError

Process = Literal["plasma", "oxy-fuel", "laser", "waterjet"]
PROCESSES: tuple[Process, ...] = ("plasma", "oxy-fuel", "laser", "waterjet")
SHEET_LB_FT2_PER_INCH = 41.82
"""Weight of sheet by the Manufacturers' Standard Gauge, a convention 2.4 % above density (Cragin Metals)."""

SHEET_KG_M3 = SHEET_LB_FT2_PER_INCH * 0.45359237 / (0.3048**2 * 0.0254)
"""The same convention as a density, 8038.7 kg/m3."""

SAME_GAUGE_MM = 0.013
"""A thickness written to a thousandth of an inch or to a hundredth of a millimetre is still that of its gauge."""

SAME_THICKNESS_MM = 0.1
_T = TypeVar("_T")


@dataclass(frozen=True, kw_only=True)
class Density:
    """Density of a material, kg/m3."""

    material: str
    kg_m3: float
    source: str


@dataclass(frozen=True, kw_only=True)
class CutRow:
    """One line of a cut chart; what the chart does not print is None.

    `pierce_delay_s` None with `edge_start` means that the chart asks for a start from the plate's edge.
    """

    process: str
    amps: float | None
    thickness_mm: float
    speed_mm_min: float
    production_speed_mm_min: float | None = None
    pierce_delay_s: float | None = None
    edge_start: bool = False
    kerf_mm: float | None = None
    material: str = "mild steel"
    chart: str = ""
    source: str


@dataclass(frozen=True, kw_only=True)
class KerfRange:
    """Kerfs printed for a range of amperages, millimetres."""

    low_mm: float
    high_mm: float
    source: str


@dataclass(frozen=True, kw_only=True)
class Spacing:
    """Usual gap and margin for a process and thickness, millimetres."""

    gap_mm: float
    margin_mm: float
    source: str


def material_of(grade: str | None) -> str | None:
    """Return the material a grade or trade name belongs to, or None when it is not in the table."""
    if grade is None:
        return None
    wanted = " ".join(grade.lower().replace("-", " ").split())
    for row in _rows("densities.csv"):
        names = {row["material"], *row["also"].split(";")}
        if wanted in names:
            return row["material"]
    series = (row for row in _rows("grade_patterns.csv") if re.fullmatch(row["pattern"], wanted))
    return next((row["material"] for row in series), None)


def density(material: str) -> Density:
    """Return the density of a material or grade; raise `InputError` for one that is not in the table."""
    found = material_of(material)
    for row in _rows("densities.csv"):
        if row["material"] == found:
            return Density(material=found, kg_m3=float(row["density_kg_m3"]), source=row["source"])
    known = ", ".join(row["material"] for row in _rows("densities.csv"))
    raise InputError(f"no density is known for {material!r}; known materials: {known}")


def gauge_mm(gauge: int, metal: str | None) -> float:
    """Return the thickness of a sheet gauge, millimetres.

    A gauge number means nothing without its metal: None is an `InputError` that says what it could be.
    """
    choices = {r["metal"]: float(r["thickness_in"]) for r in _rows("gauges.csv") if int(r["gauge"]) == gauge}
    if not choices:
        known = ", ".join(sorted({r["gauge"] for r in _rows("gauges.csv")}, key=int))
        raise InputError(f"gauge {gauge} is not in the table; known gauges: {known}")
    name = _gauge_metal(metal)
    if name not in choices:
        listed = ", ".join(f"{inch:.4f} in ({m})" for m, inch in choices.items())
        what = "which metal?" if metal is None else f"no {gauge} ga is known for {metal!r};"
        raise InputError(f"{gauge} ga: {what} it may be {listed}; write for example '{gauge} ga mild steel'")
    return choices[name] * 25.4


def gauge_weight_lb_ft2(gauge: int, metal: str) -> float | None:
    """Return the table weight of a sheet gauge, lb/ft2, or None where no table prints one."""
    for row in _rows("gauges.csv"):
        if int(row["gauge"]) == gauge and row["metal"] == _gauge_metal(metal):
            return _number(row["weight_lb_ft2"])
    return None


def weighed_gauge(thickness_mm: float, metal: str) -> int | None:
    """Return the gauge of a thickness in the metal's own series, where a table prints its weight; else None."""
    for row in _rows("gauges.csv"):
        same = abs(float(row["thickness_in"]) * 25.4 - thickness_mm) <= SAME_GAUGE_MM
        if same and row["metal"] == _gauge_metal(metal) and row["weight_lb_ft2"]:
            return int(row["gauge"])
    return None


def cut_row(
    process: str,
    amps: float | None,
    thickness_mm: float,
    *,
    material: str = "mild steel",
    own: tuple[CutRow, ...] = (),
) -> CutRow:
    """Return the cut-chart row for a thickness, the shop's `own` rows before the published ones.

    A thickness between two rows takes the thicker one: slower, and with the wider kerf.  What that row
    does not print comes from the next thicker row of the same chart that does, and `source` says so.
    Raises `InputError` when no chart fits, as when the amperage is not known.
    """
    for rows in (own, _chart()):
        fitting = [r for r in rows if (r.process, r.material) == (process, material) and r.amps in (None, amps)]
        for chart in dict.fromkeys(r.chart for r in fitting):
            found = _pick([r for r in fitting if r.chart == chart], thickness_mm)
            if found is not None:
                return found
    raise InputError(
        f"no cut-chart row for {process}, {_amps_text(amps)}, {material}, {thickness_mm:g} mm; "
        f"{_known_charts(own)}; "
        "give the kerf itself, or put a row of your own in the shop file"
    )


def kerf_range(process: str, amps: float | None, material: str = "mild steel") -> KerfRange | None:
    """Return the range of kerfs in print for a process and amperage, or None."""
    for row in _rows("kerf_ranges.csv"):
        low, high = float(row["amps_from"]), float(row["amps_to"])
        fits = (low, high) == (0.0, 0.0) or (amps is not None and low <= amps <= high)
        if (row["process"], row["material"]) == (process, material) and fits:
            return KerfRange(low_mm=float(row["kerf_from_mm"]), high_mm=float(row["kerf_to_mm"]), source=row["source"])
    return None


def spacing(process: str, thickness_mm: float) -> Spacing:
    """Return the usual gap and margin; raise `InputError` for a process that is not in the table."""
    for row in _rows("spacing.csv"):
        if row["process"] == process and float(row["over_mm"]) <= thickness_mm < float(row["up_to_mm"]):
            gap = max(float(row["gap_mm"]), float(row["gap_thicknesses"]) * thickness_mm)
            margin = max(float(row["margin_mm"]), float(row["margin_thicknesses"]) * thickness_mm)
            return Spacing(gap_mm=gap, margin_mm=margin, source=row["source"])
    raise InputError(f"no usual gap and margin for {process!r} at {thickness_mm:g} mm; give gap and margin")


def _pick(rows: list[CutRow], thickness_mm: float) -> CutRow | None:
    """Return the thinnest row that is not thinner than asked, its blanks filled from thicker rows."""
    thicker = sorted(
        (r for r in rows if r.thickness_mm >= thickness_mm - SAME_THICKNESS_MM), key=lambda r: r.thickness_mm
    )
    if not thicker:
        return None
    row, notes = thicker[0], []
    if row.thickness_mm > thickness_mm + SAME_THICKNESS_MM:
        notes.append(f"the {row.thickness_mm:g} mm row for {thickness_mm:g} mm plate")
    kerf = next((r for r in thicker if r.kerf_mm is not None), None)
    if row.kerf_mm is None and kerf is not None:
        row = replace(row, kerf_mm=kerf.kerf_mm)
        notes.append(f"kerf from its {kerf.thickness_mm:g} mm row")
    pierce = next((r for r in thicker if r.pierce_delay_s is not None), None)
    if row.pierce_delay_s is None and not row.edge_start and pierce is not None:
        row = replace(row, pierce_delay_s=pierce.pierce_delay_s)
        notes.append(f"pierce delay from its {pierce.thickness_mm:g} mm row")
    return replace(row, source="; ".join([row.source, *notes]))


def _known_charts(own: tuple[CutRow, ...]) -> str:
    reach: dict[tuple[str, str, float | None], float] = {}
    for row in (*own, *_chart()):
        key = (row.process, row.material, row.amps)
        reach[key] = max(reach.get(key, -math.inf), row.thickness_mm)
    listed = [f"{p} {_amps_text(a)} {m} up to {t:g} mm" for (p, m, a), t in reach.items()]
    return "charts known: " + ", ".join(listed)


def _amps_text(amps: float | None) -> str:
    return "amperage not given" if amps is None else f"{amps:g} A"


def _gauge_metal(metal: str | None) -> str | None:
    """Galvanised sheet has its own gauge table though it has the density of steel."""
    if metal is None:
        return None
    if metal.lower().split()[0] in ("galvanised", "galvanized"):
        return "galvanised steel"
    return material_of(metal)


@cache
def _chart() -> tuple[CutRow, ...]:
    return tuple(_table("cut_chart.csv", _chart_row))


def _chart_row(row: dict[str, str]) -> CutRow:
    return CutRow(
        process=row["process"],
        amps=float(row["amps"]),
        thickness_mm=float(row["thickness_mm"]),
        speed_mm_min=float(row["speed_mm_min"]),
        production_speed_mm_min=_number(row["production_speed_mm_min"]),
        pierce_delay_s=_number(row["pierce_delay_s"]),
        edge_start=row["edge_start"] == "yes",
        kerf_mm=_number(row["kerf_mm"]),
        material=row["material"],
        chart=row["chart"],
        source=row["source"],
    )


def _number(text: str) -> float | None:
    return float(text) if text else None


def _table(name: str, make: Callable[[dict[str, str]], _T]) -> list[_T]:
    return [make(row) for row in _rows(name)]


@cache
def _rows(name: str) -> tuple[dict[str, str], ...]:
    text = files(__name__).joinpath(name).read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))
