"""Ways of writing: directions, polylines, blocks, versions, lead-ins, texts on parts turned over, SVG."""

import math
from dataclasses import replace
from pathlib import Path
from typing import get_args
from xml.etree import ElementTree

import ezdxf
import pytest
import shapely
from shapely.geometry import Polygon
from shapes import part, rectangle, round_contour, sheet

from nesting.check import check_drawing
from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.drawing.cut_order import cut_order
from nesting.drawing.layers import LABEL, MARK, PART_INSIDE, PART_OUTSIDE, PIERCE_MARK
from nesting.drawing.marks import LayerRule
from nesting.drawing.readback import read_cuts
from nesting.drawing.reader import read_drawing
from nesting.drawing.svg_writer import write_svg
from nesting.drawing.travelled import travelled
from nesting.drawing.writer import write_drawing
from nesting.drawing.writing import Version, Writing
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc, EllipseArc, Line, Polyline, circle
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.leads import leads_of
from nesting.part import Mark, TextMark

SLOT = Contour(
    curves=(
        Line(start=(20, 40), end=(40, 40)),
        Arc(center=(40, 45), radius_mm=5, start_deg=270, sweep_deg=180),
        Line(start=(40, 50), end=(20, 50)),
        Arc(center=(20, 45), radius_mm=5, start_deg=90, sweep_deg=180),
    )
)
OVAL = Contour(curves=(EllipseArc(center=(75, 25), major=(12, 0), ratio=0.6, start_deg=0, sweep_deg=360),))
COVER = replace(
    part("cover é", Contour.of_rectangle(100, 60), round_contour((20, 20), 16), SLOT, OVAL),
    marks=(Mark(kind="bend", curve=Line(start=(50, 5), end=(50, 55))),),
    texts=(TextMark(text="UP", at=(60, 45), height_mm=6, turn_deg=10),),
)
CLEAR = Clearances(kerf_mm=1.5, gap_mm=6, margin_mm=5, lead_in_mm=5)


def layout() -> Layout:
    """Covers plain, turned, turned over; a plain rectangle."""
    poses = (
        ("cover é", Pose(x_mm=10, y_mm=10)),
        ("cover é", Pose(turn_deg=90, x_mm=190, y_mm=10)),
        ("cover é", Pose(flipped=True, turn_deg=30, x_mm=330, y_mm=80)),
        ("r", Pose(x_mm=10, y_mm=120)),
    )
    return Layout(
        plate=sheet(400, 200),
        clearances=CLEAR,
        demands=(Demand(part=COVER, quantity=3, may_flip=True), Demand(part=rectangle("r", 60, 40))),
        placements=tuple(Placement(number=n, part_id=i, pose=p) for n, (i, p) in enumerate(poses, start=1)),
        id="a1b2",
    )


def polylines(path: Path, layer: str) -> list[Polyline]:
    """Polylines of a layer as they stand in the file."""
    space = ezdxf.readfile(path).modelspace()
    found = space.query(f'LWPOLYLINE[layer=="{layer}"]')
    return [Polyline(vertices=tuple(e.get_points("xyb")), is_closed=e.closed) for e in found]


@pytest.mark.parametrize("outside", ["clockwise", "counter-clockwise"])
def test_polylines_carry_the_direction_of_travel(tmp_path: Path, outside: str) -> None:
    """Outside clockwise, inside counter-clockwise by default: by the right-hand rule of plasma (published advice of
    machine makers); positive area is counter-clockwise."""
    writing = Writing(contours="polylines", curves="arcs", outside=outside)  # type: ignore[arg-type]
    write_drawing(layout(), tmp_path / "a.dxf", writing)

    outer = [line.swept_area_mm2 for line in polylines(tmp_path / "a.dxf", PART_OUTSIDE)]
    inner = [line.swept_area_mm2 for line in polylines(tmp_path / "a.dxf", PART_INSIDE)]
    sign = -1.0 if outside == "clockwise" else 1.0
    assert sorted(sign * area for area in outer) == pytest.approx([2400, 6000, 6000, 6000])
    hole, slot, oval = math.pi * 64, 200 + math.pi * 25, math.pi * 12 * 7.2
    expected = sorted([hole, slot, oval] * 3)
    assert sorted(-sign * area for area in inner) == pytest.approx(expected, rel=1e-4)
    assert check_drawing(tmp_path / "a.dxf", layout=layout()).passed
    assert not ezdxf.readfile(tmp_path / "a.dxf").modelspace().query(f'CIRCLE ELLIPSE[layer=="{PART_INSIDE}"]')


