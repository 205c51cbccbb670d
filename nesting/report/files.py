"""Writes everything of a yield report into a folder: pictures, page, tables."""

import json
from collections.abc import Iterable
from pathlib import Path

from nesting.checking.findings import CheckReport
from nesting.layout import Layout
from nesting.order import Order
from nesting.remnant import balance
from nesting.report.facts import CheckFacts, YieldReport
from nesting.report.figures import figures
from nesting.report.html import page
from nesting.report.pictures import draw_layout
from nesting.report.scene import scene
from nesting.report.tables import parts_csv


def write_report(layout: Layout, order: Order, check: CheckReport, folder: Path) -> YieldReport:
    """Write layout.png, layout.svg, report.html, report.json and report.csv, and return the report.

    Raises `BalanceError` as `balance`.
    """
    areas = balance(layout, order.shop)
    report = figures(
        layout,
        order.shop,
        areas=areas,
        check=check_facts(check),
        drawings=order.drawings,
        notes=tuple(_notes(order)),
    )
    for ending in ("png", "svg"):
        draw_layout(layout, areas, folder / f"layout.{ending}", unit=order.unit)
    html = page(report, scene(layout, areas), title=order.name, unit=order.unit, paper=order.paper)
    (folder / "report.html").write_text(html, encoding="utf-8")
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


def _notes(order: Order) -> Iterable[str]:
    yield from order.notes
    for name, finding in order.findings:
        yield finding.message if name in finding.message else f"{name}: {finding.message}"
