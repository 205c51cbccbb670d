"""Blocks, arrays, layers of inserts, and what is hidden."""

import math
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from drawings import drawing, found, kinds, only, square

from nesting.drawing.reader import read_drawing


def _block(space: Any) -> Any:
    block = space.doc.blocks.new("SLOT", base_point=(10, 0))
    block.add_lwpolyline([(10, 0, 0), (60, 0, 1), (60, 50, 0), (10, 50, 1)], format="xyb", close=True)
    block.add_circle((35, 25), 5)
    return block


@pytest.mark.parametrize(
    ("attribs", "factor", "expected"),
    [
        ({}, 1.0, {"polyline": 1, "arc": 1}),
        ({"rotation": 30}, 1.0, {"polyline": 1, "arc": 1}),
        ({"xscale": -1}, 1.0, {"polyline": 1, "arc": 1}),
        ({"xscale": 2, "yscale": 2, "zscale": 0}, 4.0, {"polyline": 1, "arc": 1}),
        ({"xscale": 2, "yscale": -3, "rotation": 70}, 6.0, {"line": 2, "ellipse": 3}),
        ({"extrusion": (0, 0, -1), "rotation": 15}, 1.0, {"polyline": 1, "arc": 1}),
    ],
)
def test_inserts(tmp_path: Path, attribs: dict[str, Any], factor: float, expected: dict[str, int]) -> None:
    def draw(space: Any) -> None:
        _block(space)
        space.add_blockref("SLOT", (300, 200), dxfattribs=attribs)

    part = only(read_drawing(drawing(tmp_path / "b.dxf", draw)))

    assert kinds(part) == expected
    assert part.area_mm2 == pytest.approx(factor * (2500 + 625 * math.pi - 25 * math.pi), rel=1e-9)


def test_insert_places_its_base_point(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        _block(space)
        space.add_blockref("SLOT", (300, 200), dxfattribs={"xscale": 2, "yscale": 2, "rotation": 90})

    hole = only(read_drawing(drawing(tmp_path / "b.dxf", draw))).holes[0]

    # Circle at (25, 25) from the base point, doubled, a quarter turn: (-50, 50) from (300, 200).
    assert hole.curves[0].center == pytest.approx((250.0, 250.0))


def test_nested_inserts_and_arrays(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        _block(space)
        pair = space.doc.blocks.new("PAIR")
        pair.add_blockref("SLOT", (0, 0), dxfattribs={"yscale": -1})
        pair.add_blockref("SLOT", (0, 100))
        array = {"column_count": 3, "row_count": 2, "column_spacing": 300, "row_spacing": 400, "rotation": 90}
        space.add_blockref("PAIR", (0, 0), dxfattribs=array)

    read = read_drawing(drawing(tmp_path / "n.dxf", draw))

    assert len(read.parts) == 12
    assert len({p.id for p in read.parts}) == 12
    assert {round(p.area_mm2, 6) for p in read.parts} == {round(2500 + 600 * math.pi, 6)}
    x0 = min(p.fine_polygon.bounds[0] for p in read.parts)
    x1 = max(p.fine_polygon.bounds[2] for p in read.parts)
    # Rows go to -x after the quarter turn: one spacing of 400 and the pair's own height of 200.
    assert x1 - x0 == pytest.approx(400 + 200, abs=1e-2)


def test_block_in_itself_and_missing_block_are_told(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        square(space)
        block = space.doc.blocks.new("LOOP")
        block.add_circle((50, 50), 5)
        block.add_blockref("LOOP", (1, 0))
        space.add_blockref("LOOP", (0, 0))
        space.add_blockref("NOWHERE", (30, 40))

    read = read_drawing(drawing(tmp_path / "r.dxf", draw))

    assert len(only(read).holes) == 1
    assert len(found(read, "block in itself")) == 1
    assert "at (30.00, 40.00): block 'NOWHERE' does not exist" in found(read, "missing block")[0]


def test_layer_zero_in_a_block_takes_the_layer_of_the_insert(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        square(space)
        space.doc.blocks.new("SIGN").add_circle((50, 50), 5)
        space.add_blockref("SIGN", (0, 0), dxfattribs={"layer": "ENGRAVE"})

    part = only(read_drawing(drawing(tmp_path / "l.dxf", draw)))

    assert part.holes == ()
    assert [m.kind for m in part.marks] == ["etch"]


def test_hidden_things_are_left_out_with_a_word(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        square(space)
        space.doc.layers.add("OFF").off()
        space.doc.layers.add("ICE").freeze()
        space.add_circle((20, 20), 5, dxfattribs={"layer": "OFF"})
        space.add_circle((50, 50), 5, dxfattribs={"layer": "ICE"})
        space.add_circle((80, 80), 5, dxfattribs={"invisible": 1})

    read = read_drawing(drawing(tmp_path / "h.dxf", draw))

    assert only(read).holes == ()
    assert sorted(found(read, "hidden")) == [
        "1 CIRCLE left out: invisible",
        "1 CIRCLE left out: on a layer that is frozen",
        "1 CIRCLE left out: on a layer that is off",
    ]


def test_paper_space_is_read_only_if_model_space_is_empty(tmp_path: Path) -> None:
    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 4
    square(document.layout("Layout1"), 30)
    document.saveas(tmp_path / "p.dxf")
    read = read_drawing(tmp_path / "p.dxf")
    square(document.modelspace(), 70)
    document.saveas(tmp_path / "q.dxf")

    assert only(read).size_mm == pytest.approx((30.0, 30.0))
    assert "Layout1" in found(read, "paper space")[0]
    assert only(read_drawing(tmp_path / "q.dxf")).size_mm == pytest.approx((70.0, 70.0))
