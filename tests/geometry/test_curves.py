"""Curves keep what they are through every move, and their chords stay as near as they promise."""

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from strategies import arcs, curves, ellipse_arcs, lengths, points, polylines, poses, splines

from nesting.geometry.curves import Arc, Curve, EllipseArc, Line, Polyline, Spline, bulge_piece, circle
from nesting.geometry.pose import Point, Pose

FINEST_MM = 1e-5


def trace(curve: Curve) -> shapely.LineString:
    """The curve as very short chords."""
    return shapely.LineString(curve.points(FINEST_MM))


@given(curves(), poses())
def test_posed_curve_is_the_same_curve_elsewhere(curve: Curve, pose: Pose) -> None:
    moved = curve.posed(pose)

    assert moved.type == curve.type
    assert moved.length_mm == pytest.approx(curve.length_mm, rel=1e-9, abs=1e-9)
    assert moved.closed == curve.closed
    assert [type(p) for p in moved.pieces] == [type(p) for p in curve.pieces]
    np.testing.assert_allclose(moved.start, pose.point(curve.start), atol=1e-8)
    np.testing.assert_allclose(moved.end, pose.point(curve.end), atol=1e-8)
    away = shapely.hausdorff_distance(
        shapely.LineString(moved.points(0.01)), shapely.LineString(pose.points(curve.points(0.01)))
    )
    assert away < 1e-6


@given(curves())
def test_reversed_curve_runs_back_over_itself(curve: Curve) -> None:
    back = curve.reversed()

    np.testing.assert_allclose(back.start, curve.end, atol=1e-8)
    np.testing.assert_allclose(back.end, curve.start, atol=1e-8)
    assert back.length_mm == pytest.approx(curve.length_mm, rel=1e-12, abs=1e-9)
    assert back.swept_area_mm2 == pytest.approx(-curve.swept_area_mm2, rel=1e-9, abs=1e-3)
    np.testing.assert_allclose(back.points(0.01)[::-1], curve.points(0.01), atol=1e-5)
    forth = back.reversed()
    np.testing.assert_allclose(forth.points(0.01), curve.points(0.01), atol=1e-5)


@given(curves(), st.sampled_from([0.5, 0.05, 0.003]))
def test_chords_stay_within_what_is_asked(curve: Curve, chord_mm: float) -> None:
    true = shapely.points(shapely.get_coordinates(trace(curve)))
    chords = shapely.LineString(curve.points(chord_mm))
    shapely.prepare(chords)

    assert shapely.distance(true, chords).max() <= chord_mm + 2 * FINEST_MM


@given(curves())
def test_length_and_swept_area_agree_with_fine_chords(curve: Curve) -> None:
    xy = curve.points(FINEST_MM)
    chords_mm = float(np.hypot(*np.diff(xy, axis=0).T).sum())
    x, y = (xy - xy[0]).T
    area_mm2 = 0.5 * float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
    x0, y0 = xy[0]
    offset = 0.5 * (x0 * (curve.end[1] - y0) - y0 * (curve.end[0] - x0))

    assert chords_mm <= curve.length_mm * (1 + 1e-9) + 1e-9
    # Chords may cut off the tip of a spline that doubles back on itself; elsewhere they are much nearer.
    tips = 5e-3 if isinstance(curve, Spline) else 0.0
    assert curve.length_mm == pytest.approx(chords_mm, rel=1e-4 + tips, abs=FINEST_MM)
    assert curve.swept_area_mm2 - offset == pytest.approx(area_mm2, abs=2 * FINEST_MM * curve.length_mm + 1e-6)


@given(arcs(), st.sampled_from([0.5, 0.05, 0.0005]))
def test_tangents_wrap_the_arc_from_outside(arc: Arc, chord_mm: float) -> None:
    corners = arc.tangent_points(chord_mm)
    away = np.hypot(*(corners - arc.center).T)
    nearest = shapely.distance(shapely.LineString(corners), shapely.Point(arc.center))

    np.testing.assert_allclose(corners[0], arc.start)
    np.testing.assert_allclose(corners[-1], arc.end)
    assert nearest >= arc.radius_mm - 1e-9
    assert away.max() <= arc.radius_mm + chord_mm


@given(polylines())
def test_polyline_pieces_follow_one_another(polyline: Polyline) -> None:
    pieces = polyline.pieces
    for a, b in pairwise(pieces):
        np.testing.assert_allclose(a.end, b.start, atol=1e-5)
    np.testing.assert_allclose(pieces[0].start, polyline.start, atol=1e-5)
    np.testing.assert_allclose(pieces[-1].end, polyline.end, atol=1e-5)


@given(points(100.0), points(100.0), lengths(-20.0, 20.0))
def test_bulge_is_the_tangent_of_a_quarter_of_the_sweep(a: Point, b: Point, bulge: float) -> None:
    """Published DXF reference, LWPOLYLINE, group 42."""
    assume(math.dist(a, b) > 0.1 and abs(bulge) > 1e-4)
    piece = bulge_piece(a, b, bulge)

    assert isinstance(piece, Arc)
    assert math.tan(math.radians(piece.sweep_deg) / 4) == pytest.approx(bulge, rel=1e-9)
    slack = 1e-12 * piece.radius_mm + 1e-9
    np.testing.assert_allclose(piece.start, a, atol=slack)
    np.testing.assert_allclose(piece.end, b, atol=slack)


