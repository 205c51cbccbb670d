"""The cut sheet as PDF: all that the cutter needs on the front, cautions, drawings and what did not fit behind it."""

import io
from dataclasses import dataclass
from typing import Any, Final

from reportlab.lib.units import mm
from reportlab.platypus import Flowable

from nesting.report.printing import BOLD, PLAIN, fitted, new_pdf, one_line
from nesting.report.sheet.cut_sheet import CutSheet, Pairs
from nesting.report.sheet.draw import draw_pdf
from nesting.report.sheet.forms import FOOT_MM, GAP_MM, HEAD_MM, MARGIN_MM, SHORT_HEAD_MM, Column, Form
from nesting.report.sheet.marks import Picture
from nesting.report.sheet.stories import Block, Stories, back_story, by_hand_story, cautions_story, front_stories

_TITLE_MM: Final = 10.5
_BOX_MM: Final = 11.5


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """The pictures of a sheet: in front, of the tapes, and a large one where that in front cannot hold all numbers."""

    form: Form
    front: Picture
    tapes: Picture
    large_form: Form | None = None
    large: Picture | None = None


def cut_sheet_pdf(sheet: CutSheet, drawn: Drawn) -> bytes:
    """Return the sheet as a PDF document; the same sheet gives the same bytes."""
    total = _Pages(sheet, drawn).draw()
    pages = _Pages(sheet, drawn, total=total)
    pages.draw()
    return pages.buffer.getvalue()


