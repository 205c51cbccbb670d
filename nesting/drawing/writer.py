"""Write a layout as one DXF drawing: the parts' true contours in their places, finished size, no kerf offset."""

import io
import math
import os
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from ezdxf import options  # type: ignore[attr-defined]
from ezdxf.document import Drawing as DxfDocument
from ezdxf.filemanagement import new as new_document

from nesting.drawing.cut_order import CutOrder, cut_order
from nesting.drawing.labels import label_room, label_size, label_text
from nesting.drawing.layers import COLOURS, KEEP_OUT, LABEL, MARK, PART_INSIDE, PART_OUTSIDE, PIERCE_MARK, PLATE_EDGE
from nesting.drawing.quiet import quiet
from nesting.drawing.shapes import draw_curve, draw_pierce, draw_text
from nesting.drawing.travelled import travelled
from nesting.drawing.writing import Writing
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Point, Pose
from nesting.layout import Layout
from nesting.leads import Leads, Spot
from nesting.part import Part, TextMark
from nesting.tolerances import NODE_MM
from nesting.units import INSUNITS_CODE, MM_PER, Unit

NOTICE: Final = "FINISHED SIZE, NO KERF OFFSET: THE CONTROLLER MUST OFFSET"
_METRIC: Final = frozenset({"mm", "cm", "m"})
_CODE_PAGE: Final = frozenset({"R12", "R2000", "R2004"})
"""Versions whose text is in the code page that the header names; newer ones are UTF-8."""

_NAME_LENGTH: Final = 24
"""With what is put before and after it a block's name stays within R12's 31 characters."""


