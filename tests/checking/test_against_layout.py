"""A drawing of our own writing against its layout: whatever somebody added, turned or took away is found."""

import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from shapes import rectangle, round_contour, sheet

from nesting.check import CheckReport, check_drawing
from nesting.checking.contours import displaced, same_contours
from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.drawing.layers import MARK, PART_INSIDE, PART_OUTSIDE, PIERCE_MARK
from nesting.drawing.readback import read_cuts
from nesting.drawing.writer import write_drawing
from nesting.drawing.writing import Writing
from nesting.errors import DrawingError
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc, EllipseArc, Line, Polyline, Spline, circle
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.leads import leads_of
from nesting.part import Mark, Part, TextMark

CLEAR = Clearances(kerf_mm=1.5, gap_mm=6, margin_mm=5, lead_in_mm=5)
WAVE = Spline(degree=3, control=((120, 60), (90, 100), (30, 20), (0, 60)), knots=(0,) * 4 + (1,) * 4)
"""An S: turned about its middle by a half turn it is itself, so that its mirror has its ends, length and area."""


def plaque(top: Any = WAVE) -> Part:
    """A plate with two bores of different size, a bend line and a text."""
    sides = Polyline(vertices=((0, 60, 0), (0, 0, 0), (120, 0, 0), (120, 60, 0)))
    return Part(
        id="plaque",
        name="plaque",
        outer=Contour(curves=(sides, top)),
        holes=(round_contour((20, 20), 16), round_contour((100, 20), 10)),
        marks=(Mark(kind="bend", curve=Line(start=(60, 5), end=(60, 40))),),
        texts=(TextMark(text="UP", at=(65, 20), height_mm=6),),
    )


def layout(part: Part | None = None, **more: Any) -> Layout:
    part = part or plaque()
    poses = (Pose(x_mm=20, y_mm=20), Pose(turn_deg=90, x_mm=280, y_mm=20))
    return Layout(
        plate=sheet(320, 160),
        clearances=replace(CLEAR, **more),
        demands=(Demand(part=part, quantity=2),),
        placements=tuple(Placement(number=n, part_id=part.id, pose=p) for n, p in enumerate(poses, start=1)),
    )


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "a.dxf"


def checked(
    path: Path, edit: Any = None, *, laid: Layout | None = None, writing: Writing | None = None, leads: bool = False
) -> CheckReport:
    """Write, change as a user would, and check against the layout."""
    laid = laid or layout()
    write_drawing(laid, path, writing, leads=leads_of(laid) if leads else None)
    if edit is not None:
        document = ezdxf.readfile(path)
        edit(document.modelspace())
        document.saveas(path)
    return check_drawing(path, layout=laid)


@pytest.mark.parametrize("writing", [Writing(), Writing(version="R12"), Writing(contours="polylines", blocks=True)])
def test_as_written_it_passes_without_a_word(path: Path, writing: Writing) -> None:
    report = checked(path, writing=writing, leads=True)

    assert report.passed and report.notes == () and report.parts_checked == 2


@pytest.mark.parametrize(
    ("add", "told"),
    [
        (lambda s: s.add_circle((80, 50), 6), r"CIRCLE \w+ at \(86\.00, 50\.00\) mm on layer '0' would be cut"),
        (
            lambda s: s.add_line((-500, 50), (500, 50), dxfattribs={"layer": "CUT"}),
            r"LINE \w+ at \(-500\.00, 50\.00\) mm on layer 'CUT' would be cut and is no contour of a part",
        ),
    ],
)
def test_what_is_added_on_a_layer_that_is_cut_is_found(path: Path, add: Any, told: str) -> None:
    """Only the two layers of parts were once looked at, and plain ones are cut too."""
    report = checked(path, add)

    (finding,) = report.findings
    assert finding.kind == "extra" and finding.place is not None
    assert finding.place[1] == pytest.approx(50.0)
    assert re.search(told, finding.message)


