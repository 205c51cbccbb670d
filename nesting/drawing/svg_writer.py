"""Write a layout as SVG in true size: the same contours in the same order as in the DXF, one unit a millimetre.

Lines and arcs are exact; splines and ellipses become arcs within `R12_ARC_MM`.  SVG has its y axis downward, so that
y and the sense of arcs change sign (W3C, SVG 1.1, chapter 8.3.8: sweep flag 1 is the positive angle direction).
"""

import math
import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from html import escape
from pathlib import Path
from typing import Final

from nesting.drawing.cut_order import CutOrder, cut_order
from nesting.drawing.labels import label_room, label_size, label_text
from nesting.drawing.layers import (
    KEEP_OUT,
    LABEL,
    MARK,
    PART_INSIDE,
    PART_OUTSIDE,
    PIERCE_MARK,
    PLATE_EDGE,
    STROKES,
)
from nesting.drawing.travelled import as_lines_and_arcs, travelled
from nesting.drawing.writing import Writing
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc, Curve, Piece
from nesting.geometry.pose import Point, Pose
from nesting.layout import Layout, Placement
from nesting.leads import Leads
from nesting.part import Part, TextMark

_HAIR_MM: Final = 0.1
_EDGE_MM: Final = 5.0
_LONGEST_ARC_DEG: Final = 120.0
_CAP_HEIGHT: Final = 0.72
"""Height of capitals to font size in plain fonts."""


def write_svg(
    layout: Layout,
    path: Path,
    writing: Writing | None = None,
    *,
    order: CutOrder | None = None,
    leads: Leads | None = None,
) -> None:
    """Write the layout in millimetres whatever the unit of the DXF; the file appears whole or not at all.

    Of `writing`, the direction of cuts and what is shown count.  Layers are the classes and groups of the DXF's
    names.  Raise `OSError` if the folder cannot be written.
    """
    writing, leads = writing or Writing(), leads or Leads()
    order = order or cut_order(layout, leads)
    text = "\n".join([*_head(layout), *_body(layout, writing, order, leads), "</svg>"]) + "\n"
    beside = path.with_name(path.name + ".part")
    try:
        with beside.open("w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def _head(layout: Layout) -> Iterator[str]:
    x0, y0, x1, y1 = layout.plate.fine_polygon.bounds
    left, top, width, height = x0 - _EDGE_MM, -y1 - _EDGE_MM, x1 - x0 + 2 * _EDGE_MM, y1 - y0 + 2 * _EDGE_MM
    yield '<?xml version="1.0" encoding="UTF-8"?>'
    yield (
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{_n(width)}mm" height="{_n(height)}mm" '
        f'viewBox="{_n(left)} {_n(top)} {_n(width)} {_n(height)}" fill="none" stroke-width="{_HAIR_MM}">'
    )
    name = f"Layout {layout.id}" if layout.id else "Layout"
    yield f"<title>{name}, finished size in millimetres, no kerf offset</title>"


def _body(layout: Layout, writing: Writing, order: CutOrder, leads: Leads) -> Iterator[str]:
    plate, parts, placements = layout.plate, layout.parts, {p.number: p for p in layout.placements}
    if writing.plate_edge:
        yield from _group(PLATE_EDGE, [_contour(c) for c in (plate.outer, *plate.holes)])
        yield from _group(KEEP_OUT, [_contour(k.contour) for k in plate.keep_outs])
    if writing.marks:
        yield from _group(MARK, [line for p in layout.placements for line in _marks(parts[p.part_id], p)])
    posed = {n: parts[p.part_id].posed_contours(p.pose) for n, p in placements.items()}
    for cut in order.cuts:
        contour, layer = posed[cut.number][cut.contour], PART_INSIDE if cut.contour else PART_OUTSIDE
        curves = travelled(contour, writing, clockwise=writing.clockwise(cut.contour))
        yield f'<path class="{layer}" stroke="{STROKES[layer]}" d="{_steps(curves)}Z"/>'
    spots = [lead.spot for lead in leads.marked]
    yield from _group(PIERCE_MARK, [_path([_move(s.pierce), _line(s.contact)]) for s in spots])
    if writing.labels:
        yield from _group(LABEL, [_label(parts[p.part_id], p) for p in layout.placements])


def _group(layer: str, lines: Sequence[str]) -> Iterator[str]:
    if lines:
        yield f'<g class="{layer}" stroke="{STROKES[layer]}">'
        yield from lines
        yield "</g>"


def _contour(contour: Contour) -> str:
    return f'<path d="{_steps(contour.curves)}Z"/>'


def _marks(part: Part, placement: Placement) -> Iterator[str]:
    for mark in part.marks:
        yield f'<path d="{_steps([mark.curve.posed(placement.pose)])}"/>'
    for text in part.texts:
        yield _text(text, MARK, placement.pose)


def _label(part: Part, placement: Placement) -> str:
    center, radius = label_room(part)
    text = label_text(part, placement.number)
    height, width = label_size(text, radius)
    x, y = placement.pose.point(center)
    return _text(TextMark(text=text, at=(x - width / 2, y - height / 2), height_mm=height), LABEL, Pose())


def _text(text: TextMark, layer: str, pose: Pose) -> str:
    """A line of text; on a part turned over it is set from the right and stays readable, as in the DXF."""
    x, y = pose.point(text.at)
    turn, anchor = pose.direction_deg(text.turn_deg), "start"
    if pose.flipped:
        turn, anchor = turn + 180.0, "end"
    return (
        f'<text font-size="{_n(text.height_mm / _CAP_HEIGHT)}" font-family="sans-serif" text-anchor="{anchor}" '
        f'stroke="none" fill="{STROKES[layer]}" transform="translate({_n(x)} {_n(-y)}) rotate({_n(-turn)})">'
        f"{escape(text.text)}</text>"
    )


def _path(steps: Iterable[str]) -> str:
    return f'<path d="{"".join(steps)}"/>'


def _steps(curves: Sequence[Curve]) -> str:
    pieces = [piece for curve in curves for piece in as_lines_and_arcs(curve)]
    return _move(pieces[0].start) + "".join(_piece(piece) for piece in pieces)


def _piece(piece: Piece) -> str:
    if not isinstance(piece, Arc):
        return _line(piece.end)
    radius, sense = _n(piece.radius_mm), 0 if piece.sweep_deg > 0.0 else 1
    # Split, since a whole turn has no direction between its ends, and rounded ends of a half turn no sure centre.
    count = math.ceil(abs(piece.sweep_deg) / _LONGEST_ARC_DEG - 1e-9)
    ends = [replace(piece, sweep_deg=piece.sweep_deg * k / count).end for k in range(1, count)]
    return "".join(f"A{radius} {radius} 0 0 {sense} {_n(x)} {_n(-y)}" for x, y in (*ends, piece.end))


def _move(point: Point) -> str:
    return f"M{_n(point[0])} {_n(-point[1])}"


def _line(point: Point) -> str:
    return f"L{_n(point[0])} {_n(-point[1])}"


def _n(value: float) -> str:
    """A number to a millionth of a millimetre, without needless zeros."""
    return f"{round(value, 6) + 0.0:.6f}".rstrip("0").rstrip(".")
