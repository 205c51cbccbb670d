"""What is found on parts made to have it, and not on those that just hold every limit."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point as Spot
from shapely.geometry import Polygon
from shapes import part, polygon_part, rectangle, round_contour, round_part
from strategies import contours, lengths, polygons, poses

from nesting.fit.finding import Cutting, FitFinding
from nesting.fit.looks import fit_findings, not_looked_at
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc, Line, Polyline
from nesting.geometry.pose import Pose
from nesting.part import Mark, Part, TextMark

PLASMA = Cutting(process="plasma", thickness_mm=6.0, kerf_mm=1.6, amps=45.0, material="mild steel")
FRAME = Contour.of_rectangle(300.0, 200.0)


def found(part: Part, cutting: Cutting, kind: str) -> list[FitFinding]:
    return [f for f in fit_findings(part, cutting) if f.kind == kind]


def box(x: float, y: float, width: float, height: float) -> Contour:
    return Contour.of_points([(x, y), (x + width, y), (x + width, y + height), (x, y + height)])


def obround(x: float, y: float, length: float, width: float) -> Contour:
    r = width / 2
    corners = ((x + r, y, 0.0), (x + length - r, y, 1.0), (x + length - r, y + width, 0.0), (x + r, y + width, 1.0))
    return Contour(curves=(Polyline(vertices=corners, is_closed=True),))


def posed(part: Part, pose: Pose) -> Part:
    return replace(
        part,
        outer=part.outer.posed(pose),
        holes=tuple(h.posed(pose) for h in part.holes),
        marks=tuple(replace(m, curve=m.curve.posed(pose)) for m in part.marks),
        texts=tuple(replace(t, at=pose.point(t.at)) for t in part.texts),
    )


# Holes


@pytest.mark.parametrize("thickness", [3.0, 6.0, 6.35, 9.525, 12.7])
def test_a_hole_at_the_limit_passes_and_one_under_it_does_not(thickness: float):
    """newayprecision.com, plasma cutting design table: 1.5 x thickness."""
    cutting = replace(PLASMA, thickness_mm=thickness)
    at_limit = part("p", FRAME, round_contour((150, 100), 1.5 * thickness))
    under = part("p", FRAME, round_contour((150, 100), 1.5 * thickness - 0.1))
    assert not found(at_limit, cutting, "small hole")
    (finding,) = found(under, cutting, "small hole")
    assert finding.place == pytest.approx((150, 100))
    assert finding.value_mm == pytest.approx(1.5 * thickness - 0.1, abs=0.006)
    assert finding.limit_mm == pytest.approx(1.5 * thickness)
    assert finding.severity == "warning" and "newayprecision.com" in finding.source


def test_a_hole_of_two_half_circles_is_a_hole():
    halves = tuple(Arc(center=(100, 100), radius_mm=3, start_deg=a, sweep_deg=180) for a in (0.0, 180.0))
    (finding,) = found(part("p", FRAME, Contour(curves=halves)), PLASMA, "small hole")
    assert finding.value_mm == 6.0


def test_equal_small_holes_are_one_finding_with_all_their_places():
    holes = [round_contour((40.0 * i, 100), 8) for i in range(1, 6)]
    (finding,) = found(part("p", FRAME, *holes), PLASMA, "small hole")
    assert sorted(finding.places) == [(40.0 * i, 100) for i in range(1, 6)]


def test_a_square_hole_is_as_small_as_the_circle_in_it():
    assert found(part("p", FRAME, box(100, 100, 8.9, 8.9)), PLASMA, "small hole")
    assert not found(part("p", FRAME, box(100, 100, 9.0, 9.0)), PLASMA, "small hole")


def test_the_shops_own_least_hole_goes_before_the_table():
    fine = replace(PLASMA, least_hole_thicknesses=1.0)
    (finding,) = found(part("p", FRAME, round_contour((150, 100), 5.9)), fine, "small hole")
    assert finding.limit_mm == 6.0 and finding.source.startswith("the shop's own value")
    assert not found(part("p", FRAME, round_contour((150, 100), 6.0)), fine, "small hole")


def test_holes_want_metal_between_them():
    """newayprecision.com, plasma cutting design table: 1.5 x thickness between holes; 9 mm in 6 mm plate."""
    near = part("p", FRAME, round_contour((100, 100), 10), round_contour((118.9, 100), 10))
    right = part("p", FRAME, round_contour((100, 100), 10), round_contour((119, 100), 10))
    assert not found(right, PLASMA, "holes close together")
    (finding,) = found(near, PLASMA, "holes close together")
    assert finding.value_mm == pytest.approx(8.9)
    assert finding.place == pytest.approx((109.45, 100))


def test_an_inside_cut_over_the_pierce_limit_wants_a_drilled_start():
    """45 A class: 12 mm or 1/2 in (operator manual 809240)."""
    ring = part("p", FRAME, round_contour((150, 100), 60))
    assert not found(ring, replace(PLASMA, thickness_mm=12.7), "over the pierce limit")
    (finding,) = found(ring, replace(PLASMA, thickness_mm=15.875), "over the pierce limit")
    assert (finding.value_mm, finding.limit_mm) == (15.875, 12.7)
    assert finding.place == pytest.approx((150, 100))
    assert not found(rectangle("p", 300, 200), replace(PLASMA, thickness_mm=15.875), "over the pierce limit")
    own = replace(PLASMA, thickness_mm=10.0, pierce_limit_mm=8.0)
    assert found(ring, own, "over the pierce limit")[0].source == "the shop's own value"


# Slots


def test_a_slot_holds_its_tab_with_plate_and_cut_tolerance():
    """sendcutsend.com, tabs and slots: width = thickness + its plus tolerance + 2 x cut tolerance.

    For 6 mm plate: 0.8 mm over (A6 annex A1.1) and twice 0.8 mm (ISO 9013 class 2, 3 to 10 mm, modulusmetal.com):
    8.4 mm.  Welders' reports of 1/32 in, 0.8 mm, a side agree (a weak source).
    """
    said = replace(part("p", FRAME, box(100, 100, 40, 8.3)), tab_thickness_mm=6.0)
    (finding,) = found(said, PLASMA, "slot too tight for its tab")
    assert finding.limit_mm == pytest.approx(6.0 + 0.8 + 2 * 0.8)
    assert finding.value_mm == pytest.approx(8.3)
    assert finding.place == pytest.approx((120, 104.15))
    assert "assumed" not in finding.message
    wide = replace(part("p", FRAME, box(100, 100, 40, 8.4)), tab_thickness_mm=6.0)
    assert not found(wide, PLASMA, "slot too tight for its tab")


def test_tolerances_that_are_given_go_before_the_tables():
    """The rule's own arithmetic at 10 ga, 0.1345 in, with 0.008 in over and 0.005 in cut tolerance: 0.1525 in."""
    inch = 25.4
    tab, over, cut = 0.1345 * inch, 0.008 * inch, 0.005 * inch
    cutting = replace(PLASMA, process="laser", thickness_mm=tab, kerf_mm=0.3, cut_tolerance_mm=cut)
    slotted = part("p", FRAME, box(100, 100, 40, 0.1525 * inch))
    said = replace(slotted, tab_thickness_mm=tab, tab_over_mm=over)
    assert not found(said, cutting, "slot too tight for its tab")
    tight = replace(said, holes=(box(100, 100, 40, 0.1515 * inch),))
    assert found(tight, cutting, "slot too tight for its tab")[0].limit_mm == pytest.approx(0.1525 * inch, abs=1e-3)