def test_many_curves_on_one_layer_are_one_finding_with_or_without_the_layout(path: Path) -> None:
    report = checked(path, lambda s: [s.add_circle((80 + k, 50), 6) for k in range(4)])
    alone = check_drawing(path, clearances=CLEAR)

    for found in (report, alone):
        assert [f.kind for f in found.findings] == ["extra"] and " and 3 more on layer '0'" in found.message


@pytest.mark.parametrize("layer", ["MARK", "BEND", "DIMENSIONS", "CENTERLINE", "NOTES", "LABEL"])
def test_what_is_no_cut_may_be_added(path: Path, layer: str) -> None:
    assert checked(path, lambda s: s.add_circle((80, 50), 6, dxfattribs={"layer": layer})).passed


@pytest.mark.parametrize(
    ("add", "told"),
    [
        (lambda s, a: s.add_blockref("NOPE", (80, 50), dxfattribs=a), r"INSERT \w+: left out at .*: block 'NOPE'"),
        (lambda s, a: s.add_circle((80, 50), -5, dxfattribs=a), r"CIRCLE \w+: left out, cannot be read"),
        (
            lambda s, a: s.add_circle((80, 50), 5, dxfattribs={**a, "extrusion": (0, 1, 1)}),
            r"CIRCLE \w+: left out, not flat.*tilted",
        ),
        (lambda s, a: s.add_mline([(0, 0), (50, 50)], dxfattribs=a), r"MLINE \w+: left out: not a flat outline"),
    ],
)
def test_what_cannot_be_looked_at_is_refused(path: Path, add: Any, told: str) -> None:
    """What was noticed in reading was kept and never used, so that such drawings passed."""
    with pytest.raises(DrawingError, match=rf"a\.dxf: {told}.*the check must see all that may be cut"):
        checked(path, lambda s: add(s, {"layer": PART_INSIDE}))


def test_a_keep_out_added_to_a_drawing_without_plate_is_found(path: Path) -> None:
    keep = {"layer": "CLAMP"}
    writing = Writing(plate_edge=False)
    report = checked(path, lambda s: s.add_circle((80, 50), 6, dxfattribs=keep), writing=writing)

    assert [f.kind for f in report.findings] == ["changed"] and "keep-outs in the drawing" in report.message


@pytest.mark.parametrize("writing", [Writing(), Writing(contours="polylines")])
def test_an_arc_turned_to_its_other_side_is_found(path: Path, writing: Writing) -> None:
    """Kinds, length and ends stay the same; a side of 120 mm bulges by 0.2 x 60 = 12 mm."""
    laid = layout(plaque(Polyline(vertices=((120, 60, 0.2), (0, 60, 0.0)))))

    def turn(space: Any) -> None:
        for line in space.query(f'LWPOLYLINE[layer=="{PART_OUTSIDE}"]'):
            corners = line.get_points("xyb")
            line.set_points([(x, y, -bulge) for x, y, bulge in corners], format="xyb")

    assert checked(path, laid=laid, writing=writing).passed
    report = checked(path, turn, laid=laid, writing=writing)

    # Where the label's place is cut away with the segment, the part is one without a number.
    assert {f.kind for f in report.findings} <= {"changed", "extra", "missing"}
    changed = [f for f in report.findings if f.kind == "changed"]
    # Radius 60 (1 + b^2) / (2 b) over an angle of 4 atan b, both ways; the bores' areas are added.
    angle, radius = 4 * math.atan(0.2), 60 * 1.04 / 0.4
    bow, bores = radius**2 / 2 * (angle - math.sin(angle)), math.pi * (8**2 + 5**2)
    found, wanted = re.findall(r"mm round (\S+) mm2", changed[0].message)
    assert (float(found), float(wanted)) == pytest.approx((7200 + bores - bow, 7200 + bores + bow), rel=1e-5)


