"""The whole way of one job: search, check, write, read back, report; released together or not at all."""

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from nesting.check import check_drawing, check_layout
from nesting.checking.findings import CheckReport
from nesting.drawing.cut_order import cut_order
from nesting.drawing.svg_writer import write_svg
from nesting.drawing.writer import write_drawing
from nesting.errors import CheckFailed
from nesting.files.layout_file import identified, save_layout
from nesting.files.release import (
    AT_NEED,
    DRAWING,
    LAYOUT,
    MADE_WITH,
    SHEETS,
    TRUE_SIZE,
    recover,
    refuse_taken,
    release,
    stage,
)
from nesting.fit.bends import grain_findings
from nesting.fit.finding import FitFinding
from nesting.layout import Layout
from nesting.leads import Leads, leads_of
from nesting.remnant import balance
from nesting.report.facts import YieldReport
from nesting.report.files import write_report
from nesting.report.inquiry import inquiry, inquiry_html, inquiry_text
from nesting.report.sheet.files import sheets
from nesting.report.sheet.words import Lengths
from nesting.steps.fitting import cutting_from
from nesting.steps.made_with import MadeWith, save_made_with
from nesting.steps.order import Order

if TYPE_CHECKING:
    from nesting.search.engine import Progress


class Place(Protocol):
    """Whatever lays parts on a plate; `search` is one."""

    def __call__(self, order: Order, on_progress: "OnProgress | None", should_stop: "ShouldStop | None") -> Layout:
        """Return a layout of the order."""


OnProgress = Callable[["Progress"], None]
ShouldStop = Callable[[], bool]


@dataclass(frozen=True, kw_only=True)
class Result:
    """What a run left behind; every file of `folder` carries the layout's id.

    `grain` is what came to light only as the parts lay on the plate; the order has the rest of the fit findings.
    `without_lead` names the contours that no lead-in could be marked for.
    """

    layout: Layout
    report: YieldReport
    check: CheckReport
    folder: Path
    grain: tuple[FitFinding, ...] = ()
    without_lead: tuple[str, ...] = ()
    recovered: str = ""


def place_by_search(order: Order, on_progress: OnProgress | None, should_stop: ShouldStop | None) -> Layout:
    """Lay the order's parts out by the search."""
    from nesting.search.engine import search  # its compiled kernels load only where a search runs

    return search(
        order.plate,
        order.demands,
        order.clearances,
        seed=order.search.seed,
        time_limit_s=order.search.seconds,
        steps=order.search.steps,
        threads=order.search.threads,
        pull_to=order.search.pull_to,
        on_progress=on_progress,
        should_stop=should_stop,
    )


def run_job(
    order: Order,
    *,
    force: bool = False,
    on_progress: OnProgress | None = None,
    should_stop: ShouldStop | None = None,
    place: Place = place_by_search,
) -> Result:
    """Search, check, and write the result folder.

    When `should_stop` turns true the best layout so far goes the same way.  Raises `InputError` before the
    search where the folder may not be written, `CheckFailed` where layout or drawing break a clearance: then
    nothing is written.
    """
    folder = order.folder.resolve()
    recovered = recover(folder)
    refuse_taken(folder, force=force)
    layout = identified(place(order, on_progress, should_stop))
    _require(check_layout(layout))
    staged = stage(folder)
    try:
        report, check, without_lead = _write(order, layout, staged)
        # The search may have taken minutes: what has come to stand there since is not taken away either.
        refuse_taken(folder, force=force)
        release(staged, folder)
    finally:
        shutil.rmtree(staged, ignore_errors=True)
    return Result(
        layout=layout,
        report=report,
        check=check,
        folder=order.folder,
        grain=grain_findings(layout),
        without_lead=without_lead,
        recovered=recovered,
    )


def _write(order: Order, layout: Layout, folder: Path) -> tuple[YieldReport, CheckReport, tuple[str, ...]]:
    """Write all files of a run into a folder; raise `CheckFailed` if the drawing does not read back right.

    The last of what is returned names the contours without a lead-in.
    """
    save_layout(layout, folder / LAYOUT)
    leads = leads_of(layout) if order.mark_leads else Leads()
    cuts = cut_order(layout, leads, same_inside=order.writing.blocks)
    write_drawing(layout, folder / DRAWING, order.writing, order=cuts, leads=leads)
    if order.svg:
        write_svg(layout, folder / TRUE_SIZE, order.writing, order=cuts, leads=leads)
    check = _require(check_drawing(folder / DRAWING, layout=layout))
    fit = (*order.fit, *grain_findings(layout))
    areas = balance(layout, order.shop)
    report = write_report(
        layout,
        folder,
        shop=order.shop,
        check=check,
        title=order.name,
        unit=order.unit,
        paper=order.paper,
        drawings=order.drawings,
        notes=(*order.all_notes, *leads.findings),
        fit=fit,
        travel_mm=cuts.travel_mm,
        areas=areas,
    )
    printed = sheets(
        layout,
        report,
        areas=areas,
        order=cuts,
        title=order.name,
        lengths=Lengths(unit=order.unit, fraction=order.shop.inch_fractions),
        paper=order.paper,
    )
    for name, content in zip(SHEETS, printed.contents, strict=True):
        (folder / name).write_bytes(content)
    save_made_with(_made_with(order, layout), folder / MADE_WITH)
    if any(f.severity == "warning" for f in fit):
        _write_questions(order, layout, fit, folder)
    return report, check, leads.findings


def _made_with(order: Order, layout: Layout) -> MadeWith:
    return MadeWith(
        layout_id=layout.id,
        title=order.name,
        shop=order.shop,
        unit=order.unit,
        paper=order.paper,
        drawings=order.drawings,
        mark_leads=order.mark_leads,
        blocks=order.writing.blocks,
    )


def _write_questions(order: Order, layout: Layout, fit: tuple[FitFinding, ...], folder: Path) -> None:
    asked = inquiry(
        layout.parts.values(),
        fit,
        cutting_from(order.shop, layout.plate, layout.clearances),
        title=f"{order.name}, layout {layout.id}",
        shop=order.shop.name,
        unit=order.unit,
        grade=layout.plate.grade,
    )
    texts = (inquiry_html(asked, paper=order.paper), inquiry_text(asked))
    for name, text in zip(AT_NEED, texts, strict=True):
        (folder / name).write_text(text, encoding="utf-8")


def _require(check: CheckReport) -> CheckReport:
    if not check.passed:
        faults = "\n".join(f.message for f in check.findings)
        raise CheckFailed(f"the layout breaks a clearance and is not released:\n{faults}")
    return check
