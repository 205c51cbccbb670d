"""Pictures of a layout and of a part as inline SVG: every shape names itself when the pointer rests on it."""

import math
from collections.abc import Iterable, Iterator, Sequence
from html import escape

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.geometry.curves import Curve
from nesting.geometry.pose import Point
from nesting.part import Part, TextMark
from nesting.report.colours import pale
from nesting.report.scene import Label, Scene, Shape, scale_bar_mm, spot_labels
from nesting.report.wording import Measure, short
from nesting.units import Unit, from_mm

_CAP_HEIGHT = 0.72
_BOXED = 1.7
"""Height of the box round a spot's number, in heights of the number."""
_LEAST_SIZE = 100.0


def inline_svg(drawn: Scene, unit: Unit, area: Measure, *, prefix: str = "") -> str:
    """Return one `<svg>` element, y down, sized by its view box; all texts are escaped.

    `prefix` stands before its ids: those of several pictures on one page must differ.
    """
    x0, y0, x1, y1 = drawn.bounds
    hair = drawn.text_mm / 14
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="layout" role="img" aria-label="layout" '
        f'viewBox="{x0:.2f} {-y1:.2f} {x1 - x0:.2f} {y1 - y0:.2f}" stroke-width="{hair:.3f}">'
    )
    body = (*_shapes(drawn, unit, area, prefix), *_labels(drawn), *_signs(drawn, unit))
    return "".join([head, _patterns(drawn.text_mm, prefix), *body, "</svg>"])


def _patterns(step: float, prefix: str) -> str:
    line = f'<line x1="0" y1="0" x2="0" y2="{step:.2f}" stroke="{{}}" stroke-width="{{:.2f}}"/>'
    frame = (
        '<pattern id="{}" patternUnits="userSpaceOnUse" patternTransform="rotate({})" '
        f'width="{step:.2f}" height="{step:.2f}">{{}}</pattern>'
    )
    cross = line.format("#000", step / 6) + f'<line x1="0" y1="0" x2="{step:.2f}" y2="0" stroke="#000" '
    cross += f'stroke-width="{step / 6:.2f}"/>'
    left = line.format("#b5b5b5", step / 10)
    return f"<defs>{frame.format(f'{prefix}left', 45, left)}{frame.format(f'{prefix}barred', 45, cross)}</defs>"


def _shapes(drawn: Scene, unit: Unit, area: Measure, prefix: str) -> Iterator[str]:
    thick = drawn.text_mm / 6
    yield _path(drawn.plate, "plate", 'fill="#f4f4f4"')
    for (name, shape), area_mm2 in zip(drawn.remnants, drawn.remnant_areas_mm2, strict=True):
        title = f"kept remnant {name}, {area.full(area_mm2)}"
        yield _path(shape, title, f'fill="url(#{prefix}left)" stroke="#9a9a9a"')
    for name, shape in drawn.keep_outs:
        yield _path(shape, f"keep-out: {name}", 'fill="#fff"')
        yield _path(shape, f"keep-out: {name}", f'fill="url(#{prefix}barred)" stroke="#000"')
    yield _path(drawn.plate, "plate", f'fill="none" stroke="#000" stroke-width="{thick:.3f}"')
    for piece in drawn.pieces:
        yield _path(piece.shape, piece.title(unit), f'class="part" fill="{pale(piece.colour)}" stroke="#000"')
        for points in piece.marks:
            dash = f"{drawn.text_mm / 2:.2f} {drawn.text_mm / 3:.2f}"
            yield f'<path d="{_steps(points)}" fill="none" stroke="#000" stroke-dasharray="{dash}"/>'


def _labels(drawn: Scene) -> Iterator[str]:
    for label in drawn.labels:
        if label.line is not None:
            (x0, y0), (x1, y1) = label.line
            yield f'<path d="M{x0:.2f} {-y0:.2f}L{x1:.2f} {-y1:.2f}" stroke="#000"/>'
            yield f'<circle cx="{x1:.2f}" cy="{-y1:.2f}" r="{label.height_mm / 8:.2f}"/>'
        yield _text(label.text, label.at[0], -label.at[1], label.height_mm, "middle")


def _signs(drawn: Scene, unit: Unit) -> Iterator[str]:
    """Scale bar below the plate, and the grain's direction where it is known."""
    (x0, y0, x1, _), text = drawn.bounds, drawn.text_mm
    left, low, length, tick = x0 + 3 * text, -(y0 + 2 * text), scale_bar_mm(drawn, unit), text / 2
    bar = f"M{left:.2f} {low - tick:.2f}v{text:.2f}m0 {-tick:.2f}h{length:.2f}m0 {-tick:.2f}v{text:.2f}"
    yield f'<path d="{bar}" fill="none" stroke="#000" stroke-width="{text / 6:.2f}"/>'
    yield _text(f"{from_mm(length, unit):g} {short(unit)}", left + length + text, low, text, "start")
    if drawn.grain_deg is not None:
        yield _arrow(x1 - 6 * text, low, drawn.grain_deg, text)
        yield _text("grain", x1 - 10 * text, low, text, "end")


