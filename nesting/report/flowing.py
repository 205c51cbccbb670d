"""Documents that flow over several sheets as PDF: headings, paragraphs, tables with repeated heads, pictures."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from markupsafe import escape
from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import CondPageBreak, Flowable, Image, KeepTogether, Paragraph, SimpleDocTemplate, Spacer
from reportlab.platypus import Table as Grid

from nesting.report.printing import BOLD, PAPER_MM, PLAIN, register_fonts, text_width
from nesting.report.tables import Table
from nesting.shop import Paper

_MARGIN_MM: Final = 12.0
_FOOT_MM: Final = 8.0
_SIZE: Final = 8.0
_SMALLEST: Final = 6.0
_PAD: Final = 3.0
_LONGEST_WORD: Final = 120.0
_FRAME_PAD: Final = 6.0
_RULE: Final = colors.HexColor("#555555")
_HAIR: Final = colors.HexColor("#cccccc")

Story = list[Flowable]


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """The paper, upright or on its side."""

    paper: Paper
    landscape: bool = False

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height as read."""
        width, height = PAPER_MM[self.paper]
        return (height, width) if self.landscape else (width, height)

    @property
    def room_pt(self) -> float:
        """The width that a table may have, in points."""
        return (self.size_mm[0] - 2 * _MARGIN_MM) * float(mm) - 2 * _FRAME_PAD


def document(story: Story, sheet: Sheet, *, title: str, foot: str) -> bytes:
    """Return a story as PDF, `foot` and the number of the sheet under each; the same story gives the same bytes."""
    width, height = sheet.size_mm
    buffer = io.BytesIO()
    laid = SimpleDocTemplate(
        buffer,
        pagesize=(width * mm, height * mm),
        leftMargin=_MARGIN_MM * mm,
        rightMargin=_MARGIN_MM * mm,
        topMargin=_MARGIN_MM * mm,
        bottomMargin=(_MARGIN_MM + _FOOT_MM) * mm,
        title=title,
        author="oddplate",
        creator="oddplate",
        producer="oddplate",
        invariant=1,
    )
    laid.build(story, canvasmaker=_numbered(foot))
    return buffer.getvalue()


def _numbered(foot: str) -> type[Any]:
    """A canvas that knows how many sheets there are by the time their feet are written."""

    class Numbered(Canvas):  # type: ignore[misc]
        """Keeps the sheets until the last one is done."""

        def __init__(self, *args: Any, **options: Any) -> None:
            super().__init__(*args, **options)
            self._sheets: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802 - the library's name
            self._sheets.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for number, sheet in enumerate(self._sheets, start=1):
                self.__dict__.update(sheet)
                self.setFont(PLAIN, 7.0)
                self.drawString(_MARGIN_MM * mm, _MARGIN_MM * mm, foot)
                right = self._pagesize[0] - _MARGIN_MM * mm
                self.drawRightString(right, _MARGIN_MM * mm, f"sheet {number} of {len(self._sheets)}")
                super().showPage()
            super().save()

    return Numbered


def _style(size: float, *, bold: bool = False, after: float = 0.0, right: bool = False) -> ParagraphStyle:
    register_fonts()
    return ParagraphStyle(
        f"{size}{bold}{after}{right}",
        fontName=BOLD if bold else PLAIN,
        fontSize=size,
        leading=1.28 * size,
        spaceAfter=after,
        alignment=2 if right else 0,
    )


def _text(text: str, style: ParagraphStyle) -> Flowable:
    """A paragraph of plain text: nothing in it is markup, and control characters have no place on paper."""
    return Paragraph(escape("".join(letter if letter.isprintable() else " " for letter in text)), style)


def heading(text: str, *, first: bool = False, room_mm: float = 28.0) -> list[Flowable]:
    """A heading; it does not stand alone at the foot of a sheet, but where there is so much room below it."""
    above: Story = [] if first else [CondPageBreak(room_mm * mm), Spacer(0, 3.5 * mm)]
    return [*above, _text(text, _style(15.0 if first else 10.5, bold=True, after=1.5 * mm))]


def paragraph(text: str, *, size: float = _SIZE, bold: bool = False) -> Flowable:
    """A paragraph of plain text."""
    return _text(text, _style(size, bold=bold, after=1.2 * mm))


