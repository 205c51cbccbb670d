"""The check against geometry that can be worked out by hand.

A little over 500 lines and whole on purpose: layout and drawing are checked on the same few parts, made here by hand.
"""

import json
import math
from dataclasses import asdict, replace
from pathlib import Path

import ezdxf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import contours

from nesting.check import CheckReport, check_drawing, check_layout
from nesting.clearances import Clearances
from nesting.demand import Demand, Turns
from nesting.drawing.writer import write_drawing
from nesting.drawing.writing import Writing
from nesting.errors import InputError
from nesting.geometry.contour import Contour
from nesting.geometry.curves import EllipseArc, Polyline, Spline, circle
from nesting.geometry.pose import Pose
from nesting.layout import Layout, LeftOver, Placement
from nesting.part import Part
from nesting.plate import KeepOut, Plate
from nesting.tolerances import CHECK_MM

CLEAR = Clearances(kerf_mm=1.5, gap_mm=5.0, margin_mm=10.0)
NONE = Clearances(kerf_mm=0.0, gap_mm=0.0, margin_mm=0.0)
PLATE = Plate(name="sheet", outer=Contour.of_rectangle(1000.0, 500.0))


def square(side: float = 100.0, part_id: str = "square") -> Part:
    return Part(id=part_id, name=part_id, outer=Contour.of_rectangle(side, side))


def disc(radius: float, part_id: str = "disc", bore: float | None = None) -> Part:
    holes = () if bore is None else (Contour(curves=(circle((0.0, 0.0), bore),)),)
    return Part(id=part_id, name=part_id, outer=Contour(curves=(circle((0.0, 0.0), radius),)), holes=holes)


def laid(
    *placed: tuple[Part, float, float] | tuple[Part, float, float, float],
    plate: Plate = PLATE,
    clearances: Clearances = CLEAR,
) -> Layout:
    """A layout of parts at (x, y) and perhaps a turn, all wanted as often as they are placed."""
    placements = []
    counts: dict[str, int] = {}
    for number, (part, x, y, *turn) in enumerate(placed, 1):
        pose = Pose(x_mm=x, y_mm=y, turn_deg=turn[0] if turn else 0.0)
        placements.append(Placement(number=number, part_id=part.id, pose=pose))
        counts[part.id] = counts.get(part.id, 0) + 1
    parts = {part.id: part for part, *_ in placed}
    demands = tuple(Demand(part=part, quantity=counts[part.id]) for part in parts.values())
    return Layout(plate=plate, clearances=clearances, demands=demands, placements=tuple(placements))


def kinds(report: CheckReport) -> list[str]:
    return sorted(f.kind for f in report.findings)


def test_two_squares_a_gap_apart_pass() -> None:
    report = check_layout(laid((square(), 10.0, 10.0), (square(), 115.0, 10.0)))

    assert report.passed and report.findings == () and report.parts_checked == 2
    assert report.worst_gap is not None and report.worst_margin is not None
    assert report.worst_gap.found_mm == pytest.approx(5.0, abs=1e-9)
    assert [p.number for p in report.worst_gap.pieces] == [1, 2]
    assert report.worst_gap.place[0] == pytest.approx(112.5)
    assert report.worst_margin.found_mm == pytest.approx(10.0, abs=1e-9)
    assert report.worst_margin.against == "the plate's edge"


@pytest.mark.parametrize(("short_mm", "passes"), [(0.0, True), (0.0009, True), (0.0011, False), (0.002, False)])
def test_a_gap_may_fall_short_by_rounding_only(short_mm: float, passes: bool) -> None:
    report = check_layout(laid((square(), 10.0, 10.0), (square(), 115.0 - short_mm, 10.0)))

    assert report.passed is passes
    if not passes:
        (finding,) = report.findings
        assert finding.kind == "gap"
        assert [str(p) for p in finding.pieces] == ["part 1 (square)", "part 2 (square)"]
        assert finding.found_mm == pytest.approx(5.0 - short_mm, abs=1e-9)
        assert finding.needed_mm == 5.0
        assert "needed 5 mm" in finding.message and "part 2 (square)" in finding.message