def _arrow(x: float, y: float, turn_deg: float, text: float) -> str:
    """An arrow with two heads, six texts long."""
    reach, h = 3 * text, text / 2
    points = [(h - reach, -h), (-reach, 0), (h - reach, h), (reach - h, -h), (reach, 0), (reach - h, h)]
    a, b, c, d, e, f = (f"{x + dx:.2f} {y + dy:.2f}" for dx, dy in points)
    turn = f"rotate({-turn_deg:.3f} {x:.2f} {y:.2f})"
    steps = f"M{a}L{b}L{c}M{d}L{e}L{f}M{b}L{e}"
    return f'<path d="{steps}" transform="{turn}" fill="none" stroke="#000" stroke-width="{text / 8:.2f}"/>'


def _text(text: str, x: float, y: float, height: float, anchor: str) -> str:
    size = height / _CAP_HEIGHT * 0.9
    return (
        f'<text x="{x:.2f}" y="{y + 0.36 * size:.2f}" font-size="{size:.2f}" text-anchor="{anchor}" '
        f'stroke="#fff" stroke-width="{size / 6:.2f}" paint-order="stroke">{escape(text)}</text>'
    )


def _path(shape: Shape, title: str, style: str) -> str:
    rings = [r for p in shapely.get_parts(shape) for r in (p.exterior, *p.interiors)]
    steps = "".join(_steps(shapely.get_coordinates(ring)[:-1]) + "Z" for ring in rings)
    return f'<path d="{steps}" fill-rule="evenodd" {style}><title>{escape(title)}</title></path>'


def _steps(points: NDArray[np.float64]) -> str:
    return "M" + "L".join(f"{x:.2f} {-y:.2f}" for x, y in points)


def spots_svg(part: Part, spots: Sequence[tuple[str, Point]]) -> str:
    """Return one `<svg>` of a part as drawn, with a numbered label beside each spot; texts are escaped."""
    size = max(part.size_mm)
    shape = shapely.simplify(part.fine_polygon, size * 1e-4)
    dash = f'stroke-dasharray="{0.015 * size:.2f} {0.01 * size:.2f}"'
    marks = (f'<path d="{_steps(m.curve.points(size * 1e-4))}" fill="none" stroke="#000" {dash}/>' for m in part.marks)
    body = (_path(shape, part.name, 'fill="#e8eef2" stroke="#000"'), *marks, *map(_etched, part.texts))
    return _spotted(part.name, shape, size, body, spots)


def curves_svg(name: str, curves: Sequence[Curve], spots: Sequence[tuple[str, Point]]) -> str:
    """Return one `<svg>` of a drawing's curves, with a numbered label beside each spot; texts are escaped."""
    lines = [c.points(2e-4 * c.length_mm + 1e-6) for c in curves]
    every = np.vstack(lines)
    size = float(np.ptp(every, axis=0).max())
    # Of a drawing in inches or metres that does not say so, the hundredths below would show nothing.
    scale = max(1.0, _LEAST_SIZE / size) if size > 0.0 else 1.0
    shape = shapely.MultiLineString([line * scale for line in lines]).buffer(max(1e-4 * size * scale, 1e-3))
    body = (f'<path d="{_steps(line * scale)}" fill="none" stroke="#000"/>' for line in lines)
    placed = [(text, (x * scale, y * scale)) for text, (x, y) in spots]
    return _spotted(name, shape, max(size * scale, 1.0), body, placed)


def _spotted(name: str, shape: Shape, size: float, body: Iterable[str], spots: Sequence[tuple[str, Point]]) -> str:
    text = 0.03 * size
    labels = spot_labels(shape, spots, _BOXED * text)
    boxes = [shapely.Point(label.at).buffer(max(1.5, 0.5 * len(label.text)) * text) for label in labels]
    x0, y0, x1, y1 = shapely.union_all([shapely.envelope(shape).buffer(text), *boxes]).bounds
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="part-picture" role="img" aria-label="{escape(name)}" '
        f'viewBox="{x0:.2f} {-y1:.2f} {x1 - x0:.2f} {y1 - y0:.2f}" stroke-width="{text / 10:.3f}">'
    )
    return "".join([head, *body, *(_spot(label) for label in labels), "</svg>"])


def _etched(text: TextMark) -> str:
    x, y = text.at
    return (
        f'<text x="{x:.2f}" y="{-y:.2f}" font-size="{text.height_mm / _CAP_HEIGHT:.2f}" fill="#555" '
        f'transform="rotate({-text.turn_deg:.3f} {x:.2f} {-y:.2f})">{escape(text.text)}</text>'
    )


def _spot(label: Label) -> str:
    """A ring round the spot, a leader, and the number in a box."""
    h, colour = label.height_mm / _BOXED, "#b03a00"
    (x, y), (to_x, to_y) = label.at, label.leads_to or label.at
    width = h * (0.7 * len(label.text) + 0.9)
    reach = math.dist(label.at, (to_x, to_y))
    share = 1.0 if reach == 0.0 else max(0.0, 1.0 - 0.45 * h / reach)
    end_x, end_y = x + share * (to_x - x), y + share * (to_y - y)
    pen = f'stroke="{colour}" stroke-width="{h / 8:.3f}"'
    return (
        f'<circle cx="{to_x:.2f}" cy="{-to_y:.2f}" r="{0.45 * h:.2f}" fill="none" {pen}/>'
        f'<path d="M{x:.2f} {-y:.2f}L{end_x:.2f} {-end_y:.2f}" fill="none" {pen}/>'
        f'<rect x="{x - width / 2:.2f}" y="{-y - 0.85 * h:.2f}" width="{width:.2f}" height="{1.7 * h:.2f}" '
        f'rx="{0.4 * h:.2f}" fill="#fff" {pen}/>{_text(label.text, x, -y, h, "middle")}'
    )
