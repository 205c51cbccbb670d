"""Reading: units, refusals, repairs and the faults that are told instead of raised."""

import math
from pathlib import Path

import ezdxf
import pytest
from drawings import drawing, found, only, square

from nesting.drawing.findings import NoPartsError
from nesting.drawing.reader import read_drawing
from nesting.errors import DrawingError, UnitsUnknownError


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
    for path, told in ((tmp_path / "absent.dxf", "no such file"), (tmp_path, "is a folder")):
        with pytest.raises(DrawingError, match=told):
            read_drawing(path)


def test_nothing_to_cut(tmp_path: Path) -> None:
    with pytest.raises(NoPartsError, match="nothing to cut"):
        read_drawing(drawing(tmp_path / "e.dxf", lambda m: m.add_point((1, 1))))
    with pytest.raises(
        NoPartsError, match=r"among 1 curve to cut; there is something on the layers '0', 'ETCH2'"
    ) as caught:
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