def test_without_a_word_a_tab_of_the_same_plate_is_assumed_only_where_the_slot_is_near_it_and_said():
    (finding,) = found(part("p", FRAME, box(100, 100, 40, 6.2)), PLASMA, "slot too tight for its tab")
    assert "assumed: its width is near the plate's thickness" in finding.message
    for width in (4.0, 20.0):
        assert not found(part("p", FRAME, box(100, 100, 40, width)), PLASMA, "slot too tight for its tab")
    bolt = part("p", FRAME, obround(100, 100, 40, 6.6))
    assert not found(bolt, PLASMA, "slot too tight for its tab")
    assert found(replace(bolt, tab_thickness_mm=6.0), PLASMA, "slot too tight for its tab")


def test_an_open_slot_is_a_slot_and_the_metal_between_two_is_none():
    comb = Contour.of_points(
        [(0, 0), (100, 0), (100, 60), (60, 60), (60, 20), (53.5, 20), (53.5, 60), (46.5, 60), (46.5, 20), (40, 20),
         (40, 60), (0, 60)]
    )  # fmt: skip
    (finding,) = found(part("p", comb), PLASMA, "slot too tight for its tab")
    assert finding.value_mm == pytest.approx(6.5)
    assert sorted((round(x, 6), round(y, 6)) for x, y in finding.places) == [(43.25, 40), (56.75, 40)]


def test_a_slot_drawn_in_short_lines_is_one_slot():
    xs = [100.0 + 5 * i for i in range(9)]
    contour = Contour.of_points([*((x, 100.0) for x in xs), *((x, 106.2) for x in reversed(xs))])
    (finding,) = found(part("p", FRAME, contour), PLASMA, "slot too tight for its tab")
    assert len(finding.places) == 1


