"""SVG drawings: shapes, paths, transforms, uses, scale, and what is left out with a word.

Sources: SVG 2 (W3C candidate recommendation 2018), CSS Values and Units (1 in = 96 px = 25.4 mm).
"""

import math
from collections import Counter
from pathlib import Path

import pytest

from nesting.drawing.findings import NoPartsError
from nesting.drawing.marks import LayerRule
from nesting.drawing.plate import read_plate
from nesting.drawing.reader import Drawing, read_drawing
from nesting.errors import DrawingError, UnitsUnknownError
from nesting.part import Part

TRUE_SIZE = 'width="200mm" height="100mm" viewBox="0 0 200 100"'
OUTLINE = '<rect width="100" height="80" fill="none" stroke="black"/>'


def svg(path: Path, body: str, head: str = TRUE_SIZE) -> Path:
    """Write an SVG drawing."""
    text = f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" {head}>{body}</svg>'
    path.write_text(f'<?xml version="1.0" encoding="utf-8"?>\n{text}', encoding="utf-8")
    return path


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


def test_shapes_keep_their_kinds(tmp_path: Path) -> None:
    body = (
        '<rect x="0" y="0" width="200" height="100"/>'
        '<g fill="none" stroke="red"><circle cx="20" cy="20" r="5"/><ellipse cx="50" cy="20" rx="10" ry="5"/>'
        '<rect x="80" y="10" width="30" height="20" rx="4"/><polygon points="130,10 150,10 140,30"/>'
        '<path d="M20 60 h20 v20 h-20 z"/><path d="M60 70 a10 10 0 1 1 20 0 a10 10 0 1 1 -20 0"/>'
        '<path d="M110 60 Q120 50 130 60 T150 60 V90 H110 Z"/></g>'
    )

    part = only(read_drawing(svg(tmp_path / "all shapes.svg", body)))

    assert part.size_mm == pytest.approx((200.0, 100.0), abs=1e-9)
    # The circle drawn as two arcs is one circle, the rounded rectangle four lines and four arcs.
    assert kinds(part) == {"polyline": 3, "arc": 2 + 4, "ellipse": 1, "line": 4 + 3, "spline": 2}
    holes = [25 * math.pi, 50 * math.pi, 600 - (4 - math.pi) * 16, 200, 400, 100 * math.pi]
    # A quadratic arch of base b and control height h covers 2/3 of the half triangle: b h / 3; T makes its mirror.
    assert part.area_mm2 == pytest.approx(20000 - sum(holes) - 40 * 30, rel=1e-9)


def test_y_is_turned_up(tmp_path: Path) -> None:
    hole = only(read_drawing(svg(tmp_path / "y.svg", OUTLINE + '<circle cx="20" cy="10" r="5"/>'))).holes[0]

    assert hole.curves[0].center == pytest.approx((20.0, 90.0))


def test_elliptical_arc_of_the_standard(tmp_path: Path) -> None:
    """SVG 2, 9.5.1: a half ellipse with radii 25 and 50 turned by -30 degrees, flags run together as allowed."""
    part = only(read_drawing(svg(tmp_path / "a.svg", '<path d="M50 50a25 50 -30 0150-25z"/>')))

    chord = math.hypot(50, 25)
    assert kinds(part) == {"ellipse": 1, "line": 1}
    assert sorted(round(c.length_mm, 6) for c in part.outer.curves)[0] == pytest.approx(chord)


def test_cubic_bezier_is_exact(tmp_path: Path) -> None:
    """From (0, 0) to (60, 0) with controls (0, 40) and (60, 40); its area by Green's theorem."""
    part = only(read_drawing(svg(tmp_path / "b.svg", '<path d="M0 0C0 40 60 40 60 0Z"/>')))

    # x = 180 t^2 - 120 t^3, y = 120 t (1 - t): the integral of y dx over 0..1 is 1440.
    assert part.area_mm2 == pytest.approx(1440.0, rel=1e-9)
    assert part.size_mm == pytest.approx((60.0, 30.0), abs=2e-3)


