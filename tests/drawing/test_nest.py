"""Containment: parts, holes, parts in holes, and what is told instead of cut."""

import math

import pytest

from nesting.drawing.contours import contours_of
from nesting.drawing.entities import Drawn
from nesting.drawing.nest import Nested, nest
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc, Curve, Line, Polyline, circle


def read(*curves: Curve, join_mm: float = 0.5) -> Nested:
    """Chain and nest curves."""
    chained = contours_of([Drawn(c, "0", "", f"{c.type.upper()} {k}") for k, c in enumerate(curves)], join_mm)
    return nest(chained.loops, chained.chains)


def box(x: float, y: float, w: float, h: float) -> Polyline:
    """A rectangle."""
    corners = ((x, y, 0.0), (x + w, y, 0.0), (x + w, y + h, 0.0), (x, y + h, 0.0))
    return Polyline(vertices=corners, is_closed=True)


def holes(nested: Nested) -> list[int]:
    """Holes of each part, in the order of the drawing."""
    return [len(outline.holes) for outline in nested.outlines]


def kinds(nested: Nested) -> list[str]:
    """Kinds of findings."""
    return sorted(f.kind for f in nested.findings)


def test_part_in_a_hole_to_any_depth() -> None:
    rings = [circle((0, 0), r) for r in (200, 150, 140, 90, 80, 40)]

    nested = read(*rings)

    assert holes(nested) == [1, 1, 1]
    assert nested.findings == ()


def test_small_island_in_a_hole_is_told() -> None:
    nested = read(box(0, 0, 100, 100), circle((50, 50), 20), circle((50, 50), 2))

    assert holes(nested) == [1]
    assert kinds(nested) == ["loose island"]


def test_small_ring_in_a_hole_is_a_part() -> None:
    nested = read(box(0, 0, 100, 100), circle((50, 50), 20), circle((50, 50), 4), circle((50, 50), 2))

    assert sorted(holes(nested)) == [1, 1]


def test_sheet_edge_round_parts_is_left_out() -> None:
    parts = [c for k in range(3) for c in (box(20 + 90 * k, 20, 80, 80), circle((60 + 90 * k, 60), 10))]

    nested = read(box(0, 0, 300, 120), *parts)

    assert holes(nested) == [1, 1, 1]
    assert kinds(nested) == ["sheet edge"]


def test_a_rectangle_with_bored_holes_is_no_sheet_of_washers() -> None:
    """Countersunk and threaded holes are drawn as two circles; which one is cut through only the designer knows."""
    places = [(20, 20), (280, 20), (20, 100), (280, 100)]

    nested = read(box(0, 0, 300, 120), *[circle(at, r) for at in places for r in (7.5, 4.5)])

    assert holes(nested) == [4]
    assert {(f.kind, f.severity) for f in nested.findings} == {("circle in circle", "error")}
    assert len(nested.findings) == 4


@pytest.mark.parametrize(
    ("layers", "told"),
    [
        (("CUT", "CUT", "CUT"), "or move it to a layer named MARK"),
        (("CUT", "CBORE", "CUT"), 'or tell it with --rule "CBORE=mark"'),
        (("CUT", "CUT", "THREAD"), 'or tell it with --rule "THREAD=mark"'),
        (("CUT", "CBORE", "BORE"), 'or tell it with --rule "CBORE=mark" or --rule "BORE=mark"'),
    ],
)
def test_two_circles_say_which_layer_marks(layers: tuple[str, ...], told: str) -> None:
    """Outline, outer and inner circle; a rule for the outline's own layer would take the part away."""
    curves = (box(0, 0, 160, 100), circle((30, 50), 12), circle((30, 50), 7))
    drawn = [Drawn(c, layer, "", f"C {k}") for k, (c, layer) in enumerate(zip(curves, layers, strict=True))]
    chained = contours_of(drawn, 0.5)

    (found,) = nest(chained.loops, chained.chains).findings

    assert found.message.endswith(told)


