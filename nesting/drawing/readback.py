"""Read a written drawing back for the check: what is cut, grouped into parts, and the plate it was laid on."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal, NoReturn

import shapely
from shapely.geometry import Polygon

from nesting.drawing.chain import Chained, Loop
from nesting.drawing.contours import contours_of
from nesting.drawing.ends import TooDenseError
from nesting.drawing.entities import Drawn, Written
from nesting.drawing.findings import Finding, NoPartsError, at
from nesting.drawing.in_order import in_order
from nesting.drawing.layers import KEEP_OUT, LABEL, LAYERS, MARK, PART_INSIDE, PART_OUTSIDE, PIERCE_MARK, PLATE_EDGE
from nesting.drawing.nest import loop_polygon, nest
from nesting.drawing.plate import keep_out_kind
from nesting.drawing.reader import Sorted, sort_content
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Curve, Line
from nesting.plate import KeepOut
from nesting.tolerances import JOIN_SILENT_MM, NESTING_CHORD_MM
from nesting.units import DrawnUnit

_NOT_SEEN: Final = frozenset({"not flat", "left out"})
"""What no contour is made of and a machine may cut all the same, told as a warning where parts are read."""

_NOT_KEPT: Final = frozenset({"sliver", "sheet edge", "nearly the same"})
"""Contours that are left out where parts are read; here each of them is cut."""


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

    `own_layers` tells that it has parts on the layers of our own writing; `strays` are then what would be cut on other
    layers.  `leads` are the marked lead-ins, each from its pierce to the contour; `odd_leads` what lies on their layer
    and is no straight line.  `marks` and `mark_texts` lie on the layer of marks.
    """

    path: Path
    sha256: str
    unit: DrawnUnit | Literal["custom"]
    unit_reason: str
    parts: tuple[CutPart, ...]
    plate_edge: tuple[Contour, ...] = ()
    keep_outs: tuple[KeepOut, ...] = ()
    leads: tuple[Line, ...] = ()
    odd_leads: tuple[Drawn, ...] = ()
    marks: tuple[Curve, ...] = ()
    mark_texts: tuple[str, ...] = ()
    strays: tuple[Drawn, ...] = ()
    own_layers: bool = False
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, kw_only=True)
class _Grouped:
    """Parts, each an outline with its holes; the plate edge, largest first; and what was noticed."""

    parts: Sequence[tuple[Loop, list[Loop]]]
    edge: Sequence[Loop] = ()
    findings: Sequence[Finding] = ()


def read_cuts(path: Path, *, units: DrawnUnit | None = None, find_edge: bool = False) -> CutDrawing:
    """Read what a drawing cuts.

    With parts on the layers of our own writing, each contour on the outside layer is a part, and one on the inside
    layer is a hole of the smallest part outline that holds it.  Other drawings are grouped by containment, as parts
    are read, whatever their layers that are cut; with `find_edge` the contour that lies round all others is then the
    plate's edge, if none is on the layer for it.  Plate edge: the outline first, then its holes.  Keep-outs are known
    by their layers as in a plate's drawing.  Nothing is bridged beyond `JOIN_SILENT_MM`.

    Raise `DrawingError` if anything in it cannot be read, or something on a cut layer does not close, crosses itself
    or belongs to no part.
    """
    path = Path(path)
    content = sort_content(path, units)
    _refuse_unseen(path, content.findings)
    everything = (*content.cut, *content.marked)
    own = any(_is_on(d, PART_OUTSIDE) for d in everything)
    try:
        grouped = _by_layer(path, everything) if own else _by_containment(path, content, find_edge=find_edge)
        keep_outs = _keep_outs(path, everything)
    except TooDenseError as error:
        raise NoPartsError(f"{path.name}: {error}", content.findings) from None
    written = content.source.gathered.written
    on_leads = [d for d in everything if _is_on(d, PIERCE_MARK)]
    return CutDrawing(
        path=path,
        sha256=content.source.sha256,
        unit=content.source.unit.unit,
        unit_reason=content.source.unit.reason,
        parts=_labelled(grouped.parts, [w for w in written if w.layer.upper() == LABEL], path),
        plate_edge=tuple(loop.contour for loop in grouped.edge),
        keep_outs=keep_outs,
        leads=tuple(line for d in on_leads if (line := _straight(d.curve)) is not None),
        odd_leads=tuple(d for d in on_leads if _straight(d.curve) is None),
        marks=tuple(d.curve for d in everything if _is_on(d, MARK)),
        mark_texts=tuple(w.text.text for w in written if w.layer.upper() == MARK),
        strays=tuple(d for d in content.cut if d.layer.upper() not in LAYERS and not keep_out_kind(d.layer))
        if own
        else (),
        own_layers=own,
        findings=(*content.findings, *grouped.findings),
    )


def _is_on(drawn: Drawn, layer: str) -> bool:
    return drawn.layer.upper() == layer


def _straight(curve: Curve) -> Line | None:
    """Return a curve as the one straight line it is, however it was drawn."""
    pieces = curve.pieces
    return pieces[0] if len(pieces) == 1 and isinstance(pieces[0], Line) else None