def test_margin_is_measured_with_the_outlines_uncertainty_on_top() -> None:
    layout = laid((square(), 10.0, 100.0))
    assert check_layout(layout).passed

    unsure = replace(layout, plate=replace(PLATE, uncertainty_mm=2.0))
    report = check_layout(unsure)
    assert kinds(report) == ["margin"] and report.needed_margin_mm == 12.0
    assert report.findings[0].found_mm == pytest.approx(10.0)
    assert check_layout(replace(unsure, placements=laid((square(), 12.0, 100.0)).placements)).passed


def test_overlap_is_named_with_its_area_and_depth() -> None:
    (finding,) = check_layout(laid((square(), 100.0, 100.0), (square(), 197.0, 150.0))).findings

    assert finding.kind == "overlap"
    assert finding.overlap_mm2 == pytest.approx(3.0 * 50.0)
    assert finding.found_mm == pytest.approx(-3.0, abs=0.2)
    assert finding.place is not None and 197.0 <= finding.place[0] <= 200.0


@pytest.mark.parametrize("turn_deg", [0.0, 90.0, 33.0])
def test_the_same_part_twice_in_one_place_is_an_overlap(turn_deg: float) -> None:
    layout = laid((square(), 400.0, 200.0, turn_deg), (square(), 400.0, 200.0, turn_deg))
    (finding,) = check_layout(layout).findings

    assert finding.kind == "overlap"
    assert finding.overlap_mm2 == pytest.approx(1e4)
    assert finding.found_mm is not None and finding.found_mm <= -50.0


def test_a_part_swallowed_by_another_is_an_overlap() -> None:
    report = check_layout(laid((square(300.0, "large"), 100.0, 100.0), (square(20.0, "small"), 200.0, 200.0)))
    assert kinds(report) == ["overlap"] and report.findings[0].overlap_mm2 == pytest.approx(400.0)


def test_part_in_the_hole_of_another_keeps_the_gap_in_the_hole() -> None:
    """A square of diagonal d in a bore of radius r leaves r - d / 2."""
    ring = disc(200.0, "ring", bore=100.0)
    side = 2 * (100.0 - 5.0) / math.sqrt(2)
    inner = Part(
        id="inner",
        name="inner",
        outer=Contour.of_points(
            [(-side / 2, -side / 2), (side / 2, -side / 2), (side / 2, side / 2), (-side / 2, side / 2)]
        ),
    )
    fits = check_layout(laid((ring, 300.0, 250.0), (inner, 300.0, 250.0, 20.0)))
    off = check_layout(laid((ring, 300.0, 250.0), (inner, 300.5, 250.0, 45.0)))
    through = check_layout(laid((ring, 300.0, 250.0), (inner, 330.0, 250.0)))

    assert fits.passed and fits.worst_gap is not None
    assert fits.worst_gap.found_mm == pytest.approx(5.0, abs=CHECK_MM)
    assert kinds(off) == ["gap"] and off.findings[0].found_mm == pytest.approx(4.5, abs=CHECK_MM)
    assert kinds(through) == ["overlap"]


@given(st.floats(1.0, 200.0), st.floats(1.0, 200.0), st.floats(0.0, 360.0), st.floats(0.01, 100.0))
def test_circles_are_measured_as_circles(r1: float, r2: float, angle_deg: float, apart: float) -> None:
    """Clear distance = centre distance - both radii; chords may only shorten it, by CHECK_MM at most."""
    reach = r1 + r2 + apart
    x, y = reach * math.cos(math.radians(angle_deg)), reach * math.sin(math.radians(angle_deg))
    huge = Plate(name="huge", outer=Contour.of_points([(-2000, -2000), (2000, -2000), (2000, 2000), (-2000, 2000)]))
    layout = laid((disc(r1, "a"), 0.0, 0.0), (disc(r2, "b"), x, y), plate=huge, clearances=NONE)

    worst = check_layout(layout).worst_gap

    assert worst is not None
    assert apart - CHECK_MM <= worst.found_mm <= apart + 1e-9


