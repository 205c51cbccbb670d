"""Which form a cut sheet takes, and how much room its texts leave for the picture."""

import io
from typing import Any, Final

from reportlab.lib.units import mm

from nesting.layout import Layout
from nesting.report.printing import new_pdf
from nesting.report.sheet.cut_sheet import CutSheet
from nesting.report.sheet.forms import GAP_MM, Form, picture_pages, side_forms, upright_forms
from nesting.report.sheet.marks import Picture
from nesting.report.sheet.picture import plate_scale
from nesting.report.sheet.stories import Block, front_stories
from nesting.shop import Paper

_MUCH_LARGER: Final = 1.25
"""Upright paper gives way only to a form that shows the plate so much larger."""


def choose_form(layout: Layout, sheet: CutSheet, tapes: Picture, paper: Paper) -> tuple[Form, float]:
    """Return the form that shows the plate largest, all texts counted, and the height of its picture, mm.

    A form on its side is taken only where it shows the plate much larger.
    """

    def tried(form: Form) -> tuple[float, Form, float]:
        height = picture_height_mm(sheet, form, tapes)
        return plate_scale(layout, form.picture_mm[0], height), form, height

    upright, on_side = (
        max((tried(form) for form in forms(paper)), key=lambda one: one[0]) for forms in (upright_forms, side_forms)
    )
    _, form, height = on_side if on_side[0] > _MUCH_LARGER * upright[0] else upright
    return form, height


def choose_picture_page(layout: Layout, paper: Paper) -> Form:
    """Return the page that shows the plate largest without any text."""
    return max(picture_pages(paper), key=lambda form: plate_scale(layout, *form.picture_mm))


def picture_height_mm(sheet: CutSheet, form: Form, tapes: Picture) -> float:
    """Return the height that the texts below the picture leave for it, within the bounds of the form."""
    canvas = new_pdf(io.BytesIO(), paper=form.paper, title="")
    needed = 0.0
    for name, story in front_stories(sheet, tapes, form.widths_mm).items():
        columns = [c for c in form.columns if c.story == name and c.below]
        if columns:
            heights = sum(block_height(block, canvas, columns[0].width_mm * mm) for block in story)
            needed = max(needed, heights / mm / len(columns) + GAP_MM)
    return min(form.picture_mm[1], max(form.least_mm, form.room_mm - needed))


def block_height(block: Block, canvas: Any, width: float) -> float:
    """Return the height of a block of text in a column of a width, both in points."""
    return float(sum(piece.wrapOn(canvas, width, 1e6)[1] + piece.getSpaceAfter() for piece in block))