class _Pages:
    """Fills page after page until nothing is left over; drawn twice, since only then their number is known."""

    def __init__(self, sheet: CutSheet, drawn: Drawn, *, total: int = 0) -> None:
        self.buffer = io.BytesIO()
        title = f"Cut sheet, plate {sheet.plate}, layout {sheet.layout_id}"
        form = drawn.form
        self._canvas = new_pdf(self.buffer, paper=form.paper, title=title, landscape=form.landscape)
        self._sheet, self._drawn, self._form = sheet, drawn, form
        self._total, self._number = total, 1

    def draw(self) -> int:
        """Draw all pages and return how many there are."""
        form, height = self._form, self._form.page_mm[1]
        stories = front_stories(self._sheet, self._drawn.tapes, form.widths_mm)
        by_hand = by_hand_story(self._sheet)
        self._head()
        top, picture = height - MARGIN_MM - HEAD_MM, self._drawn.front
        draw_pdf(picture, self._canvas, MARGIN_MM * mm, (top - picture.height_mm) * mm)
        self._fill(stories, top, below_mm=top - picture.height_mm - GAP_MM / 2, then=by_hand)
        self._large_picture()
        stories["facts"] += by_hand + back_story(self._sheet, form.widths_mm["facts"])
        cautions = cautions_story(self._sheet)
        while cautions or any(stories.values()):
            self._turn_over(form)
            top = height - MARGIN_MM - SHORT_HEAD_MM
            self._fill(stories, top, below_mm=top, then=cautions)
        self._foot()
        self._canvas.showPage()
        self._canvas.save()
        return self._number

    def _large_picture(self) -> None:
        form, picture = self._drawn.large_form, self._drawn.large
        if form is None or picture is None:
            return
        self._turn_over(form)
        top = form.page_mm[1] - MARGIN_MM - SHORT_HEAD_MM
        draw_pdf(picture, self._canvas, MARGIN_MM * mm, (top - picture.height_mm) * mm)

    def _turn_over(self, form: Form) -> None:
        self._foot()
        self._canvas.showPage()
        self._number += 1
        self._form = form
        self._canvas.setPageSize([side * mm for side in form.page_mm])
        height, sheet = form.page_mm[1], self._sheet
        self._line(f"Plate {sheet.plate}", BOLD, height - MARGIN_MM - 4.0, share=0.5, largest=12.0)
        job = f"{sheet.title} · layout {sheet.layout_id}"
        self._line(job, PLAIN, height - MARGIN_MM - 4.0, share=-0.45, largest=8.0)
        self._rule(height - MARGIN_MM - 6.0)

    def _fill(self, stories: Stories, top_mm: float, *, below_mm: float, then: list[Block] | None = None) -> None:
        """Pour each story into its columns, and another into what room is left in any of them.

        Raise ValueError if not even an empty page takes the next block.
        """
        tops = [(below_mm if column.below else top_mm) * mm for column in self._form.columns]
        ends = [
            _pour(stories[column.story], self._canvas, column, top)
            for column, top in zip(self._form.columns, tops, strict=True)
        ]
        if then:
            ends = [
                end if stories[column.story] else _pour(then, self._canvas, column, end - (end < top) * GAP_MM * mm)
                for column, end, top in zip(self._form.columns, ends, tops, strict=True)
            ]
        if self._number > 1 and ends == tops:
            raise ValueError("a block of the cut sheet is higher than a page")

    def _head(self) -> None:
        """Plate and job, and what the material is, large."""
        sheet = self._sheet
        width, height = self._form.page_mm
        top, inner = height - MARGIN_MM, width - 2 * MARGIN_MM
        room = (0.62 * inner * mm, _TITLE_MM * mm)
        size, lines = fitted([f"Plate {sheet.plate}"], BOLD, *room, largest=20, smallest=8, leading=1.1)
        self._canvas.setFont(BOLD, size)
        for number, text in enumerate(reversed(lines)):
            self._canvas.drawString(MARGIN_MM * mm, (top - _TITLE_MM + 2.5) * mm + 1.1 * size * number, text)
        self._line(sheet.title, BOLD, top - 3.8, share=-0.36, largest=11.0)
        shop = f" · {sheet.shop}" if sheet.shop else ""
        self._line(f"layout {sheet.layout_id}{shop}", PLAIN, top - 8.0, share=-0.36, largest=8.0)
        low = top - _TITLE_MM - 2 * _BOX_MM
        self._boxes(sheet.material, low + _BOX_MM, inner)
        self._boxes(sheet.work, low, inner)
        self._line(sheet.warning, BOLD, low - 4.8, share=1.0, largest=10.5)

    def _line(self, text: str, font: str, at_mm: float, *, share: float, largest: float) -> None:
        """Write one line over a share of the page's width, from its right edge where that is negative."""
        left, right = MARGIN_MM, self._form.page_mm[0] - MARGIN_MM
        size, shown = one_line(text, font, abs(share) * (right - left) * mm, largest=largest, smallest=5.0)
        self._canvas.setFont(font, size)
        if share > 0.0:
            self._canvas.drawString(left * mm, at_mm * mm, shown)
        else:
            self._canvas.drawRightString(right * mm, at_mm * mm, shown)

    def _boxes(self, pairs: Pairs, low: float, inner: float) -> None:
        canvas, width = self._canvas, inner / len(pairs)
        canvas.setLineWidth(0.6)
        for number, (label, value) in enumerate(pairs):
            left = MARGIN_MM + number * width
            canvas.rect(left * mm, low * mm, width * mm, _BOX_MM * mm)
            canvas.setFont(PLAIN, 7)
            canvas.drawString((left + 1.5) * mm, (low + _BOX_MM - 3.4) * mm, label)
            size, lines = fitted([value], BOLD, (width - 3) * mm, (_BOX_MM - 4.6) * mm, largest=14, smallest=6)
            canvas.setFont(BOLD, size)
            for line, text in enumerate(reversed(lines)):
                canvas.drawString((left + 1.5) * mm, (low + 1.6) * mm + 1.2 * size * line, text)

    def _foot(self) -> None:
        canvas, width = self._canvas, self._form.page_mm[0]
        self._rule(MARGIN_MM + FOOT_MM - 2.5)
        canvas.setFont(PLAIN, 8)
        canvas.drawString(MARGIN_MM * mm, MARGIN_MM * mm, "cut by ____________________   date ______________")
        last = f"page {self._number} of {self._total}"
        large = "all numbers on page 2, " if self._drawn.large else ""
        told = last if self._number > 1 else f"{last} · {large}cautions overleaf"
        canvas.drawRightString((width - MARGIN_MM) * mm, MARGIN_MM * mm, told)

    def _rule(self, at_mm: float) -> None:
        self._canvas.setLineWidth(0.5)
        self._canvas.setStrokeGray(0.0)
        self._canvas.line(MARGIN_MM * mm, at_mm * mm, (self._form.page_mm[0] - MARGIN_MM) * mm, at_mm * mm)


def _pour(story: list[Block], canvas: Any, column: Column, top: float) -> float:
    """Move blocks from a story into a column from its top until it is full, and return where they end, in points.

    What is in one block stays together, but for its last piece, such as a table, which may be split.
    """
    left, width, at, low = column.left_mm * mm, column.width_mm * mm, top, (MARGIN_MM + FOOT_MM) * mm
    while story:
        *held, last = story[0]
        heights = [piece.wrapOn(canvas, width, at)[1] + piece.getSpaceAfter() for piece in held]
        room = at - low - sum(heights)
        high = last.wrapOn(canvas, width, room)[1]
        shown: list[Flowable] = [last]
        rest: list[Flowable] = []
        if high > room:
            shown, rest = _split(last, canvas, width, room)
            if not shown:
                break
        for piece in (*held, *shown):
            at -= piece.wrapOn(canvas, width, at)[1]
            piece.drawOn(canvas, left, at)
            at -= piece.getSpaceAfter()
        story[0:1] = [tuple(rest)] if rest else []
        if rest:
            break
    return at


def _split(block: Flowable, canvas: Any, width: float, room: float) -> tuple[list[Flowable], list[Flowable]]:
    """Return what of a block fits a room, nothing where it cannot be split there, and the rest."""
    pieces = block.splitOn(canvas, width, room) if room > 0.0 else []
    return list(pieces[:1]), list(pieces[1:])
