"""Letters of a plate's corners: order, start, arcs, holes, and that rounding does not change them."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nesting.corner_names import corner_name, named_corners
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc, Line, Polyline, circle
from nesting.geometry.pose import Point, Pose
from nesting.geometry.tape_checks import tape_checks
from nesting.plate import Plate

ELL: list[Point] = [(0, 0), (600, 0), (600, 200), (250, 200), (250, 500), (0, 500)]
"""The L-plate of the trade's worked examples: it has a dent, which is a corner too."""


def plate(outer: Contour, **more: object) -> Plate:
    return replace(Plate(name="odd", outer=outer), **more)


def letters(of: Plate) -> dict[str, tuple[float, float]]:
    return {c.name: (round(c.point[0], 6), round(c.point[1], 6)) for c in named_corners(of)}


def test_letters_run_counter_clockwise_from_the_lower_left():
    assert letters(plate(Contour.of_points(ELL))) == dict(zip("ABCDEF", ELL, strict=True))


@given(start=st.integers(0, 5), clockwise=st.booleans(), moved=st.tuples(st.floats(-1e5, 1e5), st.floats(-1e5, 1e5)))
def test_wherever_the_drawing_begins_the_letters_are_the_same(start, clockwise, moved):
    ring = [*ELL[start:], *ELL[:start]]
    turned = [(x + moved[0], y + moved[1]) for x, y in (reversed(ring) if clockwise else ring)]
    found = named_corners(plate(Contour.of_points(turned)))
    assert [c.name for c in found] == list("ABCDEF")
    expected = np.array(ELL) + moved
    np.testing.assert_allclose([c.point for c in found], expected, atol=1e-6)


@given(st.lists(st.tuples(st.floats(-1e-3, 1e-3), st.floats(-1e-3, 1e-3)), min_size=4, max_size=4))
def test_rounding_does_not_change_the_letters(shifts):
    """A square on its corner has two corners equally near to the lower left: the lower one stays the first."""
    square = [(500, 0), (1000, 500), (500, 1000), (0, 500)]
    moved = [(x + dx, y + dy) for (x, y), (dx, dy) in zip(square, shifts, strict=True)]
    found = named_corners(plate(Contour.of_points(moved)))
    assert [c.name for c in found] == list("ABCD")
    np.testing.assert_allclose([c.point for c in found], square, atol=2e-3)


def test_a_plate_that_was_lettered_before_it_was_turned_keeps_its_letters():
    """Turned by a quarter another corner is the lowest left; on the steel stands what was chalked."""
    turned = Pose(turn_deg=90.0, x_mm=700.0)
    chalked = tuple((n, turned.point(p)) for n, p in zip("CDEFAB", ELL, strict=True))
    of = plate(Contour.of_points(ELL).posed(turned), lettered=chalked)
    assert list(letters(of).items()) == list(chalked)
    assert letters(replace(of, lettered=()))["A"] == turned.point(ELL[5])


def test_letters_that_the_outline_no_longer_has_are_not_kept():
    moved = (("P", (0.0, 0.0)), ("Q", (300.0, 4.0)))
    assert list(letters(plate(Contour.of_points(ELL), lettered=moved))) == list("ABCDEF")


def test_an_arc_s_end_is_a_corner_where_one_sees_it_and_none_where_it_runs_smoothly_into_the_edge():
    bitten = Contour(
        curves=(Polyline(vertices=((0, 0, 0), (900, 0, 0.4), (900, 500, 0), (0, 500, 0)), is_closed=True),)
    )
    assert letters(plate(bitten)) == {"A": (0, 0), "B": (900, 0), "C": (900, 500), "D": (0, 500)}
    half_round = Contour(
        curves=(
            Line(start=(0, 0), end=(800, 0)),
            Arc(center=(800, 250), radius_mm=250, start_deg=-90, sweep_deg=180),
            Line(start=(800, 500), end=(0, 500)),
            Line(start=(0, 500), end=(0, 0)),
        )
    )
    assert letters(plate(half_round)) == {"A": (0, 0), "B": (0, 500)}


def test_a_round_plate_has_no_letters_and_holes_have_none():
    hole = Contour.of_points([(20, 20), (60, 20), (60, 60), (20, 60)])
    assert named_corners(plate(Contour(curves=(circle((0, 0), 300),)), holes=(hole,))) == ()
    assert len(named_corners(plate(Contour.of_points(ELL), holes=(hole,)))) == 6


def test_a_burr_and_a_hair_of_a_chamfer_make_no_corners_of_their_own():
    burr = [(0, 0), (300, 0), (300.01, 0.02), (300.02, 0), (600, 0), (600, 400), (0, 400)]
    assert letters(plate(Contour.of_points(burr))) == {"A": (0, 0), "B": (600, 0), "C": (600, 400), "D": (0, 400)}
    chamfer = [(0, 0), (599.6, 0), (600, 0.4), (600, 400), (0, 400)]
    found = letters(plate(Contour.of_points(chamfer)))
    assert list(found) == list("ABCD")
    assert math.dist(found["B"], (600, 0)) < 0.5


def test_a_tiny_plate_keeps_its_corners():
    assert len(named_corners(plate(Contour.of_rectangle(8.0, 5.0)))) == 4


def test_behind_z_come_letters_with_numbers():
    around = [(1000 * math.cos(a), 1000 * math.sin(a)) for a in np.radians(np.arange(0.0, 360.0, 360 / 60))]
    teeth = [(x * f, y * f) for (x, y), f in zip(around, [1.0, 0.9] * 30, strict=True)]
    names = [c.name for c in named_corners(plate(Contour.of_points(teeth)))]
    assert names[:2] + names[25:28] + names[51:53] == ["A", "B", "Z", "A1", "B1", "Z1", "A2"]
    assert len(set(names)) == 60
    assert corner_name(77) == "Z2"


def test_distances_to_tape_go_from_letter_to_letter():
    of = plate(Contour.of_points(ELL).posed(Pose(turn_deg=33.0, x_mm=70.0, y_mm=-12.0)))
    places = {c.point for c in named_corners(of)}
    checks = tape_checks(of.outer)
    assert len(checks) == 3
    assert all(c.start in places and c.end in places for c in checks)


@pytest.mark.parametrize("size", [0.5, 1.0, 1e5])
def test_a_square_of_any_size_has_four(size: float):
    assert len(named_corners(plate(Contour.of_rectangle(size, size)))) == 4