def test_lines_stand_in_order_of_travel_even_where_arcs_cannot_tell(tmp_path: Path) -> None:
    write_drawing(layout(), tmp_path / "a.dxf")
    space = ezdxf.readfile(tmp_path / "a.dxf").modelspace()
    lines = list(space.query(f'LINE[layer=="{PART_OUTSIDE}"]'))
    for k in range(0, len(lines), 4):
        corners = [(e.dxf.start.x, e.dxf.start.y) for e in lines[k : k + 4]]
        assert Polygon(corners).exterior.is_ccw is False
        assert [e.dxf.end for e in lines[k : k + 4]] == [e.dxf.start for e in (*lines[k + 1 : k + 4], lines[k])]


def test_ellipses_stay_where_arcs_are_not_asked_for(tmp_path: Path) -> None:
    write_drawing(layout(), tmp_path / "a.dxf", Writing(contours="polylines"))
    space = ezdxf.readfile(tmp_path / "a.dxf").modelspace()
    assert len(space.query(f'ELLIPSE[layer=="{PART_INSIDE}"]')) == 3
    assert len(space.query(f'LWPOLYLINE[layer=="{PART_INSIDE}"]')) == 6
    assert check_drawing(tmp_path / "a.dxf", layout=layout()).passed


def test_a_polyline_starts_where_its_lead_in_meets_it(tmp_path: Path) -> None:
    laid = layout()
    leads = leads_of(laid)
    assert len(leads.marked) == 13 and not leads.findings
    write_drawing(laid, tmp_path / "a.dxf", Writing(contours="polylines", curves="arcs"), leads=leads)

    starts = [line.start for layer in (PART_INSIDE, PART_OUTSIDE) for line in polylines(tmp_path / "a.dxf", layer)]
    for lead in leads.marked:
        assert min(math.dist(lead.spot.contact, start) for start in starts) < 0.011
    assert check_drawing(tmp_path / "a.dxf", layout=laid).passed


@pytest.mark.parametrize("contact", [(100, 60), (100, 31.0), (50.0, 0.0)])
def test_starting_elsewhere_keeps_the_contour(contact: tuple[float, float]) -> None:
    """At a corner nothing is split; on a side one line becomes two."""
    (line,) = travelled(COVER.outer, Writing(contours="polylines"), clockwise=True, contact=contact)
    assert isinstance(line, Polyline) and line.is_closed
    assert line.start == pytest.approx(contact)
    assert len(line.vertices) == (4 if contact == (100, 60) else 5)
    assert (line.length_mm, line.swept_area_mm2) == pytest.approx((320, -6000))


@pytest.mark.parametrize("sweep", [360.0, 300.0, 180.0, 90.0])
def test_bulges_are_at_most_one(sweep: float) -> None:
    """Bulge = tan(angle / 4), published DXF reference: 1 for a half turn."""
    arc = replace(circle((3, 4), 10), sweep_deg=sweep)
    curves = (arc,) if sweep == 360 else (arc, Line(start=arc.end, end=arc.start))
    (line,) = travelled(Contour(curves=curves), Writing(contours="polylines"), clockwise=False)
    assert isinstance(line, Polyline)
    assert max(abs(v[2]) for v in line.vertices) <= 1.0 + 1e-12
    assert line.length_mm == pytest.approx(sum(c.length_mm for c in curves))


