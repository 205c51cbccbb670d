"""What a picture of a layout shows, in millimetres, the same for every way of drawing it."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiPolygon, Polygon

from nesting.corner_names import named_corners
from nesting.geometry.largest import largest_circle
from nesting.geometry.pose import Point
from nesting.layout import Layout
from nesting.plate import Plate
from nesting.remnant import Balance
from nesting.report.colours import PALETTE
from nesting.report.matter import AREA_DIGITS
from nesting.report.wording import measures
from nesting.tolerances import NESTING_CHORD_MM
from nesting.units import Unit, from_mm, to_mm

Shape: TypeAlias = Polygon | MultiPolygon
Floats: TypeAlias = NDArray[np.float64]
Named: TypeAlias = tuple[tuple[str, Shape], ...]
"""Names with shapes to draw: what is told of an area is told from the true one, not from these."""

# Width of a digit to its height in the fonts used, with a little air.
_CHARACTER_WIDTH = 0.85
_CHORD_PER_SIZE = 1e-4
_MOST_LETTERS = 40
# Numbers of small parts: how much smaller than the smallest text, and how far off in heights of it.
_LEAST = 0.6
_FARTHEST = 9.0
# Room of a corner's letter with its ring, in heights of a number.
_RINGED = 1.5


@dataclass(frozen=True, kw_only=True)
class Label:
    """A text centred at `at`; `leads_to` is the place it speaks of where it does not stand there itself."""

    text: str
    at: Point
    height_mm: float
    leads_to: Point | None = None

    @property
    def line(self) -> tuple[Point, Point] | None:
        """The leader, from the rim of the text."""
        if self.leads_to is None or self.leads_to == self.at:
            return None
        (x, y), (to_x, to_y) = self.at, self.leads_to
        width, height = _text_size(self.text, self.height_mm)
        share = min(1.0, 0.6 * math.hypot(width, height) / math.dist(self.at, self.leads_to))
        return (x + share * (to_x - x), y + share * (to_y - y)), self.leads_to


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A placed part: its shape, marks and what a reader may want to know of it."""

    number: int
    name: str
    size_mm: tuple[float, float]
    colour: str
    shape: Shape
    marks: tuple[Floats, ...]

    def title(self, unit: Unit) -> str:
        """Number, name and size as drawn."""
        length = measures(unit)["length"]
        width, height = (length.text(length.shown(v)) for v in self.size_mm)
        return f"{self.number}: {self.name}, {width} x {height} {length.unit}"


@dataclass(frozen=True, kw_only=True)
class Scene:
    """All shapes of a picture, y up; `bounds` is x0, y0, x1, y1 with all labels inside."""

    bounds: tuple[float, float, float, float]
    plate: Shape
    keep_outs: Named
    pieces: tuple[Piece, ...]
    remnants: Named
    remnant_areas_mm2: tuple[float, ...]
    labels: tuple[Label, ...]
    grain_deg: float | None
    text_mm: float

    @property
    def width_mm(self) -> float:
        """Width of the picture."""
        return self.bounds[2] - self.bounds[0]

    @property
    def height_mm(self) -> float:
        """Height of the picture."""
        return self.bounds[3] - self.bounds[1]


def scene(layout: Layout, areas: Balance, *, smallest_text: float = 0.016, letters: bool = True) -> Scene:
    """Return the picture of a layout.

    `smallest_text` is the least height of a number, as a fraction of the plate's longer side; a part too
    small for it gets its number beside it with a leader line.  `letters` of the corners may be left out.
    """
    plate = layout.plate
    x0, y0, x1, y1 = plate.fine_polygon.bounds
    size = max(x1 - x0, y1 - y0)
    chord, text = size * _CHORD_PER_SIZE, size * smallest_text
    colours = {part_id: PALETTE[i % len(PALETTE)] for i, part_id in enumerate(layout.parts)}
    pieces = tuple(
        Piece(
            number=p.number,
            name=layout.parts[p.part_id].name,
            size_mm=layout.parts[p.part_id].size_mm,
            colour=colours[p.part_id],
            shape=shapely.simplify(shape, chord),
            marks=tuple(p.pose.points(m.curve.points(chord)) for m in layout.parts[p.part_id].marks),
        )
        for p, shape in zip(layout.placements, areas.parts, strict=True)
    )
    remnants = tuple((r.label, shapely.simplify(r.polygon, chord)) for r in areas.kept)
    keep_outs = tuple((k.reason or k.kind, k.contour.polygon(chord, "outward")) for k in plate.keep_outs)
    pad = 3.0 * text
    corners = _letters(plate, text)
    if not letters:  # whoever draws them later needs room for a ring round each
        corners = [replace(corner, height_mm=_RINGED * text) for corner in corners]
    labels = _labels(pieces, remnants, keep_outs, text, letters=corners, cut_outs=_cut_outs(plate.fine_polygon))
    labels = labels if letters else labels[len(corners) :]
    written = [_box(label, text) for label in labels]
    left, low, right, high = shapely.union_all([shapely.box(x0 - pad, y0 - pad, x1 + pad, y1 + pad), *written]).bounds
    return Scene(
        bounds=(left, low - 2.2 * text, right, high),
        plate=shapely.simplify(plate.fine_polygon, chord),
        keep_outs=keep_outs,
        pieces=pieces,
        remnants=remnants,
        remnant_areas_mm2=tuple(round(r.area_mm2, AREA_DIGITS) for r in areas.kept),
        labels=labels,
        grain_deg=plate.grain_deg,
        text_mm=text,
    )


