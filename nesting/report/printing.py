"""What every printed page shares: paper sizes, a font that has the letters of names, texts that stay in their room."""

import io
from functools import cache
from pathlib import Path
from typing import Any, Final

from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from nesting.shop import Paper

PAPER_MM: Final[dict[Paper, tuple[float, float]]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height, upright: ISO 216 and ANSI/ASME Y14.1."""

PLAIN: Final = "oddplate-plain"
BOLD: Final = "oddplate-bold"
CAP_HEIGHT: Final = 0.729
"""Height of capitals and digits of the font, in sizes."""

_FILES: Final = {PLAIN: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
_CUT_OFF: Final = "…"
_STEP: Final = 0.96
"""From one size tried to the next smaller."""


@cache
def register_fonts() -> None:
    """Make the two fonts known to the PDF library; the letters used are embedded in each document.

    The standard fonts of PDF lack most letters beyond western Europe; DejaVu comes with matplotlib.
    """
    import matplotlib as mpl

    folder = Path(mpl.get_data_path()) / "fonts" / "ttf"
    for name, file in _FILES.items():
        pdfmetrics.registerFont(TTFont(name, str(folder / file)))
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)


def new_pdf(buffer: io.BytesIO, *, paper: Paper, title: str, landscape: bool = False) -> Any:
    """Return an empty document in points, y up; the same content gives the same bytes."""
    register_fonts()
    width, height = PAPER_MM[paper]
    size = (height * mm, width * mm) if landscape else (width * mm, height * mm)
    canvas = Canvas(buffer, pagesize=size, invariant=1, pageCompression=1)
    canvas.setTitle(title)
    canvas.setAuthor("oddplate")
    canvas.setCreator("oddplate")
    canvas.setProducer("oddplate")
    return canvas


def text_width(text: str, font: str, size: float) -> float:
    """Return the width of a line, in the unit of `size`."""
    register_fonts()
    return float(pdfmetrics.stringWidth(text, font, size))


def wrapped(text: str, font: str, size: float, width: float) -> list[str]:
    """Break a text into lines no wider than `width`, at blanks, and inside a word that is wider by itself."""
    lines: list[str] = []
    line = ""
    for word in _printable(text).split():
        tried = f"{line} {word}" if line else word
        if text_width(tried, font, size) <= width:
            line = tried
            continue
        if line:
            lines.append(line)
        *full, line = _broken(word, font, size, width)
        lines += full
    return [*lines, line] if line else lines


def fitted(
    texts: list[str], font: str, width: float, height: float, *, largest: float, smallest: float, leading: float = 1.2
) -> tuple[float, list[str]]:
    """Return the largest size at which the texts, each from a line of its own, fit a room, and their lines.

    Below `smallest` nobody can read: what does not fit then is cut off with three dots.
    """
    size = largest
    while True:
        lines = [line for text in texts for line in wrapped(text, font, size, width)]
        if len(lines) * leading * size <= height or size <= smallest:
            break
        size = max(smallest, size * _STEP)
    room = max(1, int(height / (leading * size) + 1e-9))
    if len(lines) > room:
        lines = [*lines[: room - 1], _cut_off(lines[room - 1], font, size, width)]
    return size, lines


def one_line(text: str, font: str, width: float, *, largest: float, smallest: float) -> tuple[float, str]:
    """Return the largest size at which a text fits one line, and the text, cut off with three dots below `smallest`."""
    plain = " ".join(_printable(text).split())
    size = min(largest, largest * width / max(text_width(plain, font, largest), 1e-9))
    if size >= smallest:
        return size, plain
    return smallest, _cut_off(plain, font, smallest, width)


def _broken(word: str, font: str, size: float, width: float) -> list[str]:
    pieces = [""]
    for letter in word:
        if pieces[-1] and text_width(pieces[-1] + letter, font, size) > width:
            pieces.append("")
        pieces[-1] += letter
    return pieces


def _cut_off(line: str, font: str, size: float, width: float) -> str:
    while line and text_width(line + _CUT_OFF, font, size) > width:
        line = line[:-1]
    return line + _CUT_OFF


def _printable(text: str) -> str:
    """Control characters have no place on paper; a tab or line end is a blank."""
    return "".join(letter if letter.isprintable() else " " for letter in text)