@pytest.mark.parametrize("version", get_args(Version))
@pytest.mark.parametrize("blocks", [False, True])
def test_every_version_is_sound_reads_back_and_comes_out_the_same_again(
    tmp_path: Path, version: Version, blocks: bool
) -> None:
    writing = Writing(version=version, blocks=blocks, unit="inch")
    for name in ("a.dxf", "b.dxf"):
        write_drawing(layout(), tmp_path / name, writing, leads=leads_of(layout()))
    assert (tmp_path / "a.dxf").read_bytes() == (tmp_path / "b.dxf").read_bytes()

    document = ezdxf.readfile(tmp_path / "a.dxf")
    auditor = document.audit()
    assert not auditor.errors and not auditor.fixes
    assert document.acad_release == version
    assert check_drawing(tmp_path / "a.dxf", layout=layout()).passed
    assert "2 cover é" in {part.label for part in read_cuts(tmp_path / "a.dxf").parts}


def test_one_block_for_each_part_and_one_more_where_it_is_turned_over(tmp_path: Path) -> None:
    write_drawing(layout(), tmp_path / "a.dxf", Writing(version="R12", blocks=True))
    document = ezdxf.readfile(tmp_path / "a.dxf")
    inserts = document.modelspace().query("INSERT")
    assert len(inserts) == 4 and len({e.dxf.name for e in inserts}) == 3
    assert all(e.dxf.get("xscale", 1) == e.dxf.get("yscale", 1) == 1 for e in inserts)
    assert all(len(e.dxf.name) <= 31 and e.dxf.name.isascii() for e in inserts)
    assert not document.modelspace().query(f'*[layer=="{PART_INSIDE}"]')


def test_a_block_begins_at_the_lead_in_that_all_its_pieces_share(tmp_path: Path) -> None:
    laid = layout()
    leads = leads_of(laid)
    write_drawing(laid, tmp_path / "a.dxf", Writing(contours="polylines", curves="arcs", blocks=True), leads=leads)
    document = ezdxf.readfile(tmp_path / "a.dxf")
    starts = [
        tuple(e.get_points("xy")[0])
        for insert in document.modelspace().query("INSERT")
        for e in insert.virtual_entities()
        if e.dxf.layer in (PART_INSIDE, PART_OUTSIDE)
    ]
    assert len(starts) == 13
    for lead in leads.marked:
        assert min(math.dist(lead.spot.contact, start) for start in starts) < 0.011
    assert check_drawing(tmp_path / "a.dxf", layout=laid).passed


def test_what_is_not_wanted_is_not_written(tmp_path: Path) -> None:
    bare = Writing(plate_edge=False, labels=False, marks=False)
    write_drawing(layout(), tmp_path / "a.dxf", bare)
    layers = {e.dxf.layer for e in ezdxf.readfile(tmp_path / "a.dxf").modelspace()}
    assert layers == {PART_OUTSIDE, PART_INSIDE}
    assert check_drawing(tmp_path / "a.dxf", layout=layout()).passed


def test_lead_ins_have_a_layer_of_their_own(tmp_path: Path) -> None:
    leads = leads_of(layout())
    write_drawing(layout(), tmp_path / "a.dxf", leads=leads)
    space = ezdxf.readfile(tmp_path / "a.dxf").modelspace()
    points = {(round(e.dxf.location.x, 6), round(e.dxf.location.y, 6)) for e in space.query("POINT")}
    assert points == {(round(d.spot.pierce[0], 6), round(d.spot.pierce[1], 6)) for d in leads.marked}
    assert {e.dxf.layer for e in space.query("POINT")} == {PIERCE_MARK}
    drawn = [(line.start, line.end) for line in read_cuts(tmp_path / "a.dxf").leads]
    assert len(drawn) == 13
    begins = [cut.begin for cut in cut_order(layout(), leads).cuts]
    assert [start for start, _ in drawn if start in begins] == [start for start, _ in drawn]