@pytest.mark.parametrize("needed", [5.0, 4.9])
def test_discs_a_gap_apart_pass_and_a_tenth_nearer_fail(needed: float) -> None:
    layout = laid((disc(50.0), 100.0, 100.0), (disc(50.0), 100.0 + 100.0 + needed, 100.0))
    assert check_layout(layout).passed is (needed == 5.0)


def test_keep_outs_and_holes_need_the_margin_too() -> None:
    """A bore of 20 mm radius and a clamp, both 9 mm from a square of 100 mm."""
    plate = replace(
        PLATE,
        holes=(Contour(curves=(circle((229.0, 150.0), 20.0),)),),
        keep_outs=(
            KeepOut(contour=Contour.of_points([(100, 209), (200, 209), (200, 230), (100, 230)]), reason="clamp"),
        ),
    )
    report = check_layout(laid((square(), 100.0, 100.0), plate=plate))

    assert kinds(report) == ["margin", "margin"]
    told = {f.message.split(" and ")[1].split(" are ")[0]: f.found_mm for f in report.findings}
    assert told.keys() == {"plate hole 1", "keep-out 1 (clamp)"}
    for found in told.values():
        assert found == pytest.approx(9.0, abs=CHECK_MM)
    assert check_layout(laid((square(), 99.0, 99.0), plate=plate)).passed


def test_a_part_on_a_hole_or_a_keep_out_is_outside() -> None:
    plate = replace(PLATE, holes=(Contour(curves=(circle((150.0, 150.0), 20.0),)),))
    (finding,) = check_layout(laid((square(), 100.0, 100.0), plate=plate)).findings

    assert finding.kind == "outside"
    assert finding.overlap_mm2 == pytest.approx(math.pi * 400.0, rel=1e-4)


@pytest.mark.parametrize(("x", "outside_mm2"), [(-30.0, 3000.0), (-500.0, 10_000.0)])
def test_a_part_over_the_edge_or_wholly_beside_the_plate_is_outside(x: float, outside_mm2: float) -> None:
    report = check_layout(laid((square(), x, 100.0)))
    assert kinds(report) == ["outside"]
    assert report.findings[0].overlap_mm2 == pytest.approx(outside_mm2)


def test_round_plate_edge_is_measured_as_an_arc() -> None:
    """A disc of radius 100 off the centre by 290 in a round plate of radius 400 leaves 10."""
    plate = Plate(name="blank", outer=Contour(curves=(circle((0.0, 0.0), 400.0),)))
    report = check_layout(laid((disc(100.0), 290.0 * math.cos(1.0), 290.0 * math.sin(1.0)), plate=plate))

    assert report.passed and report.worst_margin is not None
    assert report.worst_margin.found_mm == pytest.approx(10.0, abs=CHECK_MM)
    assert kinds(check_layout(laid((disc(100.0), 290.01, 0.0), plate=plate))) == ["margin"]


def test_torn_edge_with_an_inward_arc() -> None:
    """A bite of radius 50 in the lower edge: a square's corner right above its top is 12 mm from it."""
    edge = Polyline(
        vertices=((0, 0, 0), (400, 0, -1.0), (500, 0, 0), (1000, 0, 0), (1000, 500, 0), (0, 500, 0)),
        is_closed=True,
    )
    plate = Plate(name="bitten", outer=Contour(curves=(edge,)))
    report = check_layout(laid((square(), 450.0, 62.0), plate=plate))

    assert report.worst_margin is not None
    assert report.worst_margin.found_mm == pytest.approx(12.0, abs=CHECK_MM)
    assert kinds(check_layout(laid((square(), 450.0, 59.0), plate=plate))) == ["margin"]


def test_touching_is_legal_without_kerf() -> None:
    """The benchmarks of the field pack with no gap and no margin."""
    layout = laid((square(), 0.0, 0.0), (square(), 100.0, 0.0), (square(), 0.1, 100.0, 0.0), clearances=NONE)
    report = check_layout(layout)

    assert report.passed and report.worst_gap is not None
    assert report.worst_gap.found_mm == pytest.approx(0.0, abs=1e-9)


