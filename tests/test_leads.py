"""Spots for pierce and lead-in: clear of every finished edge, kept during the search, named where there is none."""

import math
import re
from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon
from shapes import part, plate, polygon_part, random_polygon, rectangle, round_contour, round_part, sheet

from nesting.check import check_drawing, check_layout
from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.drawing.writer import write_drawing
from nesting.errors import JobError
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.leads import lead_spots, leads_of, part_findings, with_lead_room
from nesting.part import Part
from nesting.search.engine import search
from nesting.tolerances import CHECK_MM

CLEAR = Clearances(kerf_mm=1.5, gap_mm=6, margin_mm=5, lead_in_mm=5, keep_lead_room=True)
RING = part("ring", round_contour((0, 0), 120), round_contour((0, 0), 90))


def waste_of(part: Part, contour: int) -> Polygon:
    """Where the lead-in of a contour must lie: outside the outer one, inside a hole."""
    body = part.contours[contour].polygon(0.0005, "midway")
    return body if contour else body.envelope.buffer(100).difference(body)


@settings(max_examples=40)
@given(st.integers(0, 100_000), st.floats(1.0, 15.0))
def test_a_spot_lies_in_waste_and_off_every_edge_of_its_own_part(seed: int, lead_mm: float):
    some = polygon_part("some", random_polygon(np.random.default_rng(seed)))
    clear = replace(CLEAR, lead_in_mm=lead_mm)

    for contour, spot in enumerate(lead_spots(some, clear)):
        waste = waste_of(some, contour)
        if spot is None:
            assert contour > 0
            assert shapely.maximum_inscribed_circle(waste).length < clear.kerf_mm + 0.01
            continue
        assert waste.buffer(1e-9).contains(Point(spot.pierce))
        edges = shapely.union_all([c.polygon(0.0005, "midway").boundary for c in some.contours])
        assert edges.distance(Point(spot.contact)) <= 1e-6
        assert edges.distance(Point(spot.pierce)) >= spot.length_mm - 1e-6
        assert spot.length_mm <= lead_mm * 1.03
        if spot.length_mm < lead_mm - 1e-6:
            # Only in a hole too narrow for more: then in its middle.
            widest = shapely.maximum_inscribed_circle(waste, tolerance=1e-3).length
            assert contour > 0 and lead_mm + 0.02 > widest
            assert spot.length_mm == pytest.approx(widest, abs=0.02)


def test_concavities_and_corners_of_the_smallest_rectangle_come_first():
    """By common practice, no source: there the waste is."""
    ell = part("ell", Contour.of_points([(0, 0), (100, 0), (100, 30), (30, 30), (30, 100), (0, 100)]))
    for some, near in ((ell, (30, 30)), (rectangle("r", 100, 60), None)):
        spot = lead_spots(some, CLEAR)[0]
        assert spot is not None
        if near:
            assert math.dist(spot.contact, near) < 10 and min(spot.pierce) > 30
        else:
            corners = [(0, 0), (100, 0), (100, 60), (0, 60)]
            assert min(math.dist(spot.contact, c) for c in corners) < 1e-6


def test_room_is_added_to_the_polygon_that_is_placed():
    some = rectangle("r", 100, 60)
    body = some.placing_polygon.buffer(CLEAR.gap_mm / 2)
    room = with_lead_room(body, some, CLEAR, 0.0)
    spot = lead_spots(some, CLEAR)[0]
    assert spot is not None
    assert room.contains(body) and room.is_valid
    assert room.contains(Point(spot.pierce).buffer(CLEAR.lead_in_mm - CLEAR.gap_mm / 2))
    assert room.area < body.area + 40
    assert with_lead_room(body, some, replace(CLEAR, keep_lead_room=False), 0.0) is body


def test_no_room_is_taken_where_the_gap_holds_the_lead_anyway():
    """A pierce a lead-in from both parts needs a gap of two lead-ins."""
    wide = replace(CLEAR, gap_mm=11, margin_mm=12, lead_in_mm=5)
    body = RING.placing_polygon.buffer(5.5)
    assert with_lead_room(body, RING, wide, 0.0).equals(body)


def crowded(clear: Clearances) -> Layout:
    """More parts than fit, some in the hole of others, on a plate with a hole and a keep-out."""
    rest = plate(
        Contour.of_points([(0, 0), (420, 0), (420, 250), (300, 330), (0, 330)]),
        holes=[round_contour((200, 160), 40)],
        keep_outs=[Contour.of_points([(380, 0), (420, 0), (420, 50)])],
    )
    demands = [
        Demand(part=rectangle("r", 60, 40), quantity=None),
        Demand(part=RING, quantity=3),
        Demand(part=round_part("d", 30), quantity=None, priority=2),
    ]
    return search(rest, demands, clear, steps=6)


