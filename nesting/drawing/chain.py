"""Loose curves to closed contours: ends that meet are followed round.

Ends within `NODE_MM` are one point.  Wider gaps are bridged only between two open ends that are each other's nearest:
up to `JOIN_SILENT_MM` without a word, up to the caller's limit with a finding.  A bridged gap is closed by moving the
end of a line or polyline onto its neighbour, so that the number of entities stays.  Between two curves whose ends
cannot move alone, such as arcs, a silent gap stays, as `Contour` allows, and a wider one takes a short line.
"""

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from nesting.drawing.ends import nearest_others, nodes
from nesting.drawing.entities import Drawn
from nesting.drawing.findings import Finding, at
from nesting.drawing.pieces import middle, with_ends
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Curve, Line
from nesting.geometry.pose import Point
from nesting.tolerances import JOIN_SILENT_MM, NODE_MM

_LENGTHS_OF_GAP: Final = 6.0


@dataclass(frozen=True, slots=True)
class Loop:
    """A closed contour and the entities it was made of."""

    contour: Contour
    entities: tuple[str, ...]
    layer: str


@dataclass(frozen=True, slots=True)
class Chain:
    """Curves head to tail that do not close."""

    drawn: tuple[Drawn, ...]

    @property
    def start(self) -> Point:
        """First point."""
        return self.drawn[0].curve.start

    @property
    def end(self) -> Point:
        """Last point."""
        return self.drawn[-1].curve.end

    @property
    def length_mm(self) -> float:
        """Length of all curves."""
        return math.fsum(d.curve.length_mm for d in self.drawn)

    @property
    def gap_mm(self) -> float:
        """Distance between its ends."""
        return math.dist(self.start, self.end)

    def reversed(self) -> "Chain":
        """The same chain from its other end."""
        return Chain(tuple(_turned(d) for d in reversed(self.drawn)))


@dataclass(frozen=True, kw_only=True)
class Chained:
    """Loops, chains that stay open, and what was mended."""

    loops: tuple[Loop, ...]
    chains: tuple[Chain, ...]
    findings: tuple[Finding, ...]


def follow(drawn: Sequence[Drawn]) -> Chained:
    """Chain curves whose ends meet within `NODE_MM`; chains stop where three or more ends meet.

    Curves of no length and curves drawn twice are dropped with a finding.
    """
    closed = [d for d in drawn if d.curve.closed]
    loops = [loop_of((d,)) for d in closed if d.curve.length_mm > NODE_MM]
    loose, numbers, findings = _distinct([d for d in drawn if not d.curve.closed])
    chains: list[Chain] = []
    for run in _runs(numbers):
        chain = Chain(tuple(_turned(loose[i]) if turned else loose[i] for i, turned in run))
        closes = _tail(run[-1], numbers) == _head(run[0], numbers)
        if closes and chain.gap_mm <= 4 * NODE_MM:
            loops.append(loop_of(chain.drawn))
        else:
            chains.append(chain)
    return Chained(loops=tuple(loops), chains=tuple(chains), findings=tuple(findings))


