"""Write a layout as one DXF drawing: the parts' true contours in their places, finished size, no kerf offset."""

import io
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final, Literal

from ezdxf import options  # type: ignore[attr-defined]
from ezdxf.document import Drawing as DxfDocument
from ezdxf.filemanagement import new as new_document

from nesting.drawing.labels import label_room, label_size, label_text
from nesting.drawing.layers import COLOURS, KEEP_OUT, LABEL, MARK, PART_INSIDE, PART_OUTSIDE, PLATE_EDGE
from nesting.drawing.quiet import quiet
from nesting.drawing.shapes import draw_curve, draw_text
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Point
from nesting.layout import Layout
from nesting.part import TextMark
from nesting.units import INSUNITS_CODE, MM_PER, Unit

Version = Literal["R12", "R2000"]

NOTICE: Final = "FINISHED SIZE, NO KERF OFFSET: THE CONTROLLER MUST OFFSET"
_METRIC: Final = frozenset({"mm", "cm", "m"})


def write_drawing(
    layout: Layout,
    path: Path,
    *,
    version: Version = "R2000",
    unit: Unit = "mm",
    labels: bool = True,
    plate_edge: bool = True,
) -> None:
    """Write the layout's parts, plate edge, keep-outs and labels; the file appears whole or not at all.

    Each part's inside cuts come before its outside cut, part after part in the layout's order.  R2000 keeps every
    curve as it is; R12 has no light polylines, ellipses and splines: polylines become old ones, the others arcs
    within `R12_ARC_MM`.  The same layout gives the same bytes.  Raise `OSError` if the folder cannot be written.
    """
    with quiet(), _fixed_stamps():
        document = _document(layout, version, unit, labels=labels, plate_edge=plate_edge)
        stream = io.StringIO()
        document.write(stream)
    text = stream.getvalue()
    if version == "R12":
        text = _with_units(text, unit)
    beside = path.with_name(path.name + ".part")
    try:
        with beside.open("w", encoding="cp1252", errors="dxfreplace", newline="\r\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def _document(layout: Layout, version: Version, unit: Unit, *, labels: bool, plate_edge: bool) -> DxfDocument:
    document = new_document(version)
    if version != "R12":
        document.header["$INSUNITS"] = INSUNITS_CODE[unit]
        document.header["$MEASUREMENT"] = 1 if unit in _METRIC else 0
    for name, colour in COLOURS.items():
        document.layers.add(name, color=colour)
    scale = 1.0 / MM_PER[unit]
    space = document.modelspace()
    if plate_edge:
        _plate(layout, space, scale)
    parts = layout.parts
    used = dict.fromkeys(p.part_id for p in layout.placements) if labels else {}
    rooms = {part_id: label_room(parts[part_id]) for part_id in used}
    for placement in layout.placements:
        part = parts[placement.part_id]
        outer, *holes = part.posed_contours(placement.pose)
        for hole in holes:
            _contour(hole, space, PART_INSIDE, scale)
        _contour(outer, space, PART_OUTSIDE, scale)
        for mark in part.marks:
            draw_curve(space, mark.curve.posed(placement.pose), MARK, scale)
        for line in part.texts:
            draw_text(space, line, MARK, scale, placement.pose)
        if labels:
            center, radius = rooms[part.id]
            text = label_text(part, placement.number)
            _label(text, placement.pose.point(center), radius, space, scale)
    if labels:
        _notice(layout, space, scale)
    return document


def _contour(contour: Contour, space: Any, layer: str, scale: float) -> None:
    for curve in contour.curves:
        draw_curve(space, curve, layer, scale)


def _plate(layout: Layout, space: Any, scale: float) -> None:
    for contour in (layout.plate.outer, *layout.plate.holes):
        _contour(contour, space, PLATE_EDGE, scale)
    for keep_out in layout.plate.keep_outs:
        _contour(keep_out.contour, space, KEEP_OUT, scale)


def _label(text: str, center: Point, radius_mm: float, space: Any, scale: float) -> None:
    height, width = label_size(text, radius_mm)
    mark = TextMark(text=text, at=(center[0] - width / 2, center[1] - height / 2), height_mm=height)
    draw_text(space, mark, LABEL, scale)


def _notice(layout: Layout, space: Any, scale: float) -> None:
    """Say outside the plate what the drawing is, where nobody cuts."""
    x0, y0, x1, _ = layout.plate.fine_polygon.bounds
    height = max(2.5, (x1 - x0) / 120.0)
    draw_text(space, TextMark(text=NOTICE, at=(x0, y0 - 3 * height), height_mm=height), LABEL, scale)
    if layout.id:
        mark = TextMark(text=f"LAYOUT {layout.id}", at=(x0, y0 - 5 * height), height_mm=height)
        draw_text(space, mark, LABEL, scale)


def _with_units(text: str, unit: Unit) -> str:
    """Add the unit variables, which the library leaves out of R12 though readers understand them there."""
    version = "  9\n$ACADVER\n  1\nAC1009\n"
    values = {"$INSUNITS": INSUNITS_CODE[unit], "$MEASUREMENT": 1 if unit in _METRIC else 0}
    variables = "".join(f"  9\n{name}\n 70\n{value:6d}\n" for name, value in values.items())
    return text.replace(version, version + variables, 1)


@contextmanager
def _fixed_stamps() -> Iterator[None]:
    """Keep times and random identifiers out of the file, so that the same layout gives the same bytes."""
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before