def scale_bar_mm(drawn: Scene, unit: Unit) -> float:
    """Length of a scale bar: the largest 1, 2 or 5 times a power of ten of the unit up to a quarter of the
    width.
    """
    longest = from_mm(drawn.width_mm / 4, unit)
    power = 10.0 ** math.floor(math.log10(longest))
    return to_mm(max(step * power for step in (1.0, 2.0, 5.0) if step * power <= longest), unit)


def _text_size(text: str, height: float) -> tuple[float, float]:
    return max(1, len(text)) * _CHARACTER_WIDTH * height, height


def _letters(plate: Plate, height: float) -> list[Label]:
    """The corners' letters, each beside its corner where it is farthest from the plate; none where they crowd."""
    corners = named_corners(plate)
    shape = plate.outer.polygon(NESTING_CHORD_MM, "midway")
    shapely.prepare(shape)
    found: list[Label] = []
    for corner in corners if len(corners) <= _MOST_LETTERS else ():
        turns = np.linspace(0.0, 2 * math.pi, 16, endpoint=False)
        around = [
            (corner.point[0] + 1.5 * height * math.cos(t), corner.point[1] + 1.5 * height * math.sin(t)) for t in turns
        ]
        tried = [Label(text=corner.name, at=at, height_mm=height) for at in around]
        best = max(tried, key=lambda label: shapely.distance(shape, _box(label, 0.0)))
        if not any(_box(best, 0.1 * height).intersects(_box(other, 0.0)) for other in found):
            found.append(best)
    return found


def _labels(
    pieces: tuple[Piece, ...],
    remnants: Named,
    keep_outs: Named,
    smallest: float,
    *,
    letters: Sequence[Label],
    cut_outs: Shape,
) -> tuple[Label, ...]:
    """The corners' letters.  Numbers inside the parts where they fit, in an empty bore or a little smaller if need be;
    else beside them with a leader, or, where all is taken nearby, small and across their edges.  Then the remnants'
    names.
    """
    inside = [_inside(piece, smallest) for piece in pieces]
    full = [label is not None and label.height_mm >= smallest for label in inside]
    labels = [*letters, *(label for label, large in zip(inside, full, strict=True) if label is not None and large)]
    ground = _Ground.of([p.shape for p in pieces], cut_outs)
    for k, piece in enumerate(pieces):
        if not full[k]:
            text, across = str(piece.number), largest_circle(_filled(piece.shape))[0]
            found = _in_bore(text, k, ground, smallest) or inside[k] or _stray(text, k, labels, ground, smallest)
            labels.append(found or Label(text=text, at=across, height_mm=_LEAST * smallest))
    for text, shape in keep_outs:
        at, radius = largest_circle(shape)
        room = 1.9 * radius / math.hypot(*_text_size(text, 1.0))
        if room >= smallest / 2:
            labels.append(Label(text=text, at=at, height_mm=min(room, smallest)))
    for text, shape in remnants:
        covered = [k for _, k in keep_outs] + [_box(x, 0.3 * smallest) for x in labels]
        free = shape.difference(shapely.union_all(covered))
        if free.is_empty:
            continue
        at, radius = largest_circle(free)
        height = min(3 * smallest, max(smallest, radius / 2))
        labels.append(Label(text=text, at=at, height_mm=height))
    return tuple(labels)


