"""Edits of a plate: turns and mirrors keep it, simpler outlines lie inside the old ones."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from strategies import corners

from nesting.errors import InputError
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Polyline
from nesting.outline import edits
from nesting.plate import Plate

BENT = Plate(
    name="bent",
    outer=Contour(
        curves=(Polyline(vertices=((0, 0, 0), (1000, 0, 0), (1000, 400, 0.3), (0, 500, 0)), is_closed=True),)
    ),
    holes=(Contour.of_points([(100, 100), (200, 100), (150, 200)]),),
    grain_deg=30.0,
)


def test_mirror_keeps_area_and_box_and_turns_the_grain():
    back = edits.mirrored(BENT)
    assert back.area_mm2 == pytest.approx(BENT.area_mm2)
    assert back.fine_polygon.bounds == pytest.approx(BENT.fine_polygon.bounds, abs=1e-6)
    assert back.grain_deg == pytest.approx(150.0)
    assert edits.mirrored(back).outer.pieces[0].start == pytest.approx(BENT.outer.pieces[0].start)


def test_the_longest_straight_edge_comes_to_lie_along_x():
    turned = edits.posed(BENT, edits.Pose(turn_deg=37.0, x_mm=50.0, y_mm=-3.0))
    laid = edits.laid_along(turned)
    assert laid.area_mm2 == pytest.approx(BENT.area_mm2)
    x0, y0, _, _ = laid.fine_polygon.bounds
    assert (x0, y0) == pytest.approx((0.0, 0.0), abs=1e-6)
    longest = max(laid.outer.pieces, key=lambda p: p.length_mm if p.type == "line" else 0.0)
    assert longest.start == pytest.approx((0.0, 0.0), abs=1e-9) and longest.end == pytest.approx((1000.0, 0.0))
    assert laid.grain_deg == pytest.approx(30.0)


def test_straighten_takes_out_measuring_wobble_on_the_safe_side():
    wobbly = Plate(
        name="w",
        outer=Contour.of_points([(0, 0), (300, 0.4), (600, -0.3), (1000, 0), (1000, 500), (500, 500.5), (0, 500)]),
    )
    straight = edits.straightened(wobbly, 1.0)
    assert len(straight.outer.pieces) == 4
    assert wobbly.fine_polygon.buffer(1e-6).covers(straight.fine_polygon)
    assert straight.area_mm2 > wobbly.area_mm2 - 1000 * 1.0
    assert straight.fine_polygon.bounds[1] > 0.0  # moved in as far as the dent reaches


def test_straighten_leaves_arcs():
    assert [p.type for p in edits.straightened(BENT, 1.0).outer.pieces] == [p.type for p in BENT.outer.pieces]


@given(corners(5, 12), st.floats(0.5, 5.0))
def test_simplified_and_straightened_outlines_lie_inside(points: list, tolerance: float):
    plate = Plate(name="p", outer=Contour.of_points(points))
    true = plate.fine_polygon.buffer(1e-6)
    assert true.covers(edits.straightened(plate, tolerance).fine_polygon)
    try:
        simple = edits.simplified(plate, tolerance)
    except InputError:
        return  # so slim that nothing is left
    assert true.covers(simple.fine_polygon)


def test_simplify_makes_holes_larger_and_arcs_straight():
    simple = edits.simplified(BENT, 2.0)
    assert all(p.type == "line" for p in simple.outer.pieces)
    assert BENT.fine_polygon.buffer(1e-6).covers(simple.fine_polygon)
    assert simple.area_mm2 > BENT.area_mm2 - 2.5 * (BENT.outer.length_mm + BENT.holes[0].length_mm)
    assert simple.holes[0].area_mm2 > BENT.holes[0].area_mm2


def test_a_plate_without_straight_edges_cannot_be_laid_along_one():
    disc = replace(BENT, holes=(), outer=Contour(curves=(Polyline(vertices=((0, 0, 1), (100, 0, 1)), is_closed=True),)))
    assert disc.area_mm2 == pytest.approx(math.pi * 2500)
    with pytest.raises(InputError, match="no straight edge"):
        edits.laid_along(disc)
