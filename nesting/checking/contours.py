"""Whether contours as drawn are those that were to be drawn: the same shapes, and how far from their places."""

import math
from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np
import shapely

from nesting.drawing.splines import domain
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc, EllipseArc, Line, Piece, Spline, circle
from nesting.geometry.pose import Point
from nesting.tolerances import CHECK_MM, FINE_CHORD_MM, R12_ARC_MM

_LENGTH_RELATIVE: Final = 1e-6
_FITTED_RELATIVE: Final = 1e-4
"""Contours whose splines and ellipses an old DXF version holds as arcs may differ this much in length."""

_ROUND: Final = 1e-6

_SPLINE_SHARES: Final = (0.0, 0.25, 0.5, 0.75)
"""Where along its parameters a spline is compared; beyond the start they are the same from either end."""


def same_contours(drawn: Sequence[Contour], wanted: Sequence[Contour]) -> bool:
    """Tell whether contours are of the same kinds of curves, lengths and areas, wherever they lie."""
    return len(drawn) == len(wanted) and all(_same_contour(a, b) for a, b in _paired(drawn, wanted))


def displaced(drawn: Sequence[Contour], wanted: Sequence[Contour]) -> float:
    """Return how far points of contours that are the same, joints and others, lie from where they should."""
    # Arcs in the place of a spline, and polylines, have joints of their own; both must lie on the other's line.
    if any(_kinds(a) != _kinds(b) for a, b in _paired(drawn, wanted)):
        # What was closed in writing, an end of one curve put on the next, is off by no more than the gap was.
        gap_mm = max(map(_largest_gap_mm, wanted))
        return max(0.0, max(_off_line(wanted, drawn), _off_line(drawn, wanted)) - gap_mm)
    return float(shapely.hausdorff_distance(*(shapely.MultiPoint(_points(each)) for each in (drawn, wanted))))


def middle(contour: Contour) -> Point:
    """Return the middle of the box round the points a contour is known by."""
    points = np.array(_points([contour]))
    x, y = (points.min(axis=0) + points.max(axis=0)) / 2
    return (float(x), float(y))


def told(contours: Sequence[Contour]) -> str:
    """Contours in words, as `2 contours (4 line, 1 circle), 345.678 mm round 5012.3 mm2`."""
    kinds = sum((_kinds(c) for c in contours), Counter[str]())
    listed = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items())) or "none"
    length_mm, area_mm2 = sum(c.length_mm for c in contours), sum(c.area_mm2 for c in contours)
    return f"{len(contours)} contours ({listed}), {length_mm:.6g} mm round {area_mm2:.6g} mm2"


def points_on(piece: Piece) -> list[Point]:
    """Return points a piece is known by: its start and others within, since an arc can bulge to either side.

    A closed one may begin anywhere: of a circle the four outermost points, of an ellipse the tips of its axes.
    """
    if isinstance(piece, Arc) and piece.closed:
        (x, y), r = piece.center, piece.radius_mm
        return [(x + r, y), (x, y + r), (x - r, y), (x, y - r)]
    if isinstance(piece, EllipseArc) and piece.closed and 1.0 - piece.ratio < _ROUND:
        # Its axes may point anywhere, and another way once it was turned over.
        return points_on(circle(piece.center, math.hypot(*piece.major)))
    if isinstance(piece, EllipseArc) and piece.closed:
        (x, y), (ax, ay), q = piece.center, piece.major, piece.ratio
        return [(x + ax, y + ay), (x - ax, y - ay), (x - q * ay, y + q * ax), (x + q * ay, y - q * ax)]
    if isinstance(piece, Arc | EllipseArc):
        return [piece.start, replace(piece, sweep_deg=piece.sweep_deg / 2).end]
    if isinstance(piece, Spline):
        low, high = domain(piece)
        return [piece.at(low + share * (high - low)) for share in _SPLINE_SHARES]
    return [piece.start, _halfway(piece)]


def _halfway(line: Line) -> Point:
    (x0, y0), (x1, y1) = line.start, line.end
    return ((x0 + x1) / 2, (y0 + y1) / 2)


