"""The turned layout, what settling takes of the margin, the travel of the table and the points of a dry run."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from outline_layouts import LAYOUT, PLATE, RING

from nesting.check import check_layout
from nesting.corner_names import named_corners
from nesting.demand import Demand, Turns
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc, circle
from nesting.geometry.pose import Pose
from nesting.layout import Layout
from nesting.leads import Leads, leads_of
from nesting.plate import Capture, Plate
from nesting.settle.margin import better_corners, margin_use
from nesting.settle.rigid import Spread
from nesting.settle.table import (
    Travel,
    around,
    beyond,
    cut_boxes,
    cut_reach_mm,
    dry_run,
    outside_travel,
    plate_box,
    push,
)
from nesting.settle.turned import laid_by, turned
from nesting.tolerances import FINE_CHORD_MM

LIES = Pose(turn_deg=92.5, x_mm=900.0, y_mm=200.0)


def test_a_turned_layout_keeps_every_clearance_and_every_rule():
    fixed = replace(LAYOUT, demands=(Demand(part=RING, quantity=4, turns=Turns.steps(90)),))
    found = turned(fixed, LIES, "settled by A, C")
    before, after = check_layout(fixed), check_layout(found)
    assert before.passed and after.passed
    assert after.worst_gap.found_mm == pytest.approx(before.worst_gap.found_mm, abs=1e-3)
    assert after.worst_margin.found_mm == pytest.approx(before.worst_margin.found_mm, abs=1e-3)
    assert found.plate.grain_deg == pytest.approx(182.5)
    assert found.id == "" and found.plate.captured == "as given; settled by A, C"
    for one, other in zip(fixed.placements, found.placements, strict=True):
        assert other.pose.point((3.0, 4.0)) == pytest.approx(LIES.point(one.pose.point((3.0, 4.0))))
    # A turn that the drawing did not allow is not allowed on the table either.
    crooked = replace(fixed.placements[0], pose=replace(fixed.placements[0].pose, turn_deg=30.0))
    assert not check_layout(turned(replace(fixed, placements=(crooked, *fixed.placements[1:])), LIES)).passed


def test_arcs_stay_arcs_and_corners_keep_their_letters():
    found = turned(LAYOUT, LIES).plate
    lettered = [c.point for c in named_corners(PLATE)]
    np.testing.assert_allclose([c.point for c in named_corners(found)], LIES.points(lettered), atol=1e-9)
    ring = turned(LAYOUT, LIES)
    posed = ring.parts["ring"].posed_contours(ring.placements[0].pose)
    assert all(isinstance(piece, Arc) for contour in posed for piece in contour.pieces)


def test_how_the_plate_was_to_be_laid_is_known_before_and_gone_after():
    capture = Capture(set_up_by=((1600.0, 0.0), (0.0, 500.0)))
    told = "tapes, to be laid on the table by its corners at (1600.0, 0.0) and (0.0, 500.0) mm"
    plate = replace(PLATE, capture=capture, captured=told)
    assert laid_by(plate) == ("B", "E") and laid_by(PLATE) == ()
    after = turned(replace(LAYOUT, plate=plate), LIES, "settled").plate
    assert after.captured == "tapes; settled" and laid_by(after) == ()


def test_the_farthest_place_is_the_worst_of_all_parts():
    spread = Spread(points=np.array([(0.0, 0.0), (0.0, 500.0)]), sigma_mm=0.5)
    use = margin_use(LAYOUT, spread, closest_mm=12.5)
    worst = max(float(spread.sd_mm(shapely.get_coordinates(shape)).max()) for shape in shapes(LAYOUT))
    assert use.farthest.sd_mm == pytest.approx(worst, rel=1e-3)
    assert use.farthest.number in (2, 4)
    assert use.added_mm == pytest.approx(math.hypot(2.5, use.farthest.bound_mm) - 2.5)
    assert use.clear_mm == pytest.approx(10.0)


def shapes(layout: Layout) -> list[shapely.Geometry]:
    return [p.pose.geometry(layout.parts[p.part_id].outer.polygon(FINE_CHORD_MM, "midway")) for p in layout.placements]


@pytest.mark.parametrize(
    ("spare", "parts_stay", "cuts_stay"), [(2.1, True, True), (1.9, True, False), (-0.1, False, False)]
)
def test_parts_and_cuts_stay_on_the_plate_or_it_is_told(spare: float, parts_stay: bool, cuts_stay: bool):
    """The outline may be off by 2.5 mm, the kerf is 2 mm; `spare` is what is then left to the edge."""
    spread = Spread(points=np.array([(0.0, 0.0), (0.0, 500.0)]), sigma_mm=1.0)
    added = margin_use(LAYOUT, spread, closest_mm=99.0).added_mm
    use = margin_use(LAYOUT, spread, closest_mm=2.5 + added + spare)
    assert (use.parts_stay, use.cuts_stay) == (parts_stay, cuts_stay)


def test_a_layout_without_parts_is_judged_by_its_plate():
    spread = Spread(points=np.array([(0.0, 0.0), (1600.0, 0.0)]), sigma_mm=0.5)
    use = margin_use(replace(LAYOUT, placements=(), demands=()), spread, closest_mm=None)
    assert use.farthest.number == 0 and use.parts_stay and use.cuts_stay


def test_corners_farther_apart_are_proposed_where_they_help():
    near = Spread(points=np.array([(0.0, 0.0), (0.0, 500.0)]), sigma_mm=0.5)
    far = Spread(points=np.array([(1600.0, 0.0), (0.0, 500.0)]), sigma_mm=0.5)
    plate = replace(LAYOUT, placements=tuple(replace(p, pose=Pose(x_mm=1300.0, y_mm=500.0)) for p in LAYOUT.placements))
    better = better_corners(plate, near, named_corners(PLATE))
    assert better is not None and {better.first, better.second} == {"B", "E"}
    assert better.apart_mm == pytest.approx(math.hypot(1600.0, 500.0))
    assert better_corners(plate, far, named_corners(PLATE)) is None


@pytest.mark.parametrize(
    ("zero", "box"),
    [
        ("lower-left", (0, 0, 1500, 3000)),
        ("lower-right", (-1500, 0, 0, 3000)),
        ("upper-left", (0, -3000, 1500, 0)),
        ("upper-right", (-1500, -3000, 0, 0)),
        ("middle", (-750, -1500, 750, 1500)),
    ],
)
def test_where_zero_is_says_where_the_travel_lies(zero, box):
    assert Travel(width_mm=1500.0, height_mm=3000.0, zero=zero).box == box


def test_what_lies_beyond_the_travel_is_named_with_side_and_place():
    boxes = cut_boxes(LAYOUT, Leads(), 6.0)
    assert boxes[0][0] == "part 1 (ring)" and boxes[0][1] == pytest.approx((14, 14, 206, 206), abs=0.02)
    found = beyond(boxes, Travel(width_mm=380.0, height_mm=398.5))
    assert [(f.what, f.side) for f in found][:2] == [("part 2 (ring)", "right"), ("part 4 (ring)", "right")]
    assert found[0].by_mm == pytest.approx(26.0, abs=0.02) and found[0].at == pytest.approx((406.0, 110.0), abs=0.02)
    assert [(f.what, f.side) for f in found][2:] == [("part 3 (ring)", "top"), ("part 4 (ring)", "top")]
    assert beyond(boxes, Travel(width_mm=407.0, height_mm=407.0)) == ()


def test_marked_lead_ins_count_as_they_are_and_unmarked_ones_all_round():
    marked = leads_of(LAYOUT)
    assert cut_reach_mm(LAYOUT, leads_marked=False) == 6.0 and cut_reach_mm(LAYOUT, leads_marked=True) == 2.0
    boxes = cut_boxes(LAYOUT, marked, 2.0)
    pierces = [(lead.number, lead.spot.pierce) for lead in marked.marked]
    assert len(pierces) == 8
    for number, (x, y) in pierces:
        x0, y0, x1, y1 = boxes[number - 1][1]
        assert x0 <= x <= x1 and y0 <= y <= y1


def test_how_far_to_push_the_plate():
    travel = Travel(width_mm=1000.0, height_mm=800.0)
    assert push((-20.0, 50.0, 500.0, 840.0), travel) == pytest.approx((20.0, -40.0))
    assert push((-20.0, 50.0, 990.0, 840.0), travel) is None
    assert push((10.0, 10.0, 990.0, 790.0), travel) == (0.0, 0.0)


def test_what_of_a_plate_is_beyond_the_travel_becomes_keep_outs():
    found = turned(LAYOUT, Pose(turn_deg=10.0, x_mm=-100.0, y_mm=-50.0)).plate
    travel = Travel(width_mm=1000.0, height_mm=500.0)
    keep = shapely.union_all([k.contour.polygon(FINE_CHORD_MM, "midway") for k in outside_travel(found, travel, 4.0)])
    steel = found.fine_polygon.difference(keep)
    reachable = found.fine_polygon.intersection(shapely.box(4.0, 4.0, 996.0, 496.0))
    assert steel.symmetric_difference(reachable).area < 1e-3
    inside = turned(LAYOUT, Pose(x_mm=100.0, y_mm=100.0)).plate
    assert outside_travel(inside, Travel(width_mm=2000.0, height_mm=1000.0)) == ()
    assert all(k.kind == "no part, lead or rapid" for k in outside_travel(found, travel))


def test_the_dry_run_goes_round_the_corners_in_order_and_round_the_cuts():
    layout = turned(LAYOUT, LIES)
    cuts = around([box for _, box in cut_boxes(layout, Leads(), 2.0)])
    run = dry_run(layout, cuts)
    assert [p.name for p in run.outline] == list("ABCDE")
    expected = LIES.points([c.point for c in named_corners(PLATE)])
    np.testing.assert_allclose([p.point for p in run.outline], expected, atol=1e-9)
    whole = shapely.union_all(shapes(layout)).buffer(2.0).bounds
    assert run.cuts == pytest.approx(whole, abs=0.02)
    assert plate_box(layout.plate) == pytest.approx(layout.plate.fine_polygon.bounds, abs=0.02)


def test_a_round_plate_has_points_round_its_edge_and_holes_their_middles():
    disc = Plate(
        name="disc",
        outer=Contour(curves=(circle((0.0, 0.0), 400.0),)),
        holes=(Contour(curves=(circle((100.0, 50.0), 30.0),)),),
    )
    run = dry_run(replace(LAYOUT, plate=disc, placements=(), demands=()), None)
    assert [math.hypot(*p.point) for p in run.outline] == pytest.approx([400.0] * 8, abs=0.05)
    assert run.holes[0].name == "hole 1" and math.dist(run.holes[0].point, (100.0, 50.0)) < 5.0
    assert run.cuts is None