@given(st.floats(0.0, 360.0))
def test_turned_parts_may_touch_in_spite_of_rounding(turn_deg: float) -> None:
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    side_by_side = [(square(), 500.0 + 100.0 * k * c, 250.0 + 100.0 * k * s, turn_deg) for k in (0, 1)]
    report = check_layout(laid(*side_by_side, clearances=NONE))

    assert report.passed and report.worst_gap is not None
    assert report.worst_gap.found_mm == pytest.approx(0.0, abs=1e-6)


def test_edges_that_meet_within_rounding_need_nothing_in_common() -> None:
    """A corner on an edge, by rounding neither inside nor outside; the place of it was asked of an empty shape."""
    edge = [
        (175.65562060255903, 863.1789223498865),
        (200.53235275201408, 743.0060566723174),
        (295.8284862801281, 888.0556544993416),
    ]
    corner = [
        (186.17069738729063, 812.3833876932754),
        (128.5719377634516, 787.927735050791),
        (123.59659133356057, 811.9623081863047),
    ]
    a, b = (Part(id=n, name=n, outer=Contour.of_points(p)) for n, p in (("a", edge), ("b", corner)))
    plate = Plate(name="sheet", outer=Contour.of_points([(-50, -50), (900, -50), (900, 900), (-50, 900)]))
    report = check_layout(laid((a, 0.0, 0.0), (b, 0.0, 0.0), plate=plate, clearances=NONE))

    assert report.passed and report.worst_gap is not None
    assert report.worst_gap.found_mm == pytest.approx(0.0, abs=1e-9)
    assert report.worst_gap.place == pytest.approx(corner[0])


def test_worst_pair_is_found_however_far_apart() -> None:
    report = check_layout(laid((square(), 10.0, 10.0), (square(), 890.0, 390.0)))
    assert report.worst_gap is not None
    assert report.worst_gap.found_mm == pytest.approx(math.hypot(780.0, 280.0))


@given(contours(), contours(), st.floats(0.0, 360.0), st.floats(0.5, 60.0))
@settings(max_examples=25)
def test_distance_never_exceeds_that_of_fine_polygons(a: Contour, b: Contour, turn: float, apart: float) -> None:
    parts = [Part(id=i, name=i, outer=c) for i, c in (("a", a), ("b", b))]
    fine = [c.polygon(1e-4, "midway") for c in (a, b)]
    pose = Pose(turn_deg=turn)
    x = fine[0].bounds[2] - pose.geometry(fine[1]).bounds[0] + apart
    moved = Pose(turn_deg=turn, x_mm=x).geometry(fine[1])
    huge = Plate(name="huge", outer=Contour.of_points([(-9000, -9000), (9000, -9000), (9000, 9000), (-9000, 9000)]))

    worst = check_layout(laid((parts[0], 0, 0), (parts[1], x, 0, turn), plate=huge, clearances=NONE)).worst_gap

    true = fine[0].distance(moved)
    assert worst is not None
    assert true - CHECK_MM - 2e-4 <= worst.found_mm <= true + 2e-4


@st.composite
def grids(draw: st.DrawFn) -> tuple[Layout, int, int]:
    """A grid of discs a gap apart, and two neighbours in it."""
    columns, rows = draw(st.integers(2, 5)), draw(st.integers(2, 4))
    radius = draw(st.floats(5.0, 40.0))
    gap = draw(st.floats(3.0, 12.0))
    part, pitch = disc(radius), 2 * radius + gap
    placed = [
        (part, radius + 10.0 + i * pitch, radius + 10.0 + j * pitch, draw(st.floats(0.0, 360.0)))
        for j in range(rows)
        for i in range(columns)
    ]
    plate = Plate(name="grid", outer=Contour.of_rectangle(columns * pitch - gap + 20.0, rows * pitch - gap + 20.0))
    i, j = draw(st.integers(0, columns - 2)), draw(st.integers(0, rows - 1))
    clearances = Clearances(kerf_mm=1.0, gap_mm=gap, margin_mm=10.0)
    return laid(*placed, plate=plate, clearances=clearances), j * columns + i, j * columns + i + 1


