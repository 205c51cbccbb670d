"""Read a written drawing back for the check: what is cut, grouped into parts, and the plate it was laid on."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import shapely
from shapely.geometry import Polygon

from nesting.drawing.chain import Chain, Chained, Loop, loop_of
from nesting.drawing.contours import contours_of
from nesting.drawing.entities import Drawn, Written
from nesting.drawing.findings import Finding, NoPartsError, at
from nesting.drawing.layers import KEEP_OUT, LABEL, PART_INSIDE, PART_OUTSIDE, PIERCE_MARK, PLATE_EDGE
from nesting.drawing.nest import loop_polygon, nest
from nesting.drawing.reader import sort_content
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Line
from nesting.tolerances import JOIN_SILENT_MM, NODE_MM
from nesting.units import DrawnUnit


@dataclass(frozen=True, kw_only=True)
class CutPart:
    """One part as cut: its contours, and what the label in it says, if one lies in it."""

    outer: Contour
    holes: tuple[Contour, ...] = ()
    number: int | None = None
    label: str = ""
    entity: str = ""


@dataclass(frozen=True, kw_only=True)
class CutDrawing:
    """A drawing ready to be cut; plate edge and keep-outs are empty if it holds none.

    `leads` are the marked lead-ins, each from its pierce to the contour.
    """

    path: Path
    sha256: str
    unit: DrawnUnit | Literal["custom"]
    unit_reason: str
    parts: tuple[CutPart, ...]
    plate_edge: tuple[Contour, ...] = ()
    keep_outs: tuple[Contour, ...] = ()
    leads: tuple[Line, ...] = ()
    own_layers: bool = False
    findings: tuple[Finding, ...] = ()


def read_cuts(path: Path, *, units: DrawnUnit | None = None) -> CutDrawing:
    """Read what a drawing cuts.

    With the layers of our own writing, each contour on the outside layer is a part, and one on the inside layer is a
    hole of the smallest part outline that holds it.  Other drawings are grouped by containment, as parts are read.
    Plate edge: the outline first, then its holes.  Nothing is bridged beyond `JOIN_SILENT_MM`.

    Raise `DrawingError` if something on a cut layer does not close, crosses itself or belongs to no part.
    """
    path = Path(path)
    content = sort_content(path, units)
    everything = (*content.cut, *content.marked)
    own = any(d.layer.upper() in (PART_OUTSIDE, PLATE_EDGE) for d in everything)
    if own:
        grouped = _by_layer(path, everything)
    else:
        grouped = _by_containment(path, content.cut, list(content.findings))
    labels = [w for w in content.source.gathered.written if w.layer.upper() == LABEL]
    edges = _loops(path, everything, PLATE_EDGE) if own else ()
    return CutDrawing(
        path=path,
        sha256=content.source.sha256,
        unit=content.source.unit.unit,
        unit_reason=content.source.unit.reason,
        parts=_labelled(grouped, labels, path),
        plate_edge=tuple(loop.contour for loop in sorted(edges, key=lambda e: -e.contour.area_mm2)),
        keep_outs=tuple(loop.contour for loop in _loops(path, everything, KEEP_OUT)) if own else (),
        leads=tuple(d.curve for d in everything if d.layer.upper() == PIERCE_MARK and isinstance(d.curve, Line)),
        own_layers=own,
        findings=content.findings,
    )


def in_order(drawn: Sequence[Drawn]) -> Chained:
    """Chain curves in the order of the file, each contour closed before the next begins.

    A written drawing has its contours one after another, so that outlines which touch or share an edge stay apart.
    What does not close in order comes back as chains.
    """
    loops: list[Loop] = []
    loose: list[Drawn] = []
    run: list[Drawn] = []
    for d in drawn:
        if d.curve.closed:
            loops.append(loop_of((d,)))
            continue
        step = _following(run, d)
        # Ends a little apart close a contour only if it does not go on: fine outlines come near their start early.
        if step is None and _closes(run, JOIN_SILENT_MM):
            loops.append(loop_of(run))
            run = []
        elif step is None:
            loose += run
            run = []
        run = step or [d]
        if _closes(run, NODE_MM):
            loops.append(loop_of(run))
            run = []
    if _closes(run, JOIN_SILENT_MM):
        loops.append(loop_of(run))
        run = []
    loose += run
    return Chained(loops=tuple(loops), chains=tuple(Chain((d,)) for d in loose), findings=())


def _closes(run: Sequence[Drawn], distance_mm: float) -> bool:
    if not run or math.dist(run[0].curve.start, run[-1].curve.end) > distance_mm:
        return False
    return len(run) > 1 or run[0].curve.length_mm > 2 * JOIN_SILENT_MM


def _following(run: list[Drawn], d: Drawn) -> list[Drawn] | None:
    """Return the run with a curve added at its end, turned round as needed, or None if it does not meet."""
    if not run:
        return [d]
    turned = Drawn(d.curve.reversed(), d.layer, d.linetype, d.entity)
    runs = [run]
    if len(run) == 1:
        first = run[0]
        runs.append([Drawn(first.curve.reversed(), first.layer, first.linetype, first.entity)])
    for start in runs:
        for step in (d, turned):
            if math.dist(start[-1].curve.end, step.curve.start) <= JOIN_SILENT_MM:
                return [*start, step]
    return None


def _loops(path: Path, drawn: Sequence[Drawn], layer: str) -> tuple[Loop, ...]:
    chosen = [d for d in drawn if d.layer.upper() == layer]
    chained = in_order(chosen)
    if chained.chains:
        rest = contours_of([d for chain in chained.chains for d in chain.drawn], JOIN_SILENT_MM)
        if rest.chains:
            chain = rest.chains[0]
            raise NoPartsError(
                f"{path.name}, {chain.drawn[-1].entity}: contour on layer {layer} is open by {chain.gap_mm:.3g} mm at "
                f"{at(chain.end)}; close it",
                rest.findings,
            )
        return (*chained.loops, *rest.loops)
    return chained.loops


def _by_layer(path: Path, drawn: Sequence[Drawn]) -> list[tuple[Loop, list[Loop]]]:
    outer = _loops(path, drawn, PART_OUTSIDE)
    groups: list[tuple[Loop, list[Loop]]] = [(loop, []) for loop in outer]
    bodies = [loop_polygon(loop, path) for loop in outer]
    tree = shapely.STRtree(bodies)
    for hole in _loops(path, drawn, PART_INSIDE):
        body = loop_polygon(hole, path)
        near = tree.query(body.representative_point(), predicate="within").tolist()
        holders = [k for k in near if _holds(bodies[k], body)]
        if not holders:
            raise NoPartsError(
                f"{path.name}, {hole.entities[0]}: inside contour at {at(hole.contour.pieces[0].start)} lies in no "
                "part; move it back into its part or delete it",
                (),
            )
        groups[min(holders, key=lambda k: bodies[k].area)][1].append(hole)
    return groups


def _holds(outer: Polygon, inner: Polygon) -> bool:
    return bool(outer.area > inner.area and outer.buffer(JOIN_SILENT_MM).covers(inner))


def _by_containment(path: Path, cut: Sequence[Drawn], findings: list[Finding]) -> list[tuple[Loop, list[Loop]]]:
    chained = contours_of(cut, JOIN_SILENT_MM)
    nested = nest(chained.loops, chained.chains)
    findings += [*chained.findings, *nested.findings]
    broken = [f.message for f in nested.findings if f.severity == "error"]
    if broken or not nested.outlines:
        raise NoPartsError(f"{path.name}: {'; '.join(broken[:3]) or 'no closed contour found in it'}", findings)
    return [(outline.outer, list(outline.holes)) for outline in nested.outlines]


def _labelled(groups: Sequence[tuple[Loop, list[Loop]]], labels: Sequence[Written], path: Path) -> tuple[CutPart, ...]:
    bodies = [loop_polygon(outer, path) for outer, _ in groups]
    found: dict[int, str] = {}
    if labels and bodies:
        places = shapely.points([w.text.at for w in labels])
        holders: dict[int, int] = {}
        for k, j in sorted(shapely.STRtree(bodies).query(places, predicate="within").T.tolist()):
            # A label on a part in another part's hole lies in both outlines; it belongs to the smaller.
            if k not in holders or bodies[j].area < bodies[holders[k]].area:
                holders[k] = j
        found = {j: labels[k].text.text for k, j in holders.items()}
    return tuple(
        CutPart(
            outer=outer.contour,
            holes=tuple(h.contour for h in holes),
            number=_number(found.get(k, "")),
            label=found.get(k, ""),
            entity=outer.entities[0],
        )
        for k, (outer, holes) in enumerate(groups)
    )


def _number(label: str) -> int | None:
    leading = re.match(r"\s*(\d+)\b", label)
    return int(leading.group(1)) if leading else None
