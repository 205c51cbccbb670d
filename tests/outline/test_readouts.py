"""Torch readouts: every spelling, what is refused, arcs, closing check, touches with a round tip, circles."""

import math

import numpy as np
import pytest

from nesting.errors import InputError
from nesting.geometry.curves import Arc
from nesting.outline.pasted import Pasted
from nesting.outline.readouts import from_readouts
from nesting.outline.spelled import read_position

SPELLINGS = [
    "X123.4 Y56.7",
    "X123.4Y56.7",
    "x: 123.4 y: 56.7",
    "X=123.4, Y=56.7",
    "X = 123.4 mm; Y = 56.7 mm; Z = 0.0",
    "X+0123.400 Y+0056.700 Z-001.0",
    "Y56.7 X123.4",
    "x123,4 y56,7",
    "X-axis: 123.4  Y-axis: 56.7",
    "X 4 109/127 in Y 2 295/1270 in",
    "G0 X123.4 Y56.7",
    "N10 G01 X123.4 Y56.7 F1200",
    "P1 X123.4 Y56.7",
    "Point 4: X 123.4 | Y 56.7",
    "123.4, 56.7",
    "123.4 56.7",
    "123.4;56.7",
    "123,4;56,7",
    "123,4 56,7",
    "123.4\t56.7",
    "123.4 / 56.7",
    "(123.4, 56.7)",
    "[123.4 56.7]",
    "1: 123.4, 56.7",
    "2) 123.4 56.7",
]


def row(text: str):
    return next(Pasted(name="list.txt", text=text).rows())


def read(text: str, **options: object):
    return from_readouts(Pasted(name="list.txt", text=text), **options)  # type: ignore[arg-type]


@pytest.mark.parametrize("text", SPELLINGS)
def test_spellings(text: str):
    found = read_position(row(text), "mm")
    assert found is not None
    assert found.at == pytest.approx((123.4, 56.7), abs=1e-6)
    assert not found.on_arc


@pytest.mark.parametrize("text", ["X123.4 Y56.7 arc", "123.4, 56.7, arc", "arc X123.4 Y56.7"])
def test_points_on_arcs(text: str):
    found = read_position(row(text), "mm")
    assert found is not None and found.on_arc
    assert found.at == pytest.approx((123.4, 56.7))


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("X1200. Y0.", (1200.0, 0.0)),
        ("X1200.Y0.", (1200.0, 0.0)),
        ("x: 1200. mm y: 0. mm", (1200.0, 0.0)),
        ("N10 G01 X1200. Y-3. F1200.", (1200.0, -3.0)),
        ("X.5 Y-.25", (0.5, -0.25)),
        ("1200., 0.", (1200.0, 0.0)),
        ("1200. 0.", (1200.0, 0.0)),
        ("1. 1200 0", (1200.0, 0.0)),
        ("X0,500 Y0,250", (0.5, 0.25)),
    ],
)
def test_numbers_that_end_or_begin_with_a_point(text: str, at: tuple[float, float]):
    """Controllers write so; `X1200. Y0.` was once no length."""
    found = read_position(row(text), "mm")
    assert found is not None and found.at == pytest.approx(at)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("X1,234 Y5,678", "may be a decimal comma or thousands; say --decimal comma"),
        ("X1,234.5 Y3", "beside x and y"),
        ("X1,234. Y3", "beside x and y"),
        ("X1200.. Y3", "every position needs one x and one y|beside x and y"),
        ("1 2 3", r"three numbers \(1, 2, 3\)"),
        ("1200. 0. 5.", r"three numbers \(1200., 0., 5.\)"),
        ("1,200;0", "'1,200' may be a decimal comma or thousands; say --decimal comma"),
        ("1,200 / 0", "'1,200' may be a decimal comma or thousands; say --decimal comma"),
        ("X5", "X; every position needs one x and one y"),
        ("X5 Y6 X7", "every position needs one x and one y"),
        ("G91 X1 Y2", "relative positions"),
        ("G2 X1 Y2 I3 J4", "an arc move"),
        ("hello 5", "'hello' is not a length"),
    ],
)
def test_doubtful_positions_are_refused(text: str, told: str):
    with pytest.raises(InputError, match=rf"list.txt, line 1: .*{told}"):
        read_position(row(text), "mm")


def test_one_number_tells_for_a_whole_text_that_commas_are_decimals():
    """`1,200` alone may be thousands: a plate 1.2 mm wide was once read from it without a word."""
    corners = "0;0\n{wide};0\n{wide};800\n0;800"
    assert read(corners.format(wide="1,200") + ",5").outer.area_mm2 == pytest.approx(1.2 * 800.25)
    assert read(corners.format(wide="1,200"), decimal="comma").outer.area_mm2 == pytest.approx(1.2 * 800)
    assert read(corners.format(wide="1200,000")).outer.area_mm2 == pytest.approx(1200 * 800)
    for text in (corners, f"x;y\n{corners}", corners.replace(";", "\t")):
        with pytest.raises(InputError, match=r"'1,200' may be a decimal comma or thousands; say --decimal comma"):
            read(text.format(wide="1,200"))


