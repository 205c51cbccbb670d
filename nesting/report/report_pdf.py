"""The yield report of one layout as PDF, of the same words and tables as its HTML page."""

from nesting.report.content import Content, content
from nesting.report.facts import YieldReport
from nesting.report.flowing import (
    Sheet,
    Story,
    cards,
    document,
    heading,
    pairs_table,
    paragraph,
    picture,
    table,
    together,
)
from nesting.report.tables import LIFT_MARK, Table
from nesting.shop import Paper
from nesting.units import Unit


def report_pdf(report: YieldReport, png: bytes, *, title: str, unit: Unit = "mm", paper: Paper = "A4") -> bytes:
    """Return the report as PDF; `png` is the picture of the layout."""
    c, sheet = content(report, unit), Sheet(paper=paper)
    story = [
        *_first(report, c, png, title, sheet),
        *_lists(report, c, sheet),
        *_figures(report, c, sheet),
        *_background(report, c, sheet),
    ]
    return document(story, sheet, title=f"Yield report: {title}", foot=_foot(report, title))


def _foot(report: YieldReport, title: str) -> str:
    layout = f", layout {report.layout_id}" if report.layout_id else ""
    return f"Yield report: {title[:60]}{layout}. Sizes are finished sizes; the controller must offset the kerf."


def _first(report: YieldReport, c: Content, png: bytes, title: str, sheet: Sheet) -> Story:
    if report.check is None:
        checked = "This layout was not checked."
    elif report.check.passed:
        checked = "The written drawing was read back and checked: every clearance holds."
    else:
        checked = "The check failed: do not cut."
    whose = f" of {report.shop}" if report.shop else ""
    layout = f" · layout {report.layout_id}" if report.layout_id else ""
    placed = f"{c.placed} ({c.left_over} left over)" if c.left_over else str(c.placed)
    return [
        *heading(title, first=True),
        paragraph(f"Yield report{whose} · plate {report.plate.name}{layout}"),
        cards([("Parts placed", placed), *((f.label, f.value) for f in c.headline)], sheet),
        paragraph(f"The drawing is finished size. The controller must offset the kerf. {checked}", bold=True),
        picture(png, sheet, highest_mm=115.0),
        paragraph(
            "Numbers are those of the parts list, letters the corners of the plate. Hatched lightly, R: remnants to "
            "keep. Cross-hatched: keep-outs. Dashed: marks, not cut.",
            size=7.0,
        ),
    ]


def _lists(report: YieldReport, c: Content, sheet: Sheet) -> Story:
    lift = f"{LIFT_MARK.strip()} marks pieces heavier than the shop's hand-lift limit of {c.lift_limit}."
    story = [*heading("Parts"), table(c.parts, sheet), paragraph(f"{lift} {report.density_note}.", size=7.0)]
    for title, rows, small in (("Left over", c.lost, ()), ("Fit to cut", c.fit, (4,))):
        if rows.rows:
            story += [*heading(title), table(rows, sheet, small=small)]
    story += heading("Remnants to keep")
    if c.remnants.rows:
        story.append(table(c.remnants, sheet))
    else:
        story.append(paragraph("None: no piece left takes any of the shop's keep rectangles."))
    if report.pulled is not None:
        story += [*heading(c.pulled_title), table(c.pulled, sheet)]
    return story


def _figures(report: YieldReport, c: Content, sheet: Sheet) -> Story:
    off = abs(report.balance_mm2["error_percent"])
    balance = f"The measured four differ from the plate by {off:.4f} %; 0.01 % is allowed."
    lines = []
    for f in c.figures:
        note = f"; {f.note}" if f.note and not f.key.endswith("_mass") else ""
        lines.append((f.label, f.value, f.definition, f"{f.inputs}{note}"))
    meant = Table(headings=("figure", "value", "definition", "inputs"), rows=tuple(lines), words=(0, 2, 3))
    return [
        *heading("Area balance", room_mm=52.0),
        together(table(c.balance, sheet), paragraph(balance, size=7.0)),
        *heading("Figures and what they mean"),
        table(meant, sheet, small=(2, 3)),
        paragraph(f"{report.density_note}. Cutting: {report.cutting_note}.", size=7.0),
        *heading("Clearances"),
        table(c.clearances, sheet),
        pairs_table(c.check, sheet),
    ]


def _background(report: YieldReport, c: Content, sheet: Sheet) -> Story:
    story = [*heading("Plate"), pairs_table(c.plate, sheet)]
    if c.search:
        story += [*heading("Search"), pairs_table(c.search, sheet)]
    story += [*heading("Drawings"), table(c.drawings, sheet)]
    if report.notes:
        story += [*heading("Notes"), *(paragraph(f"- {note}") for note in report.notes)]
    story += [
        *heading("The shop's values, and what was taken where it is silent"),
        pairs_table(c.shop_sources, sheet),
        *heading("Cautions"),
        *(paragraph(f"- {x.text} [{x.source}]", size=7.5) for x in report.cautions),
    ]
    return story
