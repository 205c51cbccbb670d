"""Sizes that make a unit doubtful are told, with the direction in which it may be wrong."""

from pathlib import Path
from typing import Any

import pytest
from drawings import drawing, found, square

from nesting.drawing.plausible import plate_finding
from nesting.drawing.reader import read_drawing


def plate_with_holes(size: float, diameter: float) -> Any:
    def draw(space: Any) -> None:
        square(space, size)
        for x in (0.2, 0.8):
            space.add_circle((x * size, 0.5 * size), diameter / 2)

    return draw


@pytest.mark.parametrize(
    ("units", "size", "hole", "said"),
    [
        (4, 200, 9, None),
        (1, 8, 0.375, None),
        (5, 20, 0.9, None),
        (1, 200, 9, "25.4 times too large"),
        (4, 8, 0.375, "25.4 times too small"),
        (5, 300, 9, "10 times too large"),
    ],
)
def test_a_false_unit_is_told(tmp_path: Path, units: int, size: float, hole: float, said: str | None) -> None:
    read = read_drawing(drawing(tmp_path / "u.dxf", plate_with_holes(size, hole), units=units))

    told = found(read, "unit in doubt")
    assert [said in message for message in told] == ([True] if said else [])


def test_a_part_far_larger_than_its_plate_is_told(tmp_path: Path) -> None:
    parts = read_drawing(drawing(tmp_path / "p.dxf", plate_with_holes(200, 9), units=1)).parts

    doubt = plate_finding(parts, (1000.0, 2000.0))

    assert doubt is not None and "25.4 times too large" in doubt.message
    assert plate_finding(parts, (6000.0, 6000.0)) is None
    assert plate_finding(parts, (100.0, 100.0)) is None


def test_an_answer_against_the_file_is_told(tmp_path: Path) -> None:
    path = drawing(tmp_path / "a.dxf", plate_with_holes(200, 9), units=1)

    assert found(read_drawing(path, units="mm"), "unit") == [
        "read in mm as asked for, though the file says $INSUNITS 1"
    ]
    assert found(read_drawing(path, units="inch"), "unit") == []
