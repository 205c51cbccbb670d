"""The free rest is what it says it is."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapes import part, plate, rectangle, round_contour, sheet

from nesting.clearances import Clearances
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Pose
from nesting.layout import Placement
from nesting.search.rest import free_rest, measured

CLEAR = Clearances(kerf_mm=1.5, gap_mm=6.0, margin_mm=8.0)
BAR = rectangle("bar", 100, 200)


def placed(turn: float = 0.0, x: float = 0.0, y: float = 0.0) -> list[Placement]:
    return [Placement(number=1, part_id="bar", pose=Pose(turn_deg=turn, x_mm=x, y_mm=y))]


def test_a_bar_at_the_edge_leaves_the_rest_less_one_gap() -> None:
    rest = free_rest(sheet(300, 200), {"bar": BAR}, placed(), CLEAR)

    found = measured(rest)

    assert found.area_mm2 == pytest.approx(194 * 200)
    assert found.rectangle_mm == pytest.approx((200, 194), rel=1e-3)
    assert found.circle_diameter_mm == pytest.approx(194, rel=1e-3)


def test_holes_and_keep_outs_are_not_free_and_holes_of_parts_are() -> None:
    """A ring with a hole of 100 leaves a disc of 100 less a gap all round free inside it."""
    ring = part("ring", round_contour((100.0, 100.0), 190.0), round_contour((100.0, 100.0), 100.0))
    keep_out = Contour.of_points([(200, 0), (300, 0), (300, 200), (200, 200)])
    on = plate(Contour.of_rectangle(300.0, 200.0), keep_outs=[keep_out])
    rest = free_rest(on, {"ring": ring}, [Placement(number=1, part_id="ring", pose=Pose())], CLEAR)

    assert measured(rest).circle_diameter_mm == pytest.approx(88, abs=0.3)


@settings(max_examples=20)
@given(st.floats(0.0, 360.0), st.floats(-50.0, 350.0), st.floats(-50.0, 250.0))
def test_the_free_rest_keeps_the_gap_and_leaves_out_little_else(turn: float, x: float, y: float) -> None:
    """Against a fine round buffer; corners are mitred, less than a gap beyond."""
    rest = free_rest(sheet(300, 200), {"bar": BAR}, placed(turn, x, y), CLEAR)

    bar = affinity.translate(affinity.rotate(BAR.fine_polygon, turn, origin=(0, 0)), x, y)
    assert rest.is_empty or rest.distance(bar) >= CLEAR.gap_mm - 1e-6
    missing = sheet(300, 200).fine_polygon.difference(bar.buffer(6.0, quad_segs=200)).area - rest.area
    assert -1e-3 <= missing <= 4 * (1 - math.pi / 4) * 6.0**2 + 1e-3


def test_a_plate_full_to_the_edge_has_no_rest() -> None:
    found = measured(free_rest(sheet(100, 200), {"bar": BAR}, placed(), CLEAR))

    assert (found.area_mm2, found.circle_diameter_mm, found.rectangle_mm) == (0.0, 0.0, (0.0, 0.0))
