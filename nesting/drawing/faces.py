"""Contours where lines meet in T-joints, cross or are shared: the faces of the plane that the lines divide.

Curves are split exactly where another one ends on them or crosses them; shapely finds the faces on chords that keep
the split points, and each face is handed back as the true curves along its edge.
"""

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from nesting.drawing.chain import Chain, Loop, loop_of
from nesting.drawing.doubles import chain_line, loop_line
from nesting.drawing.ends import box_pairs, nodes
from nesting.drawing.entities import Drawn
from nesting.drawing.findings import Finding, at
from nesting.drawing.pieces import distance_to, middle, parameter_of, piece_between
from nesting.geometry.curves import Piece
from nesting.geometry.pose import Point
from nesting.tolerances import JOIN_SILENT_MM, NESTING_CHORD_MM

_WASTE = 0.01
_TOUCH_MM = JOIN_SILENT_MM + NESTING_CHORD_MM


@dataclass(frozen=True, slots=True)
class _Bit:
    """Part of a source piece between two parameters; `a` and `b` are the nodes of its ends."""

    source: int
    t0: float
    t1: float
    piece: Piece
    a: int
    b: int


def split_at_joints(
    loops: Sequence[Loop], chains: Sequence[Chain]
) -> tuple[tuple[Loop, ...], tuple[Chain, ...], tuple[Finding, ...]]:
    """Replace every group of loops and chains tied by joints with the faces it bounds.

    A chain that only touches something with one end ties nothing: it is a slit or a stray and stays a chain.
    """
    groups = _groups(loops, chains)
    if not groups:
        return tuple(loops), tuple(chains), ()
    tied_loops = {i for group in groups for i in group if i < len(loops)}
    tied_chains = {i - len(loops) for group in groups for i in group if i >= len(loops)}
    new_loops = [loop for i, loop in enumerate(loops) if i not in tied_loops]
    new_chains = [chain for i, chain in enumerate(chains) if i not in tied_chains]
    findings: list[Finding] = []
    for group in groups:
        members = [loops[i] if i < len(loops) else chains[i - len(loops)] for i in group]
        made, left, said = _faces(list(_drawn_of(members)))
        if not made:
            new_loops += [m for m in members if isinstance(m, Loop)]
            new_chains += [m for m in members if isinstance(m, Chain)]
            continue
        new_loops += made
        new_chains += left
        findings += said
    return tuple(new_loops), tuple(new_chains), tuple(findings)


def _groups(loops: Sequence[Loop], chains: Sequence[Chain]) -> list[list[int]]:
    """Return sets of items tied together by chains whose both ends lie on something, loops counted first."""
    if not chains:
        return []
    lines = [loop_line(loop) for loop in loops] + [chain_line(chain) for chain in chains]
    pieces_of = [loop.contour.pieces for loop in loops]
    pieces_of += [tuple(piece for d in chain.drawn for piece in d.curve.pieces) for chain in chains]
    tree = shapely.STRtree(lines)
    touched: dict[int, list[list[int]]] = {}
    for k, chain in enumerate(chains, start=len(loops)):
        ends = shapely.points([chain.start, chain.end])
        near = [tree.query(end, predicate="dwithin", distance=_TOUCH_MM).tolist() for end in ends]
        items = [
            [j for j in found if (_on_itself(chain, which) if j == k else _touches(end, pieces_of[j]))]
            for which, (found, end) in enumerate(zip(near, (chain.start, chain.end), strict=True))
        ]
        touched[k] = items
    ties = _without_dangles(touched)
    leader = {i: i for pair in ties for i in pair}

    def find(i: int) -> int:
        while leader[i] != i:
            leader[i] = leader[leader[i]]
            i = leader[i]
        return i

    for i, j in ties:
        leader[find(i)] = find(j)
    groups: dict[int, list[int]] = {}
    for i in sorted(leader):
        groups.setdefault(find(i), []).append(i)
    return list(groups.values())


def _without_dangles(touched: dict[int, list[list[int]]]) -> list[tuple[int, int]]:
    """Leave out chains with a free end, and again those that were held by them only."""
    alive = dict(touched)
    while True:
        free = [k for k, ends in alive.items() if not all(_held(found, touched, alive) for found in ends)]
        if not free:
            break
        for k in free:
            del alive[k]
    return [(k, j) for k, ends in alive.items() for found in ends for j in found if j in alive or j not in touched]


def _held(found: list[int], touched: dict[int, list[list[int]]], alive: dict[int, list[list[int]]]) -> bool:
    return any(j in alive or j not in touched for j in found)