def write_drawing(
    layout: Layout,
    path: Path,
    writing: Writing | None = None,
    *,
    order: CutOrder | None = None,
    leads: Leads | None = None,
) -> None:
    """Write the layout's parts, plate edge, keep-outs and labels; the file appears whole or not at all.

    Contours stand in the order they are cut, `cut_order` where none is given: each part's inside cuts before its
    outside cut, parts in a hole before the part round it.  Lead-ins are marked if given.  R2000 and later keep every
    curve as it is unless asked otherwise; R12 has no light polylines, ellipses and splines: polylines become old
    ones, the others arcs within `R12_ARC_MM`.  The same layout gives the same bytes.  Raise `OSError` if the folder
    cannot be written.
    """
    writing, leads = writing or Writing(), leads or Leads()
    order = order or cut_order(layout, leads, same_inside=writing.blocks)
    with quiet(), _fixed_stamps():
        document = _document(layout, writing, order, leads)
        stream = io.StringIO()
        document.write(stream)
    text = stream.getvalue()
    if writing.version == "R12":
        text = _with_units(text, writing.unit)
    encoding = "cp1252" if writing.version in _CODE_PAGE else "utf-8"
    beside = path.with_name(path.name + ".part")
    try:
        with beside.open("w", encoding=encoding, errors="dxfreplace", newline="\r\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def _document(layout: Layout, writing: Writing, order: CutOrder, leads: Leads) -> DxfDocument:
    document = new_document(writing.version)
    if writing.version != "R12":
        document.header["$INSUNITS"] = INSUNITS_CODE[writing.unit]
        document.header["$MEASUREMENT"] = 1 if writing.unit in _METRIC else 0
    for name, colour in COLOURS.items():
        document.layers.add(name, color=colour)
    pen = _Pen(document.modelspace(), 1.0 / MM_PER[writing.unit], writing)
    if writing.plate_edge:
        _plate(layout, pen)
    pieces = _pieces(layout, order, leads)
    blocks = _blocks(pieces, pen) if writing.blocks else {}
    for piece in pieces:
        for spot in piece.spots.values():
            draw_pierce(pen.space, spot, PIERCE_MARK, pen.scale)
        if writing.blocks:
            turn = piece.pose.turn_deg
            at = (piece.pose.x_mm * pen.scale, piece.pose.y_mm * pen.scale)
            pen.space.add_blockref(blocks[piece.block], at, dxfattribs={"rotation": turn, "layer": PART_OUTSIDE})
        else:
            _draw(piece, pen)
    if writing.labels:
        _labels(layout, pen)
        _notice(layout, pen)
    return document


@dataclass(frozen=True)
class _Pen:
    """Where to draw, how large and how."""

    space: Any
    scale: float
    writing: Writing

    def contour(self, contour: Contour, layer: str) -> None:
        """Draw a contour that is not cut, with the curves it has."""
        for curve in contour.curves:
            draw_curve(self.space, curve, layer, self.scale, arcs_only=self.writing.arcs_only)


@dataclass(frozen=True, kw_only=True)
class _Piece:
    """A placed part, its contours in the order they are cut, and its lead-ins where they are on the plate."""

    part: Part
    pose: Pose
    contours: tuple[int, ...]
    spots: dict[int, Spot]

    @property
    def block(self) -> tuple[str, bool]:
        """What its block is known by: a part turned over has one of its own, as not every controller mirrors."""
        return (self.part.id, self.pose.flipped)


def _pieces(layout: Layout, order: CutOrder, leads: Leads) -> list[_Piece]:
    """Return the placed parts as they are cut; a part's outer contour is its last."""
    parts, placements = layout.parts, {p.number: p for p in layout.placements}
    found, contours = [], dict[int, list[int]]()
    for cut in order.cuts:
        contours.setdefault(cut.number, []).append(cut.contour)
        if cut.contour == 0:
            placement, indices = placements[cut.number], contours[cut.number]
            spots = {k: leads.spots[cut.number, k] for k in indices if (cut.number, k) in leads.spots}
            part = parts[placement.part_id]
            found.append(_Piece(part=part, pose=placement.pose, contours=tuple(indices), spots=spots))
    return found


def _draw(piece: _Piece, pen: _Pen) -> None:
    """Draw marks first, as they are made while the part is still held, then what is cut."""
    part, pose, writing = piece.part, piece.pose, pen.writing
    if writing.marks:
        for mark in part.marks:
            draw_curve(pen.space, mark.curve.posed(pose), MARK, pen.scale, arcs_only=writing.arcs_only)
        for line in part.texts:
            draw_text(pen.space, line, MARK, pen.scale, pose)
    contours = part.posed_contours(pose)
    for index in piece.contours:
        contact = piece.spots[index].contact if index in piece.spots else None
        layer, clockwise = PART_INSIDE if index else PART_OUTSIDE, writing.clockwise(index)
        for curve in travelled(contours[index], writing, clockwise=clockwise, contact=contact):
            draw_curve(pen.space, curve, layer, pen.scale, arcs_only=writing.arcs_only)


def _blocks(pieces: Sequence[_Piece], pen: _Pen) -> dict[tuple[str, bool], str]:
    """Make a block for each part, named after it, and return their names."""
    names: dict[tuple[str, bool], str] = {}
    alike: dict[tuple[str, bool], list[_Piece]] = {}
    for piece in pieces:
        alike.setdefault(piece.block, []).append(piece)
    for key, same in alike.items():
        plain = re.sub(r"[^A-Z0-9_-]", "_", same[0].part.name.upper())[:_NAME_LENGTH]
        names[key] = f"P{len(names) + 1}_{plain}"
        as_drawn = Pose(flipped=same[0].pose.flipped)
        block = replace(pen, space=pen.space.doc.blocks.new(names[key]))
        _draw(replace(same[0], pose=as_drawn, spots=_common_spots(same)), block)
    return names


def _common_spots(same: Sequence[_Piece]) -> dict[int, Spot]:
    """Return the lead-ins that all pieces of a block have in the same place of the part, where the block has it."""
    found = {}
    in_block = Pose(flipped=same[0].pose.flipped)
    for index in same[0].contours:
        spots = [(piece.pose, piece.spots[index]) for piece in same if index in piece.spots]
        drawn = [pose.drawn_point(spot.contact) for pose, spot in spots]
        if len(spots) == len(same) and all(math.dist(drawn[0], at) <= NODE_MM for at in drawn):
            pierce = spots[0][0].drawn_point(spots[0][1].pierce)
            found[index] = Spot(contact=drawn[0], pierce=pierce).posed(in_block)
    return found


def _plate(layout: Layout, pen: _Pen) -> None:
    for contour in (layout.plate.outer, *layout.plate.holes):
        pen.contour(contour, PLATE_EDGE)
    for keep_out in layout.plate.keep_outs:
        pen.contour(keep_out.contour, KEEP_OUT)


def _labels(layout: Layout, pen: _Pen) -> None:
    parts = layout.parts
    rooms = {i: label_room(parts[i]) for i in dict.fromkeys(p.part_id for p in layout.placements)}
    for placement in layout.placements:
        (x, y), radius = rooms[placement.part_id]
        text = label_text(parts[placement.part_id], placement.number)
        height, width = label_size(text, radius)
        x, y = placement.pose.point((x, y))
        _write(text, (x - width / 2, y - height / 2), height, pen)


def _notice(layout: Layout, pen: _Pen) -> None:
    """Say outside the plate what the drawing is, where nobody cuts."""
    x0, y0, x1, _ = layout.plate.fine_polygon.bounds
    height = max(2.5, (x1 - x0) / 120.0)
    _write(NOTICE, (x0, y0 - 3 * height), height, pen)
    if layout.id:
        _write(f"LAYOUT {layout.id}", (x0, y0 - 5 * height), height, pen)


def _write(text: str, at: Point, height_mm: float, pen: _Pen) -> None:
    draw_text(pen.space, TextMark(text=text, at=at, height_mm=height_mm), LABEL, pen.scale)


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
