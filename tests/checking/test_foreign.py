"""Drawings from other programs: all that is cut counts, whatever its layer."""

from pathlib import Path
from typing import Any

import ezdxf
import pytest
from shapes import sheet

from nesting.check import check_drawing
from nesting.clearances import Clearances
from nesting.drawing.readback import read_cuts
from nesting.errors import DrawingError, InputError

CLEAR = Clearances(kerf_mm=1.5, gap_mm=6, margin_mm=10)
PLATE = sheet(1000, 500)


def box(space: Any, x: float, y: float, side: float, layer: str, high: float | None = None) -> None:
    high = high or side
    corners = [(x, y), (x + side, y), (x + side, y + high), (x, y + high)]
    space.add_lwpolyline(corners, close=True, dxfattribs={"layer": layer})


@pytest.fixture
def drawn(tmp_path: Path) -> Any:
    """Draw boxes (x, y, side, layer) beside the plate's edge on a layer, if one is named, and what else is asked."""

    def draw(*boxes: tuple[float, float, float, str], edge: str = "", also: Any = None) -> Path:
        document = ezdxf.new("R2000")
        document.header["$INSUNITS"] = 4
        if edge:
            box(document.modelspace(), 0, 0, 1000, edge, 500)
        for each in boxes:
            box(document.modelspace(), *each)
        if also is not None:
            also(document.modelspace())
        document.saveas(tmp_path / "f.dxf")
        return tmp_path / "f.dxf"

    return draw


def test_parts_on_any_layer_that_is_cut_are_measured(drawn: Any) -> None:
    """With a plate edge on our layer and no parts on ours, nothing was looked at once, and it passed."""
    path = drawn((50, 50, 100, "CUT"), (155, 50, 100, "0"), edge="PLATE_EDGE")

    report = check_drawing(path, clearances=CLEAR)

    assert [f.kind for f in report.findings] == ["gap"] and report.parts_checked == 2
    assert report.findings[0].found_mm == pytest.approx(5.0)


def test_parts_that_overlap_are_refused(drawn: Any) -> None:
    path = drawn((50, 50, 100, "CUT"), (100, 100, 100, "CUT"), edge="PLATE_EDGE")
    with pytest.raises(DrawingError, match=r"f\.dxf: contours of LWPOLYLINE \w+ and LWPOLYLINE \w+ cross at \(150"):
        check_drawing(path, clearances=CLEAR)


def test_a_part_beside_those_on_our_layers_is_found(drawn: Any) -> None:
    path = drawn((50, 50, 100, "PART_OUTSIDE"), (100, 100, 100, "CUT"), edge="PLATE_EDGE")
    (finding,) = check_drawing(path, clearances=CLEAR).findings
    assert finding.kind == "extra" and "on layer 'CUT'" in finding.message


@pytest.mark.parametrize("part_layer", ["PART_OUTSIDE", "CUT"])
@pytest.mark.parametrize("given", [None, PLATE])
@pytest.mark.parametrize("layer", ["KEEP-OUT", "CLAMP", "no go 1", "Magnet"])
def test_keep_outs_are_known_as_in_a_plate(drawn: Any, part_layer: str, given: Any, layer: str) -> None:
    path = drawn((50, 50, 100, part_layer), (80, 155, 30, layer), edge="PLATE_EDGE")

    report = check_drawing(path, clearances=CLEAR, plate=given)

    assert [f.kind for f in report.findings] == ["margin"] and report.parts_checked == 1
    assert report.findings[0].found_mm == pytest.approx(5.0)
    assert f"keep-out 1 (layer {layer.upper()})" in report.message


@pytest.mark.parametrize("layer", ["CUT", "KEEP-OUT", "PART_OUTSIDE"])
def test_an_outline_open_by_a_tenth_is_refused(drawn: Any, layer: str) -> None:
    """It was once left out, and what lay 2 mm beside it passed."""
    corners = [(152, 50), (300, 50), (300, 300), (152, 300), (152, 50.1)]
    path = drawn((50, 50, 100, "CUT"), also=lambda s: s.add_lwpolyline(corners, dxfattribs={"layer": layer}))
    with pytest.raises(DrawingError, match=rf"f\.dxf, LWPOLYLINE \w+: contour on layer {layer} is open by 0\.1 mm at"):
        check_drawing(path, clearances=CLEAR, plate=PLATE)


