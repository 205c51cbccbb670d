"""The texts and tables of a printed cut sheet, as blocks that flow down its columns."""

from collections.abc import Sequence
from html import escape
from typing import Any, Final

from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph, Spacer, Table

from nesting.report.printing import BOLD, PLAIN
from nesting.report.sheet.cut_sheet import HEAVY, TICK, CutSheet, Pairs, PartLine
from nesting.report.sheet.draw import draw_pdf
from nesting.report.sheet.forms import Story
from nesting.report.sheet.marks import Picture

Block = tuple[Flowable, ...]
"""What stays together on a page; only the last of it may be split."""

_LONG_ORDER: Final = 400

Stories = dict[Story, list[Block]]


def _style(
    size: float, *, bold: bool = False, right: bool = False, after: float = 0.0, hang: float = 0.0
) -> ParagraphStyle:
    return ParagraphStyle(
        "sheet",
        fontName=BOLD if bold else PLAIN,
        fontSize=size,
        leading=1.22 * size,
        alignment=2 if right else 0,
        spaceAfter=after,
        leftIndent=hang,
        firstLineIndent=-hang,
        splitLongWords=1,
    )


_HEADING: Final = _style(11, bold=True, after=2)
_BODY: Final = _style(9.5, after=5)
_CAUTION: Final = _style(9)
_NOTE: Final = _style(7.5, after=2)
_CELL: Final = _style(10)
_NUMBER: Final = _style(10, right=True)
_STRONG: Final = _style(10, bold=True)
_STRONG_NUMBER: Final = _style(10, bold=True, right=True)
_STEP: Final = _style(9.5, after=2.5, hang=14)
_HAND: Final = _style(8, after=2, hang=12)
_LONGER: Final = _style(9.5, bold=True, after=6)
_ORDER: Final = _style(11.5, bold=True, after=6)


class _Drawing(Flowable):  # type: ignore[misc]
    """A picture that stands in a column."""

    def __init__(self, picture: Picture) -> None:
        super().__init__()
        self._picture = picture
        self.width, self.height = picture.width_mm * mm, picture.height_mm * mm

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        """Its size, whatever room there is."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw it into the page."""
        draw_pdf(self._picture, self.canv, 0.0, 0.0)


def front_stories(sheet: CutSheet, tapes: Picture, widths_mm: dict[Story, float]) -> Stories:
    """Return what belongs on the front, most important first; widths of columns in mm."""
    widths = _points(widths_mm)
    listed, kept = _parts(sheet, widths["parts"], compact=sheet.long), _kept(sheet, widths["parts"])
    # A list that goes on behind must not take the rest with it.
    parts = [kept, *_left_over(sheet), listed, *_order(sheet)]
    if not sheet.long:
        parts = [listed, *_order(sheet), kept, *_left_over(sheet)]
    facts = [
        _tapes(sheet, tapes, widths["facts"]),
        *_steps(sheet),
        (_text(" ".join(sheet.outline), _NOTE),),
        (_text(sheet.time_note, _NOTE),),
    ]
    return {"parts": parts, "facts": facts}


def by_hand_story(sheet: CutSheet) -> list[Block]:
    """Return what to look at while cutting or to finish by hand; in front where there is room, else behind."""
    whole = Spacer(0, 0.1)  # the last of a block may be split, and half a line of these is no use
    lines = [(Paragraph(f"{TICK}&nbsp;{escape(line, quote=False)}", _HAND), whole) for line in sheet.by_hand]
    return [(_text("Look at, or finish by hand", _HEADING), *lines[0]), *lines[1:]] if lines else []


def cautions_story(sheet: CutSheet) -> list[Block]:
    """Return the cautions, which stand overleaf and flow through columns of any width."""
    first, *others = [(_text(c.text, _CAUTION), _text(c.source, _style(6.5, after=4))) for c in sheet.cautions]
    return [(_text("Cautions", _HEADING), *first), *others]


def back_story(sheet: CutSheet, width_mm: float) -> list[Block]:
    """Return the facts that stand overleaf: distances that were kept, where the outline came from."""
    width = width_mm * mm
    return [
        _pairs("Distances kept", sheet.clearances, width, share=0.45),
        _pairs("Plate", sheet.plate_file, width, share=0.3),
        *((_text(note, _NOTE),) for note in sheet.notes),
    ]


def _points(widths_mm: dict[Story, float]) -> dict[Story, float]:
    return {name: width * mm for name, width in widths_mm.items()}


def _text(text: str, style: ParagraphStyle) -> Paragraph:
    return Paragraph(escape(text, quote=False), style)


def _heading(text: str, note: str) -> Paragraph:
    """A heading with a note in small letters behind it."""
    return Paragraph(f'{escape(text)} <font name="{PLAIN}" size="7.5">{escape(note, quote=False)}</font>', _HEADING)


