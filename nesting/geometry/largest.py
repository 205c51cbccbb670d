"""The largest circle and rectangle inside a shape, and whether a given rectangle fits, at any turn.

A long sliver has area but takes no part; what fits inside tells more than area does.  All three functions
take polygons with holes and several pieces, millimetres."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import MultiPolygon, Polygon

from nesting.geometry.pose import Point

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Shape: TypeAlias = Polygon | MultiPolygon

FITS_WITHIN_MM = 0.1
"""`holds_rectangle` may accept a rectangle that is this much too wide or too high: its outline is
simplified.
"""

_TURN_STEP_DEG = 1.0
_GRID_LINES = 28
_GRID_POINTS = 60_000
_GROWN_TURNS = 4
_ROUNDS = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class Rectangle:
    """A rectangle at any turn; `turn_deg`, in (-90, 90], is the direction of its longer side."""

    center: Point
    width_mm: float
    height_mm: float
    turn_deg: float

    @property
    def area_mm2(self) -> float:
        """Width times height."""
        return self.width_mm * self.height_mm

    @property
    def polygon(self) -> Polygon:
        """Its four corners."""
        (x, y), w, h = self.center, self.width_mm / 2, self.height_mm / 2
        turned: Polygon = affinity.rotate(shapely.box(x - w, y - h, x + w, y + h), self.turn_deg, origin=(x, y))
        return turned


def largest_circle(shape: Shape) -> tuple[Point, float]:
    """Return centre and radius of the largest circle inside, to 0.01 % of the size; always inside.

    Raises ValueError if the shape has no area.
    """
    radius, at = 0.0, (0.0, 0.0)
    for piece in sorted(_pieces(shape), key=lambda p: -p.area):
        if 2 * radius >= min(_extent(piece)) or math.pi * radius**2 >= piece.area:
            continue
        line = shapely.maximum_inscribed_circle(piece, tolerance=max(_extent(piece)) * 1e-4)
        center = shapely.get_point(line, 0)
        here = float(piece.boundary.distance(center))
        if here > radius:
            radius, at = here, (float(center.x), float(center.y))
    return at, radius


def largest_rectangle(shape: Shape) -> Rectangle:
    """Return a rectangle inside the shape, at any turn, of nearly the largest area.

    It is always inside.  Its area is a lower bound: a grid search at many turns, then grown side by side
    until no small change helps.  On shapes whose answer is known it comes within 1 %.  Same shape, same
    answer. Raises ValueError if the shape has no area.
    """
    best: Rectangle | None = None
    for piece in sorted(_pieces(shape), key=lambda p: -p.area):
        if best is None or _may_hold_more(piece, best.area_mm2):
            found = _largest_in_piece(piece)
            best = found if best is None or found.area_mm2 > best.area_mm2 else best
    assert best is not None
    return best


def holds_rectangle(shape: Shape, width_mm: float, height_mm: float) -> bool:
    """Tell whether a rectangle fits inside at any turn.

    A yes is exact to `FITS_WITHIN_MM`.  Turns tried are all edge directions and every whole degree, so a no
    may be wrong only for a rectangle that would not fit if it were larger by 0.9 % of its other side.
    """
    short, long = sorted((width_mm - FITS_WITHIN_MM, height_mm - FITS_WITHIN_MM))
    if short <= 0.0:
        return not shape.is_empty
    plain = shapely.simplify(shape, FITS_WITHIN_MM / 2)
    return any(_piece_holds(p, long, short) for p in _pieces(plain, may_be_empty=True))


def _pieces(shape: Shape, *, may_be_empty: bool = False) -> list[Polygon]:
    pieces = [p for p in shapely.get_parts(shape) if p.area > 0.0]
    if not pieces and not may_be_empty:
        raise ValueError("a shape without area has no largest circle or rectangle")
    return pieces


def _may_hold_more(piece: Polygon, area: float) -> bool:
    """False if no rectangle inside is larger: it is no larger than the piece, nor than its own two sides allow."""
    if piece.area <= area:
        return False
    width, height = _extent(piece)
    return 2 * (largest_circle(piece)[1] + 1e-4 * max(width, height)) * math.hypot(width, height) > area


def _extent(piece: Polygon) -> tuple[float, float]:
    x0, y0, x1, y1 = piece.bounds
    return x1 - x0, y1 - y0


def _edge_turns(piece: Polygon, most: int) -> list[float]:
    """Directions of the longest edges in [0, 90), longest total first, at most `most` of them."""
    totals: dict[float, list[float]] = {}
    for ring in (piece.exterior, *piece.interiors):
        steps = np.diff(shapely.get_coordinates(ring), axis=0)
        for dx, dy in steps:
            turn = math.degrees(math.atan2(dy, dx)) % 90.0
            entry = totals.setdefault(round(turn, 3) % 90.0, [0.0, turn])
            entry[0] += math.hypot(dx, dy)
    ranked = sorted(totals.values(), reverse=True)
    return [turn for _, turn in ranked[:most]]


def _piece_holds(piece: Polygon, long: float, short: float) -> bool:
    """Look only where it can be.

    All of its middle line, long - short, stands off the edge by short / 2; no corner is farther than 0.7072 short
    from that line.
    """
    if piece.area < long * short:
        return False
    middles = piece.buffer(-short / 2 * (1 - 1e-9), quad_segs=16)
    for line_room in _pieces(middles, may_be_empty=True):
        if math.hypot(*_extent(line_room)) < long - short:
            continue
        room = piece.intersection(line_room.buffer(0.72 * short))
        if any(_room_holds(r, long, short) for r in _pieces(room, may_be_empty=True)):
            return True
    return False


def _room_holds(room: Polygon, long: float, short: float) -> bool:
    if room.area < long * short:
        return False
    if largest_circle(room)[1] >= math.hypot(long, short) / 2:
        return True
    shapely.prepare(room)
    turns = [*_edge_turns(room, 40), *np.arange(0.0, 90.0, _TURN_STEP_DEG)]
    both = [t + quarter for t in turns for quarter in ((0.0, 90.0) if long > short else (0.0,))]
    return any(_holds_at(room, long, short, turn) for turn in both)


def _holds_at(room: Polygon, width: float, height: float, turn_deg: float) -> bool:
    """Exact at one turn: where the middle may be is the room less its edges swept by the rectangle."""
    free = _rough_middles(room, width, height, turn_deg)
    if free.is_empty:
        return False
    level = affinity.rotate(room, -turn_deg, origin=(0.0, 0.0))
    rings = [shapely.get_coordinates(ring) for ring in (level.exterior, *level.interiors)]
    starts, ends = np.vstack([r[:-1] for r in rings]), np.vstack([r[1:] for r in rings])
    half = np.array([width, height]) / 2
    low, high = np.minimum(starts, ends) - half, np.maximum(starts, ends) + half
    shapely.prepare(free)
    near = shapely.intersects(free, shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    swept = np.concatenate([starts[near, None] + corners, ends[near, None] + corners], axis=1)
    hulls = shapely.convex_hull(shapely.multipoints(swept))
    return not shapely.difference(free, shapely.union_all(hulls)).is_empty


def _rough_middles(room: Polygon, width: float, height: float, turn_deg: float) -> MultiPolygon | Polygon:
    """Where the middle of the rectangle may be, and more: the grid points that it must cover are all inside.

    A rectangle covers at least floor(width / step) x floor(height / step) points, the lowest left of them less
    than a step from its corner.
    """
    corners = shapely.get_coordinates(affinity.rotate(room.envelope, -turn_deg, origin=(0.0, 0.0)))
    (x0, y0), (x1, y1) = corners.min(axis=0), corners.max(axis=0)
    step = min(height, max(height / 5, math.sqrt((x1 - x0) * (y1 - y0) / _GRID_POINTS)))
    xs, ys = np.arange(x0, x1 + step, step), np.arange(y0, y1 + step, step)
    x, y = np.meshgrid(xs, ys)
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    inside = shapely.intersects_xy(room, c * x - s * y, s * x + c * y)
    across, up = math.floor(width / step * (1 - 1e-9)), math.floor(height / step * (1 - 1e-9))
    if across > len(xs) or up > len(ys):
        return Polygon()
    sums = np.pad(inside.astype(int).cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    rows = sums[up:] - sums[: len(sums) - up]
    row, column = np.nonzero(rows[:, across:] - rows[:, : rows.shape[1] - across] == across * up)
    right, top = xs[column] + width / 2, ys[row] + height / 2
    return shapely.union_all(shapely.box(right - step, top - step, right, top))


def _largest_in_piece(piece: Polygon, *, widen: bool = True) -> Rectangle:
    size = max(_extent(piece))
    inner = _inside_plainer(piece, size * 2e-3)
    growing = _inside_plainer(piece, size * 2e-4)
    turns = sorted({round(t, 3) for t in (*_edge_turns(inner, 12), *np.arange(0.0, 90.0, 6.0))})
    starts = []
    for turn in turns:
        box = _grid_best(affinity.rotate(inner, -turn, origin=(0.0, 0.0)))
        if box is not None:
            starts.append((_box_area(box), turn, box))
    starts.sort(reverse=True)
    if not starts:
        growing, starts = piece, [(0.0, 0.0, _circle_box(piece))]
    grown = [_Grower(growing, turn, box).grown() for _, turn, box in starts[:_GROWN_TURNS]]
    for best in sorted(grown, key=lambda g: -_box_area(g.box)):
        found = _Grower(piece, best.turn, best.box).inside()
        if found is not None:
            return found
    # A crack or hole too fine for any grid lies in all of them: widened it is seen.
    shrunk = _pieces(piece.buffer(-size * 2e-4), may_be_empty=True) if widen else []
    if shrunk:
        return _largest_in_piece(max(shrunk, key=lambda p: p.area), widen=False)
    return _rectangle(_circle_box(piece), 0.0)


def _inside_plainer(piece: Polygon, tolerance: float) -> Polygon:
    """A piece with fewer corners that lies inside; the piece itself if it has few."""
    if shapely.get_num_coordinates(piece) < 100:
        return piece
    shrunk = shapely.simplify(piece.buffer(-tolerance), tolerance)
    parts = _pieces(shrunk, may_be_empty=True)
    return max(parts, key=lambda p: p.area) if parts else piece


Box = tuple[float, float, float, float]


def _box_area(box: Box) -> float:
    return (box[2] - box[0]) * (box[3] - box[1])


def _circle_box(piece: Polygon) -> Box:
    (x, y), radius = largest_circle(piece)
    half = radius / 2
    return (x - half, y - half, x + half, y + half)


def _grid_best(level: Polygon) -> Box | None:
    """Return the largest upright rectangle made of cells between corner coordinates and even steps."""
    xy = shapely.get_coordinates(level)
    xs, ys = (_lines(xy[:, axis]) for axis in (0, 1))
    trim = 1e-7 * max(_extent(level))
    x0, y0 = np.meshgrid(xs[:-1] + trim, ys[:-1] + trim)
    x1, y1 = np.meshgrid(xs[1:] - trim, ys[1:] - trim)
    shapely.prepare(level)
    inside = shapely.contains_properly(level, shapely.box(x0, y0, x1, y1))
    return _largest_block(inside, xs, ys)


def _lines(values: Floats) -> Floats:
    corners = np.unique(values)
    if len(corners) > _GRID_LINES:
        corners = corners[np.linspace(0, len(corners) - 1, _GRID_LINES).astype(int)]
    even = np.linspace(corners[0], corners[-1], _GRID_LINES)
    merged = np.unique(np.concatenate([corners, even]))
    apart = np.concatenate([[True], np.diff(merged) > 1e-6 * (merged[-1] - merged[0])])
    return np.asarray(merged[apart], dtype=np.float64)


def _largest_block(inside: Bools, xs: Floats, ys: Floats) -> Box | None:
    """Return the largest all-true block of a grid with uneven lines, by the known stack of rising columns."""
    best: tuple[float, Box] | None = None
    floor = np.zeros(inside.shape[1], dtype=int)
    for row in range(inside.shape[0]):
        floor = np.where(inside[row], floor, row + 1)
        stack: list[tuple[int, int]] = []
        for column in range(inside.shape[1] + 1):
            low = int(floor[column]) if column < inside.shape[1] else row + 1
            start = column
            while stack and stack[-1][1] < low:
                start, base = stack.pop()
                box = (float(xs[start]), float(ys[base]), float(xs[column]), float(ys[row + 1]))
                if best is None or _box_area(box) > best[0]:
                    best = (_box_area(box), box)
            if not stack or stack[-1][1] > low:
                stack.append((start, low))
    return best[1] if best and best[0] > 0.0 else None


class _Grower:
    """Grows a rectangle inside a piece: gives way a little on one side or turn, then pushes all sides out
    again.
    """

    def __init__(self, piece: Polygon, turn_deg: float, box: Box) -> None:
        self.piece = piece
        self.random = np.random.default_rng(0)
        self.size = max(_extent(piece))
        self.turn, self.box = turn_deg, self._pushed(self._boundary(turn_deg), box)

    def grown(self) -> "_Grower":
        """Run all rounds."""
        for step in np.geomspace(0.3, 1e-4, _ROUNDS):
            turn, box = self._loosened(float(step))
            boundary = self._boundary(turn)
            if self._crosses(boundary, box):
                continue
            box = self._pushed(boundary, box)
            if _box_area(box) > _box_area(self.box):
                self.turn, self.box = turn, box
        return self

    def _boundary(self, turn_deg: float) -> shapely.MultiLineString:
        return affinity.rotate(self.piece.boundary, -turn_deg, origin=(0.0, 0.0))

    def _loosened(self, step: float) -> tuple[float, Box]:
        x0, y0, x1, y1 = self.box
        width, height = x1 - x0, y1 - y0
        gives = self.random.random(4) * step * (self.random.random(4) < 0.5)
        if self.random.random() < 0.5:
            sides = (
                x0 + gives[0] * width,
                y0 + gives[1] * height,
                x1 - gives[2] * width,
                y1 - gives[3] * height,
            )
            return self.turn, sides
        delta = math.radians(20.0) * step * float(self.random.uniform(-1.0, 1.0))
        c, s = math.cos(delta), abs(math.sin(delta))
        # The turned rectangle that lies wholly within the former one needs this much less on either side.
        half_w = max(0.05 * width, (width - height * s) / c if width > height * s else 0.05 * width) / 2
        half_h = max(0.05 * height, (height - width * s) / c if height > width * s else 0.05 * height) / 2
        half_w, half_h = half_w * (1 - gives[0] / 2), half_h * (1 - gives[1] / 2)
        cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
        mx, my = cx * math.cos(delta) + cy * math.sin(delta), cy * math.cos(delta) - cx * math.sin(delta)
        return self.turn + math.degrees(delta), (mx - half_w, my - half_h, mx + half_w, my + half_h)

    def _crosses(self, boundary: shapely.MultiLineString, box: Box) -> bool:
        trim = 1e-9 * self.size
        x0, y0, x1, y1 = box
        if x1 - x0 <= 3 * trim or y1 - y0 <= 3 * trim:
            return True
        return not shapely.clip_by_rect(boundary, x0 + trim, y0 + trim, x1 - trim, y1 - trim).is_empty

    def _pushed(self, boundary: shapely.MultiLineString, box: Box) -> Box:
        """Move each side out until the boundary stops it, sides in a shuffled order."""
        x0, y0, x1, y1 = box
        trim, far = 1e-9 * self.size, 4 * self.size
        for side in self.random.permutation(4):
            if side == 0:
                seen = shapely.clip_by_rect(boundary, x0 - far, y0 + trim, x0 + trim, y1 - trim)
                x0 = seen.bounds[2] if not seen.is_empty else x0
            elif side == 1:
                seen = shapely.clip_by_rect(boundary, x0 + trim, y0 - far, x1 - trim, y0 + trim)
                y0 = seen.bounds[3] if not seen.is_empty else y0
            elif side == 2:
                seen = shapely.clip_by_rect(boundary, x1 - trim, y0 + trim, x1 + far, y1 - trim)
                x1 = seen.bounds[0] if not seen.is_empty else x1
            else:
                seen = shapely.clip_by_rect(boundary, x0 + trim, y1 - trim, x1 - trim, y1 + far)
                y1 = seen.bounds[1] if not seen.is_empty else y1
        return (x0, y0, x1, y1)

    def inside(self) -> Rectangle | None:
        """Draw the sides in by rounding errors until the piece covers the rectangle; None if it never does."""
        for trim in self._trims():
            x0, y0, x1, y1 = self.box
            found = _rectangle((x0 + trim, y0 + trim, x1 - trim, y1 - trim), self.turn)
            if self.piece.covers(found.polygon):
                return found
        return None

    def _trims(self) -> Iterator[float]:
        yield 0.0
        yield from np.geomspace(1e-12, 1e-4, 9) * self.size


def _rectangle(box: Box, turn_deg: float) -> Rectangle:
    x0, y0, x1, y1 = box
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
    width, height = x1 - x0, y1 - y0
    if height > width:
        width, height, turn_deg = height, width, turn_deg + 90.0
    return Rectangle(
        center=(float(c * cx - s * cy), float(s * cx + c * cy)),
        width_mm=float(width),
        height_mm=float(height),
        turn_deg=float(90.0 - (90.0 - turn_deg) % 180.0),
    )