def test_headings_program_lines_and_units():
    found = read("G20 G90\nX0 Y0\nX10 Y0\nX10 Y5\nX0 Y5")
    assert found.outer.area_mm2 == pytest.approx(50 * 25.4**2)
    table = read("no;y;x\n1;0;0\n2;0;1000\n3;500;1000\n4;500;0")
    assert table.outer.area_mm2 == pytest.approx(500_000.0)


def test_the_first_point_taken_again_is_the_closing_check():
    corners = "X0 Y0\nX1000 Y0\nX1000 Y500\nX0 Y500\n"
    open_ended, closed = read(corners), read(f"{corners}X0.3 Y-0.4")
    assert "a plate that moved goes unnoticed" in open_ended.warnings[0]
    assert closed.figures["closing_mm"] == pytest.approx(0.5)
    assert closed.uncertainty_mm == pytest.approx(open_ended.uncertainty_mm + 0.5)
    assert closed.outer.area_mm2 == open_ended.outer.area_mm2
    with pytest.raises(InputError, match=r"line 5: the first point \(line 1\) taken again is 2.00 mm off, more than 1"):
        read(f"{corners}X2 Y0")


def test_arcs_by_points_stay_arcs():
    half = read("0,0\n1000,0\n1000,500\n853.553,853.553,arc\n500,1000\n0,1000")
    (arc,) = (p for p in half.outer.pieces if isinstance(p, Arc))
    assert arc.radius_mm == pytest.approx(500.0, abs=0.01)
    assert arc.center == pytest.approx((500.0, 500.0), abs=0.01)


def test_touches_with_a_round_tip_give_the_edges_themselves():
    """A tip of 6 mm radius runs round a turned rectangle; its centre stays 6 mm outside every edge."""
    turn = math.radians(12.0)
    c, s = math.cos(turn), math.sin(turn)
    true = np.array([[0, 0], [900, 0], [900, 400], [0, 400]]) @ np.array([[c, s], [-s, c]])
    lines = []
    for a, b in zip(true, np.roll(true, -1, axis=0), strict=True):
        out = np.array([(b - a)[1], -(b - a)[0]]) / math.dist(a, b)
        lines.append("edge")
        lines += [f"X{p[0]:.4f} Y{p[1]:.4f}" for p in (a + t * (b - a) + 6.0 * out for t in (0.1, 0.5, 0.9))]
    found = read("\n".join(lines), touch_radius_mm=6.0)
    got = np.array([p.start for p in found.outer.pieces])
    assert max(min(math.dist(t, g) for g in got) for t in true) < 1e-3
    with pytest.raises(InputError, match="a round tip touches edges, not corners"):
        read("0,0\n1000,0\n1000,500\n0,500", touch_radius_mm=6.0)
    with pytest.raises(InputError, match="or 'outline circle' where it is round"):
        read("0,0\n1000,0\n1000,500\n0,500", touch_radius_mm=6.0)


def test_many_points_on_an_old_cut_out():
    angles = np.radians(np.arange(0.0, 360.0, 30.0))
    points = "\n".join(f"{500 + 74 * math.cos(t):.4f}, {250 + 74 * math.sin(t):.4f}" for t in angles)
    outline = "0,0\n1000,0\n1000,500\n0,500\n"
    (hole,) = read(f"{outline}hole circle\n{points}").holes
    (arc,) = hole.pieces
    assert isinstance(arc, Arc) and arc.closed
    assert arc.radius_mm == pytest.approx(74.0, abs=1e-3)
    edges = "edge\n100,-6\n900,-6\nedge\n1006,100\n1006,400\nedge\n900,506\n100,506\nedge\n-6,400\n-6,100\n"
    touched = read(f"{edges}hole circle\n{points}", touch_radius_mm=6.0)
    assert touched.holes[0].pieces[0].radius_mm == pytest.approx(80.0, abs=1e-3)  # type: ignore[union-attr]
    assert touched.outer.area_mm2 == pytest.approx(500_000.0)


@pytest.mark.parametrize(
    ("kind", "true_mm"), [("outline", 494.0), ("hole", 506.0), ("keep-out", 494.0), ("clamp", 494.0)]
)
def test_a_tip_runs_inside_of_holes_and_outside_of_all_else(kind: str, true_mm: float):
    """The radius of everything round was once grown, that of a round plate as well."""
    touches = "500,0\n0,500\n-500,0\n0,-500\n"
    plate = "edge\n-900,-906\n900,-906\nedge\n906,-900\n906,900\nedge\n900,906\n-900,906\nedge\n-906,900\n-906,-900\n"
    found = read(
        f"{kind} circle\n{touches}" if kind == "outline" else f"{plate}{kind} circle\n{touches}", touch_radius_mm=6.0
    )
    contours = {"outline": [found.outer], "hole": found.holes}.get(kind, [k.contour for k in found.keep_outs])
    assert [c.area_mm2 for c in contours] == [pytest.approx(math.pi * true_mm**2)]


def test_crossing_outlines_and_missing_sections_are_told():
    with pytest.raises(InputError, match=r"line 1 \(outline\): the outline crosses itself"):
        read("0,0\n1000,500\n1000,0\n0,500")
    with pytest.raises(InputError, match="no outline"):
        read("hole\n0,0\n1,0\n1,1")
    with pytest.raises(InputError, match=r"line 5: nothing follows hole"):
        read("0,0\n1000,0\n1000,500\n0,500\nhole")
