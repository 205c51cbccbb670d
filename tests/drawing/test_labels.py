"""Where a part's label lies: on the part, off its marks where there is room."""

from dataclasses import replace

import pytest
import shapely
from shapes import rectangle

from nesting.drawing.labels import label_room
from nesting.geometry.curves import Line
from nesting.part import Mark

PLAIN = rectangle("p", 300, 100)


def marked(*xs: float) -> list[Mark]:
    """Bend lines across the part at these x."""
    return [Mark(kind="bend", curve=Line(start=(x, 0), end=(x, 100))) for x in xs]


def test_a_label_lies_in_the_part():
    centre, radius = label_room(PLAIN)
    assert radius == pytest.approx(50.0, abs=0.5)
    assert PLAIN.fine_polygon.buffer(0.01).covers(shapely.Point(centre).buffer(radius - 0.5))


def test_a_label_keeps_off_bend_lines():
    (x, _), radius = label_room(replace(PLAIN, marks=tuple(marked(150.0))))
    assert radius == pytest.approx(50.0, abs=0.5)
    assert abs(x - 150.0) >= radius


@pytest.mark.parametrize("count", [20, 200])
def test_marks_that_leave_no_room_are_written_over(count: int):
    crowd = replace(PLAIN, marks=tuple(marked(*(300.0 * k / count for k in range(1, count)))))
    assert label_room(crowd) == label_room(PLAIN)