def test_a_slot_narrower_than_the_plate_is_thick():
    """Common practice, no source: one thickness for plasma."""
    (finding,) = found(part("p", FRAME, box(100, 100, 40, 4.0)), PLASMA, "narrow slot")
    assert (finding.value_mm, finding.limit_mm) == (pytest.approx(4.0), 6.0)
    arched = part("p", FRAME, _arched(5.0))
    assert found(arched, PLASMA, "narrow slot")[0].value_mm == pytest.approx(5.0, abs=0.02)
    assert not found(arched, PLASMA, "small hole")


def _arched(width: float) -> Contour:
    """A slot along a quarter circle of radius 60."""
    inner, outer = 60.0 - width / 2, 60.0 + width / 2
    at = (100.0, 50.0)
    out = Arc(center=at, radius_mm=outer, start_deg=0.0, sweep_deg=90.0)
    back = Arc(center=at, radius_mm=inner, start_deg=90.0, sweep_deg=-90.0)
    return Contour(
        curves=(out, Line(start=out.end, end=back.start), back, Line(start=back.end, end=out.start)),
    )


def test_what_is_narrower_than_the_kerf_cannot_be_cut():
    (finding,) = found(part("p", FRAME, box(100, 100, 40, 1.5)), PLASMA, "narrower than the cut")
    assert (finding.value_mm, finding.limit_mm) == (1.5, 1.6)
    assert not found(part("p", FRAME, box(100, 100, 40, 1.6)), PLASMA, "narrower than the cut")
    assert not found(part("p", FRAME, box(100, 100, 40, 1.5)), PLASMA, "narrow slot")


# Webs and points


def test_a_web_between_two_contours_is_measured_where_it_is_narrowest():
    """newayprecision.com, plasma cutting design table: 2 mm."""
    thin = part("p", FRAME, round_contour((21.5, 100), 40))
    (finding,) = found(thin, PLASMA, "thin web")
    assert finding.value_mm == pytest.approx(1.5, abs=0.01)
    assert finding.place == pytest.approx((0.75, 100), abs=0.6)
    assert not found(part("p", FRAME, round_contour((22, 100), 40)), PLASMA, "thin web")


@pytest.mark.parametrize("web", [0.3, 1.0, 1.6, 1.9, 1.98])
def test_a_slightly_thin_waist_between_round_holes_is_found(web: float):
    """Where an opening by a disc would leave two corners and no waist."""
    holes = (round_contour((100, 100), 30), round_contour((130 + web, 100), 30))
    (finding,) = found(part("p", FRAME, *holes), PLASMA, "thin web")
    assert finding.value_mm == pytest.approx(web, abs=0.011)
    assert finding.place == pytest.approx((115 + web / 2, 100), abs=0.6)


def test_a_neck_and_a_tongue_within_one_contour_are_found_and_corners_are_not():
    neck = Polygon([(0, 0), (50, 0), (50, 24), (70, 24), (70, 0), (120, 0), (120, 50), (70, 50), (70, 25.2),
                    (50, 25.2), (50, 50), (0, 50)])  # fmt: skip
    (finding,) = found(polygon_part("p", neck), PLASMA, "thin web")
    assert finding.value_mm == pytest.approx(1.2)
    assert finding.place == pytest.approx((60, 24.6))
    tongue = Polygon([(0, 0), (60, 0), (60, 20), (80, 20), (80, 21.5), (60, 21.5), (60, 40), (0, 40)])
    assert found(polygon_part("p", tongue), PLASMA, "thin web")[0].value_mm == pytest.approx(1.5)
    gusset = Polygon([(0, 0), (120, 0), (0, 70)])
    assert not found(polygon_part("p", gusset), PLASMA, "thin web")
    nib = Polygon([(0, 0), (60, 0), (60, 20), (60.5, 20), (60.5, 21.5), (60, 21.5), (60, 40), (0, 40)])
    assert not found(polygon_part("p", nib), PLASMA, "thin web")


def test_a_thin_ring_is_thin_all_round_and_told_once():
    ring = Part(id="p", name="p", outer=round_contour((0, 0), 100), holes=(round_contour((0, 0), 97),))
    (finding,) = found(ring, PLASMA, "thin web")
    assert finding.value_mm == pytest.approx(1.5, abs=0.01)
    assert len(finding.places) == 1


