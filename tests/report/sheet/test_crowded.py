"""Where little room is, a picture's numbers, letters and lengths still stand where nobody takes them for another's."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.drawing.cut_order import cut_order
from nesting.geometry.contour import Contour
from nesting.geometry.curves import circle
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.part import Part
from nesting.plate import Plate
from nesting.remnant import balance
from nesting.report.figures import figures
from nesting.report.scene import scene
from nesting.report.sheet.corners import tape_picture
from nesting.report.sheet.cut_sheet import CutSheet, cut_sheet
from nesting.report.sheet.marks import Words
from nesting.report.sheet.picture import layout_picture
from nesting.report.sheet.words import Lengths
from nesting.settle.turned import turned_plate
from nesting.shop import Shop


def told(layout: Layout) -> CutSheet:
    """What the sheet of a layout says."""
    return cut_sheet(layout, figures(layout, Shop()), cut_order(layout), title="Pump job", lengths=Lengths())


def crowded() -> Layout:
    """Flanges with bolt holes and a small bore beside an old cut-out: no number fits in them."""
    bolts = tuple(
        Contour(curves=(circle((38.0 * np.cos(t), 38.0 * np.sin(t)), 7.0),))
        for t in np.linspace(0.0, 2 * np.pi, 8, endpoint=False)
    )
    middle = Contour(curves=(circle((0.0, 0.0), 18.0),))
    outer = Contour(curves=(circle((0.0, 0.0), 52.0),))
    flange = Part(id="flange", name="flange", outer=outer, holes=(middle, *bolts))
    plate = Plate(
        name="odd",
        outer=Contour.of_points([(0, 0), (1300, 0), (1300, 380), (500, 380), (500, 800), (0, 800)]),
        holes=(Contour(curves=(circle((300.0, 80.0), 55.0),)),),
    )
    at = [(80.0, 80.0), (190.0, 80.0), (80.0, 190.0), (190.0, 190.0), (300.0, 190.0), (440.0, 320.0)]
    return Layout(
        plate=plate,
        clearances=Clearances(kerf_mm=1.5, gap_mm=5.0, margin_mm=5.0, lead_in_mm=4.0),
        demands=(Demand(part=flange, quantity=len(at)),),
        placements=tuple(
            Placement(number=k, part_id="flange", pose=Pose(x_mm=x, y_mm=y)) for k, (x, y) in enumerate(at, start=1)
        ),
        id="0123456789ab",
    )


@pytest.mark.parametrize("smallest", [0.025, 0.04])
def test_a_number_beside_its_part_stands_in_no_cut_out_and_its_leader_crosses_no_other_part(smallest: float):
    """One that stood in an old cut-out made it look like the part, and its leader seemed to come from another."""
    layout = crowded()
    areas = balance(layout, Shop())
    drawn = scene(layout, areas, smallest_text=smallest, letters=False)
    (hole,) = [shapely.Polygon(ring) for ring in layout.plate.fine_polygon.interiors]
    numbers = {label.text: label for label in drawn.labels[: len(layout.placements)]}
    shapes = {str(p.number): shape for p, shape in zip(layout.placements, areas.parts, strict=True)}
    for text, label in numbers.items():
        others = shapely.union_all([hole, *(shape for other, shape in shapes.items() if other != text)])
        height = label.height_mm
        box = shapely.Point(label.at).buffer(height / 2)
        assert not box.intersects(others)
        assert label.line is None or not shapely.LineString(label.line).intersects(others)


def test_a_number_stands_in_the_empty_bore_of_its_part_rather_than_beside_it():
    labels = scene(crowded(), balance(crowded(), Shop()), smallest_text=0.014, letters=False).labels
    at = {label.text: label.at for label in labels[:6]}
    assert at["1"] == pytest.approx((80.0, 80.0), abs=1.0) and at["6"] == pytest.approx((440.0, 320.0), abs=1.0)


def test_every_corner_of_a_plain_plate_has_its_letter_whatever_numbers_stand_beside_parts():
    """Number 12 took the place of D, which 'oddplate settle' asks for."""
    layout = crowded()
    sheet = told(layout)
    tapes = tape_picture(layout, sheet, width_mm=66.0, height_mm=42.0)
    picture = layout_picture(layout, balance(layout, Shop()), sheet, unit="mm", width_mm=118.0, height_mm=90.0)
    for drawn in (picture, tapes):
        assert set("ABCDEF") <= {mark.text for mark in drawn.marks if isinstance(mark, Words)}


@pytest.mark.parametrize("turn_deg", [0.0, 2.1028])
def test_every_length_to_tape_stands_in_the_sketch(turn_deg: float):
    """On the turned one A - E had no place that covers no other line, and was left out."""
    ring = [(0, 0), (1300.35, 0), (1297.607, 421.13), (563.736, 418.666), (560.383, 901.334), (-0.389, 897.771)]
    plate = Plate(name="L", outer=Contour.of_points(ring), uncertainty_mm=3.4)
    layout = replace(crowded(), plate=turned_plate(plate, Pose(turn_deg=turn_deg)), placements=())
    sheet = told(layout)
    drawn = tape_picture(layout, sheet, width_mm=66.0, height_mm=42.0)
    assert {t.length for t in sheet.tapes} <= {mark.text for mark in drawn.marks if isinstance(mark, Words)}
