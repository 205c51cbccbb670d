"""Draws the demo: an invented order of a small shop, and the leftover plate to cut it from.

Run it from anywhere; it writes the drawings beside itself, the same bytes every time.
"""

import math
from itertools import pairwise
from pathlib import Path

import ezdxf
from ezdxf.document import Drawing
from ezdxf.layouts import Modelspace

HERE = Path(__file__).resolve().parent
MM, INCH = 4, 1
CUT, BEND, ETCH = "CUT", "BEND", "ETCH"


def new(unit: int) -> tuple[Drawing, Modelspace]:
    """Start a drawing with its unit in the header and the shop's layers."""
    doc = ezdxf.new("R2000")
    doc.header["$INSUNITS"] = unit
    doc.header["$MEASUREMENT"] = 0 if unit == INCH else 1
    for name, color in ((CUT, 7), (BEND, 3), (ETCH, 5)):
        doc.layers.add(name, color=color)
    return doc, doc.modelspace()


def ring_of_holes(msp: Modelspace, radius: float, hole_radius: float, count: int) -> None:
    """Draw holes evenly on a circle about the origin."""
    for i in range(count):
        angle = 2 * math.pi * i / count
        msp.add_circle((radius * math.cos(angle), radius * math.sin(angle)), hole_radius, dxfattribs={"layer": CUT})


def rounded_rectangle(msp: Modelspace, x: float, y: float, width: float, height: float, radius: float) -> None:
    """Draw a rectangle with round corners as one polyline; bulge = tan of a quarter of the corner's angle."""
    b = math.tan(math.pi / 8)
    corners = [
        (x + radius, y, 0.0), (x + width - radius, y, b),
        (x + width, y + radius, 0.0), (x + width, y + height - radius, b),
        (x + width - radius, y + height, 0.0), (x + radius, y + height, b),
        (x, y + height - radius, 0.0), (x, y + radius, b),
    ]  # fmt: skip
    msp.add_lwpolyline(corners, format="xyb", close=True, dxfattribs={"layer": CUT})


def slot(msp: Modelspace, x: float, y: float, length: float, width: float) -> None:
    """Draw a slot with round ends, `length` over all, its middle at (x, y)."""
    r, half = width / 2, length / 2 - width / 2
    corners = [(x - half, y - r, 0), (x + half, y - r, 1), (x + half, y + r, 0), (x - half, y + r, 1)]
    msp.add_lwpolyline(corners, format="xyb", close=True, dxfattribs={"layer": CUT})


def bracket() -> Drawing:
    """An angle with a fillet, two holes, a slot and a bend line, in separate lines and arcs."""
    doc, msp = new(MM)
    cut = {"layer": CUT}
    corners = [(0, 0), (180, 0), (180, 60), (72, 60)]
    for a, b in pairwise(corners):
        msp.add_line(a, b, dxfattribs=cut)
    msp.add_arc((72, 72), 12, 180, 270, dxfattribs=cut)
    for a, b in (((60, 72), (60, 140)), ((60, 140), (0, 140)), ((0, 140), (0, 0))):
        msp.add_line(a, b, dxfattribs=cut)
    msp.add_circle((30, 30), 9, dxfattribs=cut)
    msp.add_circle((30, 115), 7, dxfattribs=cut)
    slot(msp, 135, 30, 50, 14)
    msp.add_line((0, 80), (60, 80), dxfattribs={"layer": BEND})
    return doc


def flange() -> Drawing:
    """A ring wide enough inside to take other parts, with eight bolt holes."""
    doc, msp = new(MM)
    msp.add_circle((0, 0), 165, dxfattribs={"layer": CUT})
    msp.add_circle((0, 0), 110, dxfattribs={"layer": CUT})
    ring_of_holes(msp, 137.5, 9, 8)
    return doc


