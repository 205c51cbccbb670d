"""The picture of a cut sheet: parts grey, what is kept hatched, keep-outs cross-hatched, nothing told by colour."""

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np
import shapely

from nesting.layout import Layout
from nesting.remnant import Balance
from nesting.report.printing import CAP_HEIGHT
from nesting.report.scene import Label, Scene, scene
from nesting.report.sheet.corners import draw_zero, write_letters
from nesting.report.sheet.cut_sheet import CutSheet
from nesting.report.sheet.legend import MARK_DASH, MARK_MM, PART_GREY, STRIP_MM, strip
from nesting.report.sheet.marks import Frame, Picture, Sketch, Stroke, Words, disc, hatch
from nesting.units import Unit

NUMBER_MM: Final = 3.4
"""Usual height of a part's number on paper; small parts have smaller ones, large parts up to 2.2 times as high."""

_REASON_MM: Final = 2.4
_RIM_MM: Final = 7.8
"""Room round the plate for corner letters and the arrows of the zero."""

_LONG_NAME_MM: Final = 3.0
"""More of it where corners have names of two letters."""

_FEW_STRAYS: Final = 6
_FEW_SHARE: Final = 0.15
"""So many numbers beside their parts are still easy to follow; more crowd."""


def plate_scale(layout: Layout, width_mm: float, height_mm: float) -> float:
    """Return paper millimetres to one of the plate in a picture of at most this size."""
    x0, y0, x1, y1 = layout.plate.fine_polygon.bounds
    return float(min((width_mm - 2 * _RIM_MM) / (x1 - x0), (height_mm - 2 * _RIM_MM - STRIP_MM) / (y1 - y0)))


def layout_picture(
    layout: Layout,
    areas: Balance,
    sheet: CutSheet,
    *,
    unit: Unit,
    width_mm: float,
    height_mm: float,
    all_numbers: bool = True,
) -> Picture:
    """Return the picture of a layout, no larger than asked for and as wide as asked for.

    Unless `all_numbers` are asked for, parts too small for their number have none where they are so many that the
    numbers beside them would crowd.
    """
    layout = _with_plain_reasons(layout)
    scale = plate_scale(layout, width_mm, height_mm)
    x0, y0, x1, y1 = layout.plate.fine_polygon.bounds
    size = max(x1 - x0, y1 - y0)
    drawn = scene(layout, areas, smallest_text=NUMBER_MM / scale / size, letters=False)
    strays = [] if all_numbers else _strays(drawn)
    complete = len(strays) <= max(_FEW_STRAYS, _FEW_SHARE * len(drawn.pieces))
    if not complete:
        drawn = replace(drawn, labels=tuple(label for label in drawn.labels if label not in strays))
    frame, height_mm = _framed(drawn, sheet, (x0, y0, x1, y1), scale, (width_mm, height_mm))
    sketch = Sketch(frame=frame)
    sketch.marks += _shapes(drawn, layout, frame)
    _numbers(sketch, drawn)
    draw_zero(sketch, sheet)
    write_letters(sketch, layout, sheet.corners, first=sheet.spoken_of)
    _reasons(sketch, drawn)
    sketch.marks += strip(drawn, frame, unit, width_mm)
    return Picture(width_mm=width_mm, height_mm=height_mm, marks=tuple(sketch.marks), complete=complete)


def _framed(
    drawn: Scene,
    sheet: CutSheet,
    plate: tuple[float, float, float, float],
    scale: float,
    room_mm: tuple[float, float],
) -> tuple[Frame, float]:
    """Return where the plate lies on paper with all that stands round it, and the height of that, mm.

    `scale` is the one that the numbers were made for; one beside its part may stand outside the plate.
    """
    x0, y0, x1, y1 = plate
    long_names = any(len(name) > 1 for name, _ in sheet.corners)
    rim = (_RIM_MM + (_LONG_NAME_MM if long_names else 0.0)) / scale
    places, half = [label.at for label in drawn.labels], 1.5 * drawn.text_mm
    left, low = min([x0 - rim, *(x - half for x, _ in places)]), min([y0 - rim, *(y - half for _, y in places)])
    right, high = max([x1 + rim, *(x + half for x, _ in places)]), max([y1 + rim, *(y + half for _, y in places)])
    scale = min(room_mm[0] / (right - left), (room_mm[1] - STRIP_MM) / (high - low))
    spare = (room_mm[0] / scale - (right - left)) / 2
    frame = Frame(scale=scale, left=left - spare, low=low - STRIP_MM / scale)
    return frame, (high - low) * scale + STRIP_MM