def _touches(place: Point, pieces: Iterable[Piece]) -> bool:
    return any(distance_to(piece, place) <= JOIN_SILENT_MM for piece in pieces)


def _on_itself(chain: Chain, which: int) -> bool:
    """Tell whether one end of a chain lies on a curve of the same chain other than its own."""
    others = chain.drawn[:-1] if which else chain.drawn[1:]
    return _touches(chain.end if which else chain.start, (piece for d in others for piece in d.curve.pieces))


def _drawn_of(members: Iterable[Loop | Chain]) -> Iterable[Drawn]:
    for member in members:
        if isinstance(member, Chain):
            for d in member.drawn:
                yield from (replace(d, curve=piece) for piece in d.curve.pieces)
        else:
            label = member.entities[0] if len(member.entities) == 1 else "/".join(member.entities[:2])
            yield from (Drawn(piece, member.layer, "", label) for piece in member.contour.pieces)


def _faces(drawn: list[Drawn]) -> tuple[list[Loop], list[Chain], list[Finding]]:
    bits, places, doubled = _bits(drawn)
    lines = [_bit_line(bit, places) for bit in bits]
    owner: dict[tuple[Point, Point], int] = {}
    for k, line in enumerate(lines):
        for p, q in pairwise(line.coords):
            owner[p, q] = owner[q, p] = k
    polygons = [g for g in shapely.get_parts(shapely.polygonize(lines)).tolist() if isinstance(g, Polygon)]
    rings = [list(dict.fromkeys(owner[p, q] for p, q in pairwise(g.exterior.coords))) for g in polygons]
    wholes = [_whole(ring, bits, drawn) for ring in rings]
    uses = Counter(k for ring in rings for k in ring)
    left = [Chain((_as_drawn(bits[k].piece, drawn[bits[k].source]),)) for k in range(len(bits)) if not uses[k]]
    if not wholes:
        return [], left, []
    wholes, small = _without_waste(wholes)
    shared = math.fsum(bits[k].piece.length_mm for k, n in uses.items() if n > 1)
    inside = polygons[0].representative_point()
    place = (inside.x, inside.y)
    if shared == 0.0:
        text = f"lines that meet in T-joints or overlap near {at(place)} were sorted out into {len(wholes)} contours"
    else:
        text = (
            f"lines near {at(place)} are shared by neighbours ({shared:.1f} mm): each of the {len(wholes)} faces is "
            "taken as a contour of its own, and only its size tells whether it is waste between parts: look at the "
            "picture, and name the parts you want with only; put fold or mark lines on a layer of their own"
        )
    if doubled:
        longest = max(doubled, key=lambda piece: piece.length_mm)
        text += f"; {math.fsum(p.length_mm for p in doubled):.2f} mm drawn twice, most at {at(longest.start)}"
    about = Finding(kind="shared lines", severity="warning", message=text, place=place)
    return wholes, left, [about, *small]


def _without_waste(faces: list[Loop]) -> tuple[list[Loop], list[Finding]]:
    """Leave out faces that are tiny beside their neighbours: gaps between panels, not parts."""
    usual = median(face.contour.area_mm2 for face in faces)
    waste = [face for face in faces if face.contour.area_mm2 < _WASTE * usual]
    findings = []
    for face in waste:
        place = face.contour.pieces[0].start
        text = f"face of {face.contour.area_mm2:.1f} mm2 at {at(place)} between shared lines taken as waste, left out"
        findings.append(
            Finding(kind="waste face", severity="warning", message=text, place=place, entity=face.entities[0])
        )
    return [face for face in faces if face not in waste], findings


def _bits(drawn: list[Drawn]) -> tuple[list[_Bit], dict[int, Point], list[Piece]]:
    """Split all pieces where others end on them or cross them; what is drawn twice comes apart."""
    pieces = [d.curve.pieces[0] for d in drawn]
    spans = [(k, *span) for k, cuts in enumerate(_cuts(pieces)) for span in pairwise(cuts)]
    made = [piece_between(pieces[k], t0, t1) for k, t0, t1 in spans]
    ends = [p for piece in made for p in (piece.start, piece.end)]
    numbers = nodes(ends, JOIN_SILENT_MM)
    places: dict[int, Point] = {}
    for end, number in zip(ends, numbers, strict=True):
        places.setdefault(number, end)
    found: list[_Bit] = []
    doubled: list[Piece] = []
    seen: dict[tuple[int, int], list[Piece]] = {}
    for i, ((k, t0, t1), piece) in enumerate(zip(spans, made, strict=True)):
        a, b = numbers[2 * i], numbers[2 * i + 1]
        if a == b and piece.length_mm <= 2 * JOIN_SILENT_MM:
            continue
        same = seen.setdefault((min(a, b), max(a, b)), [])
        if any(math.dist(middle(piece), middle(other)) <= 2 * JOIN_SILENT_MM for other in same):
            doubled.append(piece)
            continue
        same.append(piece)
        found.append(_Bit(k, t0, t1, piece, a, b))
    return found, places, doubled