@given(grids())
@settings(max_examples=25)
def test_grid_passes_and_one_part_at_half_its_gap_is_named(grid: tuple[Layout, int, int]) -> None:
    layout, first, second = grid
    assert check_layout(layout).passed
    half = layout.clearances.gap_mm / 2
    moved = list(layout.placements)
    moved[first] = replace(moved[first], pose=replace(moved[first].pose, x_mm=moved[first].pose.x_mm + half))

    report = check_layout(replace(layout, placements=tuple(moved)))

    (finding,) = [f for f in report.findings if f.kind == "gap"]
    assert [p.number for p in finding.pieces] == [first + 1, second + 1]
    assert finding.found_mm == pytest.approx(half, abs=CHECK_MM)


@pytest.mark.parametrize(
    ("turns", "grain_deg", "turn_deg", "flipped", "passes"),
    [
        (Turns(), None, 12.3, False, True),
        (Turns.fixed(), None, 0.0, False, True),
        (Turns.fixed(), None, 360.0, False, True),
        (Turns.fixed(), None, 0.001, False, False),
        (Turns.steps(90.0), None, -90.0, False, True),
        (Turns.steps(90.0), None, 45.0, False, False),
        (Turns(rule="grain"), 30.0, 210.0, False, True),
        (Turns(rule="grain"), 30.0, 30.0, True, True),
        (Turns(rule="grain"), 30.0, 0.0, False, False),
        (Turns(rule="grain"), None, 0.0, False, False),
    ],
)
def test_turn_rules(turns: Turns, grain_deg: float | None, turn_deg: float, flipped: bool, passes: bool) -> None:
    layout = Layout(
        plate=replace(PLATE, grain_deg=grain_deg),
        clearances=CLEAR,
        demands=(Demand(part=square(), turns=turns, may_flip=True),),
        placements=(
            Placement(
                number=1,
                part_id="square",
                pose=Pose(turn_deg=turn_deg, x_mm=400.0, y_mm=250.0, flipped=flipped),
            ),
        ),
    )
    assert kinds(check_layout(layout)) == ([] if passes else ["turn"])


def test_turned_over_only_where_allowed() -> None:
    layout = laid((square(), 200.0, 100.0))
    over = replace(layout.placements[0], pose=replace(layout.placements[0].pose, flipped=True))
    assert kinds(check_layout(replace(layout, placements=(over,)))) == ["flip"]


def test_quantities_must_add_up() -> None:
    layout = laid((square(), 10.0, 10.0), (square(), 115.0, 10.0))
    demand = layout.demands[0]

    def report(quantity: int | None, left: int) -> list[str]:
        left_over = (LeftOver(part_id="square", count=left, reason="no room"),) if left else ()
        demands = (replace(demand, quantity=quantity),)
        return [f.message for f in check_layout(replace(layout, demands=demands, left_over=left_over)).findings]

    assert report(2, 0) == [] and report(3, 1) == [] and report(None, 0) == []
    assert report(1, 0) == ["square: 2 placed, only 1 wanted"]
    assert report(4, 1) == ["square: 2 placed + 1 left over is not the 4 wanted"]


def test_numbers_poses_and_parts_must_make_sense() -> None:
    layout = laid((square(), 10.0, 10.0), (square(), 200.0, 10.0))
    first, second = layout.placements
    twice = replace(second, number=1)
    nowhere = replace(second, pose=replace(second.pose, x_mm=float("nan")))
    unknown = replace(second, part_id="other")

    assert kinds(check_layout(replace(layout, placements=(first, twice)))) == ["number"]
    assert kinds(check_layout(replace(layout, placements=(first, nowhere)))) == ["pose"]
    assert kinds(check_layout(replace(layout, placements=(first, unknown)))) == ["part", "quantity"]


def test_thickness_and_grade_may_not_contradict_but_may_be_unknown() -> None:
    part = replace(square(), thickness_mm=6.0, grade="S355 J2")
    for thickness, grade, expected in (
        (6.0, "s355j2", []),
        (None, None, []),
        (6.35, "S355J2", ["thickness"]),
        (6.0, "S235", ["grade"]),
    ):
        plate = replace(PLATE, thickness_mm=thickness, grade=grade)
        assert kinds(check_layout(laid((part, 100.0, 100.0), plate=plate))) == expected


