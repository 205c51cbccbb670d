"""The report over several cuts as PDF, of the same words and tables as its HTML page."""

from nesting.report.flowing import Sheet, Story, cards, document, heading, paragraph, picture, table
from nesting.report.tables import Table
from nesting.report.yields.charts import material_chart, time_chart
from nesting.report.yields.facts import YieldsReport
from nesting.report.yields.words import COLOURS, PLAIN_WORDS, Words, words
from nesting.shop import Paper
from nesting.units import Unit

_CHART_MM = 80.0


def yields_pdf(report: YieldsReport, *, unit: Unit = "mm", paper: Paper = "A4") -> bytes:
    """Return the report as PDF on paper laid on its side."""
    w, sheet = words(report, unit), Sheet(paper=paper, landscape=True)
    story = [*_first(report, w, sheet, unit), *_lists(report, w, sheet), *_figures(report, w, sheet)]
    return document(story, sheet, title=f"Yield: {report.title}", foot=f"Yield report: {report.title[:80]}, {w.span}")


def _first(report: YieldsReport, w: Words, sheet: Sheet, unit: Unit) -> Story:
    whose = f" of {report.shop}" if report.shop else ""
    count = f"{len(report.cuts)} {'layout' if len(report.cuts) == 1 else 'layouts'}"
    return [
        *heading(report.title, first=True),
        paragraph(f"Yield report{whose} · {count}, {w.span}"),
        cards(w.headline, sheet, across=5),
        *(paragraph(f"{note[:1].upper()}{note[1:]}.", bold=True) for note in report.notes),
        *heading("By grade and thickness"),
        *_chart(material_chart(report, "png", unit), sheet),
        table(w.materials, sheet),
    ]


def _chart(png: bytes | None, sheet: Sheet) -> Story:
    return [] if png is None else [picture(png, sheet, highest_mm=_CHART_MM)]


def _lists(report: YieldsReport, w: Words, sheet: Sheet) -> Story:
    chart = time_chart(report, "png")
    story = heading(f"Over time, by {report.by}", room_mm=28.0 if chart is None else _CHART_MM + 30.0)
    cost = ", cost" if report.currency else ""
    return [
        *story,
        *_chart(chart, sheet),
        table(w.times, sheet),
        *heading("Lines of the order"),
        table(w.lines, sheet),
        *heading("Where each plate went"),
        table(w.where, sheet),
        *heading(f"Parts, mass, cutting{cost}"),
        table(w.work, sheet),
        paragraph(f"{PLAIN_WORDS} {COLOURS}", size=7.0),
    ]


def _figures(report: YieldsReport, w: Words, sheet: Sheet) -> Story:
    lines = tuple((f.label, f.value, f.definition, f"{f.inputs}{f'; {f.note}' if f.note else ''}") for f in w.figures)
    meant = Table(headings=("figure", "value", "definition", "inputs"), rows=lines, words=(0, 2, 3))
    return [
        *heading("Figures and what they mean"),
        table(meant, sheet, small=(2, 3)),
        *(paragraph(f"{note}.", size=7.0) for note in report.mass_notes),
    ]
