"""Which contour lies in which: outlines, holes, parts in holes, and what is none of these."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from nesting.drawing.chain import Chain, Loop
from nesting.drawing.doubles import chain_line, loop_line
from nesting.drawing.ends import box_pairs
from nesting.drawing.findings import Finding, Severity, at
from nesting.errors import DrawingError
from nesting.geometry.curves import Line
from nesting.geometry.pose import Point
from nesting.tolerances import JOIN_SILENT_MM, NESTING_CHORD_MM

ISLAND_MM: Final = 10.0
"""Something in a hole is a part of its own only from this width or height on, or if it holds a hole itself; letters
and centre dots are smaller.  Common practice, no source; fits the drawings of the survey."""

BORE_MM: Final = 50.0
"""Two circles about one centre in a part are one bored or threaded hole up to this size; larger ones may be a ring with
a disc in it.  As wide as counterbores for M30 screws (DIN 974-1, value from memory)."""

_BORE_SHARE: Final = 0.3
_SAME_CENTRE_MM: Final = 0.1
_NEARLY_CLOSED: Final = 0.1
_STROKES: Final = 2
_SLIVER_MM: Final = 0.02
_SMALL_CROSSING: Final = 1e-3
_SLIGHT_MM: Final = 0.1
_DOUBLE_MM: Final = 0.1


@dataclass(frozen=True, kw_only=True)
class Outline:
    """A part to be: its outer loop, hole loops, and the area between for telling what lies in it."""

    outer: Loop
    holes: tuple[Loop, ...]
    polygon: Polygon


@dataclass(frozen=True, kw_only=True)
class Nested:
    """Outlines of parts, and what was found on the way."""

    outlines: tuple[Outline, ...]
    findings: tuple[Finding, ...]


@dataclass(slots=True, eq=False)
class _Node:
    """A contour in the tree; one that is `broken` cannot be cut and takes its holes down with it."""

    polygon: Polygon
    loop: Loop | None
    entity: str
    inside: list["_Node"] = field(default_factory=list)

    @property
    def place(self) -> Point:
        point = self.polygon.representative_point()
        return (point.x, point.y)

    @property
    def layer(self) -> str:
        return self.loop.layer if self.loop is not None else ""

    @property
    def size(self) -> float:
        x0, y0, x1, y1 = self.polygon.bounds
        return float(max(x1 - x0, y1 - y0))


def nest(loops: Sequence[Loop], chains: Sequence[Chain], *, all_cut: bool = False) -> Nested:
    """Return parts by containment: an outline, its holes, and again parts in those holes.

    Self-crossing loops and chains that nearly close stand in the tree, so that what lies in them is not mistaken for
    parts, but make none.

    With `all_cut` every contour is cut as it is drawn, so that a circle in another is a part and asks no question.
    """
    findings: list[Finding] = []
    nodes = [node for loop in loops if (node := _loop_node(loop, findings)) is not None]
    nodes += [node for chain in chains if (node := _broken_node(chain)) is not None]
    nodes.sort(key=lambda n: -n.polygon.area)
    roots = _tree(_without_crossings(nodes, findings))
    roots = _without_sheet_edge(roots, findings)
    outlines: list[Outline] = []
    for root in roots:
        _part(root, outlines, findings, all_cut)
    outlines.sort(key=lambda o: tuple(round(v, 3) for v in o.polygon.bounds))
    return Nested(outlines=tuple(outlines), findings=tuple(findings))


def loop_polygon(loop: Loop, path: Path) -> Polygon:
    """Return the area in a loop; raise `DrawingError` if it crosses itself."""
    findings: list[Finding] = []
    node = _loop_node(loop, findings)
    if node is None or node.loop is None:
        raise DrawingError(f"{path.name}: {findings[-1].message}")
    return node.polygon


def nearly_closes(chain: Chain) -> bool:
    """Tell whether an open chain looks like an outline with a gap rather than like a line or a letter's stroke."""
    if chain.gap_mm >= _NEARLY_CLOSED * chain.length_mm:
        return False
    pieces = [piece for drawn in chain.drawn for piece in drawn.curve.pieces]
    # A stroke drawn there and back lies on itself; a lone curve that comes back to its start goes round something.
    return len(chain.drawn) > 1 or len(pieces) > _STROKES or not all(isinstance(p, Line) for p in pieces)


