"""Reading: every kind of entity, blocks, units, marks and the faults that are told instead of raised."""

import math
from collections import Counter
from pathlib import Path
from typing import Any

import ezdxf
import pytest

from nesting.drawing.findings import NoPartsError
from nesting.drawing.marks import LayerRule
from nesting.drawing.reader import Drawing, read_drawing
from nesting.errors import DrawingError, UnitsUnknownError
from nesting.part import Part


def drawing(path: Path, draw: Any, *, units: int | None = 4, version: str = "R2000") -> Path:
    """Write a drawing that `draw` fills; `units` is the $INSUNITS code."""
    document = ezdxf.new(version)
    if units is not None:
        document.header["$INSUNITS"] = units
    draw(document.modelspace())
    document.saveas(path)
    return path


def square(space: Any, size: float = 100.0, x: float = 0.0, y: float = 0.0, **attribs: Any) -> None:
    """Four lines."""
    corners = [(x, y), (x + size, y), (x + size, y + size), (x, y + size)]
    for a, b in zip(corners, [*corners[1:], corners[0]], strict=True):
        space.add_line(a, b, dxfattribs=attribs)


def only(read: Drawing) -> Part:
    """The one part of a drawing."""
    assert len(read.parts) == 1
    return read.parts[0]


def kinds(part: Part) -> Counter[str]:
    """Count curves by type."""
    return Counter(curve.type for contour in part.contours for curve in contour.curves)


def found(read: Drawing, kind: str) -> list[str]:
    """Messages of one kind of finding."""
    return [f.message for f in read.findings if f.kind == kind]