def test_empty_layout_passes_and_report_turns_into_json() -> None:
    report = check_layout(laid())
    assert report.passed and report.worst_gap is None and report.worst_margin is None
    full = check_layout(laid((square(), 10.0, 10.0), (square(), 100.0, 10.0)))
    assert json.loads(json.dumps(asdict(full)))["findings"][0]["kind"] == "overlap"


def mixed_parts() -> Layout:
    """Every kind of curve, a part in a hole, two alike, plate hole and keep-out."""
    ellipse = EllipseArc(center=(0.0, 0.0), major=(40.0, 0.0), ratio=0.5, start_deg=0.0, sweep_deg=360.0)
    wave = Spline(
        degree=3,
        control=((0.0, 0.0), (20.0, 30.0), (40.0, -10.0), (60.0, 0.0)),
        knots=(0.0,) * 4 + (1.0,) * 4,
    )
    below = Polyline(vertices=((60.0, 0.0, 0.0), (60.0, -40.0, 0.4), (0.0, -40.0, 0.0), (0.0, 0.0, 0.0)))
    egg = Part(id="egg", name="egg", outer=Contour(curves=(ellipse,)))
    flag = Part(id="flag", name="flag", outer=Contour(curves=(wave, below)))
    plate = replace(
        PLATE,
        holes=(Contour(curves=(circle((900.0, 400.0), 30.0),)),),
        keep_outs=(KeepOut(contour=Contour.of_points([(700, 300), (760, 300), (730, 360)])),),
    )
    return laid(
        (disc(100.0, "ring", bore=60.0), 120.0, 150.0),
        (egg, 120.0, 150.0, 30.0),
        (square(), 230.0, 60.0),
        (square(), 335.0, 60.0),
        (flag, 520.0, 100.0, 190.0),
        (egg, 600.0, 200.0, 75.0),
        plate=plate,
    )


@pytest.mark.parametrize("version", ["R2000", "R12"])
@pytest.mark.parametrize("unit", ["mm", "inch"])
def test_written_drawing_passes_with_and_without_its_layout(tmp_path: Path, version: str, unit: str) -> None:
    layout, path = mixed_parts(), tmp_path / "a drawing.dxf"
    write_drawing(layout, path, Writing(version=version, unit=unit))  # type: ignore[arg-type]

    compared, alone = check_drawing(path, layout=layout), check_drawing(path, clearances=CLEAR)

    assert compared.message == "" and compared.passed
    assert alone.message == "" and alone.passed and alone.parts_checked == 6
    for report in (compared, alone):
        assert report.worst_gap is not None
        assert report.worst_gap.found_mm == pytest.approx(5.0, abs=CHECK_MM)
        assert [str(p) for p in report.worst_gap.pieces] == ["part 3 (square)", "part 4 (square)"]


def edited(path: Path, edit) -> None:
    """Change the written drawing as a user would, entity by entity."""
    document = ezdxf.readfile(path)
    edit(document.modelspace())
    document.saveas(path)


def cuts(space, layer: str, kind: str) -> list:
    return list(space.query(f'{kind}[layer=="{layer}"]'))


def test_part_moved_by_hand_in_the_drawing_is_caught_and_the_pair_named(tmp_path: Path) -> None:
    layout, path = mixed_parts(), tmp_path / "layout.dxf"
    write_drawing(layout, path)

    def move(space) -> None:
        for line in cuts(space, "PART_OUTSIDE", "LINE"):
            if 334.0 < line.dxf.start.x < 436.0 and line.dxf.start.y < 161.0:
                line.translate(-2.5, 0.0, 0.0)

    edited(path, move)

    for report in (check_drawing(path, layout=layout), check_drawing(path, clearances=CLEAR)):
        (gap,) = [f for f in report.findings if f.kind == "gap"]
        assert [str(p) for p in gap.pieces] == ["part 3 (square)", "part 4 (square)"]
        assert gap.found_mm == pytest.approx(2.5, abs=CHECK_MM)
    (moved,) = [f for f in check_drawing(path, layout=layout).findings if f.kind == "moved"]
    assert moved.found_mm == pytest.approx(2.5) and "part 4 (square) lies 2.5 mm from" in moved.message