def test_a_line_across_the_plate_is_refused(drawn: Any) -> None:
    path = drawn((50, 50, 100, "CUT"), also=lambda s: s.add_line((0, 200), (1000, 200)))
    with pytest.raises(
        DrawingError, match=r"LINE \w+: contour on layer 0 is open by 1e\+03 mm at \(1000\.00, 200\.00\)"
    ):
        check_drawing(path, clearances=CLEAR, plate=PLATE)


def test_a_cut_there_and_back_is_refused(drawn: Any) -> None:
    """Where parts are read such a contour is left out with a warning."""
    path = drawn(
        (50, 50, 100, "CUT"), also=lambda s: s.add_lwpolyline([(0, 200), (900, 200), (900, 200.001)], close=True)
    )
    with pytest.raises(DrawingError, match=r"thinner than 0\.02 mm.*the check must see all"):
        check_drawing(path, clearances=CLEAR, plate=PLATE)


def test_what_cannot_be_read_is_refused(drawn: Any) -> None:
    def broken(space: Any) -> None:
        space.add_circle((100, 100), -5)
        space.add_blockref("NOPE", (0, 0))

    path = drawn((50, 50, 100, "CUT"), also=broken)
    with pytest.raises(
        DrawingError, match=r"CIRCLE \w+: left out, cannot be read.*; INSERT \w+: left out at .*: block 'NOPE'"
    ):
        check_drawing(path, clearances=CLEAR, plate=PLATE)


def test_the_contour_round_all_others_is_the_plates_edge(drawn: Any) -> None:
    """A box with a hole and a plain one, 8 mm from the edge, 7 mm apart."""
    boxes = ((8, 50, 100, "CUT"), (40, 80, 30, "CUT"), (115, 50, 100, "CUT"))
    path = drawn(*boxes, edge="0")

    report = check_drawing(path, clearances=CLEAR)

    assert report.parts_checked == 2 and [f.kind for f in report.findings] == ["margin"]
    assert report.worst_gap is not None and report.worst_gap.found_mm == pytest.approx(7.0)
    note, holes = report.notes
    assert holes.endswith("not measured against one another: 1 contours")
    assert "on layer '0', 1000.0 x 500.0 mm, lies round all others: taken as the plate's edge" in note
    assert [len(part.holes) for part in read_cuts(path, find_edge=True).parts] == [1, 0]


@pytest.mark.parametrize(
    "boxes",
    [((10, 10, 980, "FRAME", 480), (50, 50, 100, "CUT"), (150.5, 50, 100, "CUT")), ((50, 50, 100, "CUT"),)],
    ids=["a frame round the parts", "one part alone"],
)
def test_what_may_be_edge_or_part_is_refused(drawn: Any, boxes: Any) -> None:
    """Taken for the only part, the frame made the parts its holes, and nothing was measured."""
    with pytest.raises(DrawingError, match=r"cannot be told; put the edge on the layer PLATE_EDGE"):
        check_drawing(drawn(*boxes, edge="0"), clearances=CLEAR)


def test_a_disc_in_a_small_ring_is_a_part_where_all_is_cut(drawn: Any) -> None:
    def ring(space: Any) -> None:
        for radius in (40, 24, 20):
            space.add_circle((200, 200), radius, dxfattribs={"layer": "CUT"})

    report = check_drawing(drawn(edge="PLATE_EDGE", also=ring), clearances=CLEAR)

    assert report.parts_checked == 2
    assert [f.found_mm for f in report.findings] == [pytest.approx(4.0, abs=1e-3)]


def test_parts_alone_need_the_plate(drawn: Any) -> None:
    path = drawn((50, 50, 100, "CUT"), (155, 50, 100, "CUT"))
    with pytest.raises(InputError, match=r"no plate edge in this drawing; give the layout, or the plate \(--plate\)"):
        check_drawing(path, clearances=CLEAR)
    report = check_drawing(path, clearances=CLEAR, plate=PLATE)
    assert [f.kind for f in report.findings] == ["gap"] and report.parts_checked == 2


@pytest.mark.parametrize("given", [None, PLATE])
def test_nothing_to_check_never_passes(drawn: Any, given: Any) -> None:
    path = drawn((50, 50, 100, "MARK"), edge="PLATE_EDGE")
    with pytest.raises(DrawingError, match=r"no part in this drawing, nothing to check"):
        check_drawing(path, clearances=CLEAR, plate=given)