def test_text_on_a_part_turned_over_stays_readable(tmp_path: Path) -> None:
    """Not mirrored; its right end stands where the mirror image of its left end would."""
    write_drawing(layout(), tmp_path / "a.dxf", Writing(labels=False))
    texts = list(ezdxf.readfile(tmp_path / "a.dxf").modelspace().query("TEXT"))
    assert all(e.dxf.layer == MARK and not e.dxf.get("text_generation_flag", 0) for e in texts)
    (turned,) = [e for e in texts if e.dxf.get("halign", 0) == 2]
    pose = layout().placements[2].pose
    assert tuple(turned.dxf.align_point)[:2] == pytest.approx(pose.point((60, 45)))
    along = pose.vector((math.cos(math.radians(10)), math.sin(math.radians(10))))
    assert math.radians(turned.dxf.rotation) == pytest.approx(math.atan2(-along[1], -along[0]) % math.tau)
    body = pose.geometry(COVER.fine_polygon)
    assert body.contains(shapely.Point(tuple(turned.dxf.insert)[:2]))


def test_written_svg_reads_back_by_its_layers(tmp_path: Path) -> None:
    """Circles are circles again, and the plate's edge is no part."""
    write_svg(layout(), tmp_path / "a.svg")
    cuts = read_cuts(tmp_path / "a.svg")
    write_drawing(layout(), tmp_path / "a.dxf", Writing(curves="arcs"))
    same = read_cuts(tmp_path / "a.dxf")

    assert cuts.own_layers and len(cuts.plate_edge) == 1
    assert [len(part.holes) for part in cuts.parts] == [len(part.holes) for part in same.parts]
    for piece, other in zip(cuts.parts, same.parts, strict=True):
        pairs = zip((piece.outer, *piece.holes), (other.outer, *other.holes), strict=True)
        for have, need in pairs:
            assert have.area_mm2 == pytest.approx(need.area_mm2, rel=1e-5)
            assert [c.closed for c in have.pieces] == [c.closed for c in need.pieces] or len(need.pieces) > 1


def test_svg_in_true_size_holds_the_same_contours(tmp_path: Path) -> None:
    """Lengths of the paths, read by another library, against those of the parts."""
    from svgelements import Path as SvgPath  # type: ignore[import-untyped]

    leads = leads_of(layout())
    write_svg(layout(), tmp_path / "a.svg", leads=leads)
    root = ElementTree.parse(tmp_path / "a.svg").getroot()
    assert root.get("width") == "410mm" and root.get("viewBox") == "-5 -205 410 210"
    name = "{http://www.w3.org/2000/svg}"
    paths = [p for p in root.iter(f"{name}path") if p.get("class") in (PART_OUTSIDE, PART_INSIDE)]
    order = cut_order(layout(), leads)
    assert len(paths) == len(order.cuts) == 13
    laid = layout()
    for drawn, cut in zip(paths, order.cuts, strict=True):
        part_id = laid.placements[cut.number - 1].part_id
        contour = laid.parts[part_id].contours[cut.contour]
        outline = SvgPath(drawn.get("d"))
        assert outline.length() == pytest.approx(contour.length_mm, rel=3e-4)
        posed = contour.posed(laid.placements[cut.number - 1].pose).polygon(0.001, "midway").bounds
        x0, y0, x1, y1 = outline.bbox()
        assert (x0, -y1, x1, -y0) == pytest.approx(posed, abs=0.01)
    texts = [t.text for t in root.iter(f"{name}text")]
    assert texts.count("UP") == 3 and "2 cover é" in texts
    assert {g.get("class") for g in root.iter(f"{name}g")} == {"PLATE_EDGE", MARK, LABEL, PIERCE_MARK}


@pytest.mark.parametrize("ending", ["dxf", "svg"])
def test_parts_of_a_written_layout_are_read_without_its_plate(tmp_path: Path, ending: str) -> None:
    file = tmp_path / f"a.{ending}"
    write = write_svg if ending == "svg" else write_drawing
    write(layout(), file)

    read = read_drawing(file)
    whole = read_drawing(file, layer_rules=[LayerRule(pattern="PLATE*", role="cut")])

    assert sorted(len(part.holes) for part in read.parts) == [0, 3, 3, 3]
    assert sum(len(part.marks) for part in read.parts) == 3
    assert {t.text for part in read.parts for t in part.texts} == ({"UP"} if ending == "dxf" else set())
    assert any("its plate and labels are left out" in f.message for f in read.findings if f.severity == "note")
    assert not any("its plate and labels are left out" in f.message for f in whole.findings)