def test_bulges_of_quarter_and_half_circle() -> None:
    """Printed bulge examples: quarter circle 0.414214, half circle 1.0 (GetBulge reference; examples of
    polyline bulges on qiita.com)."""
    quarter = bulge_piece((1.0, 0.0), (0.0, 1.0), 0.414214)
    half = bulge_piece((1.0, 0.0), (-1.0, 0.0), 1.0)

    assert isinstance(quarter, Arc) and isinstance(half, Arc)
    assert quarter.sweep_deg == pytest.approx(90.0, abs=1e-4)
    np.testing.assert_allclose(quarter.center, (0.0, 0.0), atol=1e-6)
    assert half.sweep_deg == pytest.approx(180.0)
    np.testing.assert_allclose(half.center, (0.0, 0.0), atol=1e-12)


def test_quarter_bulge_over_a_chord_of_100() -> None:
    """Arithmetic: radius 70.7107, rise 20.7107, arc 111.0721, segment area 1426.991."""
    arc = bulge_piece((0.0, 0.0), (100.0, 0.0), 0.41421356)

    assert isinstance(arc, Arc)
    assert arc.radius_mm == pytest.approx(70.7107, abs=1e-3)
    assert -arc.points(1e-4)[:, 1].min() == pytest.approx(20.7107, abs=1e-3)
    assert arc.length_mm == pytest.approx(111.0721, abs=1e-3)
    assert arc.swept_area_mm2 == pytest.approx(1426.991, abs=1e-3)


@pytest.mark.parametrize(
    ("bulge", "sweep_deg"), [(1.0, 180.0), (2.414213562373095, 270.0), (-2.414213562373095, -270.0)]
)
def test_bulge_of_more_than_a_half_circle(bulge: float, sweep_deg: float) -> None:
    """tan(270 / 4 degrees) = 1 + sqrt 2; the centre has then crossed to the other side of the chord."""
    arc = bulge_piece((0.0, 0.0), (10.0, 0.0), bulge)

    assert isinstance(arc, Arc)
    assert arc.sweep_deg == pytest.approx(sweep_deg)
    assert arc.center[0] == pytest.approx(5.0)
    assert arc.center[1] == pytest.approx(0.0 if bulge == 1.0 else -math.copysign(5.0, bulge), abs=1e-9)


@given(lengths(0.01, 20_000.0), lengths(-14.0, -4.0))
def test_a_very_flat_bulge_still_meets_its_ends(chord: float, power: float) -> None:
    """A radius of a million kilometres would lose the ends to rounding; such a bulge is a line."""
    piece = bulge_piece((3.0, 4.0), (3.0 + chord, 4.0), 10.0**power)

    np.testing.assert_allclose([piece.start, piece.end], [(3.0, 4.0), (3.0 + chord, 4.0)], atol=3e-4)
    middle = piece.points(1e-6)[:, 1].min()
    assert middle == pytest.approx(4.0 - 10.0**power * chord / 2, abs=3e-4)


@pytest.mark.parametrize(("radius", "chords"), [(25.0, 50), (100.0, 100)])
def test_circle_takes_the_published_number_of_chords_and_one_spare(radius: float, chords: int) -> None:
    """Arithmetic: ceil(360 / (2 acos(1 - e / r))) chords for a chord error e of 0.05 mm; the spare one lets
    tangents keep the same error outside."""
    assert circle((0.0, 0.0), radius).steps(0.05) == chords + 1


def test_ellipse_of_semi_axes_100_and_50() -> None:
    """Arithmetic: area 15707.963, perimeter 484.422."""
    long_first = EllipseArc(center=(7.0, 8.0), major=(100.0, 0.0), ratio=0.5, start_deg=0.0, sweep_deg=360.0)
    short_first = EllipseArc(center=(7.0, 8.0), major=(0.0, 50.0), ratio=2.0, start_deg=30.0, sweep_deg=360.0)

    for ellipse in (long_first, short_first):
        assert ellipse.closed
        assert ellipse.length_mm == pytest.approx(484.422, abs=1e-3)
        assert ellipse.swept_area_mm2 == pytest.approx(15707.963, abs=1e-3)


@given(ellipse_arcs())
def test_ellipse_points_satisfy_its_equation(ellipse: EllipseArc) -> None:
    a = math.hypot(*ellipse.major)
    ux, uy = ellipse.major[0] / a, ellipse.major[1] / a
    x, y = (ellipse.points(0.1) - ellipse.center).T

    first, second = (ux * x + uy * y) / a, (ux * y - uy * x) / (a * ellipse.ratio)
    np.testing.assert_allclose(first**2 + second**2, 1.0)