def bridge(chains: Sequence[Chain], join_mm: float) -> Chained:
    """Join chains across gaps up to `join_mm` between ends that are each other's nearest, and close them.

    A gap must be small beside what it joins, so that a short stray arc is not closed onto itself.  Ends that meet
    others exactly are joints of three or more and are left alone.
    """
    ends = [end for chain in chains for end in (chain.start, chain.end)]
    partner: dict[int, int] = {}
    findings = []
    for i, j in _nearest_pairs(ends, join_mm):
        gap = math.dist(ends[i], ends[j])
        lengths = [chains[i // 2].length_mm, chains[j // 2].length_mm]
        if gap > JOIN_SILENT_MM and min(lengths) < (_LENGTHS_OF_GAP if i // 2 == j // 2 else 1.0) * gap:
            continue
        partner[i], partner[j] = j, i
        if gap > JOIN_SILENT_MM:
            a, b = (_end_entity(chains[k // 2], k % 2) for k in (i, j))
            text = f"gap of {gap:.3f} mm at {at(ends[i])} between {a} and {b} bridged"
            findings.append(
                Finding(kind="gap bridged", severity="warning", message=text, place=ends[i], entity=a, size_mm=gap)
            )
    loops, open_chains = [], []
    for chain, closes in _linked(chains, partner):
        if closes:
            loops.append(loop_of(chain.drawn))
        else:
            open_chains.append(chain)
    return Chained(loops=tuple(loops), chains=tuple(open_chains), findings=tuple(findings))


def loop_of(drawn: Sequence[Drawn]) -> Loop:
    """Make a loop of curves that follow one another; gaps beside lines and open polylines are closed."""
    curves = [d.curve for d in drawn]
    if len(curves) > 1 or not curves[0].closed:
        curves = _mended(curves)
    entities = tuple(dict.fromkeys(d.entity for d in drawn))
    return Loop(Contour(curves=tuple(curves)), entities, drawn[0].layer)


def _mended(curves: list[Curve]) -> list[Curve]:
    """Close gaps by moving ends; between two curves whose ends cannot move, a gap worth telling takes a line."""
    count = len(curves)
    bridges: dict[int, Line] = {}
    for i in range(count):
        k = (i + 1) % count
        if math.dist(curves[i].end, curves[k].start) <= NODE_MM:
            continue
        moved = with_ends(curves[k], curves[i].end, None)
        if moved is not None:
            curves[k] = moved
            continue
        moved = with_ends(curves[i], None, curves[k].start)
        if moved is not None:
            curves[i] = moved
        elif math.dist(curves[i].end, curves[k].start) > JOIN_SILENT_MM:
            bridges[i] = Line(start=curves[i].end, end=curves[k].start)
    return [c for i, curve in enumerate(curves) for c in (curve, bridges.get(i)) if c is not None]


def _distinct(loose: list[Drawn]) -> tuple[list[Drawn], list[int], list[Finding]]:
    """Drop curves of no length and repeats; return the rest with the node numbers of their ends, two for each."""
    numbers = nodes([end for d in loose for end in (d.curve.start, d.curve.end)], NODE_MM)
    kept: list[Drawn] = []
    kept_numbers: list[int] = []
    findings: list[Finding] = []
    seen: dict[tuple[int, int], list[Drawn]] = defaultdict(list)
    for index, d in enumerate(loose):
        a, b = numbers[2 * index], numbers[2 * index + 1]
        if a == b and d.curve.length_mm <= 2 * NODE_MM:
            findings.append(_dropped("zero length", d, "has no length and was dropped"))
            continue
        same = next((other for other in seen[min(a, b), max(a, b)] if _same(other.curve, d.curve)), None)
        if same is not None:
            findings.append(_dropped("duplicate", d, f"lies on {same.entity} and was dropped"))
            continue
        seen[min(a, b), max(a, b)].append(d)
        kept.append(d)
        kept_numbers += [a, b]
    return kept, kept_numbers, findings


def _same(a: Curve, b: Curve) -> bool:
    if a.type != b.type or abs(a.length_mm - b.length_mm) > JOIN_SILENT_MM:
        return False
    return math.dist(middle(a), middle(b)) <= JOIN_SILENT_MM


def _dropped(kind: str, d: Drawn, text: str) -> Finding:
    place = d.curve.start
    return Finding(
        kind=kind, severity="note", message=f"{d.entity} at {at(place)} {text}", place=place, entity=d.entity
    )


_Run = list[tuple[int, bool]]


def _head(step: tuple[int, bool], numbers: Sequence[int]) -> int:
    return numbers[2 * step[0] + (1 if step[1] else 0)]


def _tail(step: tuple[int, bool], numbers: Sequence[int]) -> int:
    return numbers[2 * step[0] + (0 if step[1] else 1)]


def _runs(numbers: Sequence[int]) -> Iterator[_Run]:
    """Yield each maximal run of curves through nodes where exactly two ends meet; True where one is turned round."""
    at_node: dict[int, list[int]] = defaultdict(list)
    for end, node in enumerate(numbers):
        at_node[node].append(end)
    used = [False] * (len(numbers) // 2)
    starts = [end for ends in at_node.values() if len(ends) != 2 for end in ends]
    for end in (*starts, *range(0, len(numbers), 2)):
        if used[end // 2]:
            continue
        run: _Run = []
        while not used[end // 2]:
            used[end // 2] = True
            run.append((end // 2, end % 2 == 1))
            ends = at_node[numbers[end ^ 1]]
            if len(ends) != 2:
                break
            end = ends[0] if ends[1] == end ^ 1 else ends[1]
        yield run


def _nearest_pairs(ends: Sequence[Point], join_mm: float) -> list[tuple[int, int]]:
    """Return the pairs of ends that are each other's nearest, within `join_mm`."""
    numbers = nodes(ends, NODE_MM)
    holders: dict[int, list[int]] = defaultdict(list)
    for end, number in enumerate(numbers):
        holders[number].append(end)
    # An end that meets others is a joint: it may be the nearest of another end, but is not to be bridged itself.
    first = [found[0] for _, found in sorted(holders.items())]
    nearest = {first[i]: (gap, first[j]) for i, (gap, j) in nearest_others([ends[k] for k in first], join_mm).items()}
    free = {found[0] for found in holders.values() if len(found) == 1}
    return [
        (i, j)
        for i, (gap, j) in sorted(nearest.items())
        if i < j and i in free and j in free and nearest[j][1] == i and gap > NODE_MM
    ]


def _linked(chains: Sequence[Chain], partner: dict[int, int]) -> Iterator[tuple[Chain, bool]]:
    """Yield chains with their partners appended, and whether the result closes."""
    used = [False] * len(chains)
    free = [end for end in range(2 * len(chains)) if end not in partner]
    for start in (*free, *range(0, 2 * len(chains), 2)):
        if used[start // 2]:
            continue
        end, parts = start, []
        while True:
            used[end // 2] = True
            chain = chains[end // 2]
            parts += list(chain.drawn if end % 2 == 0 else chain.reversed().drawn)
            following = partner.get(end ^ 1)
            if following is None or used[following // 2]:
                break
            end = following
        yield Chain(tuple(parts)), following is not None


def _end_entity(chain: Chain, which: int) -> str:
    return chain.drawn[-1 if which else 0].entity


def _turned(d: Drawn) -> Drawn:
    return replace(d, curve=d.curve.reversed())
