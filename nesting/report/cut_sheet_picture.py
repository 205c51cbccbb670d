"""The pictures of a cut sheet as strokes and words in millimetres on paper, y up, for PDF and SVG alike.

Nothing is told by colour: parts are grey with a solid line, what is kept is hatched, keep-outs are cross-hatched.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from typing import Final, Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiLineString, Polygon

from nesting.geometry.pose import Point
from nesting.layout import Layout
from nesting.remnant import Balance
from nesting.report.cut_sheet import CutSheet, TapeLine
from nesting.report.printing import BOLD, CAP_HEIGHT, PLAIN, text_width
from nesting.report.scene import Label, Scene, Shape, scale_bar_mm, scene
from nesting.report.wording import short
from nesting.units import Unit, from_mm

Floats = NDArray[np.float64]
Anchor = Literal["start", "middle", "end"]

NUMBER_MM: Final = 3.4
"""Usual height of a part's number on paper; small parts have smaller ones, large parts up to 2.2 times as high."""

_LETTER_MM: Final = 2.9
_WORDS_MM: Final = 2.4
_RIM_MM: Final = 7.8
"""Room round the plate for corner letters and the arrows of the zero."""

_FEW_STRAYS: Final = 6
_FEW_SHARE: Final = 0.15
"""So many numbers beside their parts are still easy to follow; more crowd."""

_STRIP_MM: Final = 7.5
"""Room below for scale bar, grain and legend."""

_PART_GREY: Final = 0.88
_TAPE_DASHES: Final[tuple[tuple[float, ...], ...]] = ((), (3.0, 1.2), (3.0, 1.0, 0.6, 1.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """Lines through points; `fill` is a grey from 0 black to 1 white, `width_mm` 0 draws no line."""

    rings: tuple[Floats, ...]
    closed: bool = False
    width_mm: float = 0.25
    dash: tuple[float, ...] = ()
    grey: float = 0.0
    fill: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """A text, its middle height at `at`; `size_mm` is that of its font, `backed` puts white behind it."""

    text: str
    at: Point
    size_mm: float
    bold: bool = False
    anchor: Anchor = "middle"
    backed: bool = False

    @property
    def width_mm(self) -> float:
        """How wide it is."""
        return text_width(self.text, BOLD if self.bold else PLAIN, self.size_mm)

    @property
    def box(self) -> Polygon:
        """The room it takes."""
        left = self.at[0] - {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor] * self.width_mm
        half = 0.5 * CAP_HEIGHT * self.size_mm
        box: Polygon = shapely.box(left, self.at[1] - half, left + self.width_mm, self.at[1] + half)
        return box


@dataclass(frozen=True, kw_only=True)
class Picture:
    """What is drawn, from back to front, on a piece of paper; not `complete` if some parts have no number in it."""

    width_mm: float
    height_mm: float
    marks: tuple[Stroke | Words, ...]
    complete: bool = True


@dataclass(frozen=True, kw_only=True)
class _Frame:
    """From millimetres of the plate to millimetres on paper."""

    scale: float
    left: float
    low: float

    def points(self, xy: Floats) -> Floats:
        return (np.asarray(xy, dtype=float) - (self.left, self.low)) * self.scale

    def point(self, at: Point) -> Point:
        return (at[0] - self.left) * self.scale, (at[1] - self.low) * self.scale

    def rings(self, shape: shapely.Geometry) -> tuple[Floats, ...]:
        polygons = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon)]
        return tuple(self.points(shapely.get_coordinates(r)[:-1]) for p in polygons for r in (p.exterior, *p.interiors))


@dataclass(kw_only=True)
class _Sketch:
    """A picture under way: its marks, and the rooms that words have taken."""

    frame: _Frame
    marks: list[Stroke | Words] = field(default_factory=list)
    taken: list[Polygon] = field(default_factory=list)

    def free(self, words: Words, pad: float = 0.4) -> bool:
        box = words.box.buffer(pad, join_style="mitre")
        return not any(box.intersects(other) for other in self.taken)

    def write(self, words: Words) -> None:
        self.marks.append(words)
        self.taken.append(words.box)


