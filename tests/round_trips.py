"""Drawings read, placed, written in every way and read back: what must be the same again."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.drawing.readback import CutPart, read_cuts
from nesting.drawing.reader import read_drawing
from nesting.drawing.writer import write_drawing
from nesting.drawing.writing import Writing
from nesting.errors import UnitsUnknownError
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.part import Part
from nesting.plate import Plate
from nesting.tolerances import R12_ARC_MM

WRITINGS = {
    "R12": Writing(version="R12"),
    "R12, polylines, inch": Writing(version="R12", contours="polylines", unit="inch"),
    "R2000": Writing(),
    "R2000, inch": Writing(unit="inch"),
    "R2000, blocks": Writing(blocks=True),
    "R2004": Writing(version="R2004"),
    "R2007": Writing(version="R2007"),
    "R2010": Writing(version="R2010"),
    "R2010, polylines": Writing(version="R2010", contours="polylines"),
    "R2013": Writing(version="R2013"),
    "R2018, arcs, blocks": Writing(version="R2018", curves="arcs", blocks=True, contours="polylines"),
}


def corpus() -> Path:
    """Where real drawings lie, beside the checkout."""
    return Path(__file__).parents[2] / "shared" / "dxf-corpus"


def parts_of(path: Path) -> tuple[Part, ...]:
    """The parts of a drawing, in millimetres where it does not say; raises `DrawingError` if there are none."""
    try:
        return read_drawing(path).parts
    except UnitsUnknownError:
        return read_drawing(path, units="mm").parts


def laid_out(parts: tuple[Part, ...]) -> Layout:
    """Every part once, in a row, turned by odd angles, every other one turned over."""
    placements, x, high = [], 0.0, 1.0
    for number, part in enumerate(parts, start=1):
        turned = Pose(flipped=number % 2 == 0, turn_deg=(37.3 * number) % 360)
        x0, y0, x1, y1 = turned.geometry(part.placing_polygon).bounds
        pose = Pose(flipped=turned.flipped, turn_deg=turned.turn_deg, x_mm=x - x0, y_mm=-y0)
        placements.append(Placement(number=number, part_id=part.id, pose=pose))
        x, high = x + x1 - x0 + 1.0, max(high, y1 - y0)
    return Layout(
        plate=Plate(name="row", outer=Contour.of_rectangle(x, high)),
        clearances=Clearances(kerf_mm=0, gap_mm=0, margin_mm=0),
        demands=tuple(Demand(part=p, may_flip=True) for p in parts),
        placements=tuple(placements),
    )


@dataclass(frozen=True)
class Difference:
    """The largest relative difference in area, and the largest in length, over all contours."""

    area: float
    length: float


def round_trip(layout: Layout, writing: Writing, path: Path) -> Difference:
    """Write, read back and compare; AssertionError for whatever is not the same."""
    write_drawing(layout, path, writing)
    cuts = {part.number: part for part in read_cuts(path).parts}
    assert sorted(cuts, key=str) == sorted((p.number for p in layout.placements), key=str), "parts"
    found = [_compared(layout.parts[p.part_id], p.pose, cuts[p.number], writing) for p in layout.placements]
    return Difference(max(d.area for d in found), max(d.length for d in found))


def _compared(part: Part, pose: Pose, cut: CutPart, writing: Writing) -> Difference:
    assert len(cut.holes) == len(part.holes), f"{part.name}: holes"
    outer, *holes = part.posed_contours(pose)
    pairs = [(cut.outer, outer), *_by_place(cut.holes, holes)]
    areas, lengths = [0.0], [0.0]
    for have, need in pairs:
        kinds, wanted = _kinds(have), _kinds(need)
        fitted = writing.arcs_only and wanted["spline"] + wanted["ellipse"] > 0
        if writing.contours == "as drawn":
            assert kinds["circle"] == wanted["circle"], f"{part.name}: circles"
            assert fitted or kinds == wanted, f"{part.name}: {kinds}, not {wanted}"
        gaps = sum(math.dist(a.end, b.start) for a, b in pairwise([*need.curves, need.curves[0]]))
        slack = R12_ARC_MM * need.length_mm if fitted else 1e-6 * need.area_mm2
        assert abs(have.area_mm2 - need.area_mm2) <= slack, f"{part.name}: area"
        areas.append(abs(have.area_mm2 / need.area_mm2 - 1.0))
        # Ends of curves that do not quite meet are closed by polylines.
        # Round a turn, arcs beside a curve are longer by its angle times the distance.
        off = max(abs(have.length_mm - need.length_mm) - 2 * gaps - fitted * math.tau * R12_ARC_MM, 0.0)
        lengths.append(off / need.length_mm)
        assert lengths[-1] <= (1e-4 if fitted else 1e-6), f"{part.name}: length"
    return Difference(max(areas), max(lengths))


def _by_place(drawn: Sequence[Contour], wanted: Sequence[Contour]) -> list[tuple[Contour, Contour]]:
    """Pair contours by where they lie and how large they are: holes stand in the order they are cut."""
    keys = [np.array([[*c.polygon(0.01, "midway").bounds] for c in contours]) for contours in (drawn, wanted)]
    if not wanted:
        return []
    return [(drawn[int(np.abs(keys[0] - key).sum(axis=1).argmin())], c) for c, key in zip(wanted, keys[1], strict=True)]


def _kinds(contour: Contour) -> Counter[str]:
    return Counter("circle" if isinstance(p, Arc) and p.closed else p.type for p in contour.pieces)