def _loop_node(loop: Loop, findings: list[Finding]) -> _Node | None:
    line, entity = loop_line(loop), loop.entities[0]
    polygon = Polygon(line) if len(line.coords) >= 4 else Polygon()
    valid = polygon.is_valid
    faces = [polygon] if valid else shapely.get_parts(shapely.polygonize([shapely.unary_union(line)])).tolist()
    body = shapely.union_all([Polygon(face.exterior) for face in faces])
    if 2 * body.area <= _SLIVER_MM * line.length:
        text = f"contour of {entity} at {at(line.coords[0])} is thinner than {_SLIVER_MM} mm and was left out"
        findings.append(_finding("sliver", "warning", text, line.coords[0], loop))
        return None
    if valid:
        return _Node(polygon, loop, entity)
    place, whole = _crossing_place(polygon), abs(loop.contour.area_mm2)
    largest = max(faces, key=lambda face: face.area)
    # A lobe or a spike is small beside a large part; what it does to the neighbours is not.
    slight = Polygon(largest.exterior).buffer(_SLIGHT_MM).covers(line)
    if slight and abs(largest.area - whole) <= _SMALL_CROSSING * whole:
        text = f"contour of {entity} touches or crosses itself slightly at {at(place)}; look at it"
        findings.append(_finding("touches itself", "warning", text, place, loop))
        return _Node(Polygon(largest.exterior), loop, entity)
    text = f"contour of {entity} crosses itself at {at(place)} and cannot be cut; mend the drawing"
    findings.append(_finding("crosses itself", "error", text, place, loop))
    return _Node(body if isinstance(body, Polygon) else body.convex_hull, None, entity)


def _crossing_place(polygon: Polygon) -> Point:
    reason = shapely.is_valid_reason(polygon)
    numbers = reason[reason.find("[") + 1 : reason.find("]")].split()
    if "[" in reason and len(numbers) == 2:
        return (float(numbers[0]), float(numbers[1]))
    x, y = polygon.exterior.coords[0]
    return (x, y)


def _broken_node(chain: Chain) -> _Node | None:
    if not nearly_closes(chain):
        return None
    body = Polygon(chain_line(chain).coords).buffer(0)
    largest = max(shapely.get_parts(body), key=lambda g: g.area, default=None)
    return _Node(Polygon(largest.exterior), None, chain.drawn[0].entity) if largest is not None else None


def _without_crossings(nodes: list[_Node], findings: list[Finding]) -> list[_Node]:
    """Leave out the smaller of two contours that cross one another, or that lie all but in one another's place."""
    if len(nodes) < 2:
        return nodes
    polygons = np.array([n.polygon for n in nodes])
    pairs = box_pairs(polygons)
    shapely.prepare(polygons)
    one, other = polygons[pairs[:, 0]], polygons[pairs[:, 1]]
    in_one_place = (np.abs(shapely.bounds(one) - shapely.bounds(other)) <= _DOUBLE_MM).all(axis=1)
    pairs = pairs[shapely.overlaps(one, other) | in_one_place]
    out: set[int] = set()
    for i, j in sorted(pairs.tolist()):
        if i not in out and j not in out and (found := _crossing(nodes[i], nodes[j])) is not None:
            out.add(j)
            findings.append(found)
    return [n for k, n in enumerate(nodes) if k not in out]