def _strays(drawn: Scene) -> list[Label]:
    """Return the numbers that lie neither wholly in their parts nor in a bore of theirs."""
    shapes = {str(piece.number): piece.shape for piece in drawn.pieces}
    strays = []
    for label in drawn.labels[: len(drawn.pieces)]:  # numbers come before the names of keep-outs and remnants
        size = label.height_mm / CAP_HEIGHT
        words = Words(text=label.text, at=label.at, size_mm=0.9 * size, bold=True)
        shape, box = shapes[label.text], words.box
        in_bore = not shape.intersects(box) and shape.convex_hull.contains(box)
        if label.leads_to is not None or not (in_bore or shape.contains(box)):
            strays.append(label)
    return strays


def _with_plain_reasons(layout: Layout) -> Layout:
    """Say of each keep-out what it means at the table; the name of a layer means nothing there."""
    told = []
    for keep_out in layout.plate.keep_outs:
        reason = "" if keep_out.reason.startswith("layer ") else keep_out.reason
        torch = "no torch" if keep_out.kind != "no part" else ""
        told.append(replace(keep_out, reason=", ".join(filter(None, (reason, torch))) or "keep-out"))
    return replace(layout, plate=replace(layout.plate, keep_outs=tuple(told)))


def _shapes(drawn: Scene, layout: Layout, frame: Frame) -> Iterator[Stroke]:
    for _, shape in drawn.remnants:
        yield hatch(shape, frame, 45.0, 3.2, width=0.13, grey=0.35)
        yield Stroke(rings=frame.rings(shape), closed=True, width_mm=0.25, dash=(1.6, 0.9), grey=0.2)
    for keep_out, (_, shape) in zip(layout.plate.keep_outs, drawn.keep_outs, strict=True):
        yield Stroke(rings=frame.rings(shape), closed=True, width_mm=0.0, fill=1.0)
        for turn in (45.0, 135.0):
            yield hatch(shape, frame, turn, 1.7, width=0.2, grey=0.0)
        thick = 0.35 if keep_out.kind == "no part" else 0.8
        yield Stroke(rings=frame.rings(shape), closed=True, width_mm=thick)
    for piece in drawn.pieces:
        yield Stroke(rings=frame.rings(piece.shape), closed=True, width_mm=0.28, fill=PART_GREY)
        for points in piece.marks:
            yield Stroke(rings=(frame.points(points),), width_mm=MARK_MM, dash=MARK_DASH)
    yield Stroke(rings=frame.rings(drawn.plate), closed=True, width_mm=0.8)


def _numbers(sketch: Sketch, drawn: Scene) -> None:
    kept = {name for name, _ in drawn.remnants}
    reasons = {name for name, _ in drawn.keep_outs}
    pieces = {str(p.number): p for p in drawn.pieces}
    for label in drawn.labels:
        size = label.height_mm * sketch.frame.scale / CAP_HEIGHT
        at = sketch.frame.point(label.at)
        if label.line is not None:
            _leader(sketch, label)
        outside = label.leads_to is not None
        is_number = label.text in pieces and label.text not in kept | reasons
        words = Words(
            text=label.text,
            at=at,
            size_mm=0.9 * size if is_number else size,
            bold=is_number or label.text in kept,
            backed=outside or not is_number,
        )
        sketch.write(words)


def _reasons(sketch: Sketch, drawn: Scene) -> None:
    """Name the keep-outs that are too small to hold their own words, at the nearest free place beside them."""
    named = {label.text for label in drawn.labels}
    covered = shapely.union_all([p.shape for p in drawn.pieces] + [s for _, s in drawn.keep_outs])
    full = shapely.transform(covered, sketch.frame.points)
    for name, shape in drawn.keep_outs:
        if name in named:
            continue
        middle = sketch.frame.point((shape.centroid.x, shape.centroid.y))
        spots = [
            (middle[0] + reach * math.cos(turn), middle[1] + reach * math.sin(turn))
            for reach in np.arange(3.0, 30.0, 1.5)
            for turn in np.linspace(0.0, 2 * math.pi, 12, endpoint=False)
        ]
        tried = (Words(text=name, at=at, size_mm=_REASON_MM / CAP_HEIGHT, backed=True) for at in spots)
        free = next((w for w in tried if sketch.free(w) and not full.intersects(w.box)), None)
        if free is not None:
            sketch.marks.append(Stroke(rings=(np.array([middle, free.at]),), width_mm=0.2))
            sketch.write(free)


def _leader(sketch: Sketch, label: Label) -> None:
    assert label.line is not None and label.leads_to is not None
    start, end = (sketch.frame.point(p) for p in label.line)
    sketch.marks.append(Stroke(rings=(np.array([start, end]),), width_mm=0.18))
    sketch.marks.append(disc(sketch.frame.point(label.leads_to), 0.35, fill=0.0))