@pytest.mark.parametrize(
    ("transform", "area", "kind"),
    [
        ("translate(20,30) rotate(30)", 25 * math.pi, "arc"),
        ("rotate(45, 50, 50)", 25 * math.pi, "arc"),
        ("scale(2)", 100 * math.pi, "arc"),
        ("scale(-1,1) translate(-90)", 25 * math.pi, "arc"),
        ("matrix(1 0 0.5 1 0 0)", 25 * math.pi, "ellipse"),
        ("skewX(30)", 25 * math.pi, "ellipse"),
        ("scale(2,1)", 50 * math.pi, "ellipse"),
    ],
)
def test_transforms(tmp_path: Path, transform: str, area: float, kind: str) -> None:
    body = f'<rect x="-200" y="-200" width="600" height="600"/><g transform="{transform}"><circle r="5"/></g>'

    part = only(read_drawing(svg(tmp_path / "t.svg", body)))

    assert part.holes[0].area_mm2 == pytest.approx(area, rel=1e-9)
    assert part.holes[0].curves[0].type == kind


def test_uses_symbols_and_nested_viewports(tmp_path: Path) -> None:
    body = (
        '<defs><circle id="h" r="2"/><g id="pair"><use href="#h" x="-10"/><use xlink:href="#h" x="10"/></g></defs>'
        '<symbol id="s" viewBox="0 0 10 10"><rect width="10" height="10"/></symbol>'
        '<rect width="200" height="100"/><use href="#pair" x="50" y="50"/>'
        '<use href="#pair" transform="translate(50,80)"/>'
        '<use href="#s" x="100" y="10" width="20" height="20"/>'
        '<svg x="150" y="10" width="40" height="20" viewBox="0 0 4 2"><circle cx="2" cy="1" r="1"/></svg>'
    )

    part = only(read_drawing(svg(tmp_path / "u.svg", body)))

    assert len(part.holes) == 6
    assert sorted(round(h.area_mm2, 6) for h in part.holes)[-2:] == pytest.approx([100 * math.pi, 400])


def test_use_of_itself_and_of_nothing_is_told(tmp_path: Path) -> None:
    body = OUTLINE + '<g id="a"><circle cx="9" cy="9" r="3"/><use href="#a" x="20"/></g><use href="#gone"/>'

    read = read_drawing(svg(tmp_path / "r.svg", body))

    assert "uses itself" in found(read, "block in itself")[0]
    assert "'#gone'" in found(read, "missing block")[0]


@pytest.mark.parametrize(
    ("head", "mm"),
    [
        ('width="210mm" height="105mm" viewBox="0 0 420 210"', 0.5),
        ('width="10cm" height="10cm" viewBox="0 0 100 100"', 1.0),
        ('width="4in" height="2in" viewBox="0 0 400 200"', 0.254),
        ('width="288pt" height="144pt" viewBox="0 0 288 144"', 25.4 / 72),
        ('width="100mm" viewBox="0 0 50 50"', 2.0),
        ('width="100mm" height="300mm" viewBox="0 0 100 100"', 1.0),
    ],
)
def test_physical_size_and_view_box_give_the_scale(tmp_path: Path, head: str, mm: float) -> None:
    read = read_drawing(svg(tmp_path / "s.svg", OUTLINE, head))

    assert only(read).size_mm == pytest.approx((100 * mm, 80 * mm), rel=1e-12)
    assert "by its size and view box" in read.unit_reason


@pytest.mark.parametrize(
    "head", ["", 'width="400" height="300"', 'width="400px" viewBox="0 0 400 300"', 'width="100%" viewBox="0 0 9 9"']
)
def test_pixels_are_asked_about(tmp_path: Path, head: str) -> None:
    path = svg(tmp_path / "px.svg", OUTLINE, head)

    with pytest.raises(
        UnitsUnknownError, match=r"px\.svg: .*only pixels.*as px96 26\.46 x 21\.17 mm.*--units"
    ) as caught:
        read_drawing(path)

    assert caught.value.sizes["inch"] == pytest.approx((2540.0, 2032.0))
    assert only(read_drawing(path, units="px72")).size_mm == pytest.approx((100 * 25.4 / 72, 80 * 25.4 / 72))
    assert only(read_drawing(path, units="mm")).size_mm == pytest.approx((100.0, 80.0))


