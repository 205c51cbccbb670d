"""Leftover of a layout: areas add up, pieces keep clear of parts, shear lines take their kerf and are drawn."""

from pathlib import Path

import ezdxf
import pytest
import shapely
from outline_layouts import KERF, LAYOUT, PLATE, RING

from nesting.drawing.plate_writer import SHEAR_LINE, write_plates
from nesting.errors import DrawingError, InputError
from nesting.outline.drawn import from_cut_drawing
from nesting.outline.leftover import from_layout
from nesting.remnant import balance
from nesting.shop import Shop


def bodies() -> list[shapely.Geometry]:
    return [p.pose.geometry(RING.fine_polygon) for p in LAYOUT.placements]


DOWN, ALONG = ((450, -10), (450, 800)), ((450, 400), (1700, 420))


@pytest.mark.parametrize("shears", [(), (DOWN,), (DOWN, ALONG)])
def test_pieces_lie_in_the_plate_and_clear_of_every_finished_contour(shears: tuple):
    found = from_layout(LAYOUT, Shop(), shears=shears)
    assert len(found.plates) == len(shears) + (0 if shears else 1)
    assert abs(found.areas.error) < 1e-4
    whole = PLATE.fine_polygon
    for plate in found.plates:
        piece = plate.fine_polygon
        assert whole.buffer(1e-6).covers(piece)
        assert min(shapely.distance(piece, b) for b in bodies()) >= KERF + 6.0 - 1e-3
        assert any(r.polygon.buffer(1e-6).covers(piece) for r in found.areas.kept)
    assert sum(p.area_mm2 for p in found.plates) < found.areas.kept_mm2


def test_what_is_known_of_the_parent_goes_to_each_piece():
    (piece,) = from_layout(LAYOUT, Shop()).plates
    assert (piece.name, piece.parent, piece.thickness_mm) == ("odd-R1", "odd", 8.0)
    assert (piece.grade, piece.heat) == ("S235JR", "H1")
    assert piece.grain_deg == 90.0 and piece.uncertainty_mm == 2.5
    assert piece.captured == "leftover of a layout"
    assert [k.reason for k in piece.keep_outs] == ["rust"]


def test_a_shear_takes_its_own_kerf():
    line = ((450.0, -10.0), (450.0, 800.0))
    plain, sheared = balance(LAYOUT, Shop()), balance(LAYOUT, Shop(), shears=[line])
    across = PLATE.fine_polygon.intersection(shapely.LineString(line)).length
    assert sheared.kerf_mm2 - plain.kerf_mm2 == pytest.approx(KERF * across, rel=1e-3)
    assert abs(sheared.error) < 1e-4


def test_without_notches_a_piece_reaches_up_to_the_kerf():
    near, far = (from_layout(LAYOUT, Shop(), notch_mm=n).plates[0].fine_polygon for n in (0.0, 6.0))
    distance = min(shapely.distance(near, b) for b in bodies())
    assert KERF <= distance + 1e-6 < KERF + 0.5
    assert far.area < near.area


def test_a_shear_through_a_part_is_refused():
    with pytest.raises(InputError, match=r"shear 1: .* cuts into part 1 \(ring\); lead it round"):
        from_layout(LAYOUT, Shop(), shears=[((110, -10), (110, 800))])


def test_nothing_worth_keeping_is_told():
    with pytest.raises(InputError, match="no piece is left"):
        from_layout(LAYOUT, Shop(keep_mm=((1590.0, 750.0),)))


def test_shear_lines_appear_in_the_drawing(tmp_path: Path):
    line = ((450.0, -10.0), (450.0, 800.0))
    write_plates(from_layout(LAYOUT, Shop(), shears=[line]).plates, tmp_path / "rest.dxf", shears=[line])
    (drawn,) = ezdxf.readfile(tmp_path / "rest.dxf").modelspace().query(f"LINE[layer=='{SHEAR_LINE}']")
    assert (drawn.dxf.start.x, drawn.dxf.end.y) == (450.0, 800.0)


def test_what_is_left_of_a_sheet_that_was_cut(tmp_path: Path):
    path = tmp_path / "cut.dxf"
    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 4
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (1000, 0), (1000, 600), (0, 600)], close=True)
    space.add_circle((200, 300), 150)
    space.add_circle((200, 300), 40)
    document.saveas(path)
    options = {"keep_mm": ((300.0, 300.0),), "uncertainty_mm": 2.0}
    (piece,), findings = from_cut_drawing(path, kerf_mm=2.0, notch_mm=5.0, **options)  # type: ignore[arg-type]
    assert findings == ()
    shape = shapely.Polygon([p.start for p in piece.outer.pieces], [[p.start for p in h.pieces] for h in piece.holes])
    gone = shapely.Point(200, 300).buffer(157.0, quad_segs=200)
    assert shape.intersection(gone).area < 1e-6
    assert shape.area == pytest.approx(600_000 - gone.area, rel=2e-3)
    with pytest.raises(DrawingError, match="no piece is left"):
        from_cut_drawing(path, kerf_mm=2.0, notch_mm=5.0, keep_mm=((900.0, 700.0),), uncertainty_mm=2.0)
