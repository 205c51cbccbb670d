"""Edges, corners and angles as directions."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nesting.pull import EDGES, PULL_NAMES, Pull

SIZES = st.floats(1.0, 5000.0)


@given(st.sampled_from(PULL_NAMES), SIZES, SIZES)
def test_a_name_points_to_its_edge_or_corner(name: str, width: float, height: float) -> None:
    """A unit vector; toward a corner it stands square on the diagonal between the two next ones."""
    x, y = Pull(name=name).direction(width, height)

    assert math.hypot(x, y) == pytest.approx(1.0)
    assert (x < 0) == ("left" in name) and (x > 0) == ("right" in name)
    assert (y < 0) == ("bottom" in name) and (y > 0) == ("top" in name)
    if "-" in name:
        other = (width, -height) if x * y > 0 else (width, height)
        assert (x * other[0] + y * other[1]) / math.hypot(width, height) == pytest.approx(0.0, abs=1e-9)


@given(st.floats(-720.0, 720.0), SIZES, SIZES)
def test_an_angle_is_that_angle_on_any_plate(angle: float, width: float, height: float) -> None:
    x, y = Pull(angle_deg=angle).direction(width, height)

    assert math.remainder(math.degrees(math.atan2(y, x)) - angle, 360.0) == pytest.approx(0.0, abs=1e-6)


def test_a_pull_is_a_name_or_an_angle() -> None:
    for wrong in ({}, {"name": "north"}, {"name": "left", "angle_deg": 3.0}):
        with pytest.raises(ValueError, match="give one of left, right"):
            Pull(**wrong)


def test_pulls_name_themselves() -> None:
    assert [str(p) for p in EDGES] == ["left", "right", "bottom", "top"]
    assert str(Pull(angle_deg=22.5)) == "22.5 degrees"