def _refuse_unseen(path: Path, findings: Sequence[Finding]) -> None:
    """Refuse a drawing with anything in it that the check cannot look at."""
    drawn = path.suffix.lower() != ".svg"  # there what is left out is text and pictures
    unseen = [f for f in findings if f.severity == "warning" and f.kind in _NOT_SEEN and drawn]
    _refuse(path, findings, [*(f for f in findings if f.severity == "error"), *unseen])


def _refuse(path: Path, findings: Sequence[Finding], faults: Sequence[Finding]) -> None:
    if not faults:
        return
    told = [
        f.message if f.place is None or at(f.place) in f.message else f"{f.message}, at {at(f.place)}" for f in faults
    ]
    more = f" (and {len(told) - 3} more)" if len(told) > 3 else ""
    text = f"{path.name}: {'; '.join(told[:3])}{more}; the check must see all that may be cut: mend it or delete it"
    raise NoPartsError(text, findings)


def _loops(path: Path, drawn: Iterable[Drawn], layer: str) -> tuple[Loop, ...]:
    chained = in_order([d for d in drawn if _is_on(d, layer)])
    if not chained.chains:
        return chained.loops
    rest = contours_of([d for chain in chained.chains for d in chain.drawn], JOIN_SILENT_MM)
    _refuse_open(path, rest)
    return (*chained.loops, *rest.loops)


def _refuse_open(path: Path, chained: Chained) -> None:
    if not chained.chains:
        return
    chain = chained.chains[0]
    last = chain.drawn[-1]
    raise NoPartsError(
        f"{path.name}, {last.entity}: contour on layer {last.layer} is open by {chain.gap_mm:.3g} mm at "
        f"{at(chain.end)}; close it",
        chained.findings,
    )


def _keep_outs(path: Path, drawn: Sequence[Drawn]) -> tuple[KeepOut, ...]:
    found: list[KeepOut] = []
    for layer in dict.fromkeys(d.layer.upper() for d in drawn):
        kind = keep_out_kind(layer)
        if kind is not None:
            reason = "" if layer == KEEP_OUT else f"layer {layer}"
            found += [KeepOut(contour=c.contour, kind=kind, reason=reason) for c in _loops(path, drawn, layer)]
    return tuple(found)


def _edge(path: Path, drawn: Sequence[Drawn]) -> list[Loop]:
    return sorted(_loops(path, drawn, PLATE_EDGE), key=lambda loop: -loop.contour.area_mm2)


def _by_layer(path: Path, drawn: Sequence[Drawn]) -> _Grouped:
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
    return _Grouped(parts=groups, edge=_edge(path, drawn))


def _holds(outer: Polygon, inner: Polygon) -> bool:
    return bool(outer.area > inner.area and outer.buffer(JOIN_SILENT_MM).covers(inner))


def _by_containment(path: Path, content: Sorted, *, find_edge: bool) -> _Grouped:
    edge = _edge(path, (*content.cut, *content.marked))
    chained = contours_of(
        [d for d in content.cut if not _is_on(d, PLATE_EDGE) and not keep_out_kind(d.layer)], JOIN_SILENT_MM
    )
    _refuse_open(path, chained)
    loops, findings = chained.loops, list(chained.findings)
    if find_edge and not edge and (round_all := _round_all(path, loops)) is not None:
        edge, loops = [round_all], tuple(loop for loop in loops if loop is not round_all)
        inner = loops[0] if len(loops) == 1 else _round_all(path, loops)
        if inner is not None:
            _refuse_doubtful_edge(path, round_all, inner)
        findings.append(_taken_as_edge(round_all))
    nested = nest(loops, (), all_cut=True)
    findings += nested.findings
    _refuse(path, findings, [f for f in findings if f.severity == "error" or f.kind in _NOT_KEPT])
    return _Grouped(parts=[(o.outer, list(o.holes)) for o in nested.outlines], edge=edge, findings=findings)


def _round_all(path: Path, loops: Sequence[Loop]) -> Loop | None:
    """Return the contour that all others lie in, or None if there is none."""
    if len(loops) < 2:
        return None
    largest = max(loops, key=lambda loop: loop.contour.area_mm2)
    body = loop_polygon(largest, path)
    others = [loop_polygon(loop, path) for loop in loops if loop is not largest]
    return largest if all(_holds(body, other) for other in others) else None


def _refuse_doubtful_edge(path: Path, edge: Loop, inner: Loop) -> NoReturn:
    """Refuse to guess: taken for a part, what lies round the parts would make them holes, which nothing measures."""
    raise NoPartsError(
        f"{path.name}: {edge.entities[0]} lies round everything, and {inner.entities[0]} in it round all the rest, or "
        "alone: which is the plate's edge, and which a part, cannot be told; put the edge on the layer "
        f"{PLATE_EDGE}, or take it out and give the plate (--plate)",
        (),
    )


def _taken_as_edge(loop: Loop) -> Finding:
    x0, y0, x1, y1 = loop.contour.polygon(NESTING_CHORD_MM, "midway").bounds
    text = (
        f"{loop.entities[0]} on layer {loop.layer!r}, {x1 - x0:.1f} x {y1 - y0:.1f} mm, lies round all others: taken "
        "as the plate's edge"
    )
    return Finding(kind="plate edge", severity="warning", message=text, entity=loop.entities[0])


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