def plate_scale(layout: Layout, width_mm: float, height_mm: float) -> float:
    """Return paper millimetres to one of the plate in a picture of at most this size."""
    x0, y0, x1, y1 = layout.plate.fine_polygon.bounds
    return float(min((width_mm - 2 * _RIM_MM) / (x1 - x0), (height_mm - 2 * _RIM_MM - _STRIP_MM) / (y1 - y0)))


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
    drawn = scene(layout, areas, smallest_text=NUMBER_MM / scale / size)
    strays = [] if all_numbers else _strays(drawn)
    complete = len(strays) <= max(_FEW_STRAYS, _FEW_SHARE * len(drawn.pieces))
    if not complete:
        drawn = replace(drawn, labels=tuple(label for label in drawn.labels if label not in strays))
    # A number beside its part may stand outside the plate: all of them are in the picture.
    rim = _RIM_MM / scale
    reach = [label.at for label in drawn.labels]
    half = 1.5 * drawn.text_mm
    left = min([x0 - rim, *(x - half for x, _ in reach)])
    right = max([x1 + rim, *(x + half for x, _ in reach)])
    low = min([y0 - rim, *(y - half for _, y in reach)])
    high = max([y1 + rim, *(y + half for _, y in reach)])
    scale = min(width_mm / (right - left), (height_mm - _STRIP_MM) / (high - low))
    spare = (width_mm / scale - (right - left)) / 2
    frame = _Frame(scale=scale, left=left - spare, low=low - _STRIP_MM / scale)
    sketch = _Sketch(frame=frame)
    sketch.marks += _shapes(drawn, layout, frame)
    _numbers(sketch, drawn)
    _zero(sketch, sheet)
    _letters(sketch, layout, sheet.corners, sheet.tapes)
    _reasons(sketch, drawn)
    sketch.marks += _strip(drawn, frame, unit, width_mm)
    return Picture(
        width_mm=width_mm,
        height_mm=(high - low) * scale + _STRIP_MM,
        marks=tuple(sketch.marks),
        complete=complete,
    )


def _strays(drawn: Scene) -> list[Label]:
    """Return the numbers that do not lie in their parts."""
    shapes = {str(piece.number): piece.shape for piece in drawn.pieces}
    numbers = drawn.labels[: len(drawn.pieces)]  # they come before the names of keep-outs and remnants
    return [n for n in numbers if n.leads_to is not None or not shapes[n.text].contains(shapely.Point(n.at))]


def _with_plain_reasons(layout: Layout) -> Layout:
    """Say of each keep-out what it means at the table; the name of a layer means nothing there."""
    told = []
    for keep_out in layout.plate.keep_outs:
        reason = "" if keep_out.reason.startswith("layer ") else keep_out.reason
        torch = "no torch" if keep_out.kind != "no part" else ""
        told.append(replace(keep_out, reason=", ".join(filter(None, (reason, torch))) or "keep-out"))
    return replace(layout, plate=replace(layout.plate, keep_outs=tuple(told)))


