"""Measured points round an edge into lines and arcs, then moved to where the plate surely is.

Unlike `edits.straightened`, which keeps corners that were meant, this fits every piece to all its points, so that
their scatter averages out and a corner is where its edges meet.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from nesting.geometry.contour import Contour
from nesting.geometry.curves import circle
from nesting.geometry.pose import Point
from nesting.outline.fits import fit_circle, fit_line
from nesting.outline.inside import contours_of, simpler_inside
from nesting.outline.photo.joints import Piece, point_of, vertices_where_they_meet
from nesting.outline.photo.parting import LEAST_POINTS, Run, part, trimmed
from nesting.outline.rings import Vertex, contour_of, vertices_of

Floats = NDArray[np.float64]
FloorAt = Callable[[Polygon], float]
Bools = NDArray[np.bool_]

_SMOOTH: Final = 3.0
_SMOOTH_MM: Final = 8.0
_SHARP_DEG: Final = 25.0
_LONG_MM: Final = 30.0
_ROUND_MM: Final = 5.0
_ROUNDED_MM: Final = 10.0
"""How far a corner may be seen round at most: edges are measured over 12 mm along."""

_LEAST_CLAIM: Final = 8.0
_SURE: Final = 2.0


@dataclass(frozen=True, kw_only=True)
class Straightened:
    """A contour inside the measured points, and how far they lie from it: inwards of it, outwards of it, mm."""

    contour: Contour
    corners: tuple[Vertex, ...]
    inward_mm: float
    outward_mm: float


def straighten(
    points: Floats,
    *,
    tolerance_mm: float,
    corner_mm: float,
    left: bool = True,
    floor_at: FloorAt | None = None,
) -> Straightened:
    """Return lines and arcs through (n, 2) points round an edge, n >= 12, on the safe side of them.

    The plate lies left of the way the points go, or right of it (holes gone round counter-clockwise).  Points nearer
    than `corner_mm` to a corner are measured badly and are left to the pieces beside them; `floor_at` tells of what a
    corner then claims beyond the points whether it is plate (below 0) or floor, and how surely.
    """
    side = 1.0 if left else -1.0
    smooth = _SMOOTH_MM / float(np.hypot(*np.diff(points, axis=0).T).mean())
    open_mm = 0.0
    for corner in (corner_mm, corner_mm / 3):
        pieces = _pieces(points, tolerance_mm, corner)
        if len(pieces) == 1:
            return _circle(points, smooth, side)
        offs = [gaussian_filter1d(p.off * side, smooth, mode="nearest") for p in pieces]
        # Positive where the points lie on the plate's side of the fitted piece.
        dents = [max(float(np.percentile(off, 95)), 0.0) for off in offs]
        most = max(float(abs(off - dent).max()) for off, dent in zip(offs, dents, strict=True))
        shifted = [p.moved_left(side * dent) for p, dent in zip(pieces, dents, strict=True)]
        vertices = vertices_where_they_meet(shifted, points, tolerance_mm)
        for _ in range(2):
            doubt = _doubt(vertices, points, tolerance_mm, left=left, floor_at=floor_at)
            open_mm = max(open_mm, doubt.open_mm)
            if not doubt.wrong:
                return Straightened(
                    contour=contour_of(vertices),
                    corners=tuple(vertices),
                    inward_mm=max(dents),
                    outward_mm=max(most, open_mm),
                )
            vertices = _without(vertices, doubt.corners, points, tolerance_mm)
    # Notches too small for pieces of their own: the measured points themselves, inside of them.
    measured = Polygon(points).buffer(0)
    inside = simpler_inside(measured, tolerance_mm) if left else measured.buffer(tolerance_mm / 2).simplify(0.4)
    vertices = vertices_of(contours_of(Polygon(inside.exterior))[0])
    return Straightened(
        contour=contour_of(vertices), corners=tuple(vertices), inward_mm=tolerance_mm, outward_mm=_ROUNDED_MM
    )


@dataclass(frozen=True, kw_only=True)
class _Doubt:
    """Whether an outline claims too much, places at `corners` that are no plate or may be none, and how deep these."""

    wrong: bool
    corners: tuple[Point, ...] = ()
    open_mm: float = 0.0


def _doubt(
    vertices: Sequence[Vertex], points: Floats, tolerance_mm: float, *, left: bool, floor_at: FloorAt | None
) -> _Doubt:
    """What of that claimed beyond the measured points is more than a corner seen round explains, or is no plate."""
    drawn = contour_of(vertices).polygon(0.05, "midway") if len(vertices) > 1 else Polygon()
    if not drawn.is_valid or drawn.is_empty:
        return _Doubt(wrong=True)
    measured = Polygon(points).buffer(0)

    def beyond(allowed_mm: float) -> BaseGeometry:
        if left:
            return drawn.difference(measured.buffer(allowed_mm))
        return measured.difference(drawn.buffer(allowed_mm))

    if floor_at is None:
        return _Doubt(wrong=beyond(_ROUND_MM).area >= 1.0)
    if beyond(_ROUNDED_MM).area >= 1.0:
        return _Doubt(wrong=True)
    patches = beyond(2 * tolerance_mm)
    corners, open_mm = [], 0.0
    for patch in getattr(patches, "geoms", [patches]):
        level = floor_at(patch) if patch.area > _LEAST_CLAIM * tolerance_mm**2 else -math.inf
        if level >= 0.0:
            corners.append(point_of(np.array(patch.centroid.coords[0])))
        if 0.0 <= level < _SURE:
            ring = measured.exterior if left else drawn.exterior
            open_mm = max(open_mm, float(shapely.distance(shapely.points(patch.exterior.coords), ring).max()))
    return _Doubt(wrong=bool(corners), corners=tuple(corners), open_mm=open_mm)


def _without(vertices: list[Vertex], places: Sequence[Point], points: Floats, tolerance_mm: float) -> list[Vertex]:
    """Corners of straight edges nearest to places cut off, as far as the measured points are round there."""
    found: list[Vertex] = []
    measured = Polygon(points).buffer(0)
    at = np.array([v[:2] for v in vertices]).reshape(-1, 2)
    cut = {int(np.hypot(*(at - place).T).argmin()) for place in places}
    for k, vertex in enumerate(vertices):
        back, on = at[k - 1] - at[k], at[(k + 1) % len(at)] - at[k]
        room = min(float(np.hypot(*back)), float(np.hypot(*on))) / 2
        if k not in cut or vertices[k - 1][2] or vertex[2] or not room > 0.0:
            found.append(vertex)
            continue
        back, on = back / np.hypot(*back), on / np.hypot(*on)
        half = math.acos(float(np.clip(back @ on, -1.0, 1.0))) / 2
        deep = float(shapely.distance(measured, shapely.Point(at[k]))) + tolerance_mm
        short = min(deep / max(math.cos(half), 0.2), room)
        found += [(*point_of(at[k] + short * way), 0.0) for way in (back, on)]
    return found


def sharp_corners(found: Straightened) -> list[int]:
    """Numbers of the corners at which the edge turns by 25 degrees or more between pieces that are long enough."""
    pieces = found.contour.pieces
    lines = [np.array(p.points(0.01)) for p in pieces]
    ways = [[math.atan2(*(b - a)[::-1]) for a, b in ((p[0], p[1]), (p[-2], p[-1]))] for p in lines]
    long = [float(np.hypot(*np.diff(p, axis=0).T).sum()) >= _LONG_MM for p in lines]
    corners = np.array([v[:2] for v in found.corners]).reshape(-1, 2)
    sharp = set()
    for k, line in enumerate(lines):
        turn = abs((math.degrees(ways[k][0] - ways[k - 1][1]) + 180) % 360 - 180)
        if turn >= _SHARP_DEG and long[k] and long[k - 1]:
            sharp.add(int(np.hypot(*(corners - line[0]).T).argmin()))
    return sorted(sharp)


def _circle(points: Floats, smooth: float, side: float) -> Straightened:
    fit = fit_circle(points)
    into = gaussian_filter1d(fit.off, smooth, mode="wrap") * -side
    dent = max(float(np.percentile(into, 95)), 0.0)
    radius = max(fit.radius_mm - side * dent, 0.05)
    contour = Contour(curves=(circle((float(fit.center[0]), float(fit.center[1])), radius),))
    return Straightened(contour=contour, corners=(), inward_mm=dent, outward_mm=float(abs(into - dent).max()))


def _is_circle(points: Floats, tolerance_mm: float) -> bool:
    fit = fit_circle(points)
    off = abs(gaussian_filter1d(fit.off, _SMOOTH, mode="wrap")).max()
    return bool(off <= max(tolerance_mm, 0.03 * fit.radius_mm) and off < 0.12 * fit.radius_mm)


def _pieces(points: Floats, tolerance_mm: float, corner_mm: float) -> list[Piece]:
    """The pieces round the edge, in order."""
    step = float(np.hypot(*np.diff(points, axis=0).T).mean())
    trim = max(1, math.ceil(corner_mm / step))
    if _is_circle(points, tolerance_mm):
        return [_nearest(points, np.ones(len(points), dtype=bool), Run(first=0, last=len(points), round=True))]
    runs = part(points, tolerance_mm=tolerance_mm, corner_mm=corner_mm)
    pieces = [_fitted(points, r, trim) for r in runs]
    if len(runs) > 2 and runs[0].round == runs[-1].round:
        # The place at which the parting began need not be a break.
        both = _fitted(
            points,
            Run(first=runs[-1].first, last=runs[-1].last + runs[0].last - runs[0].first, round=runs[0].round),
            trim,
        )
        if _width(both) <= max(0.6 * tolerance_mm, 1.2 * max(_width(pieces[0]), _width(pieces[-1]))):
            pieces = [both, *pieces[1:-1]]
    return pieces


def _width(piece: Piece) -> float:
    """How far nearly all points lie from a piece; of those far off at most a few count by less."""
    off = abs(piece.off)
    return max(float(np.percentile(off, 95)), float(off.max()) / 2.5)


def _fitted(points: Floats, run: Run, trim: int) -> Piece:
    """The line or arc nearest to the points of a run, to those of them that are not far from it."""
    low, high = trimmed(run.first, run.last, trim)
    there = points[np.arange(low, high + 1) % len(points)]
    kept = np.ones(len(there), dtype=bool)
    piece = _nearest(there, kept, run)
    for _ in range(2):
        usual = 1.4826 * float(np.median(abs(piece.off)))
        kept = abs(piece.off) <= 3.0 * usual + 0.05
        if kept.sum() < max(LEAST_POINTS, 0.6 * len(there)):
            break
        piece = _nearest(there, kept, run)
    return piece


def _nearest(points: Floats, kept: Bools, run: Run) -> Piece:
    chosen = points[kept]
    if run.round:
        fit = fit_circle(chosen)
        spokes = points - fit.center
        angles = np.unwrap(np.arctan2(spokes[:, 1], spokes[:, 0]))
        way = math.copysign(1.0, float(angles[-1] - angles[0]))
        off = (np.hypot(*spokes.T) - fit.radius_mm) * -way
        return Piece(
            at=fit.center,
            direction=np.array([way, 0.0]),
            radius_mm=fit.radius_mm,
            off=off,
            first=run.first,
            last=run.last,
        )
    line = fit_line(chosen)
    away = points - line.middle
    off = line.direction[0] * away[:, 1] - line.direction[1] * away[:, 0]
    return Piece(at=line.middle, direction=line.direction, radius_mm=0.0, off=off, first=run.first, last=run.last)