def test_a_unit_against_the_files_own_is_taken_with_a_warning(tmp_path: Path) -> None:
    read = read_drawing(svg(tmp_path / "w.svg", OUTLINE, 'width="50mm" viewBox="0 0 100 100"'), units="mm")

    assert only(read).size_mm == pytest.approx((100.0, 80.0))
    assert "its own size says 0.5 mm" in found(read, "unit")[0]


def test_what_is_not_drawn_is_left_out(tmp_path: Path) -> None:
    hole = '<circle cx="{}" cy="20" r="4" {}/>'
    body = (
        "<style>.no, #gone {display:none} circle.thin{stroke:blue;fill:none}</style>"
        + OUTLINE
        + hole.format(10, 'style="display:none"')
        + hole.format(20, 'class="no"')
        + hole.format(30, 'id="gone"')
        + hole.format(40, 'visibility="hidden"')
        + hole.format(50, 'fill="none"')
        + hole.format(60, 'opacity="0"')
        + hole.format(70, 'fill="none" class="thin"')
        + '<defs><rect width="5" height="5"/></defs><clipPath id="c"><rect width="9" height="9"/></clipPath>'
        + '<text x="10" y="60">Label</text><image href="x.png"/>'
    )

    read = read_drawing(svg(tmp_path / "n.svg", body))

    assert len(only(read).holes) == 1
    told = found(read, "left out")
    assert "5 circle left out: invisible" in told
    assert "1 circle left out: drawn with neither stroke nor fill" in told
    assert any("text left out: not an outline; convert it to paths" in message for message in told)
    assert any("1 image left out" in message for message in told)


def test_filled_paths_close_and_stroked_ones_do_not(tmp_path: Path) -> None:
    filled = '<path d="M10 10h20v20"/>'
    stroked = '<path d="M50 10h20v20" fill="none" stroke="black"/>'

    read = read_drawing(svg(tmp_path / "f.svg", OUTLINE + filled + stroked))

    assert [h.area_mm2 for h in only(read).holes] == pytest.approx([200.0])
    assert len(only(read).marks) == 1
    assert found(read, "open line inside")


def test_layers_and_colours_tell_marks(tmp_path: Path) -> None:
    body = (
        OUTLINE
        + '<g id="layer1" xmlns:art="urn:art" art:label="Engraving"><path d="M5 5h10" stroke="red" fill="none"/></g>'
        + '<g id="fold_lines"><line x1="5" y1="40" x2="90" y2="40" stroke="red"/></g>'
        + '<circle cx="50" cy="20" r="3" stroke="#00F" fill="none"/>'
        + '<circle cx="70" cy="20" r="3" stroke="red" fill="none"/>'
    )

    rules = [LayerRule(colour="#0000ff", role="ignore")]
    part = only(read_drawing(svg(tmp_path / "l.svg", body), layer_rules=rules))

    assert Counter(mark.kind for mark in part.marks) == {"etch": 1, "bend": 1}
    assert len(part.holes) == 1


def test_classes_and_ids_tell_marks_as_layers_do(tmp_path: Path) -> None:
    body = (
        OUTLINE
        + '<g class="st0"><path class="bend-line" d="M5 60h90" stroke="red"/></g>'
        + '<g id="g12"><path id="engrave-3" d="M5 10h10" stroke="red"/><circle id="text7" cx="50" cy="20" r="3"/></g>'
        + '<g class="Markings"><circle cx="70" cy="20" r="3"/></g>'
        + '<rect id="border" x="20" y="30" width="10" height="10"/>'
    )

    part = only(read_drawing(svg(tmp_path / "c.svg", body)))

    assert Counter(mark.kind for mark in part.marks) == {"bend": 1, "etch": 1, "other": 1}
    assert len(part.holes) == 2


def test_classes_can_be_chosen_as_layers(tmp_path: Path) -> None:
    body = '<rect class="cut" width="90" height="60"/><circle class="guide" cx="30" cy="30" r="5"/>'

    assert only(read_drawing(svg(tmp_path / "k.svg", body), layers=["cut"])).holes == ()


