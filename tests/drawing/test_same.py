"""Equal parts: moved and turned they are one shape, mirrored they are told apart."""

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from drawings import drawing, found
from hypothesis import given
from hypothesis import strategies as st

from nesting.drawing.reader import read_drawing
from nesting.drawing.same import same_parts
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc, Line, circle
from nesting.geometry.pose import Pose
from nesting.part import Mark, Part


def angle_bracket() -> Part:
    """An L with a rounded corner and two holes: no symmetry at all."""
    corners = [(0.0, 0.0), (90.0, 0.0), (90.0, 30.0), (30.0, 30.0), (30.0, 70.0), (10.0, 70.0)]
    lines = [Line(start=a, end=b) for a, b in zip(corners, corners[1:], strict=False)]
    arc = Arc(center=(10.0, 60.0), radius_mm=10.0, start_deg=90.0, sweep_deg=90.0)
    outer = Contour(curves=(*lines, arc, Line(start=(0.0, 60.0), end=(0.0, 0.0))))
    holes = (Contour(curves=(circle((70.0, 15.0), 5.0),)), Contour(curves=(circle((15.0, 50.0), 3.0),)))
    return Part(id="a", name="bracket", outer=outer, holes=holes)


def moved(part: Part, pose: Pose) -> Part:
    outer, *holes = part.posed_contours(pose)
    return replace(part, outer=outer, holes=tuple(holes))


@given(st.floats(0.0, 360.0), st.booleans(), st.floats(-1e4, 1e4))
def test_a_moved_part_is_the_same_and_a_flipped_one_its_mirror(turn: float, flipped: bool, shift: float) -> None:
    part = angle_bracket()

    (same,) = same_parts([part, moved(part, Pose(flipped=flipped, turn_deg=turn, x_mm=shift, y_mm=-shift))])

    assert (same.index, same.first, same.mirrored) == (1, 0, flipped)


def test_another_hole_or_mark_makes_another_part() -> None:
    part = angle_bracket()
    other_place = replace(part, holes=(part.holes[0], Contour(curves=(circle((15.0, 50.2), 3.0),))))
    marked = replace(part, marks=(Mark(kind="bend", curve=Line(start=(0.0, 30.0), end=(30.0, 30.0))),))

    assert same_parts([part, other_place, marked]) == ()


def test_round_and_symmetric_parts() -> None:
    ring = Part(
        id="r",
        name="ring",
        outer=Contour(curves=(circle((0.0, 0.0), 50.0),)),
        holes=(Contour(curves=(circle((0.0, 0.0), 20.0),)),),
    )
    turned = moved(ring, Pose(turn_deg=33.0, x_mm=500.0, flipped=True))

    assert [(s.index, s.first, s.mirrored) for s in same_parts([ring, angle_bracket(), turned])] == [(2, 0, False)]


def test_equal_parts_of_one_drawing_are_told(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        for x, turn in ((0, 0.0), (200, 1.0), (400, 2.5)):
            points = [(x + math.cos(turn) * u - math.sin(turn) * v, math.sin(turn) * u + math.cos(turn) * v)
                      for u, v in ((0, 0), (80, 0), (50, 40))]  # fmt: skip
            space.add_lwpolyline(points, close=True)

    read = read_drawing(drawing(tmp_path / "three.dxf", draw))

    assert len(found(read, "equal parts")) == 1
    assert found(read, "equal parts")[0].startswith("parts 1, 2, 3 are one shape")


@pytest.mark.parametrize("count", [1, 400])
def test_many_equal_parts_find_one_leader(count: int) -> None:
    part = angle_bracket()
    parts = [moved(part, Pose(turn_deg=7.0 * k, x_mm=100.0 * k)) for k in range(count)]

    assert {s.first for s in same_parts(parts)} == ({0} if count > 1 else set())
    assert len(same_parts(parts)) == count - 1
