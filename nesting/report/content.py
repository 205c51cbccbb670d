"""A yield report in the words and units of its page: what HTML and PDF show alike."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from nesting.corner_names import NamedCorner
from nesting.geometry.tape_checks import TapeCheck
from nesting.layout import FreeRest
from nesting.report.facts import Figure, YieldReport
from nesting.report.tables import PartsTotal, Table, balance_table, parts_table, remnants_table
from nesting.report.wording import UNKNOWN, duration, in_unit, measures, short
from nesting.units import Unit, from_mm

SHORT_HASH: Final = 12
_SAME_MM: Final = 0.01
_HEADLINE: Final = (
    "utilisation",
    "utilisation_with_leftover_credit",
    "parts_mass",
    "cut_length",
    "pierces",
    "cut_time",
    "rapid_travel",
)

Pairs = tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class FigureLine:
    """A figure as shown: label, value with unit, definition, inputs and note."""

    key: str
    label: str
    value: str
    definition: str
    inputs: str
    note: str


@dataclass(frozen=True, kw_only=True)
class Content:
    """All texts and tables of one report, in the units of its page; `most` is the bound on utilisation."""

    headline: tuple[FigureLine, ...]
    placed: int
    left_over: int
    parts: Table
    remnants: Table
    balance: Table
    figures: tuple[FigureLine, ...]
    plate: Pairs
    clearances: Table
    check: Pairs
    lift_limit: str
    shop_sources: Pairs
    fit: Table
    lost: Table
    pulled: Table
    pulled_title: str
    search: Pairs
    drawings: Table
    most: str | None


def content(report: YieldReport, unit: Unit) -> Content:
    """Return what a page of a report shows."""
    m = measures(unit)
    parts, totals = parts_table(report, unit)
    remnants = remnants_table(report, unit)
    shown = _shown_totals(totals, remnants.total, unit)
    lines = tuple(figure_line(f, unit, shown) for f in report.figures)
    return Content(
        headline=tuple(f for f in lines if f.key in _HEADLINE),
        placed=totals.placed,
        left_over=sum(x.count for x in report.left_over),
        parts=parts,
        remnants=remnants,
        balance=balance_table(report, unit),
        figures=lines,
        plate=tuple(_plate_lines(report, unit)),
        clearances=Table(
            headings=("distance between finished edges", "value", "where from"),
            rows=tuple((c.label, m["length"].full(c.value_mm), c.source) for c in report.clearances),
            words=(0, 2),
        ),
        check=tuple(_check_lines(report, unit)),
        lift_limit=f"{report.lift_limit_kg / m['mass'].size:.4g} {m['mass'].unit}",
        shop_sources=tuple((_plain(key), said) for key, said in report.shop_sources.items()),
        fit=_fit_table(report, unit),
        lost=Table(
            headings=("part", "pieces", "reason"),
            rows=tuple((x.name, str(x.count), x.reason) for x in report.left_over),
            words=(0, 2),
        ),
        pulled=_pulled_table(report, unit),
        pulled_title=_pulled_title(report),
        search=_search_lines(report),
        drawings=_drawings_table(report),
        most=next((f.value for f in lines if f.key == "most_utilisation"), None),
    )


def figure_line(figure: Figure, unit: Unit, shown: dict[str, str]) -> FigureLine:
    inputs = []
    for key, value in figure.inputs.items():
        whose = f"{figure.key}:{key}" if key == "area_mm2" else f":{key}"
        inputs.append(shown.get(whose) or _input_text(key, value, unit))
    return FigureLine(
        key=figure.key,
        label=figure.label,
        value=shown.get(figure.key) or _figure_value(figure, unit),
        definition=figure.definition,
        inputs="; ".join(inputs),
        note=figure.note,
    )


def _shown_totals(parts: PartsTotal, kept: tuple[str, ...], unit: Unit) -> dict[str, str]:
    """Values that stand as totals in a table, so that the page agrees with itself to the last digit.

    Keys are those of figures, and of their inputs after a colon.
    """
    m = measures(unit)
    area, mass, travel = m["area"].unit, m["mass"].unit, m["travel"].unit

    def with_unit(text: str, sign: str) -> str:
        return text if text == UNKNOWN else f"{text} {sign}"

    return {
        "parts_mass": with_unit(parts.mass, mass),
        "kept_mass": with_unit(kept[2], mass),
        "cut_length": with_unit(parts.cut_length, travel),
        "pierces": f"{parts.pierces}",
        ":parts_mm2": f"parts {parts.area} {area}",
        "parts_mass:area_mm2": f"area {parts.area} {area}",
        ":kept_remnants_mm2": f"kept remnants {kept[1]} {area}",
        "kept_mass:area_mm2": f"area {kept[1]} {area}",
        ":cut_length_mm": f"cut length {parts.cut_length} {travel}",
    }


def _figure_value(figure: Figure, unit: Unit) -> str:
    if figure.value is None:
        return UNKNOWN
    if figure.unit == "kg":
        return measures(unit)["mass"].full(figure.value)
    if figure.unit == "mm":
        return measures(unit)["travel"].full(figure.value)
    if figure.unit == "s":
        return duration(figure.value)
    return f"{figure.value:.2f} {figure.unit}" if figure.unit else f"{figure.value:.10g}"


def _input_text(key: str, value: float | int | str | None, unit: Unit) -> str:
    """A named value with the unit that the end of its name says."""
    m = measures(unit)
    if isinstance(value, str) or value is None:
        return f"{_plain(key)} {value or UNKNOWN}"
    if key.endswith("_mm2"):
        return f"{_plain(key[:-4])} {m['area'].full(value)}"
    if key.endswith("_mm_min"):
        return f"{_plain(key[:-7])} {from_mm(value, unit):.5g} {short(unit)}/min"
    if key.endswith("_mm"):
        return f"{_plain(key[:-3])} {m['length'].full(value)}"
    if key.endswith("_kg_m3"):
        return f"{_plain(key[:-6])} {value:g} kg/m³"
    if key.endswith("_per_kg"):
        return f"{_plain(key[:-7])} {value:g} per kg"
    if key.endswith("_kg"):
        return f"{_plain(key[:-3])} {m['mass'].full(value)}"
    if key.endswith("_s"):
        return f"{_plain(key[:-2])} {value:g} s"
    if key.endswith("_percent"):
        return f"{_plain(key[:-8])} {value:.2f} %"
    return f"{_plain(key)} {value:.10g}"


def _plain(key: str) -> str:
    return key.replace("_", " ")


def _plate_lines(report: YieldReport, unit: Unit) -> list[tuple[str, str]]:
    p, m = report.plate, measures(unit)
    return [
        ("plate", p.name),
        ("area", m["area"].full(p.area_mm2)),
        ("thickness", m["length"].full(p.thickness_mm)),
        ("mass", m["mass"].full(p.mass_kg)),
        ("grade", p.grade or UNKNOWN),
        ("heat", p.heat or UNKNOWN),
        ("grain", UNKNOWN if p.grain_deg is None else f"{p.grain_deg:g} degrees from x, counter-clockwise"),
        ("outline", f"{p.captured}, uncertain by {m['length'].full(p.uncertainty_mm)}"),
        ("cut from", p.parent or UNKNOWN),
        ("place on the rack", p.place or UNKNOWN),
        ("drawing", p.source or "none"),
        *(("tape before cutting", _tape_check(c, p.corners, unit)) for c in p.checks),
        ("before the first cut", "check by dry run along the outline"),
    ]


def _tape_check(check: TapeCheck, corners: Sequence[NamedCorner], unit: Unit) -> str:
    digits = 0 if unit == "mm" else 1
    ends = []
    for end in (check.start, check.end):
        place = " / ".join(f"{from_mm(v, unit):.{digits}f}" for v in end)
        letter = next((c.name for c in corners if math.dist(c.point, end) <= _SAME_MM), None)
        ends.append(place if letter is None else f"{letter} ({place})")
    return f"{measures(unit)['length'].full(check.length_mm)} from {ends[0]} to {ends[1]}"


def _fit_table(report: YieldReport, unit: Unit) -> Table:
    length = measures(unit)["length"]
    rows = tuple(
        (
            f.name,
            in_unit(f.message, unit),
            "" if f.value_mm is None else length.full(f.value_mm),
            "" if f.limit_mm is None else length.full(f.limit_mm),
            in_unit(f.source, unit),
        )
        for f in report.fit
    )
    headings = ("part", "what may not come out as drawn", "value", "limit", "source of the limit")
    return Table(headings=headings, rows=rows, words=(0, 1, 4))


def _pulled_title(report: YieldReport) -> str:
    if report.pulled is None or report.pulled.moved:
        return f"Free rest, pulled to: {report.pulled.to}" if report.pulled else ""
    return "Free rest; the parts were left where they were, since pulling them together gave no larger one"


def _pulled_table(report: YieldReport, unit: Unit) -> Table:
    """The free rest before and after the parts were pulled together."""
    headings = ("free rest", "all parts placed", "pulled together")
    if report.pulled is None:
        return Table(headings=headings, rows=())
    m = measures(unit)

    def sides(rest: FreeRest) -> str:
        return " x ".join(m["length"].full(side) for side in rest.rectangle_mm)

    before, after = report.pulled.before, report.pulled.after
    length, area = m["length"].full, m["area"].full
    rows = (
        ("largest circle, across", length(before.circle_diameter_mm), length(after.circle_diameter_mm)),
        ("largest rectangle, at any turn", sides(before), sides(after)),
        ("area", area(before.area_mm2), area(after.area_mm2)),
    )
    if not report.pulled.moved:
        return Table(headings=headings[:2], rows=tuple(row[:2] for row in rows))
    return Table(headings=headings, rows=rows)


def _search_lines(report: YieldReport) -> Pairs:
    words = {"poses_tried": "positions tried", "stopped": "ended", "bound_utilisation": ""}
    named = ((words.get(key, key), value) for key, value in report.search.items())
    return tuple((name, f"{v:.1f}" if isinstance(v, float) else str(v)) for name, v in named if name)


def _drawings_table(report: YieldReport) -> Table:
    rows = tuple(
        (
            d.name,
            d.role,
            f"{d.unit} ({d.unit_reason})" if d.unit_reason else d.unit,
            d.sha256[:SHORT_HASH] or "not known",
        )
        for d in report.drawings
    )
    return Table(headings=("drawing", "what it is", "unit", "content hash (SHA-256)"), rows=rows, words=(0, 1, 2, 3))


def _check_lines(report: YieldReport, unit: Unit) -> list[tuple[str, str]]:
    if report.check is None:
        return [("check", "not run")]
    length, check = measures(unit)["length"], report.check
    return [
        ("check", ("passed: " if check.passed else "FAILED: ") + check.summary),
        ("smallest gap found", length.full(check.smallest_gap_mm)),
        ("smallest margin found", length.full(check.smallest_margin_mm)),
    ]
