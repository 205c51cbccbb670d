"""Writing and reading back: the same contours, in every version and unit, and nothing half written."""

import math
import re
from collections import Counter
from dataclasses import replace
from pathlib import Path

import ezdxf
import pytest

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.drawing import writer
from nesting.drawing.layers import COLOURS, LABEL, MARK, PART_INSIDE, PART_OUTSIDE
from nesting.drawing.plate import read_plate
from nesting.drawing.readback import CutDrawing, read_cuts
from nesting.drawing.reader import read_drawing
from nesting.drawing.writer import NOTICE, write_drawing
from nesting.drawing.writing import Version, Writing
from nesting.errors import DrawingError
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc, EllipseArc, Line, Polyline, Spline, circle
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.part import Mark, Part, TextMark
from nesting.plate import KeepOut, Plate
from nesting.tolerances import R12_ARC_MM
from nesting.units import Unit

SPLINE = Spline(
    degree=3,
    control=((100, 0), (130, 20), (80, 60), (110, 90), (100, 100)),
    knots=(0, 0, 0, 0, 0.4, 1, 1, 1, 1),
)
PART = Part(
    id="odd",
    name="odd one",
    outer=Contour(
        curves=(
            Line(start=(0, 0), end=(100, 0)),
            SPLINE,
            EllipseArc(center=(50, 100), major=(50, 0), ratio=0.4, start_deg=0, sweep_deg=180),
            Polyline(vertices=((0, 100, 0), (0, 70, -0.4), (0, 40, 0), (0, 0, 0))),
        )
    ),
    holes=(
        Contour(curves=(circle((30, 30), 8),)),
        Contour(curves=(EllipseArc(center=(70, 50), major=(5, 5), ratio=1.7, start_deg=20, sweep_deg=360),)),
        Contour(
            curves=(
                Arc(center=(50, 80), radius_mm=9, start_deg=0, sweep_deg=180),
                Line(start=(41, 80), end=(59, 80)),
            )
        ),
    ),
    marks=(Mark(kind="bend", curve=Line(start=(10, 5), end=(90, 5))),),
    texts=(TextMark(text="UP", at=(10, 60), height_mm=5, turn_deg=20),),
)
RING = Part(
    id="ring", name="ring", outer=Contour(curves=(circle((0, 0), 40),)), holes=(Contour(curves=(circle((0, 0), 30),)),)
)
DISC = Part(id="disc", name="disc", outer=Contour(curves=(circle((0, 0), 20),)))
PLATE = Plate(
    name="rest",
    outer=Contour.of_rectangle(900, 500),
    holes=(Contour(curves=(circle((850, 450), 30),)),),
    keep_outs=(KeepOut(contour=Contour.of_points([(0, 450), (50, 450), (50, 500)])),),
)


def layout() -> Layout:
    """Odd ones plain, turned and flipped; a disc in a ring; two rings that touch."""
    poses = [
        ("odd", Pose(x_mm=20, y_mm=20)),
        ("odd", Pose(turn_deg=33.3, x_mm=300, y_mm=120)),
        ("odd", Pose(flipped=True, turn_deg=-71, x_mm=600, y_mm=250)),
        ("ring", Pose(x_mm=400, y_mm=60)),
        ("disc", Pose(x_mm=400, y_mm=60)),
        ("ring", Pose(x_mm=480, y_mm=60)),
    ]
    placements = tuple(Placement(number=n, part_id=i, pose=p) for n, (i, p) in enumerate(poses, start=1))
    demands = tuple(Demand(part=part, quantity=None, may_flip=True) for part in (PART, RING, DISC))
    clearances = Clearances(kerf_mm=0, gap_mm=0, margin_mm=0)
    return Layout(plate=PLATE, clearances=clearances, demands=demands, placements=placements, id="a1b2")


def kinds(contours: tuple[Contour, ...]) -> Counter[str]:
    """Count curves by type."""
    return Counter(curve.type for contour in contours for curve in contour.curves)


def by_length(contours: tuple[Contour, ...]) -> list[Contour]:
    """Holes stand in the order they are cut, which is not that of the part."""
    return sorted(contours, key=lambda c: c.length_mm)


def curved(part: Part) -> list[Spline | EllipseArc]:
    """The curves R12 has no word for."""
    return [c for contour in part.contours for c in contour.curves if isinstance(c, Spline | EllipseArc)]