def test_part_moved_far_keeps_its_name_by_its_shape(tmp_path: Path) -> None:
    layout, path = mixed_parts(), tmp_path / "layout.dxf"
    write_drawing(layout, path)
    edited(path, lambda space: [e.translate(0.0, 200.0, 0.0) for e in cuts(space, "PART_OUTSIDE", "LINE")[:4]])

    findings = check_drawing(path, layout=layout).findings

    assert [(f.kind, f.pieces[0].number, f.found_mm) for f in findings] == [("moved", 3, pytest.approx(200.0))]


def test_deleted_added_and_changed_contours_are_found(tmp_path: Path) -> None:
    layout, path = mixed_parts(), tmp_path / "layout.dxf"

    def found(edit) -> list[tuple[str, str]]:
        write_drawing(layout, path)
        edited(path, edit)
        report = check_drawing(path, layout=layout)
        return sorted((f.kind, f.message.split(" (")[0]) for f in report.findings)

    gone = found(lambda s: [s.delete_entity(e) for e in cuts(s, "PART_OUTSIDE", "ELLIPSE")[1:]])
    assert gone == [("missing", "part 6")]
    added = found(lambda s: s.add_circle((800.0, 100.0), 20.0, dxfattribs={"layer": "PART_OUTSIDE"}))
    assert [kind for kind, _ in added] == ["extra"]
    bored = found(lambda s: s.add_circle((250.0, 80.0), 5.0, dxfattribs={"layer": "PART_INSIDE"}))
    assert bored == [("changed", "part 3")]
    wider = found(lambda s: cuts(s, "PART_INSIDE", "CIRCLE")[0].dxf.set("radius", 60.001))
    assert wider == [("changed", "part 1")]
    plate = found(lambda s: cuts(s, "PLATE_EDGE", "CIRCLE")[0].translate(1.0, 0.0, 0.0))
    assert [kind for kind, _ in plate] == ["moved"]


def test_bare_drawing_needs_clearances_and_a_plate(tmp_path: Path) -> None:
    document = ezdxf.new()
    document.header["$INSUNITS"] = 4
    for x in (60.0, 160.0):
        document.modelspace().add_circle((x, 50.0), 40.0)
    path = tmp_path / "bare.dxf"
    document.saveas(path)

    with pytest.raises(InputError, match=r"bare\.dxf: a drawing does not say its clearances; give the layout, or gap"):
        check_drawing(path)
    with pytest.raises(InputError, match=r"bare\.dxf: no plate edge in this drawing; give the layout, or the plate"):
        check_drawing(path, clearances=CLEAR)
    wide = replace(CLEAR, gap_mm=20.5)
    report = check_drawing(path, clearances=wide, plate=replace(PLATE, outer=Contour.of_rectangle(400.0, 100.0)))
    assert kinds(report) == ["gap"]
    assert "the part without a number at (60.0, " in report.message
    assert report.findings[0].found_mm == pytest.approx(20.0, abs=CHECK_MM)


@pytest.mark.parametrize("apart", [21.99, 22.0, 22.01])
def test_a_part_twice_as_far_from_a_keep_out_as_is_looked_at(apart: float) -> None:
    """Looked at is what is needed and 1 mm more; where the two looks only just met, the check once broke down."""
    keep_out = Contour.of_points([(300.0, 100.0), (400.0, 100.0), (400.0, 200.0), (300.0, 200.0)])
    plate = replace(PLATE, keep_outs=(KeepOut(contour=keep_out),))

    report = check_layout(laid((square(), 200.0 - apart, 100.0), (square(), 12.0, 300.0), plate=plate))

    assert report.passed
    assert report.worst_margin is not None and report.worst_margin.found_mm == pytest.approx(12.0, abs=CHECK_MM)
