"""A drawing as written against the layout it was made from: all contours, nothing else, all in place."""

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np
import shapely

from nesting.checking.distances import Body, Shape
from nesting.checking.findings import CheckFinding, Piece
from nesting.checking.rules import usable
from nesting.drawing.readback import CutDrawing, CutPart
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc, EllipseArc, Line, Spline
from nesting.geometry.pose import Point, Pose
from nesting.layout import Layout, Placement
from nesting.plate import KeepOut, Plate
from nesting.tolerances import CHECK_MM, FINE_CHORD_MM, R12_ARC_MM

_LENGTH_RELATIVE: Final = 1e-6
_FITTED_RELATIVE: Final = 1e-4
"""Contours whose splines and ellipses an old DXF version holds as arcs may differ this much in length."""


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
            piece = Piece(number=placement.number, name=name, place=_middle(wanted[placement]))
            tale = f"{piece} is in the layout but not in the drawing"
            findings.append(CheckFinding(kind="missing", message=tale, pieces=(piece,), place=piece.place))
    return bodies, findings


def drawn_plate(cuts: CutDrawing) -> Plate | None:
    """Return the plate that a drawing shows on its own layers, if it does; its uncertainty is not known."""
    if not cuts.plate_edge:
        return None
    outer, *holes = cuts.plate_edge
    return Plate(
        name=cuts.path.stem,
        outer=outer,
        holes=tuple(holes),
        keep_outs=tuple(KeepOut(contour=c) for c in cuts.keep_outs),
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
            alike[key] = _same_contours((part.outer, *part.holes), wanted[placement])
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
    return float(np.hypot(*np.subtract(_middle((part.outer,)), _middle(contours))))


def _middle(contours: Sequence[Contour]) -> Point:
    x0, y0, x1, y1 = _knots(contours[:1]).bounds
    return ((x0 + x1) / 2, (y0 + y1) / 2)


def _part_differs(drawn: CutPart, wanted: Sequence[Contour], piece: Piece) -> list[CheckFinding]:
    contours = (drawn.outer, *drawn.holes)
    if not _same_contours(contours, wanted):
        tale = f"{piece} has other contours than in the layout: {_told(contours)}; expected {_told(wanted)}"
        return [CheckFinding(kind="changed", message=tale, pieces=(piece,), place=piece.place)]
    off_mm = _displaced(contours, wanted)
    if off_mm > CHECK_MM:
        tale = f"{piece} lies {off_mm:.4g} mm from where the layout has it"
        return [CheckFinding(kind="moved", message=tale, pieces=(piece,), place=piece.place, found_mm=off_mm)]
    return []


def _edges_differ(cuts: CutDrawing, plate: Plate) -> list[CheckFinding]:
    """Compare plate edge and keep-outs, where the drawing shows them."""
    findings = []
    pairs = (
        ("plate edge", cuts.plate_edge, (plate.outer, *plate.holes)),
        ("keep-outs", cuts.keep_outs, tuple(k.contour for k in plate.keep_outs)),
    )
    for name, drawn, wanted in pairs:
        if not cuts.plate_edge or not (drawn or wanted):
            continue
        if not _same_contours(drawn, wanted):
            tale = f"{name} in the drawing: {_told(drawn)}; in the layout: {_told(wanted)}"
            findings.append(CheckFinding(kind="changed", message=tale))
        elif (off_mm := _displaced(drawn, wanted)) > CHECK_MM:
            tale = f"{name} in the drawing: {off_mm:.4g} mm from where the layout has it"
            findings.append(CheckFinding(kind="moved", message=tale, found_mm=off_mm))
    return findings


def _same_contours(drawn: Sequence[Contour], wanted: Sequence[Contour]) -> bool:
    """Tell whether contours are of the same kinds of curves and lengths, wherever they lie."""
    return len(drawn) == len(wanted) and all(
        _same_contour(a, b) for a, b in zip(_by_length(drawn), _by_length(wanted), strict=True)
    )


def _by_length(contours: Iterable[Contour]) -> list[Contour]:
    # Rounded, lest two holes of one length but other form change places by the last digit.
    return sorted(contours, key=lambda c: (round(c.length_mm, 3), round(c.area_mm2, 1), sorted(_kinds(c).items())))


def _same_contour(drawn: Contour, wanted: Contour) -> bool:
    slack_mm = _LENGTH_RELATIVE * max(wanted.length_mm, 1.0)
    if _fitted(drawn, wanted):
        # Round a whole turn a line beside another is longer by a turn's angle times the distance between them.
        slack_mm = _FITTED_RELATIVE * wanted.length_mm + math.tau * R12_ARC_MM
    if not _fitted(drawn, wanted) and _kinds(drawn) != _kinds(wanted) and not _joined(drawn, wanted):
        return False
    # A polyline closes what gaps a contour as drawn has between its curves.
    gaps_mm = sum(math.dist(a.end, b.start) for a, b in pairwise([*wanted.curves, wanted.curves[0]]))
    return abs(drawn.length_mm - wanted.length_mm) <= slack_mm + 2 * gaps_mm


def _fitted(drawn: Contour, wanted: Contour) -> bool:
    """Tell whether splines and ellipses became arcs, as they do in R12, with lines and arcs as before or joined."""
    have, need = _kinds(drawn), _kinds(wanted)
    free = need["spline"] + need["ellipse"]
    kept = have["spline"] + have["ellipse"] == 0
    round_ = have["arc"] + 2 * have["circle"] >= need["arc"] + 2 * need["circle"]
    return free > 0 and kept and have["line"] >= need["line"] and round_


def _joined(drawn: Contour, wanted: Contour) -> bool:
    """Tell whether it may be the same contour as a polyline: there a circle is two arcs, and a start may halve a piece.

    Where its pieces truly lie is for `_displaced` to measure.
    """
    have, need = _kinds(drawn), _kinds(wanted)
    free = all(have[kind] == need[kind] for kind in ("spline", "ellipse"))
    more_arcs = have["arc"] - need["arc"] >= 2 * (need["circle"] - have["circle"]) >= 0
    return free and have["line"] >= need["line"] and more_arcs


def _kinds(contour: Contour) -> Counter[str]:
    return Counter("circle" if _is_circle(p) else p.type for p in contour.pieces)


def _told(contours: Sequence[Contour]) -> str:
    """Contours in words, as `2 contours (4 line, 1 circle), 345.678 mm`."""
    kinds = sum((_kinds(c) for c in contours), Counter[str]())
    listed = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items())) or "none"
    return f"{len(contours)} contours ({listed}), {sum(c.length_mm for c in contours):.6g} mm"


