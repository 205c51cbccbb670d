"""Contours drawn twice, and those that only look like it."""

from nesting.drawing.chain import loop_of
from nesting.drawing.doubles import distinct_loops
from nesting.drawing.entities import Drawn
from nesting.geometry.curves import Polyline

NOTCHED_LEFT = ((0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0), (50.0, 50.0))
NOTCHED_RIGHT = ((0.0, 0.0), (100.0, 0.0), (50.0, 50.0), (100.0, 100.0), (0.0, 100.0))


def loop(*corners: tuple[float, float]):
    line = Polyline(vertices=tuple((x, y, 0.0) for x, y in corners), is_closed=True)
    return loop_of([Drawn(line, "0", "", "LWPOLYLINE 1")])


def test_contours_with_the_same_corners_in_another_order_both_stay() -> None:
    """The distance between two lines was once taken at their corners only, and one of these was dropped as a double."""
    both, findings = distinct_loops([loop(*NOTCHED_LEFT), loop(*NOTCHED_RIGHT)])

    assert len(both) == 2 and findings == ()


def test_a_contour_begun_elsewhere_with_a_corner_more_is_a_double() -> None:
    again = (*NOTCHED_LEFT[2:], *NOTCHED_LEFT[:2], (100.0, 40.0))

    (one,), (finding,) = distinct_loops([loop(*NOTCHED_LEFT), loop(*again)])

    assert len(one.contour.pieces) == 5 and finding.kind == "duplicate"
