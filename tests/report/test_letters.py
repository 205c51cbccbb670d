"""Pictures of a layout and its list of tapes call the plate's corners by the letters that every sheet has."""

from dataclasses import replace

import shapely
from outline_layouts import LAYOUT, PLATE

from nesting.corner_names import named_corners
from nesting.geometry.contour import Contour
from nesting.plate import KeepOut
from nesting.remnant import Remnant, balance
from nesting.report.content import content
from nesting.report.figures import figures
from nesting.report.scene import scene
from nesting.shop import Shop
from nesting.tolerances import NESTING_CHORD_MM


def test_each_corner_has_its_letter_beside_it_off_the_plate():
    areas = balance(LAYOUT, Shop())
    drawn = scene(LAYOUT, areas)
    places = {label.text: label.at for label in drawn.labels if label.text.isalpha()}
    assert list(places) == list("ABCDE")
    steel = PLATE.outer.polygon(NESTING_CHORD_MM, "midway")
    x0, y0, x1, y1 = drawn.bounds
    for corner in named_corners(PLATE):
        at = shapely.Point(places[corner.name])
        assert 0.5 * drawn.text_mm < at.distance(steel) <= at.distance(shapely.Point(corner.point)) < 2 * drawn.text_mm
        assert x0 < at.x < x1 and y0 < at.y < y1
    assert not [label for label in scene(LAYOUT, areas, letters=False).labels if label.text in places]


def test_a_plate_of_very_many_corners_has_none():
    teeth = [(20 * k + dx, y) for k in range(30) for dx, y in ((0, 100), (10, 100), (10, 40), (20, 40))]
    comb = replace(PLATE, outer=Contour.of_points([(0, 800), *teeth, (600, 800)]), keep_outs=())
    layout = replace(LAYOUT, plate=comb, placements=(), demands=())
    assert not [label for label in scene(layout, balance(layout, Shop())).labels if label.text.isalpha()]


def test_distances_to_tape_are_told_from_letter_to_letter():
    page = content(figures(LAYOUT, Shop()), "mm")
    told = [value for label, value in page.plate if label == "tape before cutting"]
    assert len(told) == 3 and "from B (1600 / 0) to E (0 / 500)" in " ".join(told)


def test_a_leftover_covered_all_over_has_no_name_in_the_picture():
    """Where no ground is left to write on there was a traceback."""
    corner = shapely.box(0, 0, 300, 300)
    covered = replace(PLATE, keep_outs=(KeepOut(contour=Contour.of_rectangle(400, 400)),))
    layout = replace(LAYOUT, plate=covered, placements=(), demands=())
    areas = replace(balance(layout, Shop()), kept=(Remnant(label="R9", polygon=corner),))

    assert "R9" not in {label.text for label in scene(layout, areas).labels}