def test_square_with_circle_is_a_part_with_a_hole(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        square(space)
        space.add_circle((50, 50), 10)

    part = only(read_drawing(drawing(tmp_path / "plate with hole.dxf", draw)))

    assert kinds(part) == {"line": 4, "arc": 1}
    assert part.area_mm2 == pytest.approx(10000 - 100 * math.pi, rel=1e-12)
    assert (part.id, part.source, part.pierces) == ("plate with hole", "plate with hole.dxf", 2)
    assert part.holes[0].curves[0].closed
    assert len(part.source_sha256) == 64


def test_chord_100_bulge_0_414214(tmp_path: Path) -> None:
    """Quarter-circle bulge: trade table row 10 (GetBulge reference; bulge examples), values of row 11 derived."""
    segment = [(0, 0, 0.414214), (100, 0, 0)]
    part = only(
        read_drawing(drawing(tmp_path / "s.dxf", lambda m: m.add_lwpolyline(segment, format="xyb", close=True)))
    )
    arc, chord = part.outer.curves[0].pieces

    assert arc.radius_mm == pytest.approx(70.7107, abs=1e-3)
    assert arc.length_mm == pytest.approx(111.0721, abs=1e-3)
    assert chord.length_mm == 100.0
    assert part.area_mm2 == pytest.approx(1426.991, abs=1e-2)
    assert part.size_mm[1] == pytest.approx(20.7107, abs=1e-3)


def test_half_circle_bulges_make_a_circle(tmp_path: Path) -> None:
    """Bulge 1 is a half circle (GetBulge reference)."""
    path = drawing(tmp_path / "c.dxf", lambda m: m.add_lwpolyline([(0, 0, 1), (20, 0, 1)], format="xyb", close=True))

    assert only(read_drawing(path)).area_mm2 == pytest.approx(100 * math.pi, rel=1e-12)


def test_extrusion_minus_z_mirrors(tmp_path: Path) -> None:
    """OCS (10, 5) with extrusion (0, 0, -1) is world (-10, 5): arbitrary-axis rule of the DXF reference."""
    path = drawing(tmp_path / "o.dxf", lambda m: m.add_circle((10, 5), 3, dxfattribs={"extrusion": (0, 0, -1)}))

    circle = only(read_drawing(path)).outer.curves[0]

    assert circle.center == (-10.0, 5.0)


def test_mirrored_polyline_keeps_its_bulge_on_the_right_side(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        slot = [(0, 0, 0), (50, 0, 1), (50, 50, 0), (0, 50, 1)]
        space.add_lwpolyline(slot, format="xyb", close=True, dxfattribs={"extrusion": (0, 0, -1)})

    part = only(read_drawing(drawing(tmp_path / "m.dxf", draw)))

    # Slot 100 over all, 50 wide: area 4463.495, perimeter 257.080 (derived geometry).
    assert part.area_mm2 == pytest.approx(4463.495, abs=1e-3)
    assert part.cut_length_mm == pytest.approx(257.080, abs=1e-3)
    assert part.size_mm[0] == pytest.approx(100.0, abs=2e-3)


@pytest.mark.parametrize(("code", "side"), [(1, 254.0), (4, 10.0), (5, 100.0), (9, 0.254)])
def test_insunits(tmp_path: Path, code: int, side: float) -> None:
    """$INSUNITS 1 inch, 4 mm, 5 cm, 9 mil: published DXF reference."""
    read = read_drawing(drawing(tmp_path / "u.dxf", lambda m: square(m, 10), units=code))

    assert only(read).size_mm == pytest.approx((side, side))
    assert f"$INSUNITS {code}" in read.unit_reason


def test_units_asked_for_stand_above_the_header(tmp_path: Path) -> None:
    read = read_drawing(drawing(tmp_path / "u.dxf", lambda m: square(m, 10), units=4), units="inch")

    assert only(read).size_mm == pytest.approx((254.0, 254.0))
    assert (read.unit, read.mm_per_unit, read.unit_reason) == ("inch", 25.4, "inch, as asked for")


@pytest.mark.parametrize("code", [0, 6])
def test_no_unit_or_metre_is_asked_for(tmp_path: Path, code: int) -> None:
    path = drawing(tmp_path / "u.dxf", lambda m: square(m, 10), units=code)

    with pytest.raises(UnitsUnknownError, match=r"u\.dxf: .*10 x 10 mm.*254 x 254 mm.*--units") as caught:
        read_drawing(path)

    assert caught.value.sizes == {"mm": (10.0, 10.0), "inch": (254.0, 254.0)}
    assert caught.value.path == path
    assert "$MEASUREMENT" in caught.value.hint


def test_a_file_without_header_has_no_unit(tmp_path: Path) -> None:
    lines = ["0", "SECTION", "2", "ENTITIES", "0", "CIRCLE", "8", "0", "10", "0", "20", "0", "40", "7"]
    path = tmp_path / "bare.dxf"
    path.write_text("\n".join([*lines, "0", "ENDSEC", "0", "EOF", ""]), encoding="ascii")

    with pytest.raises(UnitsUnknownError, match="declares nothing"):
        read_drawing(path)
    assert only(read_drawing(path, units="mm")).area_mm2 == pytest.approx(49 * math.pi)


def test_binary_drawing_declares_its_unit(tmp_path: Path) -> None:
    for version in ("R12", "R2000", "R2018"):
        document = ezdxf.new(version)
        square(document.modelspace(), 10)
        if version != "R12":
            document.header["$INSUNITS"] = 1
        path = tmp_path / f"{version}.dxf"
        document.saveas(path, fmt="bin")
        if version == "R12":
            with pytest.raises(UnitsUnknownError):
                read_drawing(path)
        else:
            assert only(read_drawing(path)).size_mm == pytest.approx((254.0, 254.0))


def test_ellipse_keeps_its_kind(tmp_path: Path) -> None:
    """Semi-axes 100 and 50: area 15707.963, perimeter 484.422 (derived geometry)."""
    part = only(read_drawing(drawing(tmp_path / "e.dxf", lambda m: m.add_ellipse((5, 5), (100, 0), 0.5))))

    assert kinds(part) == {"ellipse": 1}
    assert part.area_mm2 == pytest.approx(15707.963, abs=1e-3)
    assert part.cut_length_mm == pytest.approx(484.422, abs=1e-3)


def test_half_ellipse_downward_extrusion(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        attribs = {"extrusion": (0, 0, -1)}
        space.add_ellipse((0, 0), (100, 0), 0.5, 0, math.pi, dxfattribs=attribs)
        space.add_line((-100, 0), (100, 0))

    part = only(read_drawing(drawing(tmp_path / "e.dxf", draw)))

    assert part.area_mm2 == pytest.approx(15707.963 / 2, abs=1e-3)
    assert part.fine_polygon.bounds[1] == pytest.approx(-50.0, abs=1e-3)


def _closed_spline(space: Any) -> None:
    points = [(0, 0), (100, 0), (100, 80), (0, 80)]
    spline = space.add_spline(degree=3, dxfattribs={"flags": 3})
    spline.control_points = [*points, *points[:3]]
    spline.knots = range(11)


def test_closed_unclamped_spline(tmp_path: Path) -> None:
    """A uniform cubic over wrapped control points starts at (P0 + 4 P1 + P2) / 6 (The NURBS Book)."""
    part = only(read_drawing(drawing(tmp_path / "s.dxf", _closed_spline)))

    assert kinds(part) == {"spline": 1}
    x, y = part.outer.curves[0].start
    points = [(0, 0), (100, 0), (100, 80), (0, 80)]
    starts = [
        tuple((a + 4 * b + c) / 6 for a, b, c in zip(points[i - 2], points[i - 1], points[i], strict=True))
        for i in range(4)
    ]
    assert min(math.dist((x, y), s) for s in starts) < 1e-9


def test_rational_spline_is_an_exact_circle(tmp_path: Path) -> None:
    """Nine-point quadratic circle with weights 1 and root 1/2 (The NURBS Book, example 7.2)."""
    w = math.sqrt(0.5)
    points = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0)]
    knots = [3, 3, 3, 4, 4, 5, 5, 6, 6, 7, 7, 7]

    def draw(space: Any) -> None:
        spline = space.add_spline(degree=2)
        spline.control_points = [(30 * x, 30 * y) for x, y in points]
        spline.knots = knots
        spline.weights = [1, w, 1, w, 1, w, 1, w, 1]

    part = only(read_drawing(drawing(tmp_path / "r.dxf", draw)))

    assert part.area_mm2 == pytest.approx(900 * math.pi, rel=1e-9)
    assert part.cut_length_mm == pytest.approx(60 * math.pi, rel=1e-9)


def test_fit_point_spline_goes_through_its_points(tmp_path: Path) -> None:
    fit = [(0, 0), (40, 30), (80, 20), (100, 0)]

    def draw(space: Any) -> None:
        space.add_spline(fit)
        space.add_line((0, 0), (100, 0))

    outer = only(read_drawing(drawing(tmp_path / "f.dxf", draw))).outer
    curve = next(c for c in outer.curves if c.type == "spline")

    points = curve.points(0.001)
    assert all(min(math.dist(p, q) for q in points.tolist()) < 0.5 for p in fit)


def test_spline_with_closed_flag_but_open_ends_is_closed_with_a_word(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        spline = space.add_spline(degree=3, dxfattribs={"flags": 1})
        spline.control_points = [(0, 0), (100, 0), (100, 80), (10, 80)]
        spline.knots = [0, 0, 0, 0, 1, 1, 1, 1]

    read = read_drawing(drawing(tmp_path / "c.dxf", draw))

    assert kinds(only(read)) == {"spline": 1, "line": 1}
    assert "80.6 mm" in found(read, "decided")[0]


def test_old_polyline_with_bulges(tmp_path: Path) -> None:
    slot = [(0, 0, 0), (50, 0, 1), (50, 50, 0), (0, 50, 1)]
    path = drawing(
        tmp_path / "p.dxf", lambda m: m.add_polyline2d(slot, format="xyb", close=True), version="R12", units=None
    )

    part = only(read_drawing(path, units="mm"))

    assert kinds(part) == {"polyline": 1}
    assert part.area_mm2 == pytest.approx(4463.495, abs=1e-3)


def test_spline_frame_points_of_old_polyline_are_not_drawn(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        line = space.add_polyline2d([(0, 0), (50, 0), (50, 50), (0, 50)], close=True)
        line.append_vertex((500, 500), dxfattribs={"flags": 16})

    assert only(read_drawing(drawing(tmp_path / "p.dxf", draw))).size_mm == pytest.approx((50.0, 50.0))


def test_solid_content_is_left_out_with_a_word(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        square(space)
        space.add_polyline3d([(0, 0, 0), (10, 0, 5), (10, 10, 9)])
        space.add_line((0, 0, 0), (0, 0, 10))
        space.add_point((5, 5))
        space.add_3dface([(0, 0, 0), (1, 0, 0), (1, 1, 1), (0, 1, 1)])
        space.add_hatch().paths.add_polyline_path([(0, 0), (1, 0), (1, 1)])
        space.add_circle((50, 50), 5, dxfattribs={"extrusion": (1, 0, 0)})

    read = read_drawing(drawing(tmp_path / "z.dxf", draw))

    assert only(read).holes == ()
    assert len(found(read, "not flat")) == 3
    assert {m.split(" left out")[0] for m in found(read, "left out")} == {"1 POINT", "1 3DFACE", "1 HATCH"}


def test_elevation_is_projected(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        square(space)
        space.add_circle((50, 50, 406.0), 10)
        space.add_lwpolyline([(10, 10), (20, 10), (20, 20)], close=True, dxfattribs={"elevation": 12})

    assert len(only(read_drawing(drawing(tmp_path / "z.dxf", draw))).holes) == 2


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
        space.add_blockref("NOWHERE", (0, 0))

    read = read_drawing(drawing(tmp_path / "r.dxf", draw))

    assert len(only(read).holes) == 1
    assert len(found(read, "block in itself")) == 1
    assert "NOWHERE" in found(read, "missing block")[0]


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
    assert sorted(found(read, "left out")) == [
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


def test_marks_by_layer_line_type_and_rule(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        square(space)
        space.doc.linetypes.add("CENTER2", pattern=[1.0, 0.7, -0.1, 0.1, -0.1])
        space.add_line((10, 0), (10, 100), dxfattribs={"layer": "bend_up"})
        space.add_line((20, 10), (20, 90), dxfattribs={"linetype": "CENTER2"})
        space.add_circle((60, 60), 5, dxfattribs={"layer": "FEATURE_PROFILES"})
        space.add_circle((40, 60), 5, dxfattribs={"layer": "INTERIOR_PROFILES"})
        space.add_line((70, 10), (70, 30), dxfattribs={"layer": "WHATEVER"})
        space.add_line((170, 10), (170, 30), dxfattribs={"layer": "ETCH"})
        space.add_text("A7", dxfattribs={"insert": (30, 30), "height": 5})
        space.add_mtext("two\\Plines", dxfattribs={"insert": (50, 30), "char_height": 4})

    rules = [LayerRule(pattern="what*", role="bend")]
    read = read_drawing(drawing(tmp_path / "m.dxf", draw), layer_rules=rules)
    part = only(read)

    assert Counter(m.kind for m in part.marks) == {"bend": 2, "centre": 1, "etch": 1}
    assert len(part.holes) == 1
    assert [t.text for t in part.texts] == ["A7", "two", "lines"]
    assert len(found(read, "mark outside")) == 1


def test_only_chosen_layers_are_cut(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        square(space, layer="CUT_OUT")
        space.add_circle((50, 50), 5, dxfattribs={"layer": "JUNK"})

    read = read_drawing(drawing(tmp_path / "c.dxf", draw), layers=["cut*"])

    assert only(read).holes == ()
    assert found(read, "layers left out") == ["layers left out: JUNK"]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "empty"),
        (b"<!DOCTYPE html><html></html>", "web page"),
        (b'<svg xmlns="x"></svg>', "SVG"),
        (b"AC1032\x00\x00", "DWG"),
        (b"%PDF-1.7", "not a DXF"),
        (b"hello world", "no DXF section"),
        (b"0\nSECTION\nrubbish\n\x00\xff", "damaged beyond repair"),
    ],
)
def test_what_is_no_drawing_is_refused(tmp_path: Path, content: bytes, message: str) -> None:
    path = tmp_path / "no drawing.dxf"
    path.write_bytes(content)

    with pytest.raises(DrawingError, match=rf"no drawing\.dxf: .*{message}"):
        read_drawing(path)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    for path in (tmp_path / "absent.dxf", tmp_path):
        with pytest.raises(DrawingError, match="cannot be read"):
            read_drawing(path)


def test_nothing_to_cut(tmp_path: Path) -> None:
    with pytest.raises(NoPartsError, match="nothing to cut"):
        read_drawing(drawing(tmp_path / "e.dxf", lambda m: m.add_point((1, 1))))
    with pytest.raises(NoPartsError, match=r"1 curves; layers with curves: 0, ETCH2") as caught:
        path = drawing(
            tmp_path / "f.dxf",
            lambda m: (m.add_line((0, 0), (5, 5)), m.add_line((0, 0), (9, 5), dxfattribs={"layer": "ETCH2"})),
        )
        read_drawing(path)
    assert any(f.kind == "open line" for f in caught.value.findings)


def test_unusable_values_leave_out_the_entity_only(tmp_path: Path) -> None:
    path = drawing(tmp_path / "v.dxf", lambda m: (square(m), m.add_circle((50, 50), 7.25)))
    text = path.read_text(encoding="cp1252").replace("\n7.25\n", "\n-7.25\n")
    path.write_text(text, encoding="cp1252")

    read = read_drawing(path)

    assert only(read).holes == ()
    assert "radius is -7.25" in found(read, "unreadable entity")[0]


def test_light_polyline_without_subclass_marker_is_repaired(tmp_path: Path) -> None:
    path = drawing(tmp_path / "w.dxf", lambda m: m.add_lwpolyline([(0, 0), (9, 0), (9, 9)], close=True))
    text = path.read_text(encoding="cp1252")
    path.write_text(text.replace("100\nAcDbPolyline\n", ""), encoding="cp1252")

    read = read_drawing(path)

    assert only(read).area_mm2 == pytest.approx(40.5)
    assert any("markers" in m for m in found(read, "repaired"))


def test_size_out_of_range_is_questioned(tmp_path: Path) -> None:
    read = read_drawing(drawing(tmp_path / "t.dxf", lambda m: square(m, 2)))

    assert "is the unit right?" in found(read, "size")[0]


def test_spline_with_a_knot_repeated_too_often_is_left_out(tmp_path: Path) -> None:
    """Found by mutated drawings: the evaluator divides by the span between equal knots."""

    def draw(space: Any) -> None:
        square(space)
        spline = space.add_spline(degree=2)
        spline.control_points = [(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)]
        spline.knots = [0, 0, 0, 0, 1, 1, 1, 1]

    read = read_drawing(drawing(tmp_path / "k.dxf", draw))

    assert only(read).holes == ()
    assert "repeats more than" in found(read, "unreadable entity")[0]
