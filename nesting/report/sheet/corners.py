"""Corners of the plate on a cut sheet: their letters, the table's zero, and the sketch of what to tape."""

import math
from collections.abc import Container, Sequence
from dataclasses import replace
from itertools import product
from typing import Final

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from nesting.geometry.pose import Point
from nesting.layout import Layout
from nesting.report.printing import CAP_HEIGHT
from nesting.report.sheet.cut_sheet import CutSheet
from nesting.report.sheet.marks import Floats, Frame, Picture, Sketch, Stroke, Words, arrow_head, disc
from nesting.report.sheet.steps import TapeLine

_LETTER_MM: Final = 2.9
_RIM_MM: Final = 6.0
_CHORD_MM: Final = 0.2
_TAPE_DASHES: Final[tuple[tuple[float, ...], ...]] = ((), (3.0, 1.2), (3.0, 1.0, 0.6, 1.0))


def tape_picture(layout: Layout, sheet: CutSheet, *, width_mm: float, height_mm: float) -> Picture:
    """Return the plate's outline with its lettered corners and the distances to tape."""
    outline = layout.plate.outer.polygon(_CHORD_MM, "midway")
    x0, y0, x1, y1 = outline.bounds
    scale = min((width_mm - 2 * _RIM_MM) / (x1 - x0), (height_mm - 2 * _RIM_MM) / (y1 - y0))
    spare = (width_mm / scale - (x1 - x0)) / 2
    frame = Frame(scale=scale, left=x0 - spare, low=y0 - _RIM_MM / scale)
    sketch = Sketch(frame=frame)
    sketch.marks.append(Stroke(rings=frame.rings(outline), closed=True, width_mm=0.6))
    ends = {name: at for t in sheet.tapes for name, at in ((t.start, t.check.start), (t.end, t.check.end))}
    lines = [frame.points(np.array([t.check.start, t.check.end])) for t in sheet.tapes]
    edge = frame.points(shapely.get_coordinates(outline.exterior))
    for line, dash in zip(lines, _TAPE_DASHES, strict=False):
        sketch.marks.append(Stroke(rings=(line,), width_mm=0.35, dash=dash))
    write_letters(sketch, layout, tuple(ends.items()), first=ends)
    for tape, line in zip(sheet.tapes, lines, strict=True):
        _length_beside(sketch, tape, line, [edge, *(other for other in lines if other is not line)])
    write_letters(sketch, layout, [corner for corner in sheet.corners if corner[0] not in ends], first=())
    return Picture(width_mm=width_mm, height_mm=(y1 - y0) * scale + 2 * _RIM_MM, marks=tuple(sketch.marks))


def _length_beside(sketch: Sketch, tape: TapeLine, line: Floats, others: Sequence[Floats]) -> None:
    """Write a length on its line where it covers no other words, and as little of the other lines as can be."""
    (ax, ay), (bx, by) = line.tolist()
    best: tuple[float, Words] | None = None
    for size, share in product((3.3, 2.8, 2.4), (0.5, 0.42, 0.58, 0.35, 0.65, 0.28, 0.72, 0.2, 0.8)):
        at = (ax + share * (bx - ax), ay + share * (by - ay))
        words = Words(text=tape.length, at=at, size_mm=size, bold=True, backed=True)
        if not sketch.free(words):
            continue
        covered = sum(LineString(other).intersection(words.box).length for other in others)
        if best is None or covered < best[0]:
            best = covered, words
        if covered == 0.0:
            break
    if best is not None:
        sketch.write(best[1])


def write_letters(
    sketch: Sketch, layout: Layout, corners: Sequence[tuple[str, Point]], *, first: Container[str]
) -> None:
    """Put a ringed letter off the plate beside each corner that has room for it.

    Where corners crowd, those that come `first` have theirs, if need be on the plate.
    """
    outline = layout.plate.outer.polygon(_CHORD_MM, "midway")
    drawn = Polygon(sketch.frame.points(shapely.get_coordinates(outline.exterior)))
    around = drawn.buffer(0.2)
    for shape in (drawn, around):
        shapely.prepare(shape)
    for name, at in sorted(corners, key=lambda c: (c[0] not in first, corners.index(c))):
        words = Words(text=name, at=at, size_mm=_LETTER_MM / CAP_HEIGHT, bold=True)
        radius = 0.62 * max(words.width_mm, CAP_HEIGHT * words.size_mm) + 0.75
        spots = _spots(sketch.frame.point(at), drawn)
        rings = [shapely.Point(spot).buffer(radius + 0.3) for spot in spots]
        free = [k for k, ring in enumerate(rings) if not any(ring.intersects(t) for t in sketch.taken)]
        off = next((k for k in free if not rings[k].intersects(around)), None)
        chosen = next(iter(free), None) if off is None and name in first else off
        if chosen is not None:
            sketch.marks.append(replace(disc(spots[chosen], radius, fill=1.0), width_mm=0.25))
            sketch.marks.append(replace(words, at=spots[chosen]))
            sketch.taken.append(shapely.Point(spots[chosen]).buffer(radius))


def _spots(at: Point, drawn: Polygon) -> list[Point]:
    """Return places round a corner, the nearer ones first, and of these the ones most straight out."""
    turns = np.linspace(0.0, 2 * math.pi, 16, endpoint=False)
    rings = [[(at[0] + r * math.cos(t), at[1] + r * math.sin(t)) for t in turns] for r in (4.0, 5.2, 6.2)]
    return [spot for ring in rings for spot in sorted(ring, key=lambda p: -drawn.distance(shapely.Point(p)))]


def draw_zero(sketch: Sketch, sheet: CutSheet) -> None:
    """Show the corner of the table's zero with the directions of X and Y."""
    if sheet.zero_corner is None:
        return
    at = sketch.frame.point(dict(sheet.corners)[sheet.zero_corner])
    sketch.marks.append(disc(at, 1.3, fill=1.0))
    sketch.marks.append(disc(at, 0.55, fill=0.0))
    for dx, dy, name in ((1.0, 0.0, "X"), (0.0, 1.0, "Y")):
        tip = (at[0] + 11.0 * dx, at[1] + 11.0 * dy)
        off = (at[0] + 1.3 * dx, at[1] + 1.3 * dy)
        sketch.marks.append(Stroke(rings=(np.array([off, tip]),), width_mm=0.5))
        sketch.marks.append(arrow_head(tip, (dx, dy), 2.4))
        words = Words(text=name, at=(tip[0] + 2.0 * dx, tip[1] + 2.0 * dy), size_mm=3.2, bold=True, backed=True)
        sketch.write(words)
    sketch.taken.append(shapely.Point(at).buffer(1.5))
