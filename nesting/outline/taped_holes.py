"""Old cut-outs among the tapes: by their own corners, or round ones by centre and diameter."""

import numpy as np

from nesting.geometry.contour import Contour
from nesting.geometry.curves import circle
from nesting.outline.misplaced import Placed, warn_of_misplaced
from nesting.outline.network import Floats
from nesting.outline.rings import ring
from nesting.outline.tape_words import Taped
from nesting.outline.taped import TapedHole
from nesting.tolerances import NESTING_CHORD_MM


def contours(taped: Taped, outer: Contour, uncertainty_mm: float) -> tuple[tuple[Contour, ...], list[str]]:
    """Return the holes and warnings of such as overlap; raise `InputError` for one that reaches beyond the outline."""
    found = [(_where(taped, hole), _contour(taped, hole)) for hole in taped.holes]
    placed = [
        Placed(kind="outline", where=taped.source, area=outer.polygon(NESTING_CHORD_MM, "midway")),
        *(Placed(kind="hole", where=w, area=c.polygon(NESTING_CHORD_MM, "midway")) for w, c in found),
    ]
    return tuple(c for _, c in found), warn_of_misplaced(placed, uncertainty_mm)


def covariance_of(taped: Taped) -> Floats:
    """Covariance of the edge's corners and then the holes', in the place of the readings.

    A diameter that may be off by one deviation puts the edge of a round hole off by half of that, on top of its centre.
    """
    flat = [axis for k in (*taped.edge, *taped.inner) for axis in (2 * k, 2 * k + 1)]
    found: Floats = taped.scale**2 * taped.adjusted.covariance[np.ix_(flat, flat)]
    halves = [hole.sigma_mm / 2 for hole in taped.holes for _ in hole.corners]
    more = [0.0] * (2 * len(taped.edge)) + [half**2 for half in halves for _ in "xy"]
    return found + np.diag(more)


def _where(taped: Taped, hole: TapedHole) -> str:
    return f"{taped.source}, line {hole.line} (hole)"


def _contour(taped: Taped, hole: TapedHole) -> Contour:
    xy = [taped.adjusted.points[taped.names.index(name)] for name in hole.corners]
    corners = [(float(x), float(y), 0.0) for x, y in xy]
    if hole.diameter_mm is None:
        return ring(corners, _where(taped, hole))
    return Contour(curves=(circle(corners[0][:2], hole.diameter_mm / 2),))
