"""Draws a picture of strokes and words into a PDF page or as an SVG element."""

from collections.abc import Iterator
from html import escape
from typing import Any

from reportlab.lib.units import mm

from nesting.report.printing import BOLD, CAP_HEIGHT, PLAIN
from nesting.report.sheet.marks import Picture, Stroke, Words


def draw_pdf(picture: Picture, canvas: Any, left: float, low: float) -> None:
    """Draw a picture, its lower left corner at a place in points."""
    canvas.saveState()
    canvas.translate(left, low)
    canvas.scale(mm, mm)
    canvas.setLineJoin(1)
    for mark in picture.marks:
        if isinstance(mark, Stroke):
            _stroke_pdf(mark, canvas)
        else:
            _words_pdf(mark, canvas)
    canvas.restoreState()


def _stroke_pdf(stroke: Stroke, canvas: Any) -> None:
    path = canvas.beginPath()
    for ring in stroke.rings:
        (x, y), *rest = ring.tolist()
        path.moveTo(x, y)
        for px, py in rest:
            path.lineTo(px, py)
        if stroke.closed:
            path.close()
    canvas.setLineWidth(stroke.width_mm)
    canvas.setStrokeGray(stroke.grey)
    canvas.setDash(list(stroke.dash))
    if stroke.fill is not None:
        canvas.setFillGray(stroke.fill)
    canvas.drawPath(path, stroke=int(stroke.width_mm > 0.0), fill=int(stroke.fill is not None), fillMode=0)


def _words_pdf(words: Words, canvas: Any) -> None:
    x0, y0, x1, y1 = words.box.buffer(0.35, join_style="mitre").bounds
    if words.backed:
        canvas.setFillGray(1.0)
        canvas.rect(x0, y0, x1 - x0, y1 - y0, stroke=0, fill=1)
    canvas.setFillGray(0.0)
    canvas.setFont(BOLD if words.bold else PLAIN, words.size_mm)
    draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
    draw[words.anchor](words.at[0], words.at[1] - 0.5 * CAP_HEIGHT * words.size_mm, words.text)


def inline_svg(picture: Picture, *, name: str) -> str:
    """Return one `<svg>` element in true size on paper; all texts are escaped."""
    width, height = picture.width_mm, picture.height_mm
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{escape(name)}" width="{width:.2f}mm" '
        f'height="{height:.2f}mm" viewBox="0 0 {width:.2f} {height:.2f}" stroke-linejoin="round">'
    )
    return "".join([head, *(text for mark in picture.marks for text in _svg(mark, height)), "</svg>"])


def _svg(mark: Stroke | Words, height: float) -> Iterator[str]:
    if isinstance(mark, Stroke):
        end = "Z" if mark.closed else ""
        steps = "".join(
            "M" + "L".join(f"{x:.2f} {height - y:.2f}" for x, y in ring.tolist()) + end for ring in mark.rings
        )
        fill = "none" if mark.fill is None else _grey(mark.fill)
        line = "none" if mark.width_mm == 0.0 else _grey(mark.grey)
        dash = f' stroke-dasharray="{" ".join(map(str, mark.dash))}"' if mark.dash else ""
        style = f'fill="{fill}" fill-rule="evenodd" stroke="{line}" stroke-width="{mark.width_mm}"{dash}'
        yield f'<path d="{steps}" {style}/>'
        return
    if mark.backed:
        x0, y0, x1, y1 = mark.box.buffer(0.35, join_style="mitre").bounds
        yield f'<rect x="{x0:.2f}" y="{height - y1:.2f}" width="{x1 - x0:.2f}" height="{y1 - y0:.2f}" fill="#fff"/>'
    base = height - (mark.at[1] - 0.5 * CAP_HEIGHT * mark.size_mm)
    weight = ' font-weight="bold"' if mark.bold else ""
    yield (
        f'<text x="{mark.at[0]:.2f}" y="{base:.2f}" font-size="{mark.size_mm:.2f}" text-anchor="{mark.anchor}"{weight} '
        f'textLength="{mark.width_mm:.2f}" lengthAdjust="spacingAndGlyphs">{escape(mark.text)}</text>'
    )


def _grey(level: float) -> str:
    return f"#{round(255 * level):02x}" + f"{round(255 * level):02x}" * 2
