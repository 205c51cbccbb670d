"""A plate's drawing: its edge, its holes, and what may be a hole though it does not look like one."""

from pathlib import Path
from typing import Any

import pytest
from drawings import drawing, square

from nesting.drawing.findings import Finding
from nesting.drawing.plate import read_plate
from nesting.geometry.curves import Line
from nesting.plate import Plate


def read(path: Path, draw: Any) -> tuple[Plate, tuple[Finding, ...]]:
    """Read a square plate with more drawn on it."""

    def whole(space: Any) -> None:
        square(space, 1000.0)
        draw(space)

    return read_plate(drawing(path / "plate.dxf", whole))


def test_closed_contours_on_layers_of_marks_are_holes(tmp_path: Path) -> None:
    plate, findings = read(tmp_path, lambda m: m.add_circle((500, 500), 100, dxfattribs={"layer": "ENGRAVE"}))

    assert len(plate.holes) == 1
    assert "mark taken as hole" in [f.kind for f in findings]


@pytest.mark.parametrize("layer", ["0", "ENGRAVE"])
def test_a_cut_out_that_does_not_quite_close_is_an_error_on_any_layer(tmp_path: Path, layer: str) -> None:
    corners = [(400, 401), (400, 600), (700, 600), (700, 400), (400, 400)]

    _, findings = read(tmp_path, lambda m: m.add_lwpolyline(corners, dxfattribs={"layer": layer}))

    (finding,) = [f for f in findings if f.severity == "error"]
    assert finding.kind == "open line"
    assert finding.place is not None


def test_what_is_hidden_in_a_plate_is_a_warning(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        space.doc.layers.add("OLD").off()
        space.add_circle((500, 500), 100, dxfattribs={"layer": "OLD"})

    plate, findings = read(tmp_path, draw)

    assert plate.holes == ()
    assert [f.severity for f in findings if "layer that is off" in f.message] == ["warning"]


def test_a_lobe_of_a_hole_is_refused(tmp_path: Path) -> None:
    """The kept part of the hole would be smaller than what is gone."""
    corners = [(200, 200), (800, 200), (800, 800), (502, 800), (499, 900), (501, 900), (498, 800), (200, 800)]

    with pytest.raises(Exception, match="crosses itself") as caught:
        read(tmp_path, lambda m: m.add_lwpolyline(corners, close=True))
    assert "plate.dxf" in str(caught.value)


def test_a_plate_of_many_lines_is_read_in_their_order_of_number(tmp_path: Path) -> None:
    corners = [(k, 0.0 if k % 2 else -1.0) for k in range(1000)] + [(999, 500), (0, 500)]
    lines = [Line(start=a, end=b) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)]

    plate, _ = read_plate(drawing(tmp_path / "p.dxf", lambda m: [m.add_line(c.start, c.end) for c in lines]))

    assert len(plate.outer.pieces) == len(lines)
