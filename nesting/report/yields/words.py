"""A report over several cuts in the words and units of its page: what HTML and PDF show alike."""

from dataclasses import dataclass
from typing import Final

from nesting.report.content import FigureLine, Pairs, figure_line
from nesting.report.tables import Table
from nesting.report.yields.facts import Amounts, YieldsReport
from nesting.report.yields.tables import (
    Amounter,
    lines_table,
    material_table,
    time_table,
    where_table,
    work_table,
)
from nesting.units import Unit

_HEADLINE: Final = (
    "utilisation",
    "utilisation_with_leftover_credit",
    "parts_mass",
    "scrap_mass",
    "kept_mass",
    "cut_time",
    "material_cost",
    "saved_by_leftover",
)

PLAIN_WORDS: Final = (
    "An area, a mass or a cost is the sum over the layouts of what each one's own report says, and every total is the "
    "sum of what stands above it. * leaves out layouts for which it is not known. Used: net area of the parts made / "
    "area of the plates; with credit: the area of kept remnants is taken off the plates."
)
COLOURS: Final = "Colours: Okabe and Ito, Color Universal Design (2008), with hatches for black and white."


@dataclass(frozen=True, kw_only=True)
class Words:
    """All texts and tables of one report over several cuts."""

    headline: Pairs
    figures: tuple[FigureLine, ...]
    where: Table
    work: Table
    materials: Table
    times: Table
    lines: Table
    span: str


def words(report: YieldsReport, unit: Unit) -> Words:
    """Return what a page shows."""
    shown = _shown_totals(report, unit)
    lines = tuple(figure_line(f, unit, shown) for f in report.figures)
    by_key = {f.key: f for f in lines}
    made = next(f for f in report.figures if f.key == "parts_made")
    headline = [("Layouts", str(len(report.cuts))), ("Parts made", f"{made.value or 0:.0f}")]
    headline += [(by_key[key].label, by_key[key].value) for key in _HEADLINE if key in by_key]
    return Words(
        headline=tuple(headline),
        figures=lines,
        where=where_table(report, unit),
        work=work_table(report, unit),
        materials=material_table(report, unit),
        times=time_table(report, unit),
        lines=lines_table(report, unit),
        span=_span(report),
    )


def _shown_totals(report: YieldsReport, unit: Unit) -> dict[str, str]:
    """Figures and their inputs as the tables' totals show them, so that the page agrees with itself."""
    amounter, everything = Amounter(report, unit), report.total.cuts
    shown = {_key(name): amounter.full(name, everything) for name in Amounts.__dataclass_fields__ if _key(name)}
    for name in Amounts.__dataclass_fields__:
        end = name.rpartition("_")[2]
        if end in ("mm2", "kg", "mm"):
            plain = name.removesuffix(f"_{end}").replace("_", " ")
            shown[f":{name}"] = f"{plain} {amounter.full(name, everything)}"
    return shown | {":parts_laid_out_mm2": f"parts laid out {amounter.laid_out(report)}"}


def _key(name: str) -> str:
    """The figure of an amount, if it has one that is told with a unit."""
    if name.endswith("_kg"):
        return f"{name.removesuffix('_kg')}_mass"
    own = {"cut_length_mm": "cut_length", "cut_time_s": "cut_time"}
    return own.get(name, name if name.endswith(("cost", "value", "leftover")) else "")


def _span(report: YieldsReport) -> str:
    """From when to when, as asked or as found."""
    found = sorted(c.when[:10] for c in report.cuts if c.when)
    first, last = report.since or (found[0] if found else None), found[-1] if found else None
    if report.until:
        return f"from {first} until before {report.until}" if first else f"before {report.until}"
    if first is None:
        return "dates unknown"
    return f"on {first}" if first == last else f"from {first} to {last}"
