"""Contours as they are written: in the direction they are cut, joined into polylines if asked, started at the lead-in.

A polyline's corner holds the bulge of the piece that leaves it: the tangent of a quarter of the arc's angle, positive
counter-clockwise (published DXF reference).  Arcs over a half turn are halved, since bulges over 1 are rare and not
every reader takes them.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

from nesting.drawing.biarcs import as_arcs
from nesting.drawing.writing import Writing
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc, Curve, EllipseArc, Line, Piece, Polyline, Spline
from nesting.geometry.pose import Point
from nesting.tolerances import NODE_MM, R12_ARC_MM

_ON_IT_MM: Final = 0.01
"""A contour is begun at its lead-in where the contact is this near to it: chords of polygons, no more."""

Vertex = tuple[float, float, float]


def travelled(contour: Contour, writing: Writing, *, clockwise: bool, contact: Point | None = None) -> list[Curve]:
    """Return the curves to write for a contour, in order of travel.

    As drawn they keep their kinds and number; arcs and circles lose their direction in the file.  Polylines begin at
    `contact` if that lies on the contour, and take all lines and arcs; a spline or an ellipse that is to stay as it
    is stands between them.
    """
    curves: Sequence[Curve] = contour.curves
    if clockwise:
        curves = [curve.reversed() for curve in reversed(curves)]
    if writing.contours == "as drawn":
        return list(curves)
    pieces = [piece for curve in curves for piece in (as_lines_and_arcs(curve) if writing.arcs_only else curve.pieces)]
    if contact is not None:
        pieces = _begun_at(pieces, contact)
    return _joined(pieces)


def as_lines_and_arcs(curve: Curve) -> Iterator[Piece]:
    """Yield the lines and arcs of a curve, those of splines and ellipses within `R12_ARC_MM`."""
    for piece in curve.pieces:
        if isinstance(piece, EllipseArc | Spline):
            yield from as_arcs(piece, R12_ARC_MM).pieces
        else:
            yield piece


def _begun_at(pieces: Sequence[Piece], contact: Point) -> list[Piece]:
    """Return the pieces from the contact on, round to it again; unchanged if it lies on no line or arc."""
    simple = [(abs(_away(p, contact)), i) for i, p in enumerate(pieces) if isinstance(p, Line | Arc)]
    off, index = min(simple, default=(math.inf, 0))
    if off > _ON_IT_MM:
        return list(pieces)
    piece = pieces[index]
    assert isinstance(piece, Line | Arc)
    if math.dist(piece.start, contact) <= _ON_IT_MM:
        return [*pieces[index:], *pieces[:index]]
    if math.dist(piece.end, contact) <= _ON_IT_MM:
        return [*pieces[index + 1 :], *pieces[: index + 1]]
    first, second = _split(piece, contact)
    return [second, *pieces[index + 1 :], *pieces[:index], first]


def _away(piece: Line | Arc, point: Point) -> float:
    """Distance from a point to a line or an arc."""
    if isinstance(piece, Arc):
        if abs(_sweep_to(piece, point)) <= abs(piece.sweep_deg):
            return abs(math.dist(piece.center, point) - piece.radius_mm)
        return min(math.dist(piece.start, point), math.dist(piece.end, point))
    (x, y), (dx, dy), share = _along(piece, point)
    return math.dist(point, (x + share * dx, y + share * dy))


def _along(line: Line, point: Point) -> tuple[Point, Point, float]:
    (x0, y0), (x1, y1) = line.start, line.end
    dx, dy = x1 - x0, y1 - y0
    share = ((point[0] - x0) * dx + (point[1] - y0) * dy) / max(dx * dx + dy * dy, 1e-300)
    return line.start, (dx, dy), min(max(share, 0.0), 1.0)


def _sweep_to(arc: Arc, point: Point) -> float:
    """Angle from an arc's start to the direction of a point, in the arc's sense."""
    angle = math.degrees(math.atan2(point[1] - arc.center[1], point[0] - arc.center[0]))
    return math.copysign((math.copysign(1.0, arc.sweep_deg) * (angle - arc.start_deg)) % 360.0, arc.sweep_deg)


def _split(piece: Line | Arc, point: Point) -> tuple[Piece, Piece]:
    if isinstance(piece, Arc):
        sweep = _sweep_to(piece, point)
        return replace(piece, sweep_deg=sweep), replace(
            piece, start_deg=piece.start_deg + sweep, sweep_deg=piece.sweep_deg - sweep
        )
    (x, y), (dx, dy), share = _along(piece, point)
    middle = (x + share * dx, y + share * dy)
    return Line(start=piece.start, end=middle), Line(start=middle, end=piece.end)


def _joined(pieces: Sequence[Piece]) -> list[Curve]:
    """Join runs of lines and arcs; if there is nothing else, into one closed polyline."""
    simple = [isinstance(p, Line | Arc) for p in pieces]
    if all(simple):
        return [Polyline(vertices=tuple(_vertices(pieces, closed=True)), is_closed=True)]
    # Begin after a spline or an ellipse, so that no run is broken where the list happens to start.
    turn = next(i for i, plain in enumerate(simple) if not plain) + 1
    found: list[Curve] = []
    run: list[Piece] = []
    for piece in [*pieces[turn:], *pieces[:turn]]:
        if isinstance(piece, Line | Arc):
            run.append(piece)
            continue
        if run:
            found.append(_open(run))
        run = []
        found.append(piece)
    return found


def _open(run: Sequence[Piece]) -> Curve:
    end = run[-1].end
    return Polyline(vertices=(*_vertices(run, closed=False), (end[0], end[1], 0.0)))


def _vertices(run: Sequence[Piece], *, closed: bool) -> Iterable[Vertex]:
    """Yield the corners of a run, each with the bulge of what leaves it.

    Ends that do not quite meet, as drawn contours may by up to the silent joining tolerance, are one corner up to
    `NODE_MM` and joined by a line beyond.
    """
    for index, piece in enumerate(run):
        following = run[(index + 1) % len(run)] if closed or index + 1 < len(run) else None
        yield from _leaving(piece)
        if following is not None and math.dist(piece.end, following.start) > NODE_MM:
            yield (*piece.end, 0.0)


def _leaving(piece: Piece) -> Iterable[Vertex]:
    if not isinstance(piece, Arc):
        yield (*piece.start, 0.0)
        return
    count = 2 if abs(piece.sweep_deg) > 180.0 else 1
    bulge = math.tan(math.radians(piece.sweep_deg) / (4 * count))
    yield (*piece.start, bulge)
    if count == 2:
        yield (*replace(piece, sweep_deg=piece.sweep_deg / 2).end, bulge)
