"""Every kind of entity, as it comes from a file."""

import math
from pathlib import Path
from typing import Any

import pytest
from drawings import drawing, found, kinds, only, square

from nesting.drawing.reader import read_drawing


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


@pytest.mark.parametrize(("units", "per_mm"), [(4, 1.0), (1, 1 / 25.4), (6, 0.001)])
def test_level_and_closed_are_judged_in_millimetres(tmp_path: Path, units: int, per_mm: float) -> None:
    """The same drawing in inches or metres is read as in millimetres: tolerances were once drawing units."""

    def draw(space: Any) -> None:
        square(space, 100 * per_mm)
        for y, rise_mm in ((30, 0.008), (60, 0.012)):
            points = [(20, y, 0), (30, y, 0), (30, y + 10, rise_mm), (20, y + 10, 0), (20, y, 0)]
            space.add_polyline3d([(x * per_mm, y * per_mm, z * per_mm) for x, y, z in points])
        for x, gap_mm in ((50, 0.015), (70, 0.03)):
            spline = space.add_spline(degree=3, dxfattribs={"flags": 1})
            control = [(x, 20), (x + 15, 20), (x + 15, 40), (x, 20 + gap_mm)]
            spline.control_points = [(x * per_mm, y * per_mm) for x, y in control]
            spline.knots = [0, 0, 0, 0, 1, 1, 1, 1]

    read = read_drawing(drawing(tmp_path / "u.dxf", draw, units=units), units="m" if units == 6 else None)

    assert len(only(read).holes) == 3
    assert len(found(read, "not flat")) == 1
    assert [m.split(" from ")[0].split(": ")[1] for m in found(read, "decided")] == ["closed spline ends 0.03 mm"]


def test_knots_that_descend_by_rounding_are_read(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        spline = space.add_spline(degree=3)
        spline.control_points = [(0, 0), (60, 0), (60, 60), (0, 60), (0, 0)]
        spline.knots = [0, 0, 0, 0, 0.5, 1.0000000002, 1, 1, 1]

    read = read_drawing(drawing(tmp_path / "k.dxf", draw))

    assert kinds(only(read)) == {"spline": 1}


@pytest.mark.parametrize("parameter", [1e308, 1e17, math.nan])
def test_an_ellipse_with_a_huge_parameter_is_left_out(tmp_path: Path, parameter: float) -> None:
    """Found by mutated drawings: quarter turns were counted up to it."""

    def draw(space: Any) -> None:
        square(space)
        space.add_ellipse((50, 50), (20, 0), 0.5, 0.0, parameter)

    read = read_drawing(drawing(tmp_path / "e.dxf", draw))

    assert only(read).holes == ()
    assert "parameters are not usable" in found(read, "unreadable entity")[0]


@pytest.mark.parametrize("end", [6.28319, 6.2832, 2 * math.pi])
def test_a_full_ellipse_written_in_few_digits_stays_full(tmp_path: Path, end: float) -> None:
    """Two pi rounded up once left a sliver of a curve, which was dropped, and the hole with it."""

    def draw(space: Any) -> None:
        square(space)
        space.add_ellipse((50, 50), (20, 0), ratio=0.5, start_param=0.0, end_param=end)

    part = only(read_drawing(drawing(tmp_path / "e.dxf", draw)))

    assert part.area_mm2 == pytest.approx(10000 - 200 * math.pi, rel=1e-9)


def test_an_arc_all_round_stays_a_circle_and_a_short_one_short(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        square(space)
        space.add_arc((50, 50), 10, 0, 360.00001)
        space.add_arc((20, 20), 10, 359.999, 0.0005)

    part = only(read_drawing(drawing(tmp_path / "a.dxf", draw)))

    assert part.area_mm2 == pytest.approx(10000 - 100 * math.pi, rel=1e-12)


def test_a_drawing_that_lies_elsewhere_is_an_error(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        square(space)
        space.doc.add_xref_def("holes.dxf", "HOLES")
        space.add_blockref("HOLES", (0, 0))

    read = read_drawing(drawing(tmp_path / "x.dxf", draw))

    (text,) = found(read, "drawing elsewhere")
    assert "holes.dxf" in text
    assert {f.severity for f in read.findings if f.kind == "drawing elsewhere"} == {"error"}


def test_width_of_an_old_polyline_is_told(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        corners = [(0, 0), (80, 0), (80, 50), (0, 50)]
        space.add_polyline2d(corners, close=True, dxfattribs={"default_start_width": 2, "default_end_width": 2})

    (text,) = found(read_drawing(drawing(tmp_path / "w.dxf", draw)), "decided")

    assert "drawn with a width" in text


@pytest.mark.parametrize(("layer", "severity"), [("CUT", "error"), ("NOTES", "note"), ("ETCH", "note")])
def test_what_is_not_read_is_an_error_on_layers_that_are_cut_only(tmp_path: Path, layer: str, severity: str) -> None:
    def draw(space: Any) -> None:
        square(space)
        space.add_mline([(10, 10), (60, 10), (60, 60)], dxfattribs={"layer": layer})

    read = read_drawing(drawing(tmp_path / "m.dxf", draw))

    assert [f.severity for f in read.findings if "MLINE" in f.message] == [severity]


def test_letters_that_a_file_spells_by_number_are_read(tmp_path: Path) -> None:
    """The alphabet of an older DXF has no such letter; it is written as \\U+2116."""

    def draw(space: Any) -> None:
        square(space)
        space.add_text("\u2116 12", height=5, dxfattribs={"layer": "ETCH", "insert": (20, 20)})
        space.add_mtext("\u6f22 \u03a9", dxfattribs={"layer": "ETCH", "char_height": 5, "insert": (20, 60)})

    part = only(read_drawing(drawing(tmp_path / "u.dxf", draw)))

    assert sorted(text.text for text in part.texts) == ["\u2116 12", "\u6f22 \u03a9"]