def mirrored(spline: Spline) -> Spline:
    return replace(spline, control=tuple((x, 120.0 - y) for x, y in spline.control))


@pytest.mark.parametrize("arcs", [False, True])
def test_a_spline_mirrored_between_its_ends_is_found(path: Path, arcs: bool) -> None:
    """It has the same ends, length and area; only points within tell it apart."""
    write_drawing(layout(plaque(mirrored(WAVE))), path, Writing(curves="arcs" if arcs else "as drawn"))

    report = check_drawing(path, layout=layout())

    assert [f.kind for f in report.findings] == ["moved", "moved"]


def test_bores_of_different_size_that_changed_places_are_found(path: Path) -> None:
    """Their lengths and centres, taken together, stay the same."""

    def swap(space: Any) -> None:
        for bore in space.query(f'CIRCLE[layer=="{PART_INSIDE}"]'):
            bore.dxf.radius = 13.0 - bore.dxf.radius

    assert [f.kind for f in checked(path, swap).findings] == ["moved", "moved"]


def stadium(length: float, split: int, x: float) -> Contour:
    """A bar of a given length round by lines cut in pieces."""
    corners = [(x + length * k / split, 0.0) for k in range(split + 1)] + [(x + length, 10.0), (x, 10.0)]
    return Contour.of_points(corners)


def test_holes_of_one_length_are_paired_though_rounding_orders_them_otherwise() -> None:
    """Lengths either side of a rounding border; one has a corner more."""
    wanted = [stadium(20.00025, 1, 0), stadium(20.00025, 3, 100)]
    drawn = [stadium(20.00025 - 1e-9, 3, 100), stadium(20.00025 + 1e-9, 1, 0)]

    assert same_contours(drawn, wanted) and same_contours(drawn[::-1], wanted)
    assert displaced(drawn, wanted) < 1e-6
    assert not same_contours([drawn[1], drawn[1]], wanted)


def disc(radius: float, x: float, *, halves: bool) -> Contour:
    """A circle, in one or as a polyline has it."""
    if not halves:
        return Contour(curves=(circle((x, 0.0), radius),))
    return Contour(curves=(Polyline(vertices=((x - radius, 0.0, 1.0), (x + radius, 0.0, 1.0)), is_closed=True),))


def test_holes_of_nearly_one_length_are_paired_in_whatever_way_they_are_drawn() -> None:
    """One a circle in the layout and two arcs as a polyline; sorted by their pieces they changed places."""
    wanted = [disc(5.0, 0.0, halves=False), disc(4.9998, 40.0, halves=True)]
    drawn = [disc(5.0, 0.0, halves=True), disc(4.9998, 40.0, halves=True)]

    assert same_contours(drawn, wanted) and displaced(drawn, wanted) < 1e-3


def test_a_round_ellipse_has_no_axes_to_compare() -> None:
    round_ones = [
        Contour(curves=(EllipseArc(center=(5, 5), major=major, ratio=1.0, start_deg=0.0, sweep_deg=360.0),))
        for major in ((10.0, 0.0), (6.0, 8.0))
    ]

    assert displaced(round_ones[:1], round_ones[1:]) < 1e-9


def test_a_gap_that_writing_closed_moves_nothing() -> None:
    """A half ellipse and an arc 0.015 mm apart; as a polyline one ends where the other begins."""
    half = EllipseArc(center=(0, 0), major=(30, 0), ratio=0.99999, start_deg=0.0, sweep_deg=180.0)
    wanted = Contour(curves=(half, Arc(center=(0.015, 0), radius_mm=30, start_deg=180.0, sweep_deg=180.0)))
    arcs = ((-30.0, 0.0, 1.0), (30.0, 0.0, 1.0))
    drawn = Contour(curves=(Polyline(vertices=arcs, is_closed=True),))

    assert displaced([drawn], [wanted]) < 1e-3


