"""Plates as a drawing of their own: edges, holes, keep-outs, and where a skeleton is to be parted."""

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from ezdxf.filemanagement import new as new_document

from nesting.drawing.layers import COLOURS, KEEP_OUT, LABEL, PLATE_EDGE
from nesting.drawing.quiet import quiet
from nesting.drawing.shapes import draw_curve, draw_text
from nesting.geometry.curves import Line
from nesting.geometry.pose import Point
from nesting.part import TextMark
from nesting.plate import Plate
from nesting.units import INSUNITS_CODE

SHEAR_LINE: Final = "SHEAR_LINE"
_SHEAR_COLOUR: Final = 214


def write_plates(plates: Sequence[Plate], path: Path, *, shears: Sequence[tuple[Point, Point]] = ()) -> None:
    """Write plates in their own place, millimetres, R2000; shear lines as lines on the layer `SHEAR_LINE`.

    Raise `OSError` if the file cannot be written.
    """
    with quiet():
        document = new_document("R2000")
        document.header["$INSUNITS"] = INSUNITS_CODE["mm"]
        for name in (PLATE_EDGE, KEEP_OUT, LABEL):
            document.layers.add(name, color=COLOURS[name])
        space = document.modelspace()
        if shears:
            document.layers.add(SHEAR_LINE, color=_SHEAR_COLOUR)
        for plate in plates:
            for contour in (plate.outer, *plate.holes):
                for curve in contour.curves:
                    draw_curve(space, curve, PLATE_EDGE, 1.0)
            for keep_out in plate.keep_outs:
                for curve in keep_out.contour.curves:
                    draw_curve(space, curve, KEEP_OUT, 1.0)
            place = plate.fine_polygon.representative_point()
            draw_text(space, TextMark(text=plate.name, at=(place.x, place.y), height_mm=20.0, turn_deg=0.0), LABEL, 1.0)
        for start, end in shears:
            draw_curve(space, Line(start=start, end=end), SHEAR_LINE, 1.0)
        stream = io.StringIO()
        document.write(stream)
    beside = path.with_name(f"{path.name}.part")
    try:
        beside.write_text(stream.getvalue(), encoding="cp1252", errors="replace", newline="\r\n")
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