def test_a_knife_point_is_told_as_one():
    wedge = Polygon([(0, 0), (200, 0), (0, 40)])
    (finding,) = found(polygon_part("p", wedge), PLASMA, "sharp point")
    assert finding.place == pytest.approx((200, 0))
    assert "11 degrees" in finding.message
    assert not found(polygon_part("p", wedge), PLASMA, "thin web")


# Corners, texts, bends, tipping


def test_inside_corners_are_told_and_outside_ones_are_not():
    """newayprecision.com asks 1 mm; half the kerf of 1.6 mm is less."""
    assert not found(rectangle("p", 100, 50), PLASMA, "sharp inside corner")
    angle = Polygon([(0, 0), (100, 0), (100, 40), (40, 40), (40, 100), (0, 100)])
    (finding,) = found(polygon_part("p", angle), PLASMA, "sharp inside corner")
    assert finding.places == ((40.0, 40.0),)
    assert (finding.value_mm, finding.limit_mm, finding.severity) == (0.0, 1.0, "note")
    assert "fills it with a radius of 0.8 mm or more; no matter, unless something has to seat there" in finding.message
    (finding,) = found(part("p", FRAME, box(100, 100, 50, 50)), PLASMA, "sharp inside corner")
    assert len(finding.places) == 4


@pytest.mark.parametrize(("radius", "told"), [(0.5, True), (1.0, False), (5.0, False)])
def test_an_inside_radius_counts_as_it_is_drawn(radius: float, told: bool):
    b, (x, y, w, h), r = math.tan(math.radians(90) / 4), (100.0, 100.0, 50.0, 30.0), radius
    corners = ((x + r, y, 0.0), (x + w - r, y, b), (x + w, y + r, 0.0), (x + w, y + h - r, b), (x + w - r, y + h, 0.0),
               (x + r, y + h, b), (x, y + h - r, 0.0), (x, y + r, b))  # fmt: skip
    hole = Contour(curves=(Polyline(vertices=corners, is_closed=True),))
    findings = found(part("p", FRAME, hole), PLASMA, "sharp inside corner")
    assert bool(findings) == told
    assert all(f.value_mm == pytest.approx(radius) for f in findings)


def test_a_fine_cut_leaves_nothing_in_a_corner_worth_telling():
    laser = replace(PLASMA, process="laser", kerf_mm=0.2)
    assert not found(part("p", FRAME, box(100, 100, 50, 50)), laser, "sharp inside corner")


def test_text_under_fifteen_millimetres_is_small_for_plasma():
    """newayprecision.com, plasma cutting design table."""
    marked = replace(
        rectangle("p", 300, 200), texts=tuple(TextMark(text="A1", at=(h * 5, 50), height_mm=h) for h in (8.0, 15.0))
    )
    (finding,) = found(marked, PLASMA, "small text")
    assert (finding.value_mm, finding.limit_mm, finding.places) == (8.0, 15.0, ((40.0, 50),))


@pytest.mark.parametrize(("radius", "severity", "limit"), [(8.0, "warning", 9.0), (9.0, "note", 13.5), (13.5, None, 0)])
def test_a_bend_radius_is_held_against_that_of_a36(radius: float, severity: str | None, limit: float):
    """ASTM A6 X4 group A: 1.5 T across, 2.25 T along the grain; 9 and 13.5 mm at 6 mm."""
    bent = replace(
        rectangle("p", 300, 200),
        marks=(Mark(kind="bend", curve=Line(start=(0, 80), end=(300, 80))),),
        bend_radius_mm=radius,
    )
    findings = found(bent, PLASMA, "tight bend")
    assert [(f.severity, f.limit_mm, f.place) for f in findings] == ([(severity, limit, (150, 80))] if severity else [])
    assert not found(replace(bent, bend_radius_mm=None), PLASMA, "tight bend")


@pytest.mark.parametrize(
    ("size", "severity"),
    [((60, 60), "warning"), ((400, 60), "warning"), ((200, 150), "note"), ((400, 150), None)],
)
def test_small_and_narrow_parts_may_tip(size: tuple[float, float], severity: str | None):
    """Fewer than three slats under a part: common practice, no source."""
    slats = replace(PLASMA, slat_pitch_mm=100.0)
    findings = found(rectangle("p", *size), slats, "may tip")
    assert [f.severity for f in findings] == ([severity] if severity else [])
    assert all("tabs" in f.message for f in findings)
    assert not found(rectangle("p", *size), PLASMA, "may tip")


# All looks


def test_a_plain_part_has_nothing_to_tell(plasma: Cutting):
    assert fit_findings(round_part("p", 100), plasma) == ()


