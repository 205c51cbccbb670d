"""Drawings of what was cut: what could not be read, or is called a mark, may be gone, and is not offered."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import pytest
import shapely

from nesting.drawing.findings import Finding
from nesting.errors import DrawingError
from nesting.outline.captured import Captured
from nesting.outline.drawn import from_cut_drawing

Draw = Callable[[Any], object]
KERF, NOTCH = 1.5, 5.0


def sheet(space: Any, **how: Any) -> None:
    space.add_lwpolyline([(0, 0), (1000, 0), (1000, 500), (0, 500)], close=True, dxfattribs=how)


def cut(path: Path, *drawn: Draw, keep: float = 200.0) -> tuple[tuple[Captured, ...], tuple[Finding, ...]]:
    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 4
    for draw in drawn:
        draw(document.modelspace())
    document.saveas(path / "cut.dxf")
    return from_cut_drawing(path / "cut.dxf", kerf_mm=KERF, notch_mm=NOTCH, keep_mm=((keep, keep),), uncertainty_mm=1.0)


def area(piece: Captured) -> shapely.Polygon:
    return piece.plate("rest").fine_polygon


@pytest.mark.parametrize(
    ("lost", "told"),
    [
        (lambda space: space.add_blockref("NOPE", (500, 250)), "INSERT .*: left out at .*: block .NOPE. does not"),
        (lambda space: space.add_circle((500, 250), -20), "CIRCLE .*: left out, cannot be read: its radius is -20"),
        (lambda space: space.add_line((300, 100), (700, 100)), "LINE .*open line"),
        (
            lambda space: space.add_line((300, 100), (700, 100), dxfattribs={"layer": "PART_OUTSIDE"}),
            "LINE .*open line; close it, or delete it if it was not cut",
        ),
    ],
)
def test_what_was_cut_and_cannot_be_read_is_refused(lost: Draw, told: str, tmp_path: Path):
    """A missing block was once passed over without a word, and the steel it was cut from offered."""
    with pytest.raises(DrawingError, match=rf"cut\.dxf.*{told}"):
        cut(tmp_path, sheet, lost)


def test_what_was_noticed_is_handed_on(tmp_path: Path):
    def on_a_layer_that_is_off(space: Any) -> None:
        space.doc.layers.add("OLD").off()
        space.add_circle((500, 250), 50, dxfattribs={"layer": "OLD"})

    _, findings = cut(tmp_path, sheet, on_a_layer_that_is_off)
    assert [f.severity for f in findings if "layer that is off" in f.message] == ["warning"]


def test_a_closed_mark_beside_what_was_cut_is_not_offered(tmp_path: Path):
    def marked(space: Any) -> None:
        space.add_circle((200, 250), 80)
        space.add_circle((200, 250), 20, dxfattribs={"layer": "ETCH"})
        space.add_circle((700, 250), 80, dxfattribs={"layer": "ETCH"})

    (piece,), findings = cut(tmp_path, sheet, marked)
    gone = shapely.Point(700, 250).buffer(80 + KERF + NOTCH - 0.05, quad_segs=200)
    assert area(piece).intersection(gone).area < 1e-6
    (told,) = (f for f in findings if f.severity == "warning")
    assert "at (700.00, 25" in told.message
    assert "closed contour on a layer of marks taken as cut out of the sheet" in told.message


def test_a_sheet_on_a_layer_of_marks_is_the_sheet(tmp_path: Path):
    """The largest part was once taken for the sheet, and offered."""

    def part(space: Any) -> None:
        space.add_lwpolyline([(50, 50), (450, 50), (450, 450), (50, 450)], close=True)

    (piece,), findings = cut(tmp_path, lambda space: sheet(space, layer="MARKS"), part)
    assert not area(piece).intersects(shapely.box(50, 50, 450, 450))
    assert area(piece).intersects(shapely.box(500, 50, 950, 450))
    assert any("layer of marks taken as the edge of the sheet" in f.message for f in findings)