@pytest.mark.parametrize("ratio", [1.0, 0.5, 0.1, 0.02, 1e-4, 7.0])
def test_ellipse_perimeter_agrees_with_its_series(ratio: float) -> None:
    """Arithmetic-geometric mean form of the complete elliptic integral (Abramowitz and Stegun 17.6)."""
    slim = min(ratio, 1 / ratio)
    a, g, total, power = 1.0, slim, 0.5 * (1 - slim**2), 0.5
    while abs(a - g) > 1e-15:
        a, g, c = (a + g) / 2, math.sqrt(a * g), (a - g) / 2
        power *= 2
        total += power * c * c
    expected = 2 * math.pi * (1 - total) / a * max(ratio, 1.0)

    whole = EllipseArc(center=(0.0, 0.0), major=(1.0, 0.0), ratio=ratio, start_deg=11.0, sweep_deg=360.0)
    assert whole.length_mm == pytest.approx(expected, rel=1e-9)


def test_rational_spline_holds_a_true_quarter_circle() -> None:
    """Weights 1, sqrt(1/2), 1 over a right-angled control polygon: the textbook conic arc."""
    quarter = Spline(
        degree=2,
        control=((10.0, 0.0), (10.0, 10.0), (0.0, 10.0)),
        knots=(0.0, 0.0, 0.0, 1.0, 1.0, 1.0),
        weights=(1.0, math.sqrt(0.5), 1.0),
    )

    np.testing.assert_allclose(np.hypot(*quarter.points(0.01).T), 10.0, rtol=1e-12)
    assert quarter.length_mm == pytest.approx(5 * math.pi, rel=1e-9)
    assert quarter.swept_area_mm2 == pytest.approx(25 * math.pi, rel=1e-9)


def test_spline_chords_follow_a_bend_that_passes_through_its_own_middle() -> None:
    """An S through the middle of its chord looks straight to a test of the midpoint alone."""
    bend = Spline(
        degree=3,
        control=((0.0, 0.0), (30.0, 90.0), (60.0, -90.0), (90.0, 0.0)),
        knots=(0.0,) * 4 + (1.0,) * 4,
    )
    true = shapely.points(bend.points(1e-6))

    for chord_mm in (20.0, 5.0, 0.5, 0.05):
        chords = shapely.LineString(bend.points(chord_mm))
        assert shapely.distance(true, chords).max() <= chord_mm


@given(splines())
def test_spline_starts_and_ends_at_its_clamped_ends(spline: Spline) -> None:
    np.testing.assert_allclose(spline.start, spline.control[0], atol=1e-9)
    np.testing.assert_allclose(spline.end, spline.control[-1], atol=1e-9)


def test_open_knots_stop_short_of_the_control_points() -> None:
    """Even knots without repeats: a quadratic one starts midway between its first two control points."""
    even = Spline(
        degree=2,
        control=((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)),
        knots=tuple(map(float, range(7))),
    )

    np.testing.assert_allclose(even.start, (5.0, 0.0), atol=1e-12)
    np.testing.assert_allclose(even.end, (5.0, 10.0), atol=1e-12)
    np.testing.assert_allclose(even.points(0.01)[[0, -1]], [(5.0, 0.0), (5.0, 10.0)], atol=1e-12)


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda: circle((0.0, 0.0), 0.0), "radius above 0, got 0.0"),
        (lambda: circle((0.0, 0.0), float("nan")), "radius above 0, got nan"),
        (
            lambda: Arc(center=(0.0, 0.0), radius_mm=1.0, start_deg=0.0, sweep_deg=361.0),
            "at most a full turn",
        ),
        (
            lambda: EllipseArc(center=(0.0, 0.0), major=(0.0, 0.0), ratio=1.0, start_deg=0.0, sweep_deg=9.0),
            "axes",
        ),
        (lambda: Spline(degree=3, control=((0.0, 0.0),) * 4, knots=(0.0,) * 7), "needs 8 knots, got 7"),
        (
            lambda: Spline(degree=1, control=((0.0, 0.0),) * 2, knots=(0.0,) * 4, weights=(1.0,)),
            "1 weights for 2",
        ),
        (lambda: Polyline(vertices=((0.0, 0.0, 0.0),)), "at least two vertices, got 1"),
    ],
)
def test_nonsense_is_refused(make, match: str) -> None:
    with pytest.raises(ValueError, match=match):
        make()


def test_pieces_too_short_to_survive_a_move_are_left_out() -> None:
    """A corner 1e-35 mm from the next is lost in rounding once moved; the number of pieces must not change by that."""
    barely = Polyline(vertices=((0.0, 1.0, 0.0), (1e-35, 0.0, 0.0), (0.0, 0.0, 0.0), (5.0, 0.0, 0.0)))
    assert len(barely.pieces) == len(barely.posed(Pose(x_mm=1.0)).pieces) == 2

    nearly_whole = Polyline(vertices=((0.0, 0.0, 1e8), (1e-6, 0.0, 0.0)))
    assert nearly_whole.length_mm == pytest.approx(50.0 * math.pi)


def test_pieces_of_no_length_are_left_out() -> None:
    double = Polyline(vertices=((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (5.0, 0.0, 0.0)))
    assert double.pieces == (bulge_piece((0.0, 0.0), (5.0, 0.0), 1.0),)
    assert Line(start=(0.0, 0.0), end=(3.0, 4.0)).length_mm == 5.0