def _points(contours: Iterable[Contour]) -> list[Point]:
    return [p for contour in contours for piece in contour.pieces for p in points_on(piece)]


def _paired(drawn: Sequence[Contour], wanted: Sequence[Contour]) -> list[tuple[Contour, Contour]]:
    """Pair each contour with one that is the same, if there is one, else with the one nearest in length."""
    left = sorted(wanted, key=lambda c: c.length_mm)
    lengths = [c.length_mm for c in left]
    pairs, unlike = [], []
    for contour in drawn:
        slack_mm = _fitted_slack_mm(contour)
        k = bisect_left(lengths, contour.length_mm - slack_mm)
        while k < len(left) and lengths[k] <= contour.length_mm + slack_mm and not _same_contour(contour, left[k]):
            k += 1
        if k < len(left) and lengths[k] <= contour.length_mm + slack_mm:
            pairs.append((contour, left.pop(k)))
            lengths.pop(k)
        else:
            unlike.append(contour)
    return [*pairs, *zip(sorted(unlike, key=lambda c: c.length_mm), left, strict=True)]


def _fitted_slack_mm(contour: Contour) -> float:
    # Round a whole turn a line beside another is longer by a turn's angle times the distance between them.
    return _FITTED_RELATIVE * contour.length_mm + math.tau * R12_ARC_MM


def _same_contour(drawn: Contour, wanted: Contour) -> bool:
    slack_mm = _LENGTH_RELATIVE * max(wanted.length_mm, 1.0)
    if _fitted(drawn, wanted):
        slack_mm = _fitted_slack_mm(wanted)
    elif _kinds(drawn) != _kinds(wanted) and not _joined(drawn, wanted):
        return False
    # A polyline closes what gaps a contour as drawn has between its curves.
    gaps_mm = sum(_gaps_mm(wanted))
    if abs(drawn.length_mm - wanted.length_mm) > slack_mm + 2 * gaps_mm:
        return False
    # An arc turned to its other side has the same length.
    return abs(drawn.area_mm2 - wanted.area_mm2) <= (CHECK_MM + gaps_mm) * wanted.length_mm


def _gaps_mm(contour: Contour) -> list[float]:
    return [math.dist(a.end, b.start) for a, b in pairwise([*contour.curves, contour.curves[0]])]


def _largest_gap_mm(contour: Contour) -> float:
    return max(_gaps_mm(contour))


def _fitted(drawn: Contour, wanted: Contour) -> bool:
    """Tell whether splines and ellipses became arcs, as they do in R12, with lines and arcs as before or joined."""
    have, need = _kinds(drawn), _kinds(wanted)
    free = need["spline"] + need["ellipse"]
    kept = have["spline"] + have["ellipse"] == 0
    round_ = have["arc"] + 2 * have["circle"] >= need["arc"] + 2 * need["circle"]
    return free > 0 and kept and have["line"] >= need["line"] and round_


def _joined(drawn: Contour, wanted: Contour) -> bool:
    """Tell whether it may be the same contour as a polyline: there a circle is two arcs, and a start may halve a piece.

    Where its pieces truly lie is for `displaced` to measure.
    """
    have, need = _kinds(drawn), _kinds(wanted)
    free = all(have[kind] == need[kind] for kind in ("spline", "ellipse"))
    more_arcs = have["arc"] - need["arc"] >= 2 * (need["circle"] - have["circle"]) >= 0
    return free and have["line"] >= need["line"] and more_arcs


def _kinds(contour: Contour) -> Counter[str]:
    return Counter("circle" if isinstance(p, Arc) and p.closed else p.type for p in contour.pieces)


def _off_line(some: Sequence[Contour], others: Sequence[Contour]) -> float:
    """Return how far points of some contours lie off the line of others."""
    lines = shapely.union_all([c.polygon(FINE_CHORD_MM / 5, "midway").boundary for c in others])
    return float(shapely.distance(shapely.points(_points(some)), lines).max())
