"""Contours measure truly, and the polygons that stand in for them err only to the side they say."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon
from strategies import contours, corners, poses

from nesting.geometry.contour import Contour, region
from nesting.geometry.curves import Arc, EllipseArc, Line, Polyline, circle
from nesting.geometry.pose import Point, Pose

FINEST_MM = 5e-5
CHORDS = st.sampled_from([0.5, 0.05, 0.0005])


def fine(contour: Contour) -> Polygon:
    """The area inside, corners on the curves, wrong by 5e-5 mm."""
    ring = Polygon(np.vstack([p.points(FINEST_MM) for p in contour.pieces]))
    # Ends that are one but for rounding make steps back, which upset the sense of a ring.
    return shapely.remove_repeated_points(ring, 1e-9)


@given(contours(), poses())
def test_posed_contour_keeps_length_and_area(contour: Contour, pose: Pose) -> None:
    moved = contour.posed(pose)

    assert moved.length_mm == pytest.approx(contour.length_mm, rel=1e-9)
    assert moved.area_mm2 == pytest.approx(contour.area_mm2, rel=1e-7)
    assert sorted(c.type for c in moved.curves) == sorted(c.type for c in contour.curves)
    true = pose.geometry(fine(contour))
    assert shapely.symmetric_difference(fine(moved), true).area <= 1e-4 * contour.length_mm


@given(contours())
def test_contour_always_runs_counter_clockwise_and_joins(contour: Contour) -> None:
    assert contour.area_mm2 > 0.0
    assert fine(contour).exterior.is_ccw
    for a, b in zip(contour.pieces, [*contour.pieces[1:], contour.pieces[0]], strict=True):
        np.testing.assert_allclose(a.end, b.start, atol=1e-6)
    back = Contour(curves=tuple(c.reversed() for c in reversed(contour.curves)))
    assert back.area_mm2 == pytest.approx(contour.area_mm2)


@given(contours())
def test_area_and_length_agree_with_fine_chords(contour: Contour) -> None:
    polygon = fine(contour)
    assert contour.area_mm2 == pytest.approx(polygon.area, abs=2 * FINEST_MM * contour.length_mm)
    assert contour.length_mm == pytest.approx(polygon.length, rel=1e-4)


@given(contours(), CHORDS)
def test_outward_holds_the_true_area_and_no_more_than_the_chord(contour: Contour, chord_mm: float) -> None:
    outward, true = contour.polygon(chord_mm, "outward"), fine(contour)

    assert outward.is_valid
    assert farthest(true, outward) <= 2 * FINEST_MM
    assert farthest(outward, true) <= chord_mm + 2 * FINEST_MM


@given(contours(), CHORDS)
def test_inward_lies_in_the_true_area_within_the_chord(contour: Contour, chord_mm: float) -> None:
    inward, true = contour.polygon(chord_mm, "inward"), fine(contour)

    assert inward.is_valid
    assert farthest(inward, true) <= 2 * FINEST_MM
    outside = true.envelope.buffer(10.0).difference(true)
    lost = true.envelope.buffer(10.0).difference(inward)
    assert farthest(lost, outside) <= max(chord_mm + 2 * FINEST_MM, 0.0)


@given(contours(), CHORDS)
def test_midway_has_its_corners_on_the_curves(contour: Contour, chord_mm: float) -> None:
    midway, true = contour.polygon(chord_mm, "midway"), fine(contour)

    assert midway.is_valid
    edge = shapely.points(shapely.get_coordinates(midway))
    assert shapely.distance(edge, true.boundary).max() <= chord_mm
    assert farthest(true, midway) <= chord_mm + 2 * FINEST_MM


@given(contours(), CHORDS)
def test_inward_midway_and_outward_lie_in_one_another(contour: Contour, chord_mm: float) -> None:
    inward, midway, outward = (contour.polygon(chord_mm, side) for side in ("inward", "midway", "outward"))
    assert farthest(inward, outward) <= 1e-6
    assert farthest(inward, midway) <= chord_mm and farthest(midway, outward) <= chord_mm
    assert inward.area <= contour.area_mm2 + 1e-9 * contour.area_mm2
    assert outward.area >= contour.area_mm2 * (1 - 1e-9)


@given(corners())
def test_straight_contours_are_exact_on_every_side(xy: list[Point]) -> None:
    contour = Contour.of_points(xy)
    for side in ("inward", "midway", "outward"):
        assert contour.polygon(0.05, side).symmetric_difference(Polygon(xy)).area <= 1e-9


def farthest(points_of: shapely.Geometry, solid: shapely.Geometry) -> float:
    """How far the first reaches out of the second, at its corners and halfway along its edges."""
    if points_of.is_empty:
        return 0.0
    xy = shapely.get_coordinates(shapely.segmentize(points_of, 5.0))
    points = shapely.points(xy)
    shapely.prepare(solid)
    out = points[~shapely.intersects(solid, points)]
    return float(shapely.distance(out, solid.boundary).max()) if len(out) else 0.0


def slot(length_mm: float, width_mm: float) -> Contour:
    """A slot with round ends."""
    r, straight = width_mm / 2, length_mm - width_mm
    vertices = ((0.0, -r, 0.0), (straight, -r, 1.0), (straight, r, 0.0), (0.0, r, 1.0))
    return Contour(curves=(Polyline(vertices=vertices, is_closed=True),))


def test_slot_100_long_50_wide() -> None:
    """Arithmetic: area 4463.495, perimeter 257.080."""
    assert slot(100.0, 50.0).area_mm2 == pytest.approx(4463.495, abs=1e-3)
    assert slot(100.0, 50.0).length_mm == pytest.approx(257.080, abs=1e-3)


def test_clockwise_bulged_polyline_is_turned_round() -> None:
    clockwise = Polyline(
        vertices=((0.0, 0.0, -1.0), (0.0, 50.0, 0.0), (50.0, 50.0, -1.0), (50.0, 0.0, 0.0)), is_closed=True
    )
    contour = Contour(curves=(clockwise,))

    assert contour.area_mm2 == pytest.approx(4463.495, abs=1e-3)
    assert contour.polygon(0.01, "outward").bounds == pytest.approx((-25.0, 0.0, 75.0, 50.0), abs=0.01)


def test_clockwise_circle_is_turned_round() -> None:
    contour = Contour(curves=(Arc(center=(5.0, 5.0), radius_mm=2.0, start_deg=0.0, sweep_deg=-360.0),))
    assert contour.area_mm2 == pytest.approx(4 * math.pi)
    assert contour.polygon(0.01, "outward").area >= 4 * math.pi


def test_open_ends_are_bridged_straight() -> None:
    """Ends a reader has let pass count as joined by a straight line, also in the area."""
    gaping = Contour(
        curves=(
            Line(start=(0.0, 0.0), end=(9.99, 0.0)),
            Line(start=(10.0, 0.01), end=(10.0, 10.0)),
            Line(start=(10.0, 10.0), end=(0.0, 10.0)),
            Line(start=(0.0, 10.0), end=(0.0, 0.0)),
        )
    )
    assert gaping.area_mm2 == pytest.approx(100.0 - 0.5 * 0.01 * 0.01)
    assert gaping.polygon(0.05, "midway").area == pytest.approx(gaping.area_mm2)


def test_region_flattens_holes_to_the_safe_side() -> None:
    disc, bore = Contour(curves=(circle((0.0, 0.0), 50.0),)), Contour(curves=(circle((0.0, 0.0), 20.0),))
    true_mm2 = math.pi * (50.0**2 - 20.0**2)

    outward, inward = region(disc, [bore], 0.05, "outward"), region(disc, [bore], 0.05, "inward")

    assert inward.area < true_mm2 < outward.area
    assert outward.area - inward.area < 0.1 * 2 * math.pi * 70.0
    assert shapely.Point(0.0, 0.0).distance(outward) <= 20.0
    assert shapely.Point(0.0, 0.0).distance(inward) >= 20.0


def test_tight_corners_smaller_than_the_chord_stay_safe() -> None:
    """Corners rounded by 0.02 mm vanish in a chord of 0.5 mm, but never to the wrong side."""
    r, chord_mm = 0.02, 0.5
    vertices = []
    for x, y, dx, dy in ((0, 0, 1, 0), (10, 0, 0, 1), (10, 10, -1, 0), (0, 10, 0, -1)):
        quarter = math.tan(math.pi / 8)
        vertices += [(x + r * dx, y + r * dy, 0.0), (x + (10 - r) * dx, y + (10 - r) * dy, quarter)]
    contour = Contour(curves=(Polyline(vertices=tuple(vertices), is_closed=True),))

    assert contour.polygon(chord_mm, "outward").buffer(1e-9).contains(fine(contour))
    assert fine(contour).buffer(FINEST_MM).contains(contour.polygon(chord_mm, "inward"))


@pytest.mark.parametrize("bulge", [0.0, 0.1])
def test_a_lobe_wound_the_other_way_is_not_lost(bulge: float) -> None:
    """Twisted at its foot, the ear runs clockwise; as part of a part it must not lie on a neighbour."""
    corners = ((0, 0), (100, 0), (100, 100), (52, 100), (49, 120), (51, 120), (48, 100), (0, 100))
    ear = Contour(
        curves=(Polyline(vertices=tuple((x, y, bulge if y == 0 else 0.0) for x, y in corners), is_closed=True),)
    )

    outward, inward = ear.polygon(0.05, "outward"), ear.polygon(0.05, "inward")

    assert outward.buffer(1e-6).contains(shapely.LineString(corners[2:]))
    assert outward.contains(shapely.Point(50.0, 119.0))
    assert inward.within(outward)
    assert inward.area > 9900.0


def test_contour_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one curve"):
        Contour(curves=())
    with pytest.raises(ValueError, match="at least three corners, got 2"):
        Contour.of_points([(0.0, 0.0), (1.0, 1.0)])


def test_ellipse_band_is_on_the_safe_side() -> None:
    flat = Contour(
        curves=(EllipseArc(center=(0.0, 0.0), major=(100.0, 0.0), ratio=0.02, start_deg=0.0, sweep_deg=360.0),)
    )
    assert flat.polygon(0.05, "inward").area < flat.area_mm2 < flat.polygon(0.05, "outward").area


def test_a_circle_in_three_arcs_keeps_its_area_at_every_chord() -> None:
    """Two arcs place the end they share a rounding apart; once that made the whole contour vanish."""
    corners = (
        (37.99980559738543, 30.055770996412, 0.9982586592585875),
        (22.00004860080127, 29.97211433238578, 0.9982586592585875),
        (38.0, 30.0, 0.0017428595199120924),
    )
    around = Contour(curves=(Polyline(vertices=corners, is_closed=True),))
    for chord in (0.01, 0.001, 0.0005, 0.0001, 0.00005):
        for side in ("midway", "outward", "inward"):
            assert around.polygon(chord, side).area == pytest.approx(64 * math.pi, rel=10 * chord)


def test_a_bulge_too_flat_to_tell_its_centre_is_a_line() -> None:
    """Its centre would lie 1e8 mm away, and the area come out wrong by a ten-millionth."""
    corners = ((10.0, 0.0, 0.0), (-2.2, 9.7, 2e-8), (-9.0, 4.3, 0.0), (-9.0, -4.3, 0.0))
    contour = Contour(curves=(Polyline(vertices=corners, is_closed=True),))

    moved = contour.posed(Pose(turn_deg=102.0, x_mm=0.0, y_mm=1205.0))

    assert all(isinstance(piece, Line) for piece in contour.pieces)
    assert moved.area_mm2 == pytest.approx(contour.area_mm2, rel=1e-10)
