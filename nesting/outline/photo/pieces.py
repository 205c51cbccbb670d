"""Measured points round an edge into lines and arcs, then moved to where the plate surely is.

Unlike `edits.straightened`, which keeps corners that were meant, this fits every piece to all its points, so that
their scatter averages out and a corner is where its edges meet.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from shapely.geometry import Polygon

from nesting.geometry.contour import Contour
from nesting.geometry.curves import circle
from nesting.geometry.pose import Point
from nesting.outline.arcs import bulge_through
from nesting.outline.fits import fit_circle, fit_line
from nesting.outline.inside import contours_of, simpler_inside
from nesting.outline.rings import Vertex, contour_of, vertices_of

Floats = NDArray[np.float64]

_LEAST_POINTS: Final = 5
_SMOOTH: Final = 3.0
_LARGEST_RADIUS_MM: Final = 3000.0
_FEWEST_DEG: Final = 20.0
_LEAST_ARC_MM: Final = 25.0
_SHARP_DEG: Final = 25.0
_ROUND_MM: Final = 5.0


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


@dataclass(frozen=True, kw_only=True)
class Straightened:
    """A contour inside the measured points, and how far they lie from it: inwards of it, outwards of it, mm."""

    contour: Contour
    corners: tuple[Vertex, ...]
    inward_mm: float
    outward_mm: float


def straighten(points: Floats, *, tolerance_mm: float, corner_mm: float, left: bool = True) -> Straightened:
    """Return lines and arcs through (n, 2) points round an edge, n >= 12, on the safe side of them.

    The plate lies left of the way the points go, or right of it (holes gone round counter-clockwise).  Points nearer
    than `corner_mm` to a corner are measured badly and are left to the pieces beside them.
    """
    side = 1.0 if left else -1.0
    whole = _whole_circle(points, tolerance_mm)
    if whole is not None:
        center, radius, off = whole
        off = gaussian_filter1d(off, _SMOOTH, mode="wrap") * (-side)
        radius -= side * max(float(off.max()), 0.0)
        contour = Contour(curves=(circle((float(center[0]), float(center[1])), radius),))
        return Straightened(
            contour=contour, corners=(), inward_mm=max(float(off.max()), 0.0), outward_mm=float(abs(off).max())
        )
    pieces = _pieces(points, tolerance_mm, corner_mm)
    shifted, dents = [], []
    for piece in pieces:
        # Positive where the points lie on the plate's side of the fitted piece.
        into = piece.off * side
        dent = max(float(np.percentile(into, 97)), 0.0) if len(into) else 0.0
        dents.append((dent, float(abs(into).max()) if len(into) else 0.0))
        shifted.append(piece.moved_left(side * dent))
    vertices = _vertices(shifted, points, tolerance_mm)
    if not _true_to(contour_of(vertices), points, left=left):
        # A notch too small for pieces of its own: the measured points themselves, inside of them.
        measured = Polygon(points).buffer(0)
        inside = simpler_inside(measured, tolerance_mm) if left else measured.buffer(tolerance_mm / 2).simplify(0.4)
        vertices = vertices_of(contours_of(Polygon(inside.exterior))[0])
    return Straightened(
        contour=contour_of(vertices),
        corners=tuple(vertices),
        inward_mm=max(d for d, _ in dents),
        outward_mm=max(o for _, o in dents),
    )


def _true_to(contour: Contour, points: Floats, *, left: bool) -> bool:
    """Whether no plate is claimed farther beyond the measured points than a corner seen round explains."""
    drawn, measured = contour.polygon(0.05, "midway"), Polygon(points).buffer(0)
    if not drawn.is_valid or drawn.is_empty:
        return False
    claimed = drawn.difference(measured.buffer(_ROUND_MM)) if left else measured.difference(drawn.buffer(_ROUND_MM))
    return bool(claimed.area < 1.0)


def sharp_corners(found: Straightened) -> list[int]:
    """Numbers of the corners at which the edge turns by 25 degrees or more."""
    pieces = found.contour.pieces
    ways = []
    for piece in pieces:
        points = np.array(piece.points(0.01))
        ways.append([math.atan2(*(b - a)[::-1]) for a, b in ((points[0], points[1]), (points[-2], points[-1]))])
    turns = [math.degrees(ways[k][0] - ways[k - 1][1]) for k in range(len(ways))]
    starts = np.array([p.points(0.01)[0] for p in pieces])
    sharp = [at for at, turn in zip(starts, turns, strict=True) if abs((turn + 180) % 360 - 180) >= _SHARP_DEG]
    corners = np.array([v[:2] for v in found.corners]).reshape(-1, 2)
    return sorted({int(np.hypot(*(corners - at).T).argmin()) for at in sharp}) if len(corners) else []


def _with(piece: Piece, *, at: Floats | None = None, radius_mm: float | None = None) -> Piece:
    return Piece(
        at=piece.at if at is None else at,
        direction=piece.direction,
        radius_mm=piece.radius_mm if radius_mm is None else radius_mm,
        off=piece.off,
        first=piece.first,
        last=piece.last,
    )


def _whole_circle(points: Floats, tolerance_mm: float) -> tuple[Floats, float, Floats] | None:
    fit = fit_circle(points)
    smooth = gaussian_filter1d(fit.off, _SMOOTH, mode="wrap")
    off = abs(smooth).max()
    fits = off <= max(tolerance_mm, 0.03 * fit.radius_mm) and off < 0.12 * fit.radius_mm
    return (fit.center, fit.radius_mm, fit.off) if fits else None


def _pieces(points: Floats, tolerance_mm: float, corner_mm: float) -> list[Piece]:
    """The pieces round the edge, in order: breaks found by halving, joined again where one line or arc does for two."""
    breaks = _breaks(points, tolerance_mm)
    step = float(np.hypot(*np.diff(points, axis=0).T).mean())
    trim = max(1, math.ceil(corner_mm / step))
    runs = _long_runs(breaks, len(points), trim)
    pieces = [_fitted(points, a, b, trim, tolerance_mm) for a, b in runs]
    merged = True
    while merged and len(pieces) > 2:
        merged = False
        best: tuple[float, int, Piece] | None = None
        for k, piece in enumerate(pieces):
            after = pieces[(k + 1) % len(pieces)]
            last = piece.last + (after.last - after.first)
            both = _fitted(points, piece.first, last, trim, tolerance_mm)
            worst = _width(both)
            if worst <= tolerance_mm and (best is None or worst < best[0]):
                best = (worst, k, both)
        if best is not None:
            _, k, both = best
            pieces[k] = both
            del pieces[(k + 1) % len(pieces)]
            merged = True
    return sorted(pieces, key=lambda p: p.first)


def _width(piece: Piece) -> float:
    """How far nearly all points lie from a piece; of those far off at most a few count by less."""
    off = abs(piece.off)
    return max(float(np.percentile(off, 95)), float(off.max()) / 2.5)


def _long_runs(breaks: list[int], n: int, trim: int) -> list[tuple[int, int]]:
    """Runs between breaks; short ones, which are but a corner seen round, are shared by those beside them."""
    runs = [(a, b) for a, b in zip(breaks, [*breaks[1:], breaks[0] + n], strict=True)]
    long = [(a, b) for a, b in runs if b - a > trim]
    if len(long) < 2:
        return runs
    ends = [(long[k][1] % n + ((long[(k + 1) % len(long)][0] - long[k][1]) % n) // 2) % n for k in range(len(long))]
    begins = [ends[k - 1] for k in range(len(long))]
    return [(a, a + ((b - a) % n or n)) for a, b in zip(begins, ends, strict=True)]


def _breaks(points: Floats, tolerance_mm: float) -> list[int]:
    """Numbers of the points at which a chain of chords turns that stays within the tolerance."""
    start = int(np.hypot(*(points - points.mean(axis=0)).T).argmax())
    far = int(np.hypot(*(points - points[start]).T).argmax())
    n = len(points)
    ends = sorted((start, far))
    found: set[int] = set()
    stack = [(ends[0], ends[1]), (ends[1], ends[0] + n)]
    while stack:
        a, b = stack.pop()
        found.add(a % n)
        if b - a < 2 * _LEAST_POINTS:
            continue
        between = points[np.arange(a + 1, b) % n]
        chord = points[b % n] - points[a % n]
        length = max(float(np.hypot(*chord)), 1e-9)
        away = between - points[a % n]
        off = abs(chord[0] * away[:, 1] - chord[1] * away[:, 0]) / length
        worst = int(off.argmax())
        if off[worst] > tolerance_mm:
            stack += [(a, a + 1 + worst), (a + 1 + worst, b)]
    return sorted(found)


def _fitted(points: Floats, first: int, last: int, trim: int, tolerance_mm: float) -> Piece:
    """The line through points first to last (numbers may run over the end), or the arc where that is much nearer."""
    room = (last - first - _LEAST_POINTS) // 2
    cut = max(0, min(trim, room))
    run = points[np.arange(first + cut, last - cut + 1) % len(points)]
    line = fit_line(run)
    off = gaussian_filter1d(line.off, _SMOOTH, mode="nearest")
    straight = Piece(at=line.middle, direction=line.direction, radius_mm=0.0, off=off, first=first, last=last)
    long = float(np.hypot(*np.diff(run, axis=0).T).sum())
    if _width(straight) <= 0.6 * tolerance_mm or len(run) < 2 * _LEAST_POINTS or long < _LEAST_ARC_MM:
        return straight
    try:
        fit = fit_circle(run)
    except ValueError:
        return straight
    if fit.radius_mm > _LARGEST_RADIUS_MM:
        return straight
    spokes = run - fit.center
    turned = float(np.unwrap(np.arctan2(spokes[:, 1], spokes[:, 0]))[[0, -1]] @ [-1.0, 1.0])
    way = math.copysign(1.0, turned)
    bent = gaussian_filter1d(fit.off, _SMOOTH, mode="nearest") * -way
    arc = Piece(
        at=fit.center, direction=np.array([way, 0.0]), radius_mm=fit.radius_mm, off=bent, first=first, last=last
    )
    deep = fit.radius_mm * (1.0 - math.cos(min(abs(turned) / 2, math.pi))) > 3.0 * tolerance_mm
    bends = deep and abs(math.degrees(turned)) >= _FEWEST_DEG
    return arc if bends and _width(arc) < 0.6 * _width(straight) else straight


def _vertices(pieces: Sequence[Piece], points: Floats, tolerance_mm: float) -> list[Vertex]:
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
            bulge = bulge_through(_point(here), _point(top), _point(there))
        found.append((float(here[0]), float(here[1]), bulge))
    return found


def _point(at: Floats) -> Point:
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