def _crossing(larger: _Node, smaller: _Node) -> Finding | None:
    """What is wrong with two contours that lie in one another's way; None for neighbours that touch and for a hole."""
    edges = smaller.polygon.exterior, larger.polygon.exterior
    if np.abs(np.subtract(smaller.polygon.bounds, larger.polygon.bounds)).max() <= _DOUBLE_MM and _along(*edges):
        return _nearly_the_same(larger, smaller, float(shapely.hausdorff_distance(*edges)))
    # Neighbours may share a hair of area, since they are laid out apart; a hole may not reach out of its outline.
    if larger.polygon.intersection(smaller.polygon).area <= JOIN_SILENT_MM * smaller.polygon.length:
        return None
    if not _is_thicker(smaller.polygon - larger.polygon, NESTING_CHORD_MM):
        return None
    common = edges[0].intersection(edges[1]).representative_point()
    place = (common.x, common.y)
    text = f"contours of {larger.entity} and {smaller.entity} cross at {at(place)}; the smaller one was left out"
    return Finding(kind="contours cross", severity="error", message=text, place=place, entity=smaller.entity)


def _along(a: BaseGeometry, b: BaseGeometry) -> bool:
    """Tell whether each of two lines runs along the other all the way; their corners alone do not tell."""
    return bool(a.buffer(_DOUBLE_MM).covers(b) and b.buffer(_DOUBLE_MM).covers(a))


def _nearly_the_same(larger: _Node, smaller: _Node, apart_mm: float) -> Finding:
    x, y = smaller.polygon.exterior.coords[0]
    text = (
        f"contours of {larger.entity} and {smaller.entity} near {at((x, y))} are the same but for {apart_mm:.2f} mm: "
        "taken as one, the smaller left out"
    )
    return Finding(
        kind="nearly the same", severity="warning", message=text, place=(x, y), entity=smaller.entity, size_mm=apart_mm
    )


def _is_thicker(body: BaseGeometry, than_mm: float) -> bool:
    return not body.buffer(-than_mm / 2).is_empty


def _tree(nodes: list[_Node]) -> list[_Node]:
    """Hang each node, largest first, under the smallest that holds it; return those that nothing holds."""
    polygons = [n.polygon for n in nodes]
    areas = np.array([p.area for p in polygons])
    points = shapely.points([n.place for n in nodes]) if nodes else []
    holder = [-1] * len(nodes)
    if nodes:
        for i, j in shapely.STRtree(polygons).query(points, predicate="within").T.tolist():
            # Nodes come largest first, so that of equal contours the later one counts as the inner.
            if j < i and (holder[i] < 0 or areas[j] <= areas[holder[i]]):
                holder[i] = j
    for i, j in enumerate(holder):
        if j >= 0:
            nodes[j].inside.append(nodes[i])
    return [n for i, n in enumerate(nodes) if holder[i] < 0]


def _without_sheet_edge(roots: list[_Node], findings: list[Finding]) -> list[_Node]:
    """Leave out one rectangle round everything if most of what it holds are outlines with holes themselves."""
    while len(roots) == 1 and _is_rectangle(roots[0].polygon):
        root = roots[0]
        # A plate with counterbored holes is no sheet of washers.
        holders = [n for n in root.inside if n.inside and not _bore(n)]
        if len(holders) < 2 or 2 * len(holders) < len(root.inside):
            break
        text = (
            f"the rectangle of {root.entity} at {at(root.place)} lies round everything: taken as the edge of the sheet "
            "and left out"
        )
        findings.append(
            Finding(kind="sheet edge", severity="warning", message=text, place=root.place, entity=root.entity)
        )
        roots = root.inside
    return roots


def _bore(hole: _Node) -> _Node | None:
    """Return the one circle inside a small hole about the same centre, as counterbores, countersinks and threads are
    drawn, or None."""
    if len(hole.inside) != 1 or hole.size > BORE_MM:
        return None
    inner = hole.inside[0]
    apart = hole.polygon.centroid.distance(inner.polygon.centroid)
    alone = not inner.inside and apart <= _SAME_CENTRE_MM and inner.size >= _BORE_SHARE * hole.size
    return inner if alone and _is_circle(hole.polygon) and _is_circle(inner.polygon) else None


def _is_circle(polygon: Polygon) -> bool:
    round_it = shapely.minimum_bounding_radius(polygon)
    return bool(polygon.area >= 0.99 * math.pi * round_it**2)


