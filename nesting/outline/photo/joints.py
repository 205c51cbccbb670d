"""Pieces of an edge, lines and arcs, and the corners where neighbours meet."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nesting.geometry.pose import Point
from nesting.outline.arcs import bulge_through
from nesting.outline.rings import Vertex

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A line (`radius_mm` 0: a point on it and its direction) or an arc (centre, radius, its way round)."""

    at: Floats
    direction: Floats
    radius_mm: float
    off: Floats
    first: int
    last: int

    def moved_left(self, by_mm: float) -> "Piece":
        """The piece moved to its left, where the plate is, radius and all."""
        if self.radius_mm:
            # Left of an arc run counter-clockwise is towards its centre.
            radius = max(self.radius_mm - by_mm * float(self.direction[0]), 0.05)
            return _with(self, radius_mm=radius)
        normal = np.array([-self.direction[1], self.direction[0]])
        return _with(self, at=self.at + by_mm * normal)


def _with(piece: Piece, *, at: Floats | None = None, radius_mm: float | None = None) -> Piece:
    return Piece(
        at=piece.at if at is None else at,
        direction=piece.direction,
        radius_mm=piece.radius_mm if radius_mm is None else radius_mm,
        off=piece.off,
        first=piece.first,
        last=piece.last,
    )


def vertices_where_they_meet(pieces: Sequence[Piece], points: Floats, tolerance_mm: float) -> list[Vertex]:
    """Corners where neighbours meet, with the bulge of the piece that leaves them."""
    n = len(points)
    corners = [_meeting(pieces[k - 1], piece, points[piece.first % n], tolerance_mm) for k, piece in enumerate(pieces)]
    found: list[Vertex] = []
    for k, piece in enumerate(pieces):
        here, there = corners[k], corners[(k + 1) % len(pieces)]
        bulge = 0.0
        if piece.radius_mm:
            a, b = here - piece.at, there - piece.at
            way = float(piece.direction[0])
            first = math.atan2(a[1], a[0])
            middle = first + way * ((math.atan2(b[1], b[0]) - first) * way % (2 * math.pi)) / 2
            top = piece.at + piece.radius_mm * np.array([math.cos(middle), math.sin(middle)])
            # Over the arc's own middle: its ends may lie a little off its circle.
            bulge = bulge_through(point_of(here), point_of(top), point_of(there))
        found.append((float(here[0]), float(here[1]), bulge))
    return found


def point_of(at: Floats) -> Point:
    """A pair of plain numbers."""
    return float(at[0]), float(at[1])


def _meeting(one: Piece, other: Piece, near: Floats, tolerance_mm: float) -> Floats:
    """Where two pieces meet nearest to a place; the place's foot on them where they hardly do."""
    candidates = _crossings(one, other)
    good = [c for c in candidates if math.dist(c, near) <= 12 * tolerance_mm]
    if good:
        return min(good, key=lambda c: math.dist(c, near))
    feet = np.array([_foot(one, near), _foot(other, near)])
    middle: Floats = feet.mean(axis=0)
    return middle


def _foot(piece: Piece, near: Floats) -> Floats:
    if piece.radius_mm:
        away = near - piece.at
        foot: Floats = piece.at + away * piece.radius_mm / max(float(np.hypot(*away)), 1e-9)
        return foot
    along: Floats = piece.at + piece.direction * float((near - piece.at) @ piece.direction)
    return along


def _crossings(one: Piece, other: Piece) -> list[Floats]:
    if one.radius_mm and other.radius_mm:
        between = other.at - one.at
        gap = float(np.hypot(*between))
        if not abs(one.radius_mm - other.radius_mm) < gap < one.radius_mm + other.radius_mm:
            return []
        along = (gap**2 + one.radius_mm**2 - other.radius_mm**2) / (2 * gap)
        unit = between / gap
        height = math.sqrt(max(one.radius_mm**2 - along**2, 0.0))
        normal = np.array([-unit[1], unit[0]])
        return [one.at + along * unit + s * height * normal for s in (1.0, -1.0)]
    if one.radius_mm or other.radius_mm:
        arc, line = (one, other) if one.radius_mm else (other, one)
        foot = _foot(line, arc.at)
        inside = arc.radius_mm**2 - float(((foot - arc.at) ** 2).sum())
        if inside < 0.0:
            return []
        return [foot + s * math.sqrt(inside) * line.direction for s in (1.0, -1.0)]
    cross = float(one.direction[0] * other.direction[1] - one.direction[1] * other.direction[0])
    if abs(cross) < 1e-3:
        return []
    away = other.at - one.at
    return [one.at + one.direction * float(away[0] * other.direction[1] - away[1] * other.direction[0]) / cross]