@pytest.mark.parametrize("unit", ["mm", "inch"])
def test_round_trip_keeps_every_curve(tmp_path: Path, unit: Unit) -> None:
    wanted = layout()
    write_drawing(wanted, tmp_path / "out.dxf", Writing(unit=unit))

    cuts = read_cuts(tmp_path / "out.dxf")

    assert cuts.own_layers and cuts.unit == unit
    by_number = {p.number: p for p in cuts.parts}
    assert sorted(n or 0 for n in by_number) == [1, 2, 3, 4, 5, 6]
    for placement in wanted.placements:
        part, cut = wanted.parts[placement.part_id], by_number[placement.number]
        expected = part.posed_contours(placement.pose)
        assert kinds((cut.outer, *cut.holes)) == kinds(expected)
        for a, b in zip(by_length((cut.outer, *cut.holes)), by_length(expected), strict=True):
            assert a.length_mm == pytest.approx(b.length_mm, rel=1e-9)
            assert a.area_mm2 == pytest.approx(b.area_mm2, rel=1e-9)
            assert a.polygon(0.01, "midway").bounds == pytest.approx(b.polygon(0.01, "midway").bounds, abs=0.02)
        assert cut.label == f"{placement.number} {part.name}"
    assert [c.area_mm2 for c in cuts.plate_edge] == pytest.approx([450000, 900 * math.pi])
    assert len(cuts.keep_outs) == 1


def test_r12_has_only_entities_of_its_time_and_few_of_them(tmp_path: Path) -> None:
    wanted = layout()
    write_drawing(wanted, tmp_path / "old.dxf", Writing(version="R12"))

    document = ezdxf.readfile(tmp_path / "old.dxf")
    types = {e.dxftype() for e in document.modelspace()}
    cuts = read_cuts(tmp_path / "old.dxf")

    assert document.dxfversion == "AC1009"
    assert types == {"LINE", "ARC", "CIRCLE", "POLYLINE", "TEXT"}
    vertices = sum(len(e.vertices) for e in document.modelspace().query("POLYLINE"))
    bent = [c for p in wanted.placements if p.part_id == "odd" for c in curved(wanted.parts["odd"])]
    assert vertices < 0.3 * sum(len(curve.points(R12_ARC_MM)) for curve in bent)
    assert cuts.unit == "mm"
    by_number = {p.number: p for p in cuts.parts}
    for placement in wanted.placements:
        expected = wanted.parts[placement.part_id].posed_contours(placement.pose)
        cut = by_number[placement.number]
        for a, b in zip(by_length((cut.outer, *cut.holes)), by_length(expected), strict=True):
            assert a.length_mm == pytest.approx(b.length_mm, rel=1e-5)
            rings = a.polygon(0.0002, "midway").exterior, b.polygon(0.0002, "midway").exterior
            assert rings[0].hausdorff_distance(rings[1]) < 0.001


@pytest.mark.parametrize("version", ["R12", "R2000"])
@pytest.mark.parametrize(("unit", "code", "metric"), [("mm", 4, 1), ("inch", 1, 0), ("cm", 5, 1)])
def test_header_declares_the_unit(tmp_path: Path, version: Version, unit: Unit, code: int, metric: int) -> None:
    """$INSUNITS 1 inch, 4 mm, 5 cm; $MEASUREMENT 0 inch, 1 metric: published DXF reference."""
    write_drawing(layout(), tmp_path / "u.dxf", Writing(version=version, unit=unit))

    pairs = (tmp_path / "u.dxf").read_text(encoding="cp1252").split("ENDSEC")[0].split("\n")
    values = [line.strip() for line in pairs]
    assert values[values.index("$INSUNITS") + 2] == str(code)
    assert values[values.index("$MEASUREMENT") + 2] == str(metric)


@pytest.mark.parametrize("version", ["R12", "R2000"])
def test_no_audit_errors_and_plain_extrusion(tmp_path: Path, version: Version) -> None:
    write_drawing(layout(), tmp_path / "a.dxf", Writing(version=version))

    document = ezdxf.readfile(tmp_path / "a.dxf")

    auditor = document.audit()
    assert not auditor.errors and not auditor.fixes
    assert all(tuple(e.dxf.get("extrusion", (0, 0, 1))) == (0, 0, 1) for e in document.modelspace())
    assert {layer.dxf.name: layer.dxf.color for layer in document.layers if layer.dxf.name in COLOURS} == COLOURS


@pytest.mark.parametrize("blocks", [False, True])
def test_inside_cuts_come_before_the_outside_cut_of_each_part(tmp_path: Path, blocks: bool) -> None:
    write_drawing(layout(), tmp_path / "a.dxf", Writing(labels=False, blocks=blocks))

    space = ezdxf.readfile(tmp_path / "a.dxf").modelspace()
    entities = [e for x in space for e in (x.virtual_entities() if x.dxftype() == "INSERT" else [x])]
    cuts = "".join({PART_INSIDE: "i", PART_OUTSIDE: "o"}.get(e.dxf.layer, "") for e in entities)

    # Three odd ones, two rings and a disc; the disc lies in a ring and comes just before it.
    pieces = re.findall("iiiioooo|io|o", cuts)
    assert "".join(pieces) == cuts
    assert sorted(pieces) == ["iiiioooo"] * 3 + ["io"] * 2 + ["o"]
    assert pieces[pieces.index("o") + 1] == "io"


