"""Drawings are counted before they are read; too many entities are refused with a word."""

import math
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from drawings import drawing, only

from nesting.drawing.reader import read_drawing
from nesting.errors import DrawingError


def many_lines(space: Any) -> None:
    points = [(100 * math.cos(k / 400 * math.tau), 100 * math.sin(k / 400 * math.tau)) for k in range(400)]
    for a, b in zip(points, [*points[1:], points[0]], strict=True):
        space.add_line(a, b)


def test_more_than_the_limit_is_refused_and_the_limit_can_be_raised(tmp_path: Path) -> None:
    path = drawing(tmp_path / "many.dxf", many_lines)

    with pytest.raises(
        DrawingError, match=r"many\.dxf: it holds [\d,]+ entities, over the limit of 300.*--most-entities"
    ):
        read_drawing(path, most_entities=300)
    assert len(only(read_drawing(path, most_entities=3000)).outer.curves) == 400


def test_binary_files_are_counted_too(tmp_path: Path) -> None:
    document = ezdxf.new("R2000")
    many_lines(document.modelspace())
    document.saveas(tmp_path / "b.dxf", fmt="bin")

    with pytest.raises(DrawingError, match="over the limit of 300"):
        read_drawing(tmp_path / "b.dxf", units="mm", most_entities=300)


def test_blocks_that_double_at_every_depth_are_counted_before_they_are_opened(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        space.doc.blocks.new("B0").add_circle((0, 0), 5)
        for k in range(1, 31):
            block = space.doc.blocks.new(f"B{k}")
            for x in (0, 20):
                block.add_blockref(f"B{k - 1}", (x, 0))
        space.add_blockref("B30", (0, 0), dxfattribs={"column_count": 3, "row_count": 3})

    with pytest.raises(DrawingError, match="over a thousand million entities with its blocks opened"):
        read_drawing(drawing(tmp_path / "bomb.dxf", draw))