def tape_picture(layout: Layout, sheet: CutSheet, *, width_mm: float, height_mm: float) -> Picture:
    """Return the plate's outline with its lettered corners and the distances to tape."""
    outline = layout.plate.outer.polygon(0.2, "midway")
    x0, y0, x1, y1 = outline.bounds
    scale = min((width_mm - 2 * 6.0) / (x1 - x0), (height_mm - 2 * 6.0) / (y1 - y0))
    spare = (width_mm / scale - (x1 - x0)) / 2
    frame = _Frame(scale=scale, left=x0 - spare, low=y0 - 6.0 / scale)
    sketch = _Sketch(frame=frame)
    sketch.marks.append(Stroke(rings=frame.rings(outline), closed=True, width_mm=0.6))
    ends = {name: at for t in sheet.tapes for name, at in ((t.start, t.check.start), (t.end, t.check.end))}
    lines = [frame.points(np.array([t.check.start, t.check.end])) for t in sheet.tapes]
    edge = frame.points(shapely.get_coordinates(outline.exterior))
    for line, dash in zip(lines, _TAPE_DASHES, strict=False):
        sketch.marks.append(Stroke(rings=(line,), width_mm=0.35, dash=dash))
    _letters(sketch, layout, tuple(ends.items()), ())
    for tape, line in zip(sheet.tapes, lines, strict=True):
        _length_beside(sketch, tape, line, [edge, *(other for other in lines if other is not line)])
    return Picture(width_mm=width_mm, height_mm=(y1 - y0) * scale + 2 * 6.0, marks=tuple(sketch.marks))


def _length_beside(sketch: _Sketch, tape: TapeLine, line: Floats, others: Sequence[Floats]) -> None:
    """Write a length on its line where it covers no other line and no other words; the list has it in any case."""
    (ax, ay), (bx, by) = line.tolist()
    for size, share in product((3.3, 2.8), (0.5, 0.42, 0.58, 0.35, 0.65, 0.28, 0.72, 0.2, 0.8)):
        at = (ax + share * (bx - ax), ay + share * (by - ay))
        words = Words(text=tape.length, at=at, size_mm=size, bold=True, backed=True)
        if sketch.free(words) and not any(LineString(other).intersects(words.box) for other in others):
            sketch.write(words)
            return


def _shapes(drawn: Scene, layout: Layout, frame: _Frame) -> Iterator[Stroke]:
    for _, shape in drawn.remnants:
        yield _hatch(shape, frame, 45.0, 3.2, width=0.13, grey=0.35)
        yield Stroke(rings=frame.rings(shape), closed=True, width_mm=0.25, dash=(1.6, 0.9), grey=0.2)
    for keep_out, (_, shape) in zip(layout.plate.keep_outs, drawn.keep_outs, strict=True):
        yield Stroke(rings=frame.rings(shape), closed=True, width_mm=0.0, fill=1.0)
        for turn in (45.0, 135.0):
            yield _hatch(shape, frame, turn, 1.7, width=0.2, grey=0.0)
        thick = 0.35 if keep_out.kind == "no part" else 0.8
        yield Stroke(rings=frame.rings(shape), closed=True, width_mm=thick)
    for piece in drawn.pieces:
        yield Stroke(rings=frame.rings(piece.shape), closed=True, width_mm=0.28, fill=_PART_GREY)
        for points in piece.marks:
            yield Stroke(rings=(frame.points(points),), width_mm=0.18, dash=(1.2, 0.8))
    yield Stroke(rings=frame.rings(drawn.plate), closed=True, width_mm=0.8)


def _hatch(shape: Shape, frame: _Frame, turn_deg: float, step_mm: float, *, width: float, grey: float) -> Stroke:
    """Parallel lines over a shape, a step apart on paper, as lines of their own."""
    x0, y0, x1, y1 = shape.bounds
    middle, reach = ((x0 + x1) / 2, (y0 + y1) / 2), math.hypot(x1 - x0, y1 - y0) / 2
    step = step_mm / frame.scale
    ux, uy = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    lines = []
    for k in range(-int(reach / step), int(reach / step) + 1):
        mx, my = middle[0] - k * step * uy, middle[1] + k * step * ux
        lines.append(((mx - reach * ux, my - reach * uy), (mx + reach * ux, my + reach * uy)))
    inside = MultiLineString(lines).intersection(shape)
    rings = (frame.points(shapely.get_coordinates(p)) for p in shapely.get_parts(inside) if isinstance(p, LineString))
    return Stroke(rings=tuple(rings), width_mm=width, grey=grey)


def _numbers(sketch: _Sketch, drawn: Scene) -> None:
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