def hub() -> Drawing:
    """A disc with a keyed bore and four holes."""
    doc, msp = new(MM)
    msp.add_circle((0, 0), 65, dxfattribs={"layer": CUT})
    ring_of_holes(msp, 46, 5.5, 4)
    half, bore, depth = 5.0, 20.0, 23.5
    y = math.sqrt(bore**2 - half**2)
    side = math.degrees(math.asin(half / bore))
    msp.add_arc((0, 0), bore, 90 + side, 90 - side, dxfattribs={"layer": CUT})
    for a, b in (((half, y), (half, depth)), ((half, depth), (-half, depth)), ((-half, depth), (-half, y))):
        msp.add_line(a, b, dxfattribs={"layer": CUT})
    return doc


def gusset() -> Drawing:
    """A triangle with its right angle cut away by an arc, so that a weld can run past."""
    doc, msp = new(MM)
    cut = {"layer": CUT}
    msp.add_arc((0, 0), 25, 0, 90, dxfattribs=cut)
    corners = [(25, 0), (150, 0), (150, 20), (20, 150), (0, 150), (0, 25)]
    for a, b in pairwise(corners):
        msp.add_line(a, b, dxfattribs=cut)
    msp.add_circle((55, 55), 11, dxfattribs=cut)
    return doc


def base_plate() -> Drawing:
    """A foot plate with round corners, four slots, a round opening and its number to be etched."""
    doc, msp = new(MM)
    rounded_rectangle(msp, 0, 0, 220, 160, 15)
    for x in (35, 185):
        for y in (30, 130):
            slot(msp, x, y, 34, 14)
    msp.add_circle((110, 80), 32, dxfattribs={"layer": CUT})
    msp.add_text("B-204", height=15, dxfattribs={"layer": ETCH, "insert": (76, 20)})
    return doc


def lever() -> Drawing:
    """A bent lever between two bosses, its waist a spline, with a slot-like opening drawn as an ellipse."""
    doc, msp = new(MM)
    cut = {"layer": CUT}
    msp.add_arc((0, 0), 35, 90, 270, dxfattribs=cut)
    msp.add_arc((190, 0), 24, 270, 90, dxfattribs=cut)
    msp.add_open_spline([(0, 35), (45, 35), (95, 14), (145, 24), (190, 24)], degree=3, dxfattribs=cut)
    msp.add_open_spline([(0, -35), (45, -35), (95, -46), (145, -24), (190, -24)], degree=3, dxfattribs=cut)
    msp.add_circle((0, 0), 16, dxfattribs=cut)
    msp.add_circle((190, 0), 10, dxfattribs=cut)
    msp.add_ellipse((95, -5), major_axis=(32, 0), ratio=0.3, dxfattribs=cut)
    return doc


def link() -> Drawing:
    """A link with round ends and two holes, drawn in inches."""
    doc, msp = new(INCH)
    slot(msp, 0, 0, 5.0, 2.0)
    for x in (-1.5, 1.5):
        msp.add_circle((x, 0), 0.40625, dxfattribs={"layer": CUT})
    return doc


def plate() -> Drawing:
    """A leftover: an old corner cut away by an arc, a torn edge, an old cut-out and a rusted place."""
    doc, msp = new(MM)
    doc.layers.add("KEEP-OUT", color=1)
    outline = [
        (0, 0, 0), (820, 0, 0), (860, 35, 0), (1100, 28, 0), (1092, 520, 0),
        (930, 560, -0.3), (760, 735, 0), (690, 800, 0), (180, 790, 0), (150, 720, 0), (0, 690, 0),
    ]  # fmt: skip
    msp.add_lwpolyline(outline, format="xyb", close=True, dxfattribs={"layer": CUT})
    rounded_rectangle(msp, 560, 330, 130, 90, 20)
    rust = [(20, 20), (95, 28), (80, 90), (24, 76)]
    msp.add_lwpolyline(rust, close=True, dxfattribs={"layer": "KEEP-OUT"})
    return doc


DRAWINGS = {
    "bracket": bracket,
    "flange": flange,
    "hub": hub,
    "gusset": gusset,
    "base plate": base_plate,
    "lever": lever,
    "link-inch": link,
    "plate": plate,
}


def main() -> None:
    """Write all drawings beside this file."""
    ezdxf.options.write_fixed_meta_data_for_testing = True
    for name, draw in DRAWINGS.items():
        draw().saveas(HERE / f"{name}.dxf")


if __name__ == "__main__":
    main()