def test_one_contour_in_a_broken_outline_is_told_as_one() -> None:
    corners = [(0, 3), (0, 0), (100, 0), (100, 80), (0, 80), (0, 6)]
    lines = [Line(start=a, end=b) for a, b in zip(corners, corners[1:], strict=False)]

    nested = read(*lines, circle((50, 40), 6))

    assert any(f.message.startswith("1 contour lies in the outline") for f in nested.findings)


def test_a_disc_in_a_large_ring_is_a_part() -> None:
    nested = read(circle((0, 0), 100), circle((0, 0), 80), circle((0, 0), 60))

    assert sorted(holes(nested)) == [0, 1]
    assert nested.findings == ()


def test_frame_with_a_part_in_its_window_is_no_sheet_edge() -> None:
    nested = read(
        box(0, 0, 300, 300), box(50, 50, 200, 200), box(60, 60, 100, 100), circle((100, 100), 9), circle((20, 20), 5)
    )

    assert holes(nested) == [2, 1]


@pytest.mark.parametrize("kind", ["lobe", "spike"])
def test_a_lobe_or_spike_small_beside_its_part_is_an_error(kind: str) -> None:
    """The lobe is wound the other way and its thousandth of the area once passed for rounding."""
    ends = ((499, 1200, 0), (501, 1200, 0)) if kind == "lobe" else ((500, 1060, 0), (500, 1060, 0))
    feet = (502, 498) if kind == "lobe" else (500, 500)
    top = ((feet[0], 1000, 0), *ends, (feet[1], 1000, 0))
    plate = Polyline(vertices=((0, 0, 0), (1000, 0, 0), (1000, 1000, 0), *top, (0, 1000, 0)), is_closed=True)

    nested = read(plate)

    assert nested.outlines == ()
    assert [(f.kind, f.severity) for f in nested.findings] == [("crosses itself", "error")]


def test_a_hairs_curl_at_a_corner_is_told() -> None:
    curl = ((100, 99.97, 0), (99.97, 100.02, 0), (100.02, 100, 0))
    plate = Polyline(vertices=((0, 0, 0), (100, 0, 0), *curl, (0, 100, 0)), is_closed=True)

    nested = read(plate)

    assert holes(nested) == [0]
    assert kinds(nested) == ["touches itself"]


def test_self_crossing_contour_is_an_error_with_its_place() -> None:
    bow_tie = Polyline(vertices=((0, 0, 0), (40, 40, 0), (40, 0, 0), (0, 40, 0)), is_closed=True)

    nested = read(bow_tie, box(100, 0, 50, 50))

    (finding,) = nested.findings
    assert (finding.kind, finding.severity) == ("crosses itself", "error")
    assert finding.place == pytest.approx((20.0, 20.0))
    assert len(nested.outlines) == 1


def test_holes_of_an_open_outline_are_no_parts() -> None:
    lines: list[Curve] = list(Contour.of_rectangle(100, 60).curves)
    lines[0] = Line(start=(0.0, 0.0), end=(97.0, 0.0))

    nested = read(*lines, circle((30, 30), 12))

    assert nested.outlines == ()
    assert kinds(nested) == ["broken outline"]


def test_open_window_keeps_the_part_in_it() -> None:
    window: list[Curve] = [Line(start=(50, 50), end=(148, 50)), Line(start=(150, 50), end=(150, 150))]
    window += [Line(start=(150, 150), end=(50, 150)), Line(start=(50, 150), end=(50, 50))]

    nested = read(circle((100, 100), 200), *window, box(70, 70, 40, 40))

    assert holes(nested) == [0, 0]


def test_crossing_contours_leave_out_the_smaller() -> None:
    nested = read(box(0, 0, 100, 100), circle((100, 50), 10))

    assert holes(nested) == [0]
    assert kinds(nested) == ["contours cross"]