@pytest.mark.parametrize(
    "data",
    [
        "M43.333 50.123A6.667 6.667 0 0 1 30 50.123A6.667 6.667 0 0 1 43.333 50.123Z",
        "M17.567 20.001a7 7 0 1 0 11.135 8.484A7 7 0 1 0 17.567 20.001z",
    ],
)
def test_a_circle_drawn_as_two_rounded_halves_is_one(tmp_path: Path, data: str) -> None:
    """Rounded to three decimals; the centre of a half turn is off by the root of that, here up to 0.1 mm."""
    (hole,) = only(read_drawing(svg(tmp_path / "h.svg", OUTLINE + f'<path d="{data}"/>'))).holes

    (curve,) = hole.curves
    assert curve.type == "arc"
    assert curve.closed


def test_a_slot_with_half_turns_keeps_its_length(tmp_path: Path) -> None:
    slot = "M20.00001 20A3.00001 3.00001 0 0 0 20 26H40A3.00001 3.00001 0 0 0 40 20Z"

    (hole,) = only(read_drawing(svg(tmp_path / "s.svg", OUTLINE + f'<path d="{slot}"/>'))).holes

    assert hole.area_mm2 == pytest.approx(20 * 6 + 9 * math.pi, rel=1e-5)


def test_wide_strokes_and_clipping_are_told(tmp_path: Path) -> None:
    body = '<g clip-path="url(#c)"><rect width="90" height="60" fill="none" stroke="black" stroke-width="5"/></g>'

    told = found(read_drawing(svg(tmp_path / "c.svg", body)), "decided")

    assert any("strokes up to 5.0 mm wide" in message for message in told)
    assert any("clipped" in message for message in told)


def test_unusable_values_leave_out_the_shape_only(tmp_path: Path) -> None:
    wrong = '<path d="M0 0 L nan 5 z"/><rect x="1" width="abc" height="3"/><polygon points="1,2 3"/><circle r="1e400"/>'

    read = read_drawing(svg(tmp_path / "v.svg", OUTLINE + wrong))

    assert only(read).holes == ()
    assert len(found(read, "unreadable entity")) == 4
    assert "path data holds 'n' at character 8" in found(read, "unreadable entity")[0]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "empty"),
        (b"\x1f\x8b\x08\x00", "compressed"),
        (b"<svg><g></svg>", "no sound SVG"),
        (b"<html></html>", "this is 'html'"),
        (b'<!DOCTYPE x [<!ENTITY a "aa">]><svg>&b;</svg>', "no sound SVG"),
    ],
)
def test_what_is_no_svg_is_refused(tmp_path: Path, content: bytes, message: str) -> None:
    path = tmp_path / "no drawing.svg"
    path.write_bytes(content)

    with pytest.raises(DrawingError, match=rf"no drawing\.svg: .*{message}"):
        read_drawing(path)


def test_an_empty_drawing_has_no_parts(tmp_path: Path) -> None:
    with pytest.raises(NoPartsError, match="nothing to cut"):
        read_drawing(svg(tmp_path / "e.svg", ""))


def test_too_many_uses_are_refused(tmp_path: Path) -> None:
    groups = ['<g id="g0"><circle r="1"/></g>']
    groups += [f'<g id="g{k}"><use href="#g{k - 1}"/><use href="#g{k - 1}" x="3"/></g>' for k in range(1, 14)]

    with pytest.raises(DrawingError, match="over the limit of 2,000"):
        read_drawing(svg(tmp_path / "m.svg", "".join(groups)), most_entities=2000)


def test_a_plate_from_svg(tmp_path: Path) -> None:
    body = OUTLINE + '<g id="clamp"><rect x="5" y="5" width="10" height="10"/></g><circle cx="60" cy="40" r="9"/>'

    plate, _ = read_plate(svg(tmp_path / "plate.svg", body))

    assert (len(plate.holes), plate.keep_outs[0].kind) == (1, "no part, lead or rapid")
    assert plate.outer.area_mm2 == pytest.approx(8000.0)