def _reasons(sketch: _Sketch, drawn: Scene) -> None:
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
        tried = (Words(text=name, at=at, size_mm=_WORDS_MM / CAP_HEIGHT, backed=True) for at in spots)
        free = next((w for w in tried if sketch.free(w) and not full.intersects(w.box)), None)
        if free is not None:
            sketch.marks.append(Stroke(rings=(np.array([middle, free.at]),), width_mm=0.2))
            sketch.write(free)


def _leader(sketch: _Sketch, label: Label) -> None:
    assert label.line is not None and label.leads_to is not None
    start, end = (sketch.frame.point(p) for p in label.line)
    sketch.marks.append(Stroke(rings=(np.array([start, end]),), width_mm=0.18))
    sketch.marks.append(_disc(sketch.frame.point(label.leads_to), 0.35, fill=0.0))


def _letters(sketch: _Sketch, layout: Layout, corners: Sequence[tuple[str, Point]], tapes: Sequence[TapeLine]) -> None:
    """Put a ringed letter outside each corner; where corners crowd, those that are taped come first."""
    taped = {name for t in tapes for name in (t.start, t.end)}
    outline = layout.plate.outer.polygon(0.2, "midway")
    drawn = Polygon(sketch.frame.points(shapely.get_coordinates(outline.exterior)))
    shapely.prepare(drawn)
    for name, at in sorted(corners, key=lambda c: (c[0] not in taped, corners.index(c))):
        words = _letter(sketch, name, sketch.frame.point(at), drawn)
        if words is None:
            continue
        radius = 0.62 * max(words.width_mm, CAP_HEIGHT * words.size_mm) + 0.75
        sketch.marks.append(replace(_disc(words.at, radius, fill=1.0), width_mm=0.25))
        sketch.marks.append(words)
        sketch.taken.append(shapely.Point(words.at).buffer(radius))


def _letter(sketch: _Sketch, name: str, at: Point, drawn: Polygon) -> Words | None:
    """Return the letter of a corner at the nearest free place off the plate, the one most straight out first."""
    size = _LETTER_MM / CAP_HEIGHT
    around = drawn.buffer(0.6)
    for reach in (4.0, 5.2, 6.2):
        spots = [
            (at[0] + reach * math.cos(t), at[1] + reach * math.sin(t))
            for t in np.linspace(0.0, 2 * math.pi, 16, endpoint=False)
        ]
        spots.sort(key=lambda p: -drawn.distance(shapely.Point(p)))
        for spot in spots:
            ring = shapely.Point(spot).buffer(2.9)
            if ring.intersects(around.buffer(-0.4)) or any(ring.intersects(t) for t in sketch.taken):
                continue
            return Words(text=name, at=spot, size_mm=size, bold=True)
    return None


def _zero(sketch: _Sketch, sheet: CutSheet) -> None:
    """Show the corner of the table's zero with the directions of X and Y."""
    if sheet.zero_corner is None:
        return
    at = sketch.frame.point(dict(sheet.corners)[sheet.zero_corner])
    sketch.marks.append(_disc(at, 1.3, fill=1.0))
    sketch.marks.append(_disc(at, 0.55, fill=0.0))
    for dx, dy, name in ((1.0, 0.0, "X"), (0.0, 1.0, "Y")):
        tip = (at[0] + 11.0 * dx, at[1] + 11.0 * dy)
        off = (at[0] + 1.3 * dx, at[1] + 1.3 * dy)
        sketch.marks.append(Stroke(rings=(np.array([off, tip]),), width_mm=0.5))
        sketch.marks.append(_head(tip, (dx, dy), 2.4))
        words = Words(text=name, at=(tip[0] + 2.0 * dx, tip[1] + 2.0 * dy), size_mm=3.2, bold=True, backed=True)
        sketch.write(words)
    sketch.taken.append(shapely.Point(at).buffer(1.5))