def _displaced(drawn: Sequence[Contour], wanted: Sequence[Contour]) -> float:
    """Return how far the joints of contours lie from those they should lie on."""
    pairs = list(zip(_by_length(drawn), _by_length(wanted), strict=True))
    if any(_fitted(a, b) for a, b in pairs):
        # Arcs put in the place of a spline have joints of their own, but pass through the spline's.
        return _off_line(wanted, drawn)
    if any(_kinds(a) != _kinds(b) for a, b in pairs):
        return max(_off_line(wanted, drawn), _off_line(drawn, wanted))
    return float(shapely.hausdorff_distance(_knots(drawn), _knots(wanted)))


def _off_line(some: Sequence[Contour], others: Sequence[Contour]) -> float:
    """Return how far joints of some contours lie off the line of others; of a circle, its four outermost points."""
    lines = shapely.union_all([c.polygon(FINE_CHORD_MM / 5, "midway").boundary for c in others])
    points = []
    for piece in (piece for contour in some for piece in contour.pieces):
        if isinstance(piece, Arc) and piece.closed:
            (x, y), r = piece.center, piece.radius_mm
            points += [(x + r, y), (x, y + r), (x - r, y), (x, y - r)]
        else:
            points += _joints(piece)
            points += [replace(piece, sweep_deg=piece.sweep_deg / 2).end] if isinstance(piece, Arc) else []
    return float(shapely.distance(shapely.points(points), lines).max())


def _knots(contours: Sequence[Contour]) -> shapely.MultiPoint:
    return shapely.MultiPoint([p for c in contours for piece in c.pieces for p in _joints(piece)])


def _joints(piece: Line | Arc | EllipseArc | Spline) -> list[Point]:
    """Return where a piece begins; as a closed one may begin anywhere, its centre or the tips of its axes."""
    if isinstance(piece, Arc) and piece.closed:
        return [piece.center]
    if isinstance(piece, EllipseArc) and piece.closed:
        (x, y), (ax, ay), q = piece.center, piece.major, piece.ratio
        return [(x + ax, y + ay), (x - ax, y - ay), (x - q * ay, y + q * ax), (x + q * ay, y - q * ax)]
    return [piece.start]


def _is_circle(piece: Line | Arc | EllipseArc | Spline) -> bool:
    return isinstance(piece, Arc) and piece.closed
