"""Closed outlines of corners and arcs, refused where they bound no plain area."""

import math
from collections.abc import Sequence
from typing import Final

from shapely.geometry import Polygon
from shapely.validation import explain_validity

from nesting.errors import InputError
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc, Line, Polyline
from nesting.tolerances import FINE_CHORD_MM

Vertex = tuple[float, float, float]
LEAST_AREA_MM2: Final = 1.0


def ring(vertices: Sequence[Vertex], where: str) -> Contour:
    """Return the contour through corners with bulges; raise `InputError` naming `where` if it bounds no plain area."""
    before = [vertices[-1], *vertices[:-1]] if vertices else []
    kept = tuple(v for v, b in zip(vertices, before, strict=True) if v[:2] != b[:2] or len(vertices) == 1)
    bent = any(bulge for _, _, bulge in kept)
    if len(kept) < (2 if bent else 3):
        raise InputError(f"{where}: a closed outline needs at least three corners, got {len(kept)}; give the others")
    contour = contour_of(kept)
    # An arc's own end is off by rounding and may lie beyond the tangent edge that follows: the next start stands in.
    drawn = Polygon([p for piece in contour.pieces for p in piece.points(FINE_CHORD_MM)[:-1]])
    if not drawn.is_valid:
        raise InputError(
            f"{where}: the outline crosses itself ({explain_validity(drawn)}); "
            "give the corners in order around the edge"
        )
    if contour.area_mm2 < LEAST_AREA_MM2:
        raise InputError(
            f"{where}: the outline holds no area ({contour.area_mm2:.3g} mm2); check the unit and the corners"
        )
    return contour


def contour_of(vertices: Sequence[Vertex]) -> Contour:
    """Return the contour through corners with bulges as they stand."""
    if any(bulge for _, _, bulge in vertices):
        return Contour(curves=(Polyline(vertices=tuple(vertices), is_closed=True),))
    return Contour.of_points([(x, y) for x, y, _ in vertices])


def vertices_of(contour: Contour) -> list[Vertex]:
    """Return a contour of lines and arcs as corners with bulges, counter-clockwise.

    Raise ValueError for other curves.
    """
    found: list[Vertex] = []
    for piece in contour.pieces:
        if isinstance(piece, Line):
            found.append((*piece.start, 0.0))
        elif isinstance(piece, Arc):
            # More than half a turn in one bulge is lawful and ill-conditioned: two arcs are neither.
            steps = 2 if abs(piece.sweep_deg) > 180.0 else 1
            bulge = math.tan(math.radians(piece.sweep_deg) / steps / 4)
            for k in range(steps):
                angle = math.radians(piece.start_deg + piece.sweep_deg * k / steps)
                at = (
                    piece.center[0] + piece.radius_mm * math.cos(angle),
                    piece.center[1] + piece.radius_mm * math.sin(angle),
                )
                found.append((*(piece.start if k == 0 else at), bulge))
        else:
            raise ValueError(f"{type(piece).__name__} is neither line nor arc")
    return found
