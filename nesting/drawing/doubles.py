"""Things drawn twice: contours that are the same shape, and open chains that only run along other curves."""

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import LineString

from nesting.drawing.chain import Chain, Loop
from nesting.drawing.ends import box_pairs
from nesting.drawing.findings import Finding, at
from nesting.geometry.curves import Arc
from nesting.tolerances import JOIN_SILENT_MM, NESTING_CHORD_MM

# Two flattenings of one curve may differ by their chord errors.
_SAME_MM = JOIN_SILENT_MM + 2 * NESTING_CHORD_MM
_CHUNK = 256


def distinct_loops(loops: Sequence[Loop]) -> tuple[tuple[Loop, ...], tuple[Finding, ...]]:
    """Keep the first of loops that have the same shape, wherever each starts and whatever it is made of."""
    lines = [loop_line(loop) for loop in loops]
    kept: list[int] = []
    findings = []
    leaders: dict[tuple[int, int, int], list[int]] = {}
    for k, line in enumerate(lines):
        key = _box_key(line)
        near = sorted(i for other in _around(key) for i in leaders.get(other, ()))
        first = next((i for i in near if _one_circle(loops[i], loops[k]) or _alike(lines[i], line)), None)
        if first is None:
            kept.append(k)
            leaders.setdefault(key, []).append(k)
        else:
            findings.append(_twice(loops[first], loops[k]))
    return tuple(loops[k] for k in kept), tuple(findings)


def without_marked(loops: Sequence[Loop], marks: Sequence[Loop]) -> tuple[tuple[Loop, ...], tuple[Finding, ...]]:
    """Leave out loops that are drawn on a mark layer as well: the mark layer says what they are."""
    if not (loops and marks):
        return tuple(loops), ()
    lines, marked = [loop_line(loop) for loop in loops], [loop_line(mark) for mark in marks]
    pairs = shapely.STRtree(marked).query(lines, predicate="dwithin", distance=_SAME_MM).T.tolist()
    out = {i for i, j in pairs if _alike(lines[i], marked[j])}
    if not out:
        return tuple(loops), ()
    first = loops[min(out)]
    place = first.contour.pieces[0].start
    text = (
        f"{len(out)} contours drawn both to be cut and on a mark layer are taken as marks, the first at {at(place)} "
        f"(layers {first.layer} and {marks[0].layer})"
    )
    finding = Finding(kind="cut and mark", severity="warning", message=text, place=place, entity=first.entities[0])
    return tuple(loop for k, loop in enumerate(loops) if k not in out), (finding,)


def distinct_chains(chains: Sequence[Chain], loops: Sequence[Loop]) -> tuple[tuple[Chain, ...], tuple[Finding, ...]]:
    """Drop open chains that lie wholly on loops or on other chains, the shortest first."""
    if not chains:
        return (), ()
    lines = [chain_line(chain) for chain in chains] + [loop_line(loop) for loop in loops]
    box_pairs(lines)  # refuses what is too dense to be told apart below
    tree = shapely.STRtree(lines)
    dropped: set[int] = set()
    findings = []
    for i in sorted(_maybe_covered(lines, len(chains), tree), key=lambda k: chains[k].length_mm):
        near = [j for j in tree.query(lines[i].buffer(JOIN_SILENT_MM)).tolist() if j != i and j not in dropped]
        if near and _covers([lines[j] for j in near], lines[i]):
            dropped.add(i)
            first = chains[i].drawn[0]
            place = chains[i].start
            text = f"{first.entity} at {at(place)} runs along other curves and was dropped"
            findings.append(Finding(kind="duplicate", severity="note", message=text, place=place, entity=first.entity))
    return tuple(c for k, c in enumerate(chains) if k not in dropped), tuple(findings)


def _maybe_covered(lines: list[LineString], count: int, tree: shapely.STRtree) -> set[int]:
    """Those of the first `count` lines whose middle lies on another line; the rest need no closer look."""
    middles = shapely.line_interpolate_point(lines[:count], 0.5, normalized=True)
    found: set[int] = set()
    for start in range(0, count, _CHUNK):
        pairs = tree.query(middles[start : start + _CHUNK], predicate="dwithin", distance=_SAME_MM).T
        found |= {start + i for i, j in pairs.tolist() if start + i != j}
    return found


def loop_line(loop: Loop) -> LineString:
    """The loop in chords, its ends joined.

    Points nearer than the chords are wrong are one: rounding would make them cross back over one another.
    """
    points = np.vstack([piece.points(NESTING_CHORD_MM) for piece in loop.contour.pieces])
    line = LineString(np.vstack([points, points[:1]]))
    return shapely.remove_repeated_points(line, tolerance=NESTING_CHORD_MM / 2)


def chain_line(chain: Chain) -> LineString:
    """The chain in chords."""
    return LineString([p for d in chain.drawn for p in d.curve.points(NESTING_CHORD_MM).tolist()])


def _box_key(line: LineString) -> tuple[int, int, int]:
    """Left, lower and right side of the box in steps that no two alike loops are more than one apart in."""
    x0, y0, x1, _ = line.bounds
    return (int(x0 // _SAME_MM), int(y0 // _SAME_MM), int(x1 // _SAME_MM))


def _around(key: tuple[int, int, int]) -> list[tuple[int, int, int]]:
    steps = (-1, 0, 1)
    return [(key[0] + i, key[1] + j, key[2] + k) for i in steps for j in steps for k in steps]


def _one_circle(a: Loop, b: Loop) -> bool:
    """A quick answer for the commonest of contours."""
    (p, *more), (q, *others) = a.contour.curves, b.contour.curves
    if more or others or not (isinstance(p, Arc) and isinstance(q, Arc)):
        return False
    return math.dist(p.center, q.center) + abs(p.radius_mm - q.radius_mm) <= JOIN_SILENT_MM


def _alike(a: LineString, b: LineString) -> bool:
    boxes = abs(np.subtract(a.bounds, b.bounds)).max()
    if boxes > _SAME_MM or shapely.hausdorff_distance(a, b) > _SAME_MM:
        return False
    # That distance is taken at corners only; other shapes may have the same, as a square with a notch from either side.
    return _covers([a], b) and _covers([b], a)


def _covers(lines: list[LineString], line: LineString) -> bool:
    band = shapely.union_all([other.buffer(_SAME_MM, quad_segs=4) for other in lines])
    return bool(band.covers(line))


def _twice(first: Loop, second: Loop) -> Finding:
    place = second.contour.pieces[0].start
    text = f"contour of {second.entities[0]} at {at(place)} is the same as that of {first.entities[0]}; one was dropped"
    return Finding(kind="duplicate", severity="note", message=text, place=place, entity=second.entities[0])