def _parts(sheet: CutSheet, width: float, *, compact: bool) -> Block:
    head = ("out", "no.", "part", f"size, {sheet.length_unit}", "pcs", f"{sheet.mass_unit} each")
    rows = [_head(head, from_right=2), *(_part_cells(part, compact=compact) for part in sheet.parts)]
    last = ["", "", _text("all parts", _STRONG), "", _text(sheet.total_pieces, _STRONG_NUMBER)]
    rows.append([*last, _text(sheet.total_mass, _STRONG_NUMBER)])
    shares = (0.17, 0.125, 0.265, 0.19, 0.09, 0.16)
    table = _table(rows, [share * width for share in shares])
    return (_heading("Parts", sheet.lift_note), table)


def _head(texts: Sequence[str], *, from_right: int) -> list[Any]:
    words = len(texts) - from_right
    return [_text(text, _style(7.5, right=n >= words)) for n, text in enumerate(texts)]


def _part_cells(part: PartLine, *, compact: bool) -> list[Any]:
    name, details = escape(part.name, quote=False), escape(part.details, quote=False)
    if compact:
        named: Any = Paragraph(f'<font name="{BOLD}" size="9">{name}</font> {details}', _style(6.5))
    else:
        named = [Paragraph(name, _STRONG), *([Paragraph(details, _style(6.5))] if details else [])]
    return [
        _text(part.ticks, _style(9 if "/" in part.ticks else 12)),
        _text(part.numbers, _STRONG),
        named,
        _text(part.size, _style(9)),
        _text(part.pieces, _STRONG_NUMBER if part.pieces.isdigit() else _style(8, bold=True, right=True)),
        _mass(part.mass, heavy=part.heavy),
    ]


def _mass(mass: str, *, heavy: bool) -> Paragraph:
    return _text(f"{HEAVY}\u00a0{mass}" if heavy else mass, _style(9, bold=True, right=True) if heavy else _NUMBER)


def _table(rows: Sequence[Sequence[Any]], widths: Sequence[float], *, head: bool = True) -> Table:
    style: list[tuple[Any, ...]] = [
        ("LINEBELOW", (0, 0), (-1, -2), 0.25, "black"),
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LEFTPADDING", (0, 0), (-1, -1), 1),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
        ("TOPPADDING", (0, 0), (-1, -1), 1),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.8),
    ]
    if head:
        style.append(("LINEBELOW", (0, 0), (-1, 0), 0.8, "black"))
    return Table(rows, colWidths=widths, repeatRows=int(head), style=style, spaceAfter=2.5 * mm)


def _order(sheet: CutSheet) -> list[Block]:
    return [
        (
            _heading("Cutting order", sheet.order_note),
            _text(sheet.order, _ORDER if len(sheet.order) < _LONG_ORDER else _LONGER),
        )
    ]


def _kept(sheet: CutSheet, width: float) -> Block:
    heading = _text("Leftovers to keep", _HEADING)
    if not sheet.kept:
        return (heading, _text("None holds one of the shop's keep sizes.", _BODY))
    rows = [_head(("", "", "chalk on it", f"takes, {sheet.length_unit}", f"{sheet.mass_unit}"), from_right=1)]
    for line in sheet.kept:
        cells = [
            _text(TICK, _style(12)),
            _text(line.name, _STRONG),
            _text(line.chalk, _CELL),
            _text(line.size, _style(9)),
        ]
        rows.append([*cells, _mass(line.mass, heavy=line.heavy)])
    return (heading, _table(rows, [share * width for share in (0.06, 0.09, 0.45, 0.22, 0.18)]))


def _left_over(sheet: CutSheet) -> list[Block]:
    lines = [(_text(line, _BODY),) for line in sheet.left_over]
    return [(_text("Not on this plate", _HEADING), *lines[0]), *lines[1:]] if lines else []


def _tapes(sheet: CutSheet, tapes: Picture, width: float) -> Block:
    blank = _text("is _________", _style(8, right=True))
    rows = [[_text(t.ends, _STRONG), _text(t.length, _STRONG_NUMBER), blank] for t in sheet.tapes]
    table = _table(rows, [share * width for share in (0.28, 0.38, 0.34)], head=False)
    return (_text("Tape the plate first", _HEADING), _Drawing(tapes), table, _text(sheet.stop, _BODY))


def _steps(sheet: CutSheet) -> list[Block]:
    first, *others = [Paragraph(f"{TICK}&nbsp;{escape(step, quote=False)}", _STEP) for step in sheet.steps]
    return [(_text("Lay it on the table", _HEADING), first), *((step,) for step in others)]


def _pairs(heading: str, pairs: Pairs, width: float, *, share: float) -> Block:
    rows = [[_text(label, _style(8)), _text(value, _style(8, bold=True))] for label, value in pairs]
    return (_text(heading, _HEADING), _table(rows, [share * width, (1 - share) * width], head=False))