def picture(png: bytes, sheet: Sheet, *, highest_mm: float) -> Flowable:
    """A picture as wide as the sheet, no higher than said."""
    image = Image(io.BytesIO(png))
    scale = min(sheet.room_pt / image.imageWidth, highest_mm * mm / image.imageHeight)
    image.drawWidth, image.drawHeight = image.imageWidth * scale, image.imageHeight * scale
    return image


def cards(pairs: Sequence[tuple[str, str]], sheet: Sheet, *, across: int = 4) -> Flowable:
    """Labels with large values under them, side by side."""
    cells = [[_text(a, _style(6.5)), _text(b, _style(11.0, bold=True))] for a, b in pairs]
    cells += [[] for _ in range(-len(cells) % across)]
    rows = [cells[i : i + across] for i in range(0, len(cells), across)]
    grid = Grid(rows, colWidths=[sheet.room_pt / across] * across, hAlign="LEFT", spaceAfter=2 * mm)
    grid.setStyle([("GRID", (0, 0), (-1, -1), 0.5, _HAIR), ("VALIGN", (0, 0), (-1, -1), "TOP")])
    return grid


def pairs_table(pairs: Sequence[tuple[str, str]], sheet: Sheet) -> Flowable:
    """Names and values, without heads."""
    return table(Table(headings=("", ""), rows=tuple(pairs), words=(0, 1)), sheet)


def table(shown: Table, sheet: Sheet, *, small: Sequence[int] = ()) -> Flowable:
    """A table as wide as the sheet; its head stands on every sheet it runs over, its total stays with its last row."""
    size, widths = _widths(shown, sheet.room_pt)
    head = any(shown.headings)
    rows = [shown.headings] if head else []
    rows += [*shown.rows, *([shown.total] if shown.total else [])]
    bold = {0} if head else set()
    bold |= {len(rows) - 1} if shown.total else set()
    cells = [
        [
            _text(
                text,
                _style(size - (1.0 if c in small else 0.0), bold=r in bold, right=c not in shown.words),
            )
            for c, text in enumerate(row)
        ]
        for r, row in enumerate(rows)
    ]
    grid = Grid(cells, colWidths=widths, repeatRows=1 if head else 0, hAlign="LEFT", spaceAfter=1.5 * mm)
    rules: list[tuple[Any, ...]] = [
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, _HAIR),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 2 * _PAD),
        ("TOPPADDING", (0, 0), (-1, -1), 1.2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.6),
    ]
    if head:
        rules += [("LINEBELOW", (0, 0), (-1, 0), 0.8, _RULE), ("VALIGN", (0, 0), (-1, 0), "BOTTOM")]
    if shown.total:
        rules += [("LINEABOVE", (0, -1), (-1, -1), 0.8, _RULE), ("NOSPLIT", (0, -2), (-1, -1))]
    grid.setStyle(rules)
    return grid


def _widths(shown: Table, room: float) -> tuple[float, list[float]]:
    """Text size and column widths: numbers never broken, the room shared by what the columns hold."""
    rows = [*shown.rows, *([shown.total] if shown.total else [])]
    size = _SIZE
    while True:
        asked = [
            _asked(head, [row[c] for row in rows], size, words=c in shown.words)
            for c, head in enumerate(shown.headings)
        ]
        if sum(least for least, _ in asked) <= room or size <= _SMALLEST:
            return size, _shared(asked, room)
        size -= 0.5


def _asked(head: str, texts: Sequence[str], size: float, *, words: bool) -> tuple[float, float]:
    """The least width of a column, no word and no number broken but the very long, and that which breaks no line."""
    pieces = [word for text in texts for word in text.split()] if words else texts
    least = max((text_width(piece, BOLD, size) for piece in [*pieces, *head.split()]), default=0.0)
    whole = max(text_width(text, BOLD, size) for text in [head, *texts])
    pad = 2 * _PAD + 1.0
    return (min(least, _LONGEST_WORD) if words else least) + pad, whole + pad


def _shared(asked: Sequence[tuple[float, float]], room: float) -> list[float]:
    """Every column its least width, and of the rest as much as it can use, in proportion."""
    wants = [whole - least for least, whole in asked]
    spare = max(0.0, room - sum(least for least, _ in asked))
    share = min(1.0, spare / sum(wants)) if sum(wants) > 0.0 else 0.0
    return [least + share * max(0.0, want) for (least, _), want in zip(asked, wants, strict=True)]


def together(*flowables: Flowable) -> Flowable:
    """Keep what belongs together on one sheet."""
    return KeepTogether(list(flowables))