def test_arcs_of_ellipses_are_compared_within() -> None:
    def shell(sign: float) -> Contour:
        arc = EllipseArc(center=(0, 0), major=(30, 0), ratio=0.4, start_deg=0.0, sweep_deg=180.0 * sign)
        return Contour(curves=(arc, Line(start=(-30, 0), end=(-30, -40)), Line(start=(-30, -40), end=(30, -40)),
                               Line(start=(30, -40), end=(30, 0))))  # fmt: skip

    assert not same_contours([shell(-1.0)], [shell(1.0)])
    assert displaced([shell(-1.0)], [shell(1.0)]) == pytest.approx(24.0)


def test_a_lead_in_drawn_as_a_polyline_is_measured(path: Path) -> None:
    def again(space: Any) -> None:
        for line in space.query(f'LINE[layer=="{PIERCE_MARK}"]'):
            (x0, y0, _), (x1, y1, _) = line.dxf.start, line.dxf.end
            space.add_lwpolyline([(x0 + dx, y0), (x1, y1)], dxfattribs={"layer": PIERCE_MARK})
            space.delete_entity(line)

    dx = 0.0
    assert checked(path, again, leads=True).passed and len(read_cuts(path).leads) == 6
    dx = -200.0
    assert {f.kind for f in checked(path, again, leads=True).findings} == {"lead"}


def test_what_is_no_straight_lead_in_is_told(path: Path) -> None:
    report = checked(path, lambda s: s.add_arc((80, 50), 6, 0, 90, dxfattribs={"layer": PIERCE_MARK}))

    (finding,) = report.findings
    assert finding.kind == "lead" and "ARC" in finding.message
    assert "at (86.00, 50.00) mm on layer PIERCE_MARK is no straight line from a pierce" in finding.message


def test_marks_lost_moved_and_added_are_notes(path: Path) -> None:
    def marks(space: Any) -> list:
        return list(space.query(f'LINE[layer=="{MARK}"]'))

    def texts(space: Any) -> list:
        return list(space.query(f'TEXT[layer=="{MARK}"]'))

    lost = checked(path, lambda s: s.delete_entity(marks(s)[0]))
    moved = checked(path, lambda s: marks(s)[0].translate(1, 0, 0))
    unread = checked(path, lambda s: texts(s)[0].dxf.set("text", "DOWN"))
    none = checked(path, writing=Writing(marks=False))

    assert all(report.passed for report in (lost, moved, unread, none))
    assert len(lost.notes) == 1 and "1 curves of marks of the layout are not in the drawing" in lost.notes[0]
    assert ["of the layout" in note for note in moved.notes] == [True, False]
    assert sorted(unread.notes) == [
        "marked text 'DOWN' stands 1 times more in the drawing",
        "marked text 'UP' stands 1 times more in the layout",
    ]
    assert none.notes == ("the drawing holds none of the layout's 4 marks",)


def test_an_empty_layout_passes_and_a_drawing_without_parts_does_not(path: Path) -> None:
    empty = replace(layout(), placements=(), demands=(Demand(part=rectangle("r", 5, 5), quantity=None),))

    assert checked(path, laid=empty).passed
    with pytest.raises(DrawingError, match=r"a\.dxf: no part in this drawing, nothing to check"):
        check_drawing(path, clearances=CLEAR)


def test_an_arc_is_known_by_its_middle() -> None:
    bow = Arc(center=(0, 0), radius_mm=10, start_deg=0, sweep_deg=180)
    flat = (
        Line(start=(-10, 0), end=(-10, -40)),
        Line(start=(-10, -40), end=(10, -40)),
        Line(start=(10, -40), end=(10, 0)),
    )
    convex, notch = Contour(curves=(bow, *flat)), Contour(curves=(replace(bow, sweep_deg=-180.0), *flat))

    assert convex.length_mm == pytest.approx(notch.length_mm)
    assert not same_contours([notch], [convex]) and displaced([notch], [convex]) == pytest.approx(math.sqrt(200))
