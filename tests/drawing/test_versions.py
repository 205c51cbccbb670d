"""DXF of every age, encoding and packing, and content that is named and left out."""

from pathlib import Path
from typing import Any

import ezdxf
import pytest
from drawings import drawing, found, only, square

from nesting.drawing.reader import read_drawing

RULED = {"layer": "RAHMEN"}


def body(space: Any) -> None:
    square(space)
    space.add_circle((50, 50), 10)
    space.add_circle((20, 20), 3, dxfattribs=RULED)


@pytest.mark.parametrize("form", ["asc", "bin"])
@pytest.mark.parametrize("version", ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"])
def test_versions(tmp_path: Path, version: str, form: Any) -> None:
    document = ezdxf.new(version)
    body(document.modelspace())
    document.saveas(tmp_path / "v.dxf", fmt=form)

    part = only(read_drawing(tmp_path / "v.dxf", units="mm"))

    assert (len(part.holes), part.size_mm) == (1, pytest.approx((100.0, 100.0)))


@pytest.mark.parametrize("version", ["AC1006", "AC1004", "AC1012", "AC1014"])
def test_text_drawings_older_than_r12_and_between(tmp_path: Path, version: str) -> None:
    """R10, R9, R13 and R14 by their version marks, entities as R12 has them."""
    lines = [
        "0",
        "SECTION",
        "2",
        "HEADER",
        "9",
        "$ACADVER",
        "1",
        version,
        "0",
        "ENDSEC",
        "0",
        "SECTION",
        "2",
        "ENTITIES",
    ]
    for a, b in (("0 0", "40 0"), ("40 0", "40 40"), ("40 40", "0 40"), ("0 40", "0 0")):
        (x0, y0), (x1, y1) = a.split(), b.split()
        lines += ["0", "LINE", "8", "0", "10", x0, "20", y0, "11", x1, "21", y1]
    lines += ["0", "POLYLINE", "8", "0", "66", "1", "70", "1"]
    for x, y in (("10", "10"), ("20", "10"), ("20", "20")):
        lines += ["0", "VERTEX", "8", "0", "10", x, "20", y]
    lines += ["0", "SEQEND", "0", "ENDSEC", "0", "EOF", ""]
    path = tmp_path / "old.dxf"
    path.write_text("\n".join(lines), encoding="ascii", newline="\r\n")

    part = only(read_drawing(path, units="mm"))

    assert part.area_mm2 == pytest.approx(1600 - 50)


@pytest.mark.parametrize(
    ("version", "codepage", "encoding"),
    [("R2000", "ANSI_1251", "cp1251"), ("R2000", "ANSI_932", "cp932"), ("R2010", "ANSI_1252", "utf-8")],
)
def test_encodings(tmp_path: Path, version: str, codepage: str, encoding: str) -> None:
    layer = "Контур" if encoding != "cp932" else "外形"
    document = ezdxf.new(version)
    document.header["$INSUNITS"] = 4
    document.header["$DWGCODEPAGE"] = codepage
    square(document.modelspace(), layer=layer)
    document.modelspace().add_circle((50, 50), 5, dxfattribs={"layer": "other"})
    document.encoding = encoding
    document.saveas(tmp_path / "e.dxf", encoding=encoding)

    part = only(read_drawing(tmp_path / "e.dxf", layers=[layer]))

    assert part.holes == ()


def test_bodies_meshes_regions_and_proxies_are_named_and_left_out(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        square(space)
        space.add_polymesh((3, 3))
        space.add_solid([(0, 0), (1, 0), (1, 1)])
        space.add_trace([(0, 0), (1, 0), (1, 1)])

    path = drawing(tmp_path / "b.dxf", draw)
    text = path.read_text(encoding="cp1252")
    raw = "".join(
        f"0\n{kind}\n5\nF{k}0\n100\nAcDbEntity\n8\n0\n100\n{marker}\n70\n1\n"
        for k, (kind, marker) in enumerate(
            (
                ("3DSOLID", "AcDbModelerGeometry"),
                ("REGION", "AcDbModelerGeometry"),
                ("ACAD_PROXY_ENTITY", "AcDbProxyEntity"),
            )
        )
    )
    start = text.index("ENTITIES\n") + len("ENTITIES\n")
    path.write_text(text[:start] + raw + text[start:], encoding="cp1252")

    read = read_drawing(path)

    assert only(read).holes == ()
    told = " / ".join(found(read, "left out") + found(read, "not flat"))
    for kind in ("1 3DSOLID left out: not a flat outline", "REGION", "1 ACAD_PROXY_ENTITY", "1 SOLID", "1 TRACE"):
        assert kind in told
    assert "it is a mesh" in told
    assert "3DSOLID" in {f.entity for f in read.findings if f.severity == "warning"}
    assert "REGION" in {f.entity.split()[0] for f in read.findings if f.severity == "error" and f.entity}, "a hole?"


def test_curve_fitted_old_polyline_follows_its_fitted_vertices(tmp_path: Path) -> None:
    """Vertices that the curve fit added (flag 1) and their bulges are the curve; flag 2 of the polyline says so."""

    def draw(space: Any) -> None:
        line = space.add_polyline2d([(0, 0, 0.4), (40, 0, 0.4), (40, 40, 0.4), (0, 40, 0.4)], format="xyb", close=True)
        line.dxf.flags |= 2
        line.vertices[1].dxf.flags |= 1

    part = only(read_drawing(drawing(tmp_path / "f.dxf", draw)))

    assert len(part.outer.pieces) == 4
    assert all(piece.type == "arc" for piece in part.outer.pieces)


def test_a_drawing_cut_off_in_its_entities_is_an_error(tmp_path: Path) -> None:
    """What is missing may be a hole."""
    path = drawing(tmp_path / "c.dxf", body)
    data = path.read_bytes()
    path.write_bytes(data[: data.rindex(b"CIRCLE") + 40])

    read = read_drawing(path)

    assert len(only(read).holes) == 1
    assert [f.severity for f in read.findings if f.kind == "cut off"] == ["error"]


@pytest.mark.parametrize(("mark", "said"), [(b"OBJECTS", "cut off after its entities"), (b"EOF", "lacks its end mark")])
def test_a_drawing_cut_off_after_its_entities_is_read_with_a_word(tmp_path: Path, mark: bytes, said: str) -> None:
    path = drawing(tmp_path / "c.dxf", body)
    data = path.read_bytes()
    end = data.rindex(mark) + (100 if mark == b"OBJECTS" else -3)
    path.write_bytes(data[:end])

    read = read_drawing(path)

    assert len(only(read).holes) == 1
    assert any(said in message for message in found(read, "repaired"))
    assert not [f for f in read.findings if f.severity == "error"]


@pytest.mark.parametrize("header", ["", "0\nSECTION\n2\nHEADER\n0\nENDSEC\n", "AC1009"])
def test_newer_entities_in_a_file_that_counts_as_old_keep_their_values(tmp_path: Path, header: str) -> None:
    """Without a version the library takes R12 and passes over layer and shape of what came later."""

    def draw(space: Any) -> None:
        space.add_ellipse((5, 5), (100, 0), 0.5, dxfattribs={"layer": "CUT"})
        space.add_lwpolyline([(0, 0), (9, 0), (9, 9)], close=True, dxfattribs={"layer": "CUT"})

    path = drawing(tmp_path / "n.dxf", draw)
    text = path.read_text(encoding="cp1252")
    if header == "AC1009":
        text = text.replace("AC1015", header)
    else:
        start = text.rindex("SECTION", 0, text.index("ENTITIES"))
        text = f"{header}0\n{text[start : text.index('ENDSEC', start)]}ENDSEC\n0\nEOF\n"
    path.write_text(text, encoding="cp1252")

    part = only(read_drawing(path, units="mm", layers=["CUT"]))

    assert part.area_mm2 == pytest.approx(15707.963 - 40.5, abs=1e-3)