def test_what_is_not_known_is_not_looked_at_and_said():
    unknown = Cutting(process="plasma", thickness_mm=None, kerf_mm=None)
    tiny = part("p", FRAME, round_contour((150, 100), 1))
    assert not found(tiny, unknown, "small hole")
    said = not_looked_at(unknown, [replace(tiny, bend_radius_mm=3.0)])
    assert [s.split(" is not known")[0] for s in said[:3]] == ["the thickness", "the kerf", "the slat pitch"]
    assert len(said) == 4


def _busy() -> Part:
    """A part with something for nearly every look."""
    outer = Contour.of_points([(0, 0), (300, 0), (300, 200), (106, 200), (106, 160), (100, 160), (100, 200), (0, 200)])
    holes = (
        *(round_contour((40 + 30 * i, 40), 7 + i) for i in range(4)),
        round_contour((21.2, 120), 40), box(200, 80, 40, 6.3), box(200, 100, 40, 1.2), obround(200, 120, 40, 5),
    )  # fmt: skip
    return Part(
        id="p", name="p", outer=outer, holes=holes, texts=(TextMark(text="A", at=(250, 30), height_mm=5),),
        marks=(Mark(kind="bend", curve=Line(start=(120, 150), end=(300, 150))),), bend_radius_mm=4.0,
    )  # fmt: skip


def test_a_busy_part_shows_every_kind():
    kinds = {f.kind for f in fit_findings(_busy(), replace(PLASMA, thickness_mm=6.0, slat_pitch_mm=150.0))}
    assert kinds == {
        "small hole", "slot too tight for its tab", "narrow slot", "narrower than the cut", "thin web",
        "sharp inside corner", "small text", "tight bend", "may tip",
    }  # fmt: skip


@settings(max_examples=25)
@given(poses())
def test_findings_do_not_depend_on_where_and_how_a_part_is_drawn(pose: Pose):
    cutting = replace(PLASMA, slat_pitch_mm=150.0)
    still, moved = fit_findings(_busy(), cutting), fit_findings(posed(_busy(), pose), cutting)
    assert [(f.kind, f.severity, len(f.places)) for f in still] == [(f.kind, f.severity, len(f.places)) for f in moved]
    for a, b in zip(still, moved, strict=True):
        assert (b.value_mm or 0.0) == pytest.approx(a.value_mm or 0.0, abs=0.011)
        assert b.limit_mm == a.limit_mm
        there = {tuple(round(v, 1) for v in pose.point(p)) for p in a.places}
        assert all(min(math.dist(p, q) for q in there) < 2.0 for p in b.places)


@given(polygons(), st.sampled_from(["plasma", "oxy-fuel", "laser", "waterjet"]), lengths(0.5, 30.0), lengths(0.1, 4.0))
def test_every_finding_is_under_its_limit_and_stands_on_the_part(shape: Polygon, process: str, t: float, kerf: float):
    cutting = Cutting(process=process, thickness_mm=t, kerf_mm=kerf, slat_pitch_mm=80.0)  # type: ignore[arg-type]
    drawn = polygon_part("p", shape)
    for finding in fit_findings(drawn, cutting):
        assert finding.source and finding.question.endswith("?") and finding.places
        if finding.value_mm is not None and finding.limit_mm is not None:
            assert finding.value_mm < finding.limit_mm or finding.kind == "over the pierce limit"
        assert all(drawn.fine_polygon.distance(Spot(p)) < max(t, kerf) * 3 + 30 for p in finding.places)


@settings(max_examples=25)
@given(lengths(0.5, 1.95), lengths(2.0, 6.0), lengths(-90.0, 90.0))
def test_a_web_is_found_below_the_limit_and_only_there(thin: float, stout: float, turn: float):
    for web, told in ((thin, True), (stout, False)):
        holes = (box(50, 50, 60, 40), box(110 + web, 50, 60, 40))
        findings = found(posed(part("p", FRAME, *holes), Pose(turn_deg=turn)), PLASMA, "thin web")
        assert [f.value_mm for f in findings] == ([pytest.approx(web, abs=0.006)] if told else [])


@settings(max_examples=40)
@given(contours(), st.lists(contours(), max_size=3))
def test_no_shape_is_too_odd_to_be_looked_at(outer: Contour, holes: list[Contour]):
    """Holes may lie anywhere, even where no reader would put them."""
    odd = Part(id="p", name="p", outer=outer, holes=tuple(holes))
    if not odd.fine_polygon.is_empty:
        for finding in fit_findings(odd, replace(PLASMA, slat_pitch_mm=80.0)):
            assert all(math.isfinite(v) for p in finding.places for v in p)