@pytest.mark.parametrize("out_mm", [0.03, 0.1, 5.0])
def test_a_hole_that_reaches_out_of_its_outline_is_an_error_with_its_place(out_mm: float) -> None:
    nested = read(box(0, 0, 100, 100), circle((90 + out_mm, 50), 10))

    (finding,) = nested.findings
    assert (finding.kind, finding.severity) == ("contours cross", "error")
    assert finding.place is not None
    assert finding.place[0] == pytest.approx(100.0, abs=0.02)
    assert holes(nested) == [0]


def test_a_hole_drawn_twice_a_hair_apart_is_one() -> None:
    nested = read(box(0, 0, 100, 100), circle((50, 50), 4), circle((50.05, 50.0), 4))

    (finding,) = nested.findings
    assert (finding.kind, finding.severity) == ("nearly the same", "warning")
    assert finding.size_mm == pytest.approx(0.05, abs=0.01)
    assert holes(nested) == [1]


def test_a_hole_drawn_again_a_hair_larger_is_one() -> None:
    nested = read(box(0, 0, 100, 100), circle((50, 50), 4), circle((50, 50), 4.06))

    assert holes(nested) == [1]
    assert kinds(nested) == ["nearly the same"]


def test_shapes_with_the_same_corners_are_not_one() -> None:
    """Squares notched from the left and from the right: every corner of one is a corner of the other."""
    corners = ((0, 0), (100, 0), (100, 100), (0, 100), (50, 50)), ((0, 0), (100, 0), (50, 50), (100, 100), (0, 100))

    nested = read(*(Polyline(vertices=tuple((x, y, 0.0) for x, y in c), is_closed=True) for c in corners))

    assert [(f.kind, f.severity) for f in nested.findings] == [("contours cross", "error")]


def test_neighbours_that_touch_do_not_cross() -> None:
    nested = read(box(0, 0, 50, 50), box(50, 0, 50, 50), circle((25, 25), 10))

    assert sorted(holes(nested)) == [0, 1]
    assert nested.findings == ()


def test_a_hole_that_touches_the_outline_is_told_with_its_place() -> None:
    nested = read(box(0, 0, 50, 50), circle((40, 20), 10), circle((20, 30), 10))

    (finding,) = nested.findings
    assert (finding.kind, finding.severity) == ("hole at edge", "warning")
    assert finding.place == pytest.approx((50.0, 20.0), abs=0.02)
    assert holes(nested) == [2]


def test_hair_thin_contour_is_left_out() -> None:
    nested = read(box(0, 0, 100, 0.005), box(0, 10, 50, 50))

    assert holes(nested) == [0]
    assert kinds(nested) == ["sliver"]


def test_area_between_is_outline_less_holes() -> None:
    nested = read(box(0, 0, 100, 100), circle((50, 50), 20))

    assert nested.outlines[0].polygon.area == pytest.approx(10000 - 400 * math.pi, rel=1e-3)


def test_one_polyline_with_a_gap_is_an_open_outline_and_not_a_stray_line() -> None:
    """Its hole once became a part of its own, with a warning only."""
    gap = Polyline(vertices=((0, 1, 0), (0, 100, 0), (100, 100, 0), (100, 0, 0), (0, 0, 0)))
    hole = circle((50.0, 50.0), 10.0)

    nested = read(gap, hole)

    assert nested.outlines == ()
    assert [f.kind for f in nested.findings] == ["broken outline"]


@pytest.mark.parametrize("sweep_deg", [355.0, 330.0])
def test_one_arc_nearly_round_is_an_open_outline(sweep_deg: float) -> None:
    """Left as a stray line it is no hole, and what it goes round would be a part of its own."""
    ring = Arc(center=(50.0, 50.0), radius_mm=30.0, start_deg=5.0, sweep_deg=sweep_deg)

    nested = read(ring, circle((50.0, 50.0), 10.0))

    assert nested.outlines == ()
    assert kinds(nested) == ["broken outline"]