def _head(tip: Point, along: Point, length: float) -> Stroke:
    """A filled arrow head."""
    (x, y), (dx, dy) = tip, along
    back, side = (x - length * dx, y - length * dy), 0.32 * length
    ring = np.array([tip, (back[0] - side * dy, back[1] + side * dx), (back[0] + side * dy, back[1] - side * dx)])
    return Stroke(rings=(ring,), closed=True, width_mm=0.0, fill=0.0)


def _disc(at: Point, radius: float, *, fill: float) -> Stroke:
    turns = np.linspace(0.0, 2 * math.pi, 28, endpoint=False)
    ring = np.column_stack([at[0] + radius * np.cos(turns), at[1] + radius * np.sin(turns)])
    return Stroke(rings=(ring,), closed=True, width_mm=0.3, fill=fill)


def _strip(drawn: Scene, frame: _Frame, unit: Unit, width_mm: float) -> Iterator[Stroke | Words]:
    """Scale bar, what the hatches mean, and the grain."""
    y, size = _STRIP_MM / 2 - 0.6, _WORDS_MM / CAP_HEIGHT
    length = scale_bar_mm(drawn, unit)
    bar = length * frame.scale
    yield Stroke(rings=(np.array([(0.5, y), (0.5 + bar, y)]),), width_mm=0.7)
    for x in (0.5, 0.5 + bar):
        yield Stroke(rings=(np.array([(x, y - 1.2), (x, y + 1.2)]),), width_mm=0.35)
    words = Words(text=f"{from_mm(length, unit):g} {short(unit)}", at=(bar + 2.0, y), size_mm=size, anchor="start")
    yield words
    at = bar + 2.0 + words.width_mm + 6.0
    for text, marks in _legend(drawn):
        yield from (replace(m, rings=tuple(r + (at, y - 1.6) for r in m.rings)) for m in marks)
        words = Words(text=text, at=(at + 7.2, y), size_mm=size, anchor="start")
        yield words
        at += 7.2 + words.width_mm + 5.0
    if drawn.grain_deg is not None:
        yield from _grain(drawn.grain_deg, (width_mm - 6.5, y), size)


def _legend(drawn: Scene) -> Iterator[tuple[str, tuple[Stroke, ...]]]:
    """A small box of each kind of area that the picture holds, and what it means."""
    box = shapely.box(0.0, 0.0, 5.6, 3.2)
    plain = _Frame(scale=1.0, left=0.0, low=0.0)
    if drawn.pieces:
        yield "part", (Stroke(rings=plain.rings(box), closed=True, width_mm=0.28, fill=_PART_GREY),)
    if drawn.remnants:
        edge = Stroke(rings=plain.rings(box), closed=True, width_mm=0.25, dash=(1.6, 0.9), grey=0.2)
        yield "keep", (_hatch(box, plain, 45.0, 1.6, width=0.13, grey=0.35), edge)
    if drawn.keep_outs:
        hatches = [_hatch(box, plain, turn, 1.2, width=0.2, grey=0.0) for turn in (45.0, 135.0)]
        yield "keep-out", (*hatches, Stroke(rings=plain.rings(box), closed=True, width_mm=0.35))


def _grain(turn_deg: float, middle: Point, size: float) -> Iterator[Stroke | Words]:
    """An arrow with two heads along the grain, its word before it."""
    turn = math.radians(turn_deg)
    dx, dy = math.cos(turn), math.sin(turn)
    (x, y), reach = middle, min(6.0, 3.2 / max(abs(dy), 1e-9))
    tips = [(x - reach * dx, y - reach * dy), (x + reach * dx, y + reach * dy)]
    yield Stroke(rings=(np.array(tips),), width_mm=0.5)
    yield _head(tips[0], (-dx, -dy), 2.2)
    yield _head(tips[1], (dx, dy), 2.2)
    yield Words(text="grain", at=(x - 8.0, y), size_mm=size, bold=True, anchor="end")
