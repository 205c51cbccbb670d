"""Cut sheet and part labels of one layout, ready to be written: made from the layout alone, now or years later."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

from nesting.drawing.cut_order import CutOrder
from nesting.layout import Layout
from nesting.remnant import Balance
from nesting.report.facts import YieldReport
from nesting.report.labels import labels_pdf
from nesting.report.sheet.choice import choose_form, choose_picture_page
from nesting.report.sheet.corners import tape_picture
from nesting.report.sheet.cut_sheet import cut_sheet
from nesting.report.sheet.forms import FACTS_MM
from nesting.report.sheet.html import cut_sheet_html
from nesting.report.sheet.labels import part_labels
from nesting.report.sheet.pdf import Drawn, cut_sheet_pdf
from nesting.report.sheet.picture import layout_picture
from nesting.report.sheet.words import Lengths
from nesting.shop import Paper

_TAPES_MM: Final = 42.0


@dataclass(frozen=True, kw_only=True)
class Sheets:
    """What is printed for one plate."""

    pdf: bytes
    html: str
    labels: bytes

    @property
    def contents(self) -> tuple[bytes, bytes, bytes]:
        """Cut sheet as PDF and as HTML, and the labels, as bytes of files."""
        return self.pdf, self.html.encode(), self.labels


def sheets(
    layout: Layout,
    report: YieldReport,
    *,
    areas: Balance,
    order: CutOrder,
    title: str,
    lengths: Lengths,
    paper: Paper,
    rack_ids: Mapping[str, str] | None = None,
    on_table: bool = False,
) -> Sheets:
    """Return cut sheet and labels of a layout; `rack_ids` and `on_table` as `cut_sheet` has them."""
    sheet = cut_sheet(layout, report, order, title=title, lengths=lengths, rack_ids=rack_ids, on_table=on_table)
    tapes = tape_picture(layout, sheet, width_mm=FACTS_MM, height_mm=_TAPES_MM)
    form, height = choose_form(layout, sheet, tapes, paper)
    draw = partial(layout_picture, layout, areas, sheet, unit=lengths.unit)
    front = draw(width_mm=form.picture_mm[0], height_mm=height, all_numbers=False)
    drawn = Drawn(form=form, front=front, tapes=tapes)
    if not front.complete:
        page = choose_picture_page(layout, paper)
        large = draw(width_mm=page.picture_mm[0], height_mm=page.picture_mm[1])
        drawn = replace(drawn, large_form=page, large=large)
    return Sheets(
        pdf=cut_sheet_pdf(sheet, drawn),
        html=cut_sheet_html(sheet, drawn),
        labels=labels_pdf(part_labels(layout, lengths), paper=paper),
    )
