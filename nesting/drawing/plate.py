"""Read a plate from a drawing: its edge, the holes in it and the places no part may cover."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from nesting.drawing.chain import Loop
from nesting.drawing.contours import contours_of
from nesting.drawing.counting import MOST_ENTITIES
from nesting.drawing.ends import TooDenseError
from nesting.drawing.entities import Drawn
from nesting.drawing.findings import Finding, NoPartsError, at
from nesting.drawing.layers import LABEL, MARK, PART_INSIDE, PART_OUTSIDE, PIERCE_MARK
from nesting.drawing.marks import LayerRule
from nesting.drawing.nest import loop_polygon, nearly_closes
from nesting.drawing.reader import sort_content
from nesting.errors import DrawingError
from nesting.plate import KeepOut, KeepOutKind, Plate
from nesting.tolerances import JOIN_SILENT_MM, JOIN_WARN_MM
from nesting.units import DrawnUnit

_NOT_PLATE = frozenset({PART_OUTSIDE, PART_INSIDE, MARK, LABEL, PIERCE_MARK})


@dataclass(frozen=True, kw_only=True)
class PlateDrawing:
    """A plate as drawn, and what was read: the hash of the file's bytes, the unit and why it was taken."""

    plate: Plate
    sha256: str
    unit: DrawnUnit | Literal["custom"]
    unit_reason: str
    findings: tuple[Finding, ...]


def read_plate(path: Path, *, units: DrawnUnit | None = None) -> tuple[Plate, tuple[Finding, ...]]:
    """Return the plate and the findings of `read_plate_drawing`, with no choices but the unit."""
    drawing = read_plate_drawing(path, units=units)
    return drawing.plate, drawing.findings


def read_plate_drawing(
    path: Path,
    *,
    units: DrawnUnit | None = None,
    join_mm: float = JOIN_WARN_MM,
    layers: Sequence[str] = (),
    layer_rules: Sequence[LayerRule] = (),
    most_entities: int = MOST_ENTITIES,
) -> PlateDrawing:
    """Read a plate: the outermost contour is its edge, contours inside are holes.

    Contours on layers named keep-out, keepout or no-go are keep-outs; those on layers named clamp or magnet also keep
    leads and rapids away.  Layers of written layouts that hold parts, marks and labels are left out.  The options are
    those of `read_drawing`.

    Raise `DrawingError` if there is no edge, or more than one, or contours cross.
    """
    path = Path(path)
    try:
        return _plate(path, units, join_mm, layers, layer_rules, most_entities)
    except TooDenseError as error:
        raise DrawingError(f"{path.name}: {error}") from None


def _plate(
    path: Path,
    units: DrawnUnit | None,
    join_mm: float,
    layers: Sequence[str],
    layer_rules: Sequence[LayerRule],
    most_entities: int,
) -> PlateDrawing:
    content = sort_content(path, units, layers, layer_rules, most_entities=most_entities)
    cut, marked_drawn = ([d for d in drawn if _is_of_plate(d)] for drawn in (content.cut, content.marked))
    kept_out = [d for d in (*cut, *marked_drawn) if keep_out_kind(d.layer)]
    edge = contours_of([d for d in cut if not keep_out_kind(d.layer)], join_mm)
    # What nobody sees in a part is not cut; what nobody sees in a plate may be a hole that parts would be laid over.
    seen = [replace(f, severity="warning") if f.kind == "hidden" else f for f in content.findings]
    findings = [*seen, *edge.findings]
    marked = contours_of([d for d in marked_drawn if not keep_out_kind(d.layer)], join_mm)
    for loop in marked.loops:
        # A plate has no marks to be etched: what is closed may well be an old cut-out, whatever its layer is called.
        text = f"{loop.entities[0]}: closed contour on a layer of marks taken as a hole of the plate"
        findings.append(Finding(kind="mark taken as hole", severity="warning", message=text))
    outer, holes = _edge_and_holes(path, (*edge.loops, *marked.loops), findings)
    plate = Plate(
        name=path.stem,
        outer=outer.contour,
        holes=tuple(h.contour for h in holes),
        keep_outs=_keep_outs(path, kept_out, join_mm, findings),
        captured="drawing",
        source=path.name,
    )
    for chain in (*edge.chains, *filter(nearly_closes, marked.chains)):
        text = (
            f"{chain.drawn[0].entity}: open line from {at(chain.start)} to {at(chain.end)}; it may be the edge of a "
            "cut-out, and parts would be laid over it: close it, or delete it if it is no edge"
        )
        findings.append(Finding(kind="open line", severity="error", message=text, place=chain.start))
    return PlateDrawing(
        plate=plate,
        sha256=content.source.sha256,
        unit=content.source.unit.unit,
        unit_reason=content.source.unit.reason,
        findings=tuple(findings),
    )


def _is_of_plate(drawn: Drawn) -> bool:
    return drawn.layer.upper() not in _NOT_PLATE


def keep_out_kind(layer: str) -> KeepOutKind | None:
    """Tell from a layer's name whether it holds keep-outs, and of which kind."""
    words = re.sub(r"[^A-Z]+", "", layer.upper())
    if "CLAMP" in words or "MAGNET" in words:
        return "no part, lead or rapid"
    return "no part" if "KEEPOUT" in words or "NOGO" in words else None


def _edge_and_holes(path: Path, loops: tuple[Loop, ...], findings: list[Finding]) -> tuple[Loop, list[Loop]]:
    if not loops:
        reasons = "; ".join(f.message for f in findings if f.severity != "note")[:300] or "it has no closed contour"
        raise NoPartsError(f"{path.name}: no plate edge found: {reasons}; close the outline", findings)
    bodies = [loop_polygon(loop, path) for loop in loops]
    first = max(range(len(loops)), key=lambda k: bodies[k].area)
    holes = []
    for k, body in enumerate(bodies):
        if k == first:
            continue
        if not bodies[first].buffer(JOIN_SILENT_MM).covers(body):
            place = body.representative_point()
            raise NoPartsError(
                f"{path.name}: contour of {loops[k].entities[0]} at {at((place.x, place.y))} reaches out of the "
                f"largest contour ({loops[first].entities[0]}); a plate drawing holds one edge with holes inside it",
                findings,
            )
        holes.append(loops[k])
    return loops[first], holes


def _keep_outs(path: Path, drawn: list[Drawn], join_mm: float, findings: list[Finding]) -> tuple[KeepOut, ...]:
    found = []
    for layer in dict.fromkeys(d.layer for d in drawn):
        chained = contours_of([d for d in drawn if d.layer == layer], join_mm)
        findings += chained.findings
        if chained.chains:
            chain = chained.chains[0]
            raise NoPartsError(
                f"{path.name}, {chain.drawn[0].entity}: keep-out on layer {layer} is open at {at(chain.end)}; close it",
                findings,
            )
        kind = keep_out_kind(layer) or "no part"
        found += [KeepOut(contour=loop.contour, kind=kind, reason=f"layer {layer}") for loop in chained.loops]
    return tuple(found)
