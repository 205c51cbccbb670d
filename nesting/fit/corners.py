"""Inside corners that the round cut leaves a fillet in."""

import math
from collections.abc import Iterator

import numpy as np

from nesting.fit.finding import Cutting, FitFinding, at, mm
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc, Line, Piece
from nesting.geometry.facing import CHORD_MM
from nesting.geometry.pose import Point
from nesting.part import Part
from nesting.tables.limits import fit_limit
from nesting.tolerances import FIT_MM

_LEFT_MM = 0.1
"""A fillet that fills a corner by less than this is of no account, as in the flat corners of a chorded curve."""

_MOST_SWEEP_DEG = 170.0
"""An arc of a half circle or more is the end of a slot or a hole, and looked at as such."""


def corner_findings(part: Part, cutting: Cutting) -> Iterator[FitFinding]:
    """Look at all inside corners, sharp ones and small radii."""
    limit = fit_limit("corner", cutting.process, thickness_mm=cutting.thickness_mm, kerf_mm=cutting.kerf_mm)
    if limit is None:
        return
    found = [
        corner
        for number, contour in enumerate(part.contours)
        for corner in _corners(contour, limit.value_mm, hole=number > 0)
    ]
    if not found:
        return
    found.sort(key=lambda c: c[0])
    least, places = found[0][0], tuple(place for _, place in found)
    left = limit.value_mm if cutting.kerf_mm is None else cutting.kerf_mm / 2
    drawn = "sharp" if least == 0.0 else f"with a radius of {mm(least)}"
    count, asked = (f"{len(places)} inside corners",) * 2 if len(places) > 1 else ("inside corner", "an inside corner")
    yield FitFinding(
        part_id=part.id,
        kind="sharp inside corner",
        severity="note",
        message=f"{count} drawn {drawn}{at(places)}: the round cut fills {'them' if len(places) > 1 else 'it'} with a "
        f"radius of {mm(left)} or more; no matter, unless something has to seat there",
        places=places,
        value_mm=round(least, 3),
        limit_mm=limit.value_mm,
        source=limit.source,
        question=f"The drawing shows {asked} {drawn}. The cut leaves a radius of about {mm(limit.value_mm)} there. May "
        "it stay so, or does something seat in the corner, so that we should cut a relief into it or file it out?",
    )


def _corners(contour: Contour, limit_mm: float, *, hole: bool) -> list[tuple[float, Point]]:
    """Return radius and place of the inside corners under a limit; a hole's metal lies on its other side."""
    sign = 1.0 if hole else -1.0
    pieces, found = contour.pieces, []
    for piece, following in zip(pieces, [*pieces[1:], pieces[0]], strict=True):
        turn = sign * _turn_deg(piece, following)
        if turn < 179.0 and _filled_mm(turn, limit_mm) > _LEFT_MM:
            found.append((0.0, following.start))
        if isinstance(piece, Arc) and piece.radius_mm < limit_mm - FIT_MM:
            sweep = sign * piece.sweep_deg
            if sweep < _MOST_SWEEP_DEG and _filled_mm(sweep, limit_mm - piece.radius_mm) > _LEFT_MM:
                middle = Arc(
                    center=piece.center,
                    radius_mm=piece.radius_mm,
                    start_deg=piece.start_deg,
                    sweep_deg=piece.sweep_deg / 2,
                )
                found.append((piece.radius_mm, middle.end))
    return found


def _filled_mm(turn_deg: float, radius_mm: float) -> float:
    """Return how far a fillet stays off a corner of this turn; nothing at an outside corner."""
    return radius_mm * (1 / math.cos(math.radians(turn_deg) / 2) - 1) if turn_deg > 0.0 else 0.0


def _turn_deg(piece: Piece, following: Piece) -> float:
    """Return by how much the way turns from one piece to the next, degrees, left positive."""
    if piece is following:
        return 0.0
    (ax, ay), (bx, by) = _heading(piece, at_end=True), _heading(following, at_end=False)
    return math.degrees(math.atan2(ax * by - ay * bx, ax * bx + ay * by))


def _heading(piece: Piece, *, at_end: bool) -> Point:
    if isinstance(piece, Line):
        return (piece.end[0] - piece.start[0], piece.end[1] - piece.start[1])
    if isinstance(piece, Arc):
        angle = math.radians(piece.end_deg if at_end else piece.start_deg)
        sense = math.copysign(1.0, piece.sweep_deg)
        return (-math.sin(angle) * sense, math.cos(angle) * sense)
    points = piece.points(CHORD_MM)
    step = np.subtract(points[-1], points[-2]) if at_end else np.subtract(points[1], points[0])
    return (float(step[0]), float(step[1]))
