"""The yield report as one page for people: self-contained, works offline, prints on A4 and Letter."""

from dataclasses import dataclass
from functools import cache
from typing import Final

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup

from nesting.report.facts import Figure, Inputs, YieldReport
from nesting.report.scene import Scene
from nesting.report.svg import inline_svg
from nesting.report.tables import LIFT_MARK, PartsTotal, balance_table, parts_table, remnants_table
from nesting.report.wording import UNKNOWN, duration, measures, short
from nesting.shop import Paper
from nesting.units import Unit, from_mm

SHORT_HASH: Final = 12
_HEADLINE = (
    "utilisation",
    "utilisation_with_leftover_credit",
    "parts_mass",
    "cut_length",
    "pierces",
    "cut_time",
)


@dataclass(frozen=True, kw_only=True)
class FigureLine:
    """A figure as shown: label, value with unit, definition, inputs and note."""

    key: str
    label: str
    value: str
    definition: str
    inputs: str
    note: str


def page(report: YieldReport, drawn: Scene, *, title: str, unit: Unit = "mm", paper: Paper = "A4") -> str:
    """Return the report as one HTML document in the page's units; all texts from outside are escaped."""
    m = measures(unit)
    parts, totals = parts_table(report, unit)
    lines = tuple(_figure_line(f, unit, totals) for f in report.figures)
    return _template().render(
        r=report,
        title=title,
        paper=paper,
        picture=Markup(inline_svg(drawn, unit, m["area"])),
        parts=parts,
        remnants=remnants_table(report, unit),
        balance=balance_table(report, unit),
        figures=lines,
        headline=[f for f in lines if f.key in _HEADLINE],
        placed=totals.placed,
        left_over=sum(x.count for x in report.left_over),
        plate=_plate_lines(report, unit),
        clearances=[(c.label, m["length"].full(c.value_mm), c.source) for c in report.clearances],
        check=_check_lines(report, unit),
        lift_limit=m["mass"].full(report.lift_limit_kg),
        lift_mark=LIFT_MARK.strip(),
        short_hash=SHORT_HASH,
    )


@cache
def _template() -> Template:
    env = Environment(
        loader=PackageLoader("nesting.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return env.get_template("report.html.j2")


def _figure_line(figure: Figure, unit: Unit, totals: PartsTotal) -> FigureLine:
    return FigureLine(
        key=figure.key,
        label=figure.label,
        value=_figure_value(figure, unit, totals),
        definition=figure.definition,
        inputs=_inputs_text(figure.inputs, unit),
        note=figure.note,
    )


def _figure_value(figure: Figure, unit: Unit, totals: PartsTotal) -> str:
    m = measures(unit)
    if figure.key == "parts_mass":
        return totals.mass if totals.mass == UNKNOWN else f"{totals.mass} {m['mass'].unit}"
    if figure.key == "cut_length":
        return f"{totals.cut_length} {m['travel'].unit}"
    if figure.value is None:
        return UNKNOWN
    if figure.unit == "kg":
        return m["mass"].full(figure.value)
    if figure.unit == "s":
        return duration(figure.value)
    if figure.unit == "%":
        return f"{figure.value:.2f} %"
    if figure.key == "pierces":
        return str(totals.pierces)
    return f"{figure.value:.2f} {figure.unit}".strip()


def _inputs_text(inputs: Inputs, unit: Unit) -> str:
    return "; ".join(_input_text(key, value, unit) for key, value in inputs.items())


def _input_text(key: str, value: float | int | str | None, unit: Unit) -> str:
    """A named value with the unit that the end of its name says."""
    m = measures(unit)
    if isinstance(value, str) or value is None:
        return f"{_plain(key)} {value or UNKNOWN}"
    if key.endswith("_mm2"):
        return f"{_plain(key[:-4])} {m['area'].full(value)}"
    if key.endswith("_mm_min"):
        return f"{_plain(key[:-7])} {from_mm(value, unit):.5g} {short(unit)}/min"
    if key == "cut_length_mm":
        return f"cut length {m['travel'].full(value)}"
    if key.endswith("_mm"):
        return f"{_plain(key[:-3])} {m['length'].full(value)}"
    if key.endswith("_kg_m3"):
        return f"{_plain(key[:-6])} {value:g} kg/m³"
    if key.endswith("_s"):
        return f"{_plain(key[:-2])} {value:g} s"
    return f"{_plain(key)} {value:g}"


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
    ]


def _check_lines(report: YieldReport, unit: Unit) -> list[tuple[str, str]]:
    if report.check is None:
        return [("check", "not run")]
    length, check = measures(unit)["length"], report.check
    return [
        ("check", ("passed: " if check.passed else "FAILED: ") + check.summary),
        ("smallest gap found", length.full(check.smallest_gap_mm)),
        ("smallest margin found", length.full(check.smallest_margin_mm)),
    ]
