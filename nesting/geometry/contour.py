"""Closed contours of true curves, and the polygons that stand in for them on a known side."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from nesting.geometry.curves import Arc, Curve, Line, Piece
from nesting.geometry.pose import Point, Pose

Side = Literal["outward", "inward", "midway"]

# Where chords are grown by an offset, chord error and offset together stay within the chord asked for.  Its
# round corners are chords too, 4 to the half turn, so that it must be larger by 1 / cos(pi / 8) = 1.0824.
_FINER: Final = 0.45
_GROW: Final = 0.49

_SAME_POINT_MM: Final = 1e-9


@dataclass(frozen=True, kw_only=True)
class Contour:
    """Curves that follow one another head to tail and close; always counter-clockwise.

    Whether it bounds a part or a hole is told by where it stands, not by its direction.
    """

    curves: tuple[Curve, ...]

    def __post_init__(self) -> None:
        if not self.curves:
            raise ValueError("a contour needs at least one curve")
        if math.fsum(c.swept_area_mm2 for c in self.curves) + self._gaps_area() < 0.0:
            object.__setattr__(self, "curves", tuple(c.reversed() for c in reversed(self.curves)))

    @staticmethod
    def of_points(corners: Iterable[Point]) -> "Contour":
        """A contour of straight lines through the corners, which must not repeat the first at the end."""
        xy = [(float(x), float(y)) for x, y in corners]
        if len(xy) < 3:
            raise ValueError(f"a contour needs at least three corners, got {len(xy)}")
        ends = zip(xy, [*xy[1:], xy[0]], strict=True)
        return Contour(curves=tuple(Line(start=a, end=b) for a, b in ends))

    @staticmethod
    def of_rectangle(width_mm: float, height_mm: float) -> "Contour":
        """A rectangle with its lower left corner at the origin."""
        return Contour.of_points([(0.0, 0.0), (width_mm, 0.0), (width_mm, height_mm), (0.0, height_mm)])

    @cached_property
    def pieces(self) -> tuple[Piece, ...]:
        """All lines, arcs, ellipse arcs and splines in order of travel."""
        return tuple(piece for curve in self.curves for piece in curve.pieces)

    @cached_property
    def length_mm(self) -> float:
        """True length: what the torch travels."""
        return math.fsum(c.length_mm for c in self.curves)

    @cached_property
    def area_mm2(self) -> float:
        """True area inside, arcs as arcs."""
        return math.fsum(c.swept_area_mm2 for c in self.curves) + self._gaps_area()

    def posed(self, pose: Pose) -> "Contour":
        """The contour in another place."""
        return Contour(curves=tuple(c.posed(pose) for c in self.curves))

    def polygon(self, chord_mm: float, side: Side) -> Polygon | MultiPolygon:
        """Return the area inside with curves turned into chords within `chord_mm`.

        `outward`: the result holds all of the true area.  `inward`: the true area holds all of the result,
        which may then be empty or in several pieces.  `midway`: corners on the curves; wrong by up to
        `chord_mm` either way.
        """
        plain = Polygon(self._ring(chord_mm, "midway"))
        if side == "midway":
            return plain if plain.is_valid else _untangled(plain.exterior)
        curved = any(not isinstance(p, Line) for p in self.pieces)
        wrapped = Polygon(self._ring(chord_mm, side)) if curved else plain
        if not (wrapped.is_valid and plain.is_valid):
            # Tangents of a tight corner may cross, and so may the contour itself; finer chords with a band along them
            # are safe everywhere.
            ring = LineString(Polygon(self._ring(_FINER * chord_mm, "midway")).exterior)
            band = ring.buffer(_GROW * chord_mm, quad_segs=2)
            inside = _untangled(ring)
            return _areal(inside.union(band) if side == "outward" else inside.difference(band))
        free = [LineString(p.points(_FINER * chord_mm)) for p in self.pieces if not isinstance(p, Line | Arc)]
        if not free:
            return wrapped
        width = _GROW * chord_mm
        band = shapely.union_all([line.buffer(width, quad_segs=2, cap_style="square") for line in free])
        return _areal(wrapped.union(band) if side == "outward" else wrapped.difference(band))

    def _ring(self, chord_mm: float, side: Side) -> NDArray[np.float64]:
        runs = []
        for piece in self.pieces:
            outer_side = isinstance(piece, Arc) and (piece.sweep_deg > 0) == (side == "outward")
            if isinstance(piece, Arc) and outer_side and side != "midway":
                runs.append(piece.tangent_points(chord_mm))
            else:
                free = side != "midway" and not isinstance(piece, Line | Arc)
                runs.append(piece.points(_FINER * chord_mm if free else chord_mm))
        ring = np.vstack(runs)
        # Two arcs that share an end place it a rounding apart; stepping back over that would cross the ring.
        apart = np.hypot(*np.diff(ring, axis=0, append=ring[:1]).T) > _SAME_POINT_MM
        return ring[apart] if apart.sum() > 2 else ring

    def _gaps_area(self) -> float:
        """Area swept by the straight joins between curves whose ends do not quite meet."""
        total = []
        for a, b in zip(self.curves, [*self.curves[1:], self.curves[0]], strict=True):
            (x0, y0), (x1, y1) = a.end, b.start
            total.append(0.5 * (x0 * y1 - x1 * y0))
        return math.fsum(total)


def region(outer: Contour, holes: Iterable[Contour], chord_mm: float, side: Side) -> Polygon | MultiPolygon:
    """Return the area inside `outer` and outside all `holes`; holes are flattened to the opposite side."""
    opposite: dict[Side, Side] = {"outward": "inward", "inward": "outward", "midway": "midway"}
    body = outer.polygon(chord_mm, side)
    cuts = [hole.polygon(chord_mm, opposite[side]) for hole in holes]
    if not cuts:
        return body
    return _areal(body.difference(shapely.union_all(cuts)))


def _untangled(ring: LineString) -> Polygon | MultiPolygon:
    """Return all that a ring goes round, in either direction; what it goes round twice counts once."""
    faces = shapely.get_parts(shapely.polygonize([shapely.unary_union(ring)]))
    return _areal(shapely.union_all([face for face in faces if _winds_round(ring, face)]))


def _winds_round(ring: LineString, face: Polygon) -> bool:
    """Tell whether a ring winds round a face at all, by the crossings of a ray to the right of a point in it."""
    point = face.representative_point()
    xy = np.asarray(ring.coords) - (point.x, point.y)
    (x0, y0), (x1, y1) = xy[:-1].T, xy[1:].T
    side = x0 * y1 - x1 * y0
    up, down = (y0 <= 0.0) & (y1 > 0.0) & (side > 0.0), (y0 > 0.0) & (y1 <= 0.0) & (side < 0.0)
    return int(up.sum()) != int(down.sum())


def _areal(geometry: BaseGeometry) -> Polygon | MultiPolygon:
    """Drop the points and lines that set operations leave behind."""
    if isinstance(geometry, Polygon | MultiPolygon):
        return geometry
    kept = [g for g in getattr(geometry, "geoms", []) if isinstance(g, Polygon | MultiPolygon)]
    merged: Polygon | MultiPolygon = shapely.union_all(kept) if kept else Polygon()
    return merged