def _is_rectangle(polygon: Polygon) -> bool:
    x0, y0, x1, y1 = polygon.bounds
    return bool(polygon.area >= 0.999 * (x1 - x0) * (y1 - y0))


def _part(node: _Node, outlines: list[Outline], findings: list[Finding], all_cut: bool) -> None:
    if node.loop is not None:
        holes = tuple(n.loop for n in node.inside if n.loop is not None)
        body = node.polygon
        if node.inside:
            body = body.difference(shapely.union_all([n.polygon for n in node.inside]))
            body = max(shapely.get_parts(body), key=lambda g: g.area, default=node.polygon)
        outlines.append(Outline(outer=node.loop, holes=holes, polygon=body))
        findings += _touching(node)
    elif node.inside:
        count = len(node.inside)
        lie = "1 contour lies" if count == 1 else f"{count} contours lie"
        text = f"{lie} in the outline of {node.entity}, which does not close or crosses itself: left out"
        findings.append(
            Finding(kind="broken outline", severity="error", message=text, place=node.place, entity=node.entity)
        )
    for hole in node.inside:
        bore = None if all_cut else _bore(hole)
        if bore is not None:
            findings.append(_two_circles(hole, bore, node))
            continue
        for island in hole.inside:
            _island(island, outlines, findings, all_cut)


def _touching(node: _Node) -> list[Finding]:
    """Holes that reach to the outline itself: once cut, they are notches, or the part falls apart."""
    edge = node.polygon.exterior
    holes = [n for n in node.inside if n.loop is not None]
    shapely.prepare(edge)
    found = []
    for hole in (n for n in holes if shapely.dwithin(edge, n.polygon.exterior, JOIN_SILENT_MM)):
        nearest = shapely.shortest_line(hole.polygon.exterior, edge).coords[0]
        place = (float(nearest[0]), float(nearest[1]))
        text = (
            f"hole of {hole.entity} touches the outline of {node.entity} at {at(place)}: no metal is left; "
            "if a notch is meant, draw it as part of the outline"
        )
        found.append(Finding(kind="hole at edge", severity="warning", message=text, place=place, entity=hole.entity))
    return found


def _two_circles(hole: _Node, bore: _Node, outline: _Node) -> Finding:
    text = (
        f"{hole.entity} ({hole.size:.1f} mm across) and {bore.entity} ({bore.size:.1f} mm) at {at(hole.place)} have "
        "one centre: a counterbore, countersink or thread? Only one of them can be cut through; delete the other, or "
        f"{_how_to_mark(hole.layer, bore.layer, outline.layer)}"
    )
    return Finding(kind="circle in circle", severity="error", message=text, place=hole.place, entity=bore.entity)


def _how_to_mark(hole: str, bore: str, outline: str) -> str:
    """Say how to tell that one of two circles only marks; a rule for the outline's own layer would take the part."""
    if hole == bore:
        return "move it to a layer named MARK"
    rules = [f'--rule "{layer}=mark"' for layer in (hole, bore) if layer != outline]
    return f"tell it with {' or '.join(rules)}"


def _island(node: _Node, outlines: list[Outline], findings: list[Finding], all_cut: bool) -> None:
    """A contour in a hole: a part, or something too small to be meant as one."""
    if node.size >= ISLAND_MM or any(n.inside or n.loop is not None for n in node.inside):
        _part(node, outlines, findings, all_cut)
        return
    text = (
        f"{node.entity} at {at(node.place)}, {node.size:.1f} mm across, lies loose in a hole and is under "
        f"{ISLAND_MM:g} mm: left out"
    )
    findings.append(
        Finding(kind="loose island", severity="warning", message=text, place=node.place, entity=node.entity)
    )


def _finding(kind: str, severity: Severity, text: str, place: Sequence[float], loop: Loop) -> Finding:
    return Finding(
        kind=kind,
        severity=severity,
        message=text,
        place=(float(place[0]), float(place[1])),
        entity=loop.entities[0],
    )