def _inside(piece: Piece, smallest: float) -> Label | None:
    """A number that lies wholly in its part and covers no hole, or None where it would be too small to read."""
    text = str(piece.number)
    at, radius = largest_circle(piece.shape)
    room = 1.9 * radius / math.hypot(*_text_size(text, 1.0))
    if room >= smallest:
        return Label(text=text, at=at, height_mm=min(room, 2.2 * smallest))
    shapely.prepare(piece.shape)
    centroid = piece.shape.centroid
    for share in (1.0, 0.85, 0.72, _LEAST):
        for spot in (at, (float(centroid.x), float(centroid.y))):
            label = Label(text=text, at=spot, height_mm=share * smallest)
            if piece.shape.contains(_box(label, 0.0)):
                return label
    return None


def _cut_outs(plate: Shape) -> Shape:
    """The holes of a plate: a number that stands in one makes it look like a part."""
    return shapely.union_all([Polygon(ring) for p in shapely.get_parts(plate) for ring in p.interiors])


@dataclass(frozen=True, kw_only=True)
class _Ground:
    """What numbers beside their parts keep off: the parts and cut-outs, together as `taken` and each by itself."""

    shapes: Sequence[Shape]
    taken: Shape
    each: shapely.STRtree

    @staticmethod
    def of(parts: Sequence[Shape], cut_outs: Shape) -> "_Ground":
        """The parts keep their numbers in `each`."""
        shapes = [*parts, cut_outs]
        taken = shapely.union_all(shapes)
        shapely.prepare(taken)
        return _Ground(shapes=shapes, taken=taken, each=shapely.STRtree(shapes))

    def crossed(self, line: LineString, own: int) -> bool:
        """Tell whether a leader crosses anything but its own part."""
        return any(int(k) != own for k in self.each.query(line, predicate="intersects"))


def _in_bore(text: str, own: int, ground: _Ground, height: float) -> Label | None:
    """A number in a bore of its own part, which no other part lies in."""
    rings = (ring for p in shapely.get_parts(ground.shapes[own]) for ring in p.interiors)
    for bore in sorted(map(Polygon, rings), key=lambda bore: -bore.area):
        label = Label(text=text, at=largest_circle(bore)[0], height_mm=height)
        if bore.contains(_box(label, 0.1 * height)):
            return None if ground.each.query(bore.buffer(-0.1 * height), predicate="intersects").size else label
    return None


def _stray(text: str, own: int, labels: Sequence[Label], ground: _Ground, height: float) -> Label | None:
    """A number beside its part, its leader across nothing else where that can be."""
    at, taken = largest_circle(ground.shapes[own])[0], ground.taken
    clear = _beside(text, at, labels, taken, height, farthest=_FARTHEST, crossed=lambda line: ground.crossed(line, own))
    return clear or _beside(text, at, labels, taken, height, farthest=_FARTHEST)


def _filled(shape: Shape) -> Shape:
    """A part without its holes."""
    return shapely.union_all([Polygon(p.exterior) for p in shapely.get_parts(shape)])


def _beside(
    text: str,
    at: Point,
    labels: Sequence[Label],
    taken: Shape,
    height: float,
    *,
    farthest: float = 30.0,
    crossed: Callable[[LineString], bool] = lambda _: False,
) -> Label | None:
    """Find the nearest place for a number that covers nothing taken and no other label, its leader not `crossed`.

    It is `farthest` heights away at most.
    """
    others = shapely.STRtree([_box(x, 0.2 * height) for x in labels])
    here = shapely.Point(at)
    for reach in np.arange(2.25, farthest, 0.75) * height:
        for turn in np.linspace(0.0, 2 * math.pi, 24, endpoint=False) + math.pi / 4:
            spot = (float(at[0] + reach * math.cos(turn)), float(at[1] + reach * math.sin(turn)))
            tried = Label(text=text, at=spot, height_mm=height, leads_to=at)
            box = _box(tried, 0.1 * height)
            line = LineString([here, spot])
            if not (
                taken.intersects(box)
                or any(others.query(g, predicate="intersects").size for g in (box, line))
                or crossed(line)
            ):
                return tried
    return None


def _box(label: Label, pad: float) -> Polygon:
    width, height = _text_size(label.text, label.height_mm)
    (x, y), w, h = label.at, width / 2 + pad, height / 2 + pad
    box: Polygon = shapely.box(x - w, y - h, x + w, y + h)
    return box


def spot_labels(shape: Shape, spots: Sequence[tuple[str, Point]], height_mm: float) -> tuple[Label, ...]:
    """Return a label beside each spot of a part, across none of its contours and none of the other labels."""
    lines = shape.boundary.buffer(0.25 * height_mm)
    shapely.prepare(lines)
    labels: list[Label] = []
    for text, at in spots:
        near = _beside(text, at, labels, lines, height_mm)
        labels.append(near or Label(text=text, at=at, height_mm=height_mm, leads_to=at))
    return tuple(labels)