def test_every_contour_of_a_layout_keeps_its_room_and_the_drawing_passes(tmp_path: Path):
    layout = crowded(CLEAR)
    leads = leads_of(layout)

    contours = sum(len(layout.parts[p.part_id].contours) for p in layout.placements)
    assert len(leads.marked) == contours > 15 and not leads.findings
    for lead in leads.marked:
        placement = layout.placements[lead.number - 1]
        kept = lead_spots(layout.parts[placement.part_id], CLEAR)[lead.contour]
        assert kept is not None and lead.spot == kept.posed(placement.pose)
        for other in layout.placements:
            body = other.pose.geometry(layout.parts[other.part_id].fine_polygon)
            assert body.distance(Point(lead.spot.pierce)) >= CLEAR.lead_in_mm - CHECK_MM
            if other is not placement:
                line = LineString([lead.spot.contact, lead.spot.pierce])
                assert body.distance(line) >= CLEAR.kerf_mm - CHECK_MM
        assert layout.plate.usable_polygon(0.001).contains(Point(lead.spot.pierce).buffer(CLEAR.kerf_mm - 0.01))
    assert check_layout(layout).passed
    write_drawing(layout, tmp_path / "a.dxf", leads=leads)
    assert check_drawing(tmp_path / "a.dxf", layout=layout).passed


def test_without_room_kept_some_spots_are_taken_and_others_found():
    layout = crowded(replace(CLEAR, keep_lead_room=False))
    leads = leads_of(layout)
    by_number = {p.number: p for p in layout.placements}

    def kept(lead):
        placement = by_number[lead.number]
        return lead_spots(layout.parts[placement.part_id], CLEAR)[lead.contour].posed(placement.pose)

    assert any(lead.spot != kept(lead) for lead in leads.marked)
    assert len(leads.marked) + len(leads.findings) == sum(
        len(layout.parts[p.part_id].contours) for p in layout.placements
    )


def test_a_contour_without_room_in_the_layout_is_named():
    """A disc in a ring, 6 mm apart all round: no place is 5 mm from both."""
    disc = round_part("disc", 78)
    placements = tuple(
        Placement(number=n, part_id=i, pose=Pose(x_mm=80, y_mm=80)) for n, i in ((1, "ring"), (2, "disc"))
    )
    layout = Layout(
        plate=sheet(160, 160),
        clearances=replace(CLEAR, keep_lead_room=False),
        demands=(Demand(part=RING), Demand(part=disc)),
        placements=placements,
    )
    leads = leads_of(layout)
    assert [(lead.number, lead.contour) for lead in leads.marked] == [(1, 0)]
    assert leads.findings == (
        "part 1 (ring): no clear place for pierce and lead-in at its inside contour 1 round (80.0, 80.0)",
        "part 2 (disc): no clear place for pierce and lead-in at its outside contour round (80.0, 80.0)",
    )


def test_narrow_holes_are_named_before_the_search():
    holes = (round_contour((20, 20), 8), round_contour((50, 20), 2.5), round_contour((80, 20), 20))
    some = part("some", Contour.of_rectangle(100, 40), *holes)
    shallow, none = part_findings(some, CLEAR)
    assert shallow == (
        "some: inside contour 1 round (20.0, 20.0) is too narrow for a lead-in of 5 mm: pierced in its middle, "
        "4.00 mm from its edge"
    )
    assert none.startswith(
        "some: inside contour 2 round (50.0, 20.0) has no room for a pierce: narrower than two kerfs"
    )


def test_a_part_that_fits_only_without_its_lead_is_left_over():
    tight = sheet(70.1, 50.1)
    demands = [Demand(part=rectangle("r", 60, 40))]
    assert len(search(tight, demands, replace(CLEAR, keep_lead_room=False), steps=2).placements) == 1
    kept = search(tight, demands, CLEAR, steps=2)
    assert not kept.placements and kept.left_over[0].reason.endswith("the room kept for its lead-ins comes on top")


def test_room_for_a_lead_of_no_length_is_refused():
    with pytest.raises(JobError, match="lead-in is 0 mm long; give its length"):
        Clearances(kerf_mm=1.5, gap_mm=6, margin_mm=5, keep_lead_room=True)


@pytest.mark.parametrize(
    ("move", "message"),
    [
        ((0.0, 3.0), r"lead-in at .* leads to no contour"),
        ((-160.0, 0.0), r"does not lie wholly on the plate"),
        ((60.0, 0.0), r"is pierced .* mm from part . \(r\); needed"),
    ],
)
def test_the_check_refuses_a_lead_that_was_moved(tmp_path: Path, move: tuple[float, float], message: str):
    placements = tuple(Placement(number=n, part_id="r", pose=Pose(x_mm=50 + 66 * n, y_mm=20)) for n in (1, 2))
    layout = Layout(
        plate=sheet(300, 100),
        clearances=replace(CLEAR, gap_mm=6, lead_in_mm=8, keep_lead_room=False),
        demands=(Demand(part=rectangle("r", 60, 40), quantity=2),),
        placements=placements,
    )
    write_drawing(layout, tmp_path / "a.dxf", leads=leads_of(layout))
    assert check_drawing(tmp_path / "a.dxf", layout=layout).passed
    document = ezdxf.readfile(tmp_path / "a.dxf")
    document.modelspace().query('LINE[layer=="PIERCE_MARK"]').first.translate(*move, 0)
    document.saveas(tmp_path / "a.dxf")

    report = check_drawing(tmp_path / "a.dxf", layout=layout)

    assert not report.passed and {f.kind for f in report.findings} == {"lead"}
    assert re.search(message, report.message)