def test_same_layout_same_bytes(tmp_path: Path) -> None:
    for version in ("R12", "R2000"):
        for name in ("a.dxf", "b.dxf"):
            write_drawing(layout(), tmp_path / name, Writing(version=version))
        assert (tmp_path / "a.dxf").read_bytes() == (tmp_path / "b.dxf").read_bytes()


def test_marks_texts_and_notice_are_never_on_cut_layers(tmp_path: Path) -> None:
    write_drawing(layout(), tmp_path / "a.dxf")

    space = ezdxf.readfile(tmp_path / "a.dxf").modelspace()
    texts = [(e.dxf.layer, e.dxf.text) for e in space.query("TEXT")]

    assert (LABEL, NOTICE) in texts and (LABEL, "LAYOUT a1b2") in texts
    assert texts.count((MARK, "UP")) == 3
    assert sum(e.dxf.layer == MARK for e in space.query("LINE")) == 3


def test_failed_writing_leaves_the_former_file_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.dxf"
    path.write_bytes(b"former")
    monkeypatch.setattr(writer.os, "fsync", lambda _: (_ for _ in ()).throw(OSError("disk full")))

    with pytest.raises(OSError, match="disk full"):
        write_drawing(layout(), path)

    assert path.read_bytes() == b"former"
    assert list(tmp_path.iterdir()) == [path]


def _edited(path: Path, change: str) -> CutDrawing:
    document = ezdxf.readfile(path)
    space = document.modelspace()
    if change == "drop":
        space.delete_entity(space.query(f'LINE[layer=="{PART_OUTSIDE}"]').first)
    else:
        space.query(f'CIRCLE[layer=="{PART_INSIDE}"]').first.dxf.center = (5000, 5000)
    document.saveas(path)
    return read_cuts(path)


def test_broken_written_drawings_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.dxf"
    write_drawing(layout(), path)
    with pytest.raises(DrawingError, match=r"a\.dxf.*layer PART_OUTSIDE is open by 100 mm"):
        _edited(path, "drop")
    write_drawing(layout(), path)
    with pytest.raises(DrawingError, match=r"inside contour at .* lies in no part"):
        _edited(path, "move")


def test_foreign_drawing_is_grouped_by_containment(tmp_path: Path) -> None:
    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 4
    for x in (0, 100):
        document.modelspace().add_circle((x, 0), 40)
        document.modelspace().add_circle((x, 0), 10)
    document.saveas(tmp_path / "f.dxf")

    cuts = read_cuts(tmp_path / "f.dxf")

    assert [len(p.holes) for p in cuts.parts] == [1, 1]
    assert not cuts.own_layers and cuts.plate_edge == ()


def test_written_part_reads_as_a_part_again(tmp_path: Path) -> None:
    alone = replace(layout(), placements=layout().placements[:1])
    write_drawing(alone, tmp_path / "one.dxf", Writing(plate_edge=False, labels=False))

    (part,) = read_drawing(tmp_path / "one.dxf").parts

    assert part.area_mm2 == pytest.approx(PART.area_mm2, rel=1e-9)
    assert [m.kind for m in part.marks] == ["other"]
    assert [t.text for t in part.texts] == ["UP"]


def test_plate_round_trip(tmp_path: Path) -> None:
    write_drawing(layout(), tmp_path / "plate.dxf")

    plate, _ = read_plate(tmp_path / "plate.dxf")

    assert plate.name == "plate"
    assert plate.area_mm2 == pytest.approx(450000 - 900 * math.pi)
    assert [k.kind for k in plate.keep_outs] == ["no part"]


def test_plate_with_clamp_and_rust(tmp_path: Path) -> None:
    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 1
    space = document.modelspace()
    # L-shaped plate of 195000 units2 (derived).
    corners = [(0, 0), (600, 0), (600, 200), (250, 200), (250, 500), (0, 500)]
    space.add_lwpolyline(corners, close=True, dxfattribs={"layer": "anything"})
    space.add_circle((100, 100), 10)
    space.add_circle((300, 100), 10, dxfattribs={"layer": "Keep-out rust"})
    space.add_circle((400, 100), 10, dxfattribs={"layer": "CLAMPS"})
    document.saveas(tmp_path / "l.dxf")

    plate, _ = read_plate(tmp_path / "l.dxf", units="mm")

    assert plate.outer.area_mm2 == pytest.approx(195000)
    assert len(plate.holes) == 1
    assert sorted(k.kind for k in plate.keep_outs) == ["no part", "no part, lead or rapid"]
    assert {k.reason for k in plate.keep_outs} == {"layer Keep-out rust", "layer CLAMPS"}


def test_two_plates_in_one_drawing_are_refused(tmp_path: Path) -> None:
    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 4
    for x in (0, 100):
        document.modelspace().add_circle((x, 0), 40)
    document.saveas(tmp_path / "two.dxf")

    with pytest.raises(DrawingError, match=r"two\.dxf: .*reaches out of the largest"):
        read_plate(tmp_path / "two.dxf")
