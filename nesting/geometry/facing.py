"""Edges that face one another across little metal or little waste, and how far apart they are.

Contours are cut into straight edges that have the metal on their left.  Two edges face one another where
their left sides, or their right sides, look at each other; the way between is a web or a gap.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.geometry.contour import Contour
from nesting.geometry.curves import Line
from nesting.geometry.pose import Point

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Across = Literal["metal", "waste"]

CHORD_MM: Final = 0.002
_COARSE_CHORD_MM: Final = 0.02
_MANY_EDGES: Final = 20_000
_OPPOSED: Final = math.cos(math.radians(30.0))
"""Edges face one another if they are parallel within 30 degrees; a corner of more is a corner and no tongue."""

_SQUARELY: Final = 0.5
DEEP: Final = 3.0
"""Within one contour the way round must be this many times the way across: a nib as wide as long is no tongue."""


@dataclass(frozen=True, kw_only=True)
class Edges:
    """Straight edges, metal on the left; `ring` counts contours from 0, `along` is the way from its start to
    the edge's middle, `around` the contour's length.
    """

    start: Floats
    end: Floats
    ring: Ints
    along: Floats
    around: Floats


@dataclass(frozen=True, kw_only=True)
class Narrow:
    """A narrow place: its middle, its width, how long the edges run beside each other, the rings they are of."""

    at: Point
    width_mm: float
    length_mm: float
    rings: tuple[int, int]
    direction: Point


def edges_of(outer: Contour, holes: Sequence[Contour]) -> Edges:
    """Return all edges of a part, its curves as chords within `CHORD_MM` (coarser where there are very many)."""
    for chord in (CHORD_MM, _COARSE_CHORD_MM):
        runs = [_closed(c, chord) for c in (outer, *holes)]
        if sum(map(len, runs)) <= _MANY_EDGES:
            break
    return _edges([runs[0], *(run[::-1] for run in runs[1:])])


def straight_edges(outer: Contour, holes: Sequence[Contour]) -> Edges:
    """Return the edges that are drawn as straight lines, whole."""
    found = []
    for number, contour in enumerate((outer, *holes)):
        for piece in contour.pieces:
            if isinstance(piece, Line):
                found.append((number, *(piece.start, piece.end)[:: 1 if number == 0 else -1]))
    start = np.array([s for _, s, _ in found], dtype=np.float64).reshape(-1, 2)
    end = np.array([e for _, _, e in found], dtype=np.float64).reshape(-1, 2)
    ring = np.array([n for n, _, _ in found], dtype=np.int64)
    return Edges(start=start, end=end, ring=ring, along=np.zeros(len(found)), around=np.zeros(len(found)))


def facing(edges: Edges, reach_mm: float, across: Across, *, depth: float = DEEP) -> list[Narrow]:
    """Return every two edges that face one another within `reach_mm` across metal or across waste.

    Of one contour only those count whose way round is at least `depth` times the way across.
    """
    if len(edges.start) < 2 or not reach_mm > 0.0:
        return []
    lines = shapely.linestrings(np.stack([edges.start, edges.end], axis=1))
    i, j = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=reach_mm)
    unit = _units(edges)
    kept = (i < j) & (np.sum(unit[i] * unit[j], axis=1) < -_OPPOSED)
    i, j = i[kept], j[kept]
    ways = shapely.get_coordinates(shapely.shortest_line(lines[i], lines[j])).reshape(-1, 2, 2)
    inward = np.column_stack([-unit[:, 1], unit[:, 0]]) * (1.0 if across == "metal" else -1.0)
    way = ways[:, 1] - ways[:, 0]
    width = np.hypot(way[:, 0], way[:, 1])
    squarely = np.minimum(np.sum(way * inward[i], axis=1), -np.sum(way * inward[j], axis=1)) > _SQUARELY * width
    kept = squarely & (width > 1e-6) & _deep(edges, i, j, depth * width)
    return [
        _narrow(edges, unit, int(a), int(b), w, float(d))
        for a, b, w, d in zip(i[kept], j[kept], ways[kept], width[kept], strict=True)
    ]


def sharp_points(edges: Edges) -> list[tuple[Point, float]]:
    """Return the tips where metal runs out under 30 degrees, with their angles, sharpest first."""
    unit, found = _units(edges), []
    for ring in np.unique(edges.ring):
        own = np.flatnonzero(edges.ring == ring)
        before, after = unit[own], unit[np.roll(own, -1)]
        cosine = np.sum(before * after, axis=1)
        cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
        for k in np.flatnonzero((cosine < -_OPPOSED) & (cross > 0.0)):
            x, y = edges.end[own[k]]
            angle = 180.0 - math.degrees(math.atan2(cross[k], cosine[k]))
            found.append(((float(x), float(y)), angle))
    return sorted(found, key=lambda tip: tip[1])


def narrowest(found: Iterable[Narrow], reach_mm: float) -> list[Narrow]:
    """Return the narrowest of each run of narrow places that lie within `reach_mm` of the next, least first."""
    ordered = sorted(found, key=lambda n: n.width_mm)
    if not ordered:
        return []
    spots = shapely.points([n.at for n in ordered])
    runs = shapely.get_parts(shapely.union_all(shapely.buffer(spots, reach_mm, quad_segs=4)))
    run_of = dict(shapely.STRtree(runs).query(spots, predicate="intersects").T.tolist())
    first: dict[int, Narrow] = {}
    for number, narrow in enumerate(ordered):
        first.setdefault(run_of[number], narrow)
    return list(first.values())


def _closed(contour: Contour, chord_mm: float) -> Floats:
    xy: Floats = np.vstack([piece.points(chord_mm) for piece in contour.pieces])
    steps = np.hypot(*np.diff(xy, axis=0, append=xy[:1]).T)
    distinct: Floats = xy[steps > 1e-6]
    return distinct


def _edges(rings: list[Floats]) -> Edges:
    start, end, ring, along, around = [], [], [], [], []
    for number, xy in enumerate(rings):
        following = np.roll(xy, -1, axis=0)
        steps = np.hypot(*(following - xy).T)
        start.append(xy)
        end.append(following)
        ring.append(np.full(len(xy), number))
        along.append(np.cumsum(steps) - steps / 2)
        around.append(np.full(len(xy), steps.sum()))
    return Edges(
        start=np.vstack(start),
        end=np.vstack(end),
        ring=np.concatenate(ring),
        along=np.concatenate(along),
        around=np.concatenate(around),
    )


def _units(edges: Edges) -> Floats:
    run = edges.end - edges.start
    unit: Floats = run / np.maximum(np.hypot(run[:, 0], run[:, 1]), 1e-12)[:, None]
    return unit


def _deep(edges: Edges, i: Ints, j: Ints, least: Floats) -> NDArray[np.bool_]:
    apart = np.abs(edges.along[i] - edges.along[j])
    way = np.minimum(apart, edges.around[i] - apart)
    deep: NDArray[np.bool_] = (edges.ring[i] != edges.ring[j]) | (way >= least)
    return deep


def _narrow(edges: Edges, unit: Floats, i: int, j: int, way: Floats, width: float) -> Narrow:
    """Measure one pair; where the edges run beside each other at this width its place is their middle."""
    start, u = edges.start[i], unit[i]
    a0, a1 = 0.0, float((edges.end[i] - start) @ u)
    b0, b1 = sorted((float((edges.start[j] - start) @ u), float((edges.end[j] - start) @ u)))
    low, high = max(a0, b0), min(a1, b1)
    at = way.mean(axis=0)
    if high > low and abs(float(unit[i] @ unit[j])) > 1.0 - 1e-9:
        normal = np.array([-u[1], u[0]])
        at = start + u * (low + high) / 2 + normal * float((edges.start[j] - start) @ normal) / 2
    rings = (int(edges.ring[i]), int(edges.ring[j]))
    return Narrow(
        at=(float(at[0]), float(at[1])),
        width_mm=width,
        length_mm=max(0.0, high - low),
        rings=rings,
        direction=(float(u[0]), float(u[1])),
    )
