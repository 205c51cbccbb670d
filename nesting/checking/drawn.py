"""A drawing as written against the layout it was made from: all contours, nothing else, all in place."""

import math
from collections import Counter
from collections.abc import Sequence

from nesting.checking.contours import displaced, middle, same_contours, told
from nesting.checking.distances import Body, Shape
from nesting.checking.findings import CheckFinding, Piece
from nesting.checking.rules import usable
from nesting.drawing.entities import Drawn
from nesting.drawing.layers import PART_INSIDE, PART_OUTSIDE
from nesting.drawing.readback import CutDrawing, CutPart
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.plate import Plate
from nesting.tolerances import CHECK_MM


def drawn_bodies(cuts: CutDrawing) -> list[Body]:
    """Return the parts of a drawing, named by their labels."""
    counts = Counter(part.number for part in cuts.parts)
    return [_body(part, part.label, part.number if counts[part.number] == 1 else None) for part in cuts.parts]


def compare(cuts: CutDrawing, layout: Layout) -> tuple[list[Body], list[CheckFinding]]:
    """Return the parts of a drawing, named by the layout, and all ways in which it differs from it."""
    placements = [p for p in layout.placements if usable(p) and p.part_id in layout.parts]
    wanted = {p: layout.parts[p.part_id].posed_contours(p.pose) for p in placements}
    matched = _match(cuts.parts, wanted)
    findings = _edges_differ(cuts, layout.plate)
    bodies = []
    for drawn in cuts.parts:
        placement = matched.get(id(drawn))
        if placement is None:
            body = _body(drawn, drawn.label, None)
            tale = f"{body.piece} ({drawn.entity}) is in the drawing but not in the layout"
            findings.append(CheckFinding(kind="extra", message=tale, pieces=(body.piece,)))
        else:
            body = _body(drawn, layout.parts[placement.part_id].name, placement.number)
            findings += _part_differs(drawn, wanted[placement], body.piece)
        bodies.append(body)
    there = set(matched.values())
    for placement in placements:
        if placement not in there:
            name = layout.parts[placement.part_id].name
            piece = Piece(number=placement.number, name=name, place=middle(wanted[placement][0]))
            tale = f"{piece} is in the layout but not in the drawing"
            findings.append(CheckFinding(kind="missing", message=tale, pieces=(piece,), place=piece.place))
    return bodies, findings


def stray_cuts(cuts: CutDrawing) -> list[CheckFinding]:
    """Return what a drawing of our own writing would cut beside its parts, one finding a layer."""
    by_layer: dict[str, list[Drawn]] = {}
    for drawn in cuts.strays:
        by_layer.setdefault(drawn.layer, []).append(drawn)
    findings = []
    for layer, (first, *more) in by_layer.items():
        x, y = first.curve.start
        others = f" and {len(more)} more" if more else ""
        tale = (
            f"{first.entity} at ({x:.2f}, {y:.2f}) mm{others} on layer {layer!r} would be cut and is no contour of a "
            f"part: delete it, or move it to {PART_OUTSIDE}, {PART_INSIDE} or a layer of marks"
        )
        findings.append(CheckFinding(kind="extra", message=tale, place=(x, y)))
    return findings


def drawn_plate(cuts: CutDrawing) -> Plate | None:
    """Return the plate that a drawing shows on its own layers, if it does; its uncertainty is not known."""
    if not cuts.plate_edge:
        return None
    outer, *holes = cuts.plate_edge
    return Plate(
        name=cuts.path.stem,
        outer=outer,
        holes=tuple(holes),
        keep_outs=cuts.keep_outs,
        source=cuts.path.name,
    )


def _body(part: CutPart, name: str, number: int | None) -> Body:
    if number is not None:
        name = name.strip().removeprefix(str(number)).strip()
    return Body(name, Shape(part.outer, part.holes), Pose(), number)


def _match(drawn: Sequence[CutPart], wanted: dict[Placement, tuple[Contour, ...]]) -> dict[int, Placement]:
    """Pair drawn parts with placements, by `id` of the drawn part.

    Those alike go first: with the number of their label, then the nearest, so that a moved part is still
    known.  Last, a label alone names a part whose shape was changed.
    """
    matched: dict[int, Placement] = {}
    free = dict.fromkeys(wanted)
    by_number = {p.number: p for p in wanted}
    alike: dict[tuple[int, str], bool] = {}

    def is_like(part: CutPart, placement: Placement) -> bool:
        key = (id(part), placement.part_id)
        if key not in alike:
            alike[key] = same_contours((part.outer, *part.holes), wanted[placement])
        return alike[key]

    def take(part: CutPart, placement: Placement | None) -> None:
        if placement is not None:
            matched[id(part)] = placement
            del free[placement]

    for part in drawn:
        named = by_number.get(part.number or 0)
        take(part, named if named in free and is_like(part, named) else None)
    for part in drawn:
        if id(part) not in matched:
            near = [(_away(part, wanted[p]), p.number, p) for p in free if is_like(part, p)]
            take(part, min(near, key=lambda entry: entry[:2])[2] if near else None)
    for part in drawn:
        if id(part) not in matched:
            named = by_number.get(part.number or 0)
            take(part, named if named in free else None)
    return matched


def _away(part: CutPart, contours: Sequence[Contour]) -> float:
    return math.dist(middle(part.outer), middle(contours[0]))


def _part_differs(drawn: CutPart, wanted: Sequence[Contour], piece: Piece) -> list[CheckFinding]:
    contours = (drawn.outer, *drawn.holes)
    if not same_contours(contours, wanted):
        tale = f"{piece} has other contours than in the layout: {told(contours)}; expected {told(wanted)}"
        return [CheckFinding(kind="changed", message=tale, pieces=(piece,), place=piece.place)]
    off_mm = displaced(contours, wanted)
    if off_mm > CHECK_MM:
        tale = f"{piece} lies {off_mm:.4g} mm from where the layout has it"
        return [CheckFinding(kind="moved", message=tale, pieces=(piece,), place=piece.place, found_mm=off_mm)]
    return []


def _edges_differ(cuts: CutDrawing, plate: Plate) -> list[CheckFinding]:
    """Compare plate edge and keep-outs, where the drawing shows them."""
    findings = []
    pairs = (
        ("plate edge", cuts.plate_edge, (plate.outer, *plate.holes)),
        ("keep-outs", tuple(k.contour for k in cuts.keep_outs), tuple(k.contour for k in plate.keep_outs)),
    )
    for name, drawn, wanted in pairs:
        # A drawing without the plate may still hold a keep-out that somebody added to it.
        if not drawn and not (wanted and cuts.plate_edge):
            continue
        if not same_contours(drawn, wanted):
            tale = f"{name} in the drawing: {told(drawn)}; in the layout: {told(wanted)}"
            findings.append(CheckFinding(kind="changed", message=tale))
        elif (off_mm := displaced(drawn, wanted)) > CHECK_MM:
            tale = f"{name} in the drawing: {off_mm:.4g} mm from where the layout has it"
            findings.append(CheckFinding(kind="moved", message=tale, found_mm=off_mm))
    return findings