def _cuts(pieces: Sequence[Piece]) -> list[list[float]]:
    """Return for each piece the parameters, 0 and 1 included, where it must be split."""
    lines = [LineString(p.points(NESTING_CHORD_MM)) for p in pieces]
    pairs = box_pairs(lines)
    tree = shapely.STRtree(lines)
    cuts: list[set[float]] = [{0.0, 1.0} for _ in pieces]
    ends = [p for piece in pieces for p in (piece.start, piece.end)]
    for i, j in tree.query(shapely.points(ends), predicate="dwithin", distance=_TOUCH_MM).T.tolist():
        if i // 2 != j and distance_to(pieces[j], ends[i]) <= JOIN_SILENT_MM:
            _cut(pieces[j], ends[i], cuts[j])
    several = np.array(lines)
    crossing = pairs[shapely.crosses(several[pairs[:, 0]], several[pairs[:, 1]])]
    for i, j in (*crossing.tolist(), *crossing[:, ::-1].tolist()):
        for place in shapely.get_parts(lines[i].intersection(lines[j])).tolist():
            if place.geom_type == "Point":
                _cut(pieces[i], (place.x, place.y), cuts[i])
    return [sorted(c) for c in cuts]


def _cut(piece: Piece, place: Point, cuts: set[float]) -> None:
    """Add a split unless it falls on an end or on another split."""
    t = parameter_of(piece, place)
    reach = JOIN_SILENT_MM / max(piece.length_mm, JOIN_SILENT_MM)
    if all(abs(t - other) > reach for other in cuts) and not (piece.closed and not 0.0 < t < 1.0):
        cuts.add(t)


def _bit_line(bit: _Bit, places: dict[int, Point]) -> LineString:
    inner = bit.piece.points(NESTING_CHORD_MM)[1:-1].tolist()
    if bit.a == bit.b and not inner:
        inner = bit.piece.points(NESTING_CHORD_MM / 10)[1:-1].tolist()
    return LineString([places[bit.a], *inner, places[bit.b]])


def _whole(ring: list[int], bits: Sequence[_Bit], drawn: Sequence[Drawn]) -> Loop:
    """Put a ring of bits in order of travel and join neighbours that came from one piece."""
    runs: list[tuple[int, float, float, bool]] = []
    for k, turned in _directed(ring, bits):
        bit = bits[k]
        if runs and runs[-1][0] == bit.source and runs[-1][3] == turned:
            _, t0, t1, _ = runs[-1]
            if bit.t0 == t1 or bit.t1 == t0:
                runs[-1] = (bit.source, min(t0, bit.t0), max(t1, bit.t1), turned)
                continue
        runs.append((bit.source, bit.t0, bit.t1, turned))
    if len(runs) > 1 and runs[0][0] == runs[-1][0] and runs[0][3] == runs[-1][3]:
        (source, a0, a1, turned), (_, b0, b1, _) = runs[0], runs[-1]
        if a0 == b1 or a1 == b0:
            runs[0] = (source, min(a0, b0), max(a1, b1), turned)
            runs.pop()
    found = []
    for source, t0, t1, turned in runs:
        piece = piece_between(drawn[source].curve.pieces[0], t0, t1)
        found.append(_as_drawn(piece.reversed() if turned else piece, drawn[source]))
    return loop_of(found)


def _directed(ring: list[int], bits: Sequence[_Bit]) -> list[tuple[int, bool]]:
    """Return each bit with whether it is travelled from b to a."""
    if len(ring) == 1:
        return [(ring[0], False)]
    first, second = bits[ring[0]], bits[ring[1]]
    if len(ring) == 2:
        return [(ring[0], False), (ring[1], second.a != first.b)]
    node = first.b if first.b in (second.a, second.b) else first.a
    found = [(ring[0], node == first.a)]
    for k in ring[1:]:
        turned = bits[k].a != node
        found.append((k, turned))
        node = bits[k].a if turned else bits[k].b
    return found


def _as_drawn(piece: Piece, source: Drawn) -> Drawn:
    return replace(source, curve=piece)
