"""Largest circle and rectangle against answers known from plain geometry, and always inside."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import MultiPolygon, Point, Polygon, box

from nesting.geometry.largest import (
    FITS_WITHIN_MM,
    holds_rectangle,
    largest_circle,
    largest_rectangle,
)

L_PLATE = Polygon([(0, 0), (600, 0), (600, 200), (250, 200), (250, 500), (0, 500)])
DISC = Point(0, 0).buffer(100, quad_segs=180)
RING = DISC.difference(Point(0, 0).buffer(80, quad_segs=180))
TURNS = st.floats(0.0, 360.0)


def _widest_in_ring() -> float:
    """A rectangle beside the hole, t high: 2 t sqrt(R^2 - (r + t)^2), largest by trying all t."""
    t = np.linspace(0.0, 20.0, 100_001)
    return float(np.max(2 * t * np.sqrt(100.0**2 - (80.0 + t) ** 2)))


@pytest.mark.parametrize(
    ("shape", "area"),
    [
        (box(0, 0, 100, 100), 100.0 * 100.0),
        (L_PLATE, 500.0 * 250.0),
        (Polygon([(0, 0), (100, 0), (20, 80)]), 0.5 * 4000.0),  # half the area, as in every triangle
        (DISC, 2 * 100.0**2),
        (affinity.scale(DISC, 2.0, 1.0), 2 * 200.0 * 100.0),  # 2ab in an ellipse
        (RING, _widest_in_ring()),
    ],
)
@pytest.mark.parametrize("turn_deg", [0.0, 17.3, 33.0, 45.0])
def test_rectangle_comes_within_one_percent_of_plain_geometry(shape: Polygon, area: float, turn_deg: float) -> None:
    turned = affinity.rotate(shape, turn_deg, origin=(0.0, 0.0))

    found = largest_rectangle(turned)

    assert 0.99 * area < found.area_mm2 <= area * (1 + 1e-4)  # the circles are polygons here
    assert turned.covers(found.polygon)


def test_rectangle_of_a_turned_square_is_the_square() -> None:
    found = largest_rectangle(affinity.rotate(box(0, 0, 100, 100), 33.0))

    assert (found.width_mm, found.height_mm) == pytest.approx((100.0, 100.0), abs=1e-3)
    assert found.turn_deg % 90.0 == pytest.approx(33.0, abs=0.01)
    assert found.center == pytest.approx((50.0, 50.0), abs=1e-3)


def test_circle_of_square_ring_and_several_pieces() -> None:
    assert largest_circle(box(0, 0, 100, 60))[1] == pytest.approx(30.0, abs=0.02)
    assert largest_circle(RING)[1] == pytest.approx(10.0, abs=0.03)
    both = MultiPolygon([box(0, 0, 10, 10), box(100, 0, 150, 50)])
    at, radius = largest_circle(both)
    assert radius == pytest.approx(25.0, abs=0.01)
    assert at == pytest.approx((125.0, 25.0), abs=0.05)
    assert largest_rectangle(both).area_mm2 == pytest.approx(2500.0, rel=1e-6)


def test_shape_without_area_is_refused() -> None:
    with pytest.raises(ValueError, match="without area"):
        largest_circle(Polygon())
    with pytest.raises(ValueError, match="without area"):
        largest_rectangle(Polygon())
    assert not holds_rectangle(Polygon(), 1.0, 1.0)
    assert not holds_rectangle(Polygon(), 0.01, 0.01)


@settings(max_examples=15)
@given(turn_deg=TURNS)
def test_square_holds_itself_at_any_turn_and_nothing_larger(turn_deg: float) -> None:
    square = affinity.rotate(box(0, 0, 300, 300), turn_deg, origin=(0.0, 0.0))

    assert holds_rectangle(square, 300.0, 300.0)
    assert not holds_rectangle(square, 300.0 + 2 * FITS_WITHIN_MM, 300.0)
    # Along the diagonal d of a square a strip h high may be d - h long.
    longest = 300.0 * math.sqrt(2) - 20.0
    assert holds_rectangle(square, longest - 6.0, 20.0)
    assert not holds_rectangle(square, longest + 1.0, 20.0)


@pytest.mark.parametrize(
    ("size", "fits"),
    [((600, 200), True), ((500, 250), True), ((600, 205), False), ((505, 250), False)],
)
def test_l_plate_holds_its_two_legs(size: tuple[float, float], fits: bool) -> None:
    for turn_deg in (0.0, 17.3, 90.0):
        assert holds_rectangle(affinity.rotate(L_PLATE, turn_deg), *size) == fits


def test_hole_in_the_way_counts() -> None:
    plate = box(0, 0, 400, 400).difference(box(190, 190, 210, 210))

    assert holds_rectangle(plate, 400.0, 190.0)
    assert not holds_rectangle(plate, 300.0, 300.0)


@pytest.mark.parametrize(("x", "y", "tip"), [(770.1, 230.7, 1e-6), (351.3, 250.2, 1e-4), (612.9, 143.3, 1e-5)])
def test_a_hole_too_fine_for_the_grid_is_still_kept_out(x: float, y: float, tip: float) -> None:
    """What rounding leaves between parts that touch; no rectangle was found, and that ended the search."""
    plate = Polygon(box(0, 0, 1000, 500).exterior.coords, [[(x, y), (x + tip, y), (x, y + tip)]])
    beside = max(x * 500, (1000 - x) * 500, y * 1000, (500 - y) * 1000)

    found = largest_rectangle(plate)

    assert plate.covers(found.polygon)
    assert 0.75 * beside <= found.area_mm2 <= beside * (1 + 1e-6)


@st.composite
def _odd_shapes(draw: st.DrawFn) -> Polygon:
    """Stars of random radii, some with holes."""
    radii = draw(st.lists(st.floats(40.0, 400.0), min_size=4, max_size=14))
    angles = np.linspace(0.0, 2 * math.pi, len(radii), endpoint=False)
    star = Polygon([(r * math.cos(a), r * math.sin(a)) for r, a in zip(radii, angles, strict=True)])
    for x, y, r in draw(st.lists(st.tuples(*[st.floats(-80.0, 80.0)] * 2, st.floats(2.0, 25.0)), max_size=4)):
        star = star.difference(Point(x, y).buffer(r))
    return max(shapely.get_parts(star), key=lambda p: p.area)


@settings(max_examples=20)
@given(shape=_odd_shapes(), turn_deg=TURNS)
def test_rectangle_and_circle_lie_inside_and_are_held(shape: Polygon, turn_deg: float) -> None:
    shape = affinity.rotate(shape, turn_deg, origin=(0.0, 0.0))

    found = largest_rectangle(shape)
    at, radius = largest_circle(shape)

    assert shape.covers(found.polygon)
    assert found.polygon.area == pytest.approx(found.area_mm2, rel=1e-9)
    assert found.width_mm >= found.height_mm
    assert -90.0 < found.turn_deg <= 90.0
    assert shape.covers(Point(at).buffer(radius * (1 - 1e-9)))
    # At least the square in the circle: and a rectangle a little smaller than the found one is held.
    assert found.area_mm2 >= 0.98 * 2 * radius**2
    less = 0.012 * found.width_mm
    assert holds_rectangle(shape, found.width_mm - less, found.height_mm - less)
    assert not holds_rectangle(shape, 1.01 * shape.area / (2 * radius), 2.01 * radius + 1.0)
