"""Writes everything of a yield report into a folder: pictures, page, tables."""

import json
from collections.abc import Sequence
from pathlib import Path

from nesting.checking.findings import CheckReport
from nesting.fit.finding import FitFinding
from nesting.layout import Layout
from nesting.remnant import Balance, balance
from nesting.report.facts import CheckFacts, DrawingFacts, YieldReport
from nesting.report.figures import figures
from nesting.report.html import page
from nesting.report.pictures import draw_layout
from nesting.report.report_pdf import report_pdf
from nesting.report.scene import scene
from nesting.report.tables import parts_csv
from nesting.shop import Paper, Shop
from nesting.units import Unit


def write_report(
    layout: Layout,
    folder: Path,
    *,
    shop: Shop,
    check: CheckReport,
    title: str,
    unit: Unit,
    paper: Paper,
    drawings: Sequence[DrawingFacts] = (),
    notes: Sequence[str] = (),
    fit: Sequence[FitFinding] = (),
    travel_mm: float | None = None,
    areas: Balance | None = None,
) -> YieldReport:
    """Write layout.png, layout.svg, report.html, report.pdf, report.json and report.csv, and return the report.

    `areas` saves measuring them again.  Raises `BalanceError` as `balance`.
    """
    areas = areas or balance(layout, shop)
    report = figures(
        layout,
        shop,
        areas=areas,
        check=check_facts(check),
        drawings=drawings,
        notes=notes,
        fit=fit,
        travel_mm=travel_mm,
    )
    for ending in ("png", "svg"):
        draw_layout(layout, areas, folder / f"layout.{ending}", unit=unit)
    html = page(report, scene(layout, areas), title=title, unit=unit, paper=paper)
    (folder / "report.html").write_text(html, encoding="utf-8")
    png = (folder / "layout.png").read_bytes()
    (folder / "report.pdf").write_bytes(report_pdf(report, png, title=title, unit=unit, paper=paper))
    document = json.dumps(report.as_json(), ensure_ascii=False, indent=1, allow_nan=False)
    (folder / "report.json").write_text(document + "\n", encoding="utf-8")
    (folder / "report.csv").write_text(parts_csv(report), encoding="utf-8", newline="")
    return report


def check_facts(check: CheckReport) -> CheckFacts:
    """Return what a report says of a check."""
    if check.passed:
        summary = f"{check.parts_checked} parts, every clearance holds within {check.tolerance_mm:g} mm"
    else:
        summary = check.message
    return CheckFacts(
        passed=check.passed,
        summary=summary,
        smallest_gap_mm=None if check.worst_gap is None else round(check.worst_gap.found_mm, 3),
        smallest_margin_mm=None if check.worst_margin is None else round(check.worst_margin.found_mm, 3),
    )
