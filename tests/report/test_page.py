"""The report page and the pictures: self-contained, escaped, numbered, the same every time."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
import shapely
from outline_layouts import LAYOUT, PLATE
from PIL import Image

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Pose
from nesting.layout import FreeRest, Layout, Placement, Pulled
from nesting.part import Part
from nesting.plate import Plate
from nesting.remnant import balance
from nesting.report.colours import PALETTE, pale
from nesting.report.facts import CheckFacts
from nesting.report.figures import figures
from nesting.report.html import page
from nesting.report.pictures import draw_layout
from nesting.report.scene import Scene, scale_bar_mm, scene
from nesting.report.svg import inline_svg
from nesting.report.tables import parts_table
from nesting.report.wording import measures
from nesting.shop import Shop
from nesting.units import Unit

SHOP = Shop(amps=65.0)


ROUND = replace(LAYOUT, plate=replace(PLATE, keep_outs=()), id="round")


@pytest.fixture
def drawn(sample: Layout) -> Scene:
    return scene(sample, balance(sample, SHOP))


@pytest.mark.parametrize(("unit", "circle"), [("mm", "120.5 mm"), ("inch", "4.744 in")])
def test_bound_and_free_rest_are_told(sample: Layout, drawn: Scene, unit: Unit, circle: str) -> None:
    """Rounded up the one, down the other: what is said to fit must fit."""
    before = FreeRest(area_mm2=1e5, circle_diameter_mm=90.0, rectangle_mm=(200.0, 80.0))
    after = FreeRest(area_mm2=1e5, circle_diameter_mm=120.59, rectangle_mm=(254.0, 101.6))
    assert sample.search is not None
    told = replace(sample.search, bound_utilisation=0.81231, pulled=Pulled(to="top-left", before=before, after=after))

    report = figures(replace(sample, search=told), SHOP)

    assert report.figure("most_utilisation").value == 81.24
    assert report.as_json()["pulled"]["after"]["rectangle_mm"] == (254.0, 101.6)
    assert "pulled" not in report.search
    html = page(report, drawn, title="Order 1182", unit=unit)
    assert re.search(r"[.>]\s+At most 81\.24 % of the plate could be used by these parts;", html)
    assert "Free rest, pulled to: top-left" in html
    assert circle in html and measures(unit)["length"].full(254.0) in html


def test_a_layout_of_no_search_tells_neither(sample: Layout, drawn: Scene) -> None:
    report = figures(replace(sample, search=None), SHOP)

    assert not any(f.key == "most_utilisation" for f in report.figures)
    html = page(report, drawn, title="Order 1182")
    assert "At most" not in html and "Free rest" not in html


class _Tags(HTMLParser):
    """Collects tags, and refuses ends that close nothing."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.links += [v or "" for k, v in attrs if k in ("src", "href", "xlink:href", "action", "data")]
        if tag not in ("meta", "link", "br", "hr", "img", "input", "path", "line", "circle"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in ("path", "line", "circle"):
            assert self.open.pop() == tag


@pytest.mark.parametrize("unit", ["mm", "inch"])
def test_page_is_whole_self_contained_and_agrees_with_itself(sample: Layout, drawn: Scene, unit: Unit) -> None:
    report = figures(sample, SHOP, check=CheckFacts(passed=True, summary="12 parts"), travel_mm=8157.4)

    html = page(report, drawn, title="Order 1182", unit=unit, paper="Letter")

    tags = _Tags()
    tags.feed(html)
    assert tags.open == []
    assert set(tags.links) <= {"data:,"}
    assert not re.search(r"url\((?!#)", html) and "@import" not in html
    without_namespace = html.replace("http://www.w3.org/2000/svg", "")
    assert "http://" not in without_namespace and "https://" not in without_namespace
    assert "size: Letter portrait" in html
    total = parts_table(report, unit)[1]
    assert html.count(f"{total.mass} {measures(unit)['mass'].unit}") >= 2
    assert f"parts {total.area} {measures(unit)['area'].unit}" in html
    assert html.count({"mm": ">8.1574 m<", "inch": ">321.157 in<"}[unit]) == 2, "rapid travel, as card and as figure"
    for text in (
        "finished size",
        "NFPA 51B",
        "no free place was found",
        "seed",
        "100.00",
        sample.id,
        "H 4711",
    ):
        assert text in html
    assert all(f.definition in html.replace("&#39;", "'") for f in report.figures)


def test_texts_from_outside_are_escaped(sample: Layout) -> None:
    evil = "<script>alert(1)</script>"
    layout = replace(sample, plate=replace(sample.plate, name=evil, keep_outs=tuple(
        replace(k, reason=evil) for k in sample.plate.keep_outs)))  # fmt: skip

    html = page(figures(layout, SHOP, notes=(evil,)), scene(layout, balance(layout, SHOP)), title=evil)

    assert evil not in html
    assert "Base &lt;foot&gt; &amp; cap" in html


def test_page_says_when_the_check_failed_or_did_not_run(sample: Layout, drawn: Scene) -> None:
    failed = CheckFacts(passed=False, summary="part 3 and part 4 are 1.2 mm apart, 5 mm needed")

    assert "The check failed: do not cut." in page(figures(sample, SHOP, check=failed), drawn, title="t")
    assert "This layout was not checked." in page(figures(sample, SHOP), drawn, title="t")


def test_picture_titles_name_part_and_size(drawn: Scene) -> None:
    root = ElementTree.fromstring(inline_svg(drawn, "mm", measures("mm")["area"]))

    titles = [t.text or "" for t in root.iter("{http://www.w3.org/2000/svg}title")]
    assert "3: Base <foot> & cap, 260.0 x 140.0 mm" in titles
    assert any(t.startswith("kept remnant R1, ") for t in titles)
    assert "keep-out: clamp" in titles
    texts = [t.text for t in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {str(n) for n in range(1, 13)} | {"R1", "clamp", "200 mm", "grain"} <= set(texts)


def test_numbers_stand_in_their_parts_or_lead_to_them(drawn: Scene) -> None:
    shapes = {str(p.number): p.shape for p in drawn.pieces}
    numbers = [label for label in drawn.labels if label.text in shapes]

    assert len(numbers) == len(drawn.pieces)
    for label in numbers:
        spot = shapely.Point(label.leads_to or label.at)
        assert shapes[label.text].covers(spot)
        if label.leads_to is None:
            wide = 0.4 * label.height_mm * len(label.text)
            x, y, high = *label.at, label.height_mm / 2
            assert shapes[label.text].covers(shapely.box(x - wide, y - high, x + wide, y + high))
        assert label.height_mm >= drawn.text_mm * (1 - 1e-9)
    outside = [label for label in numbers if label.leads_to]
    assert {label.text for label in outside} == {"9", "10", "11", "12"}
    for label in outside:
        assert all(not s.covers(shapely.Point(label.at)) for s in shapes.values())


def test_numbers_of_a_crowd_stay_near_their_parts_and_in_the_picture() -> None:
    """150 slim parts close together: once their numbers lay all over the plate, and one beyond its edge."""
    link = Part(id="link", name="Link", outer=Contour.of_rectangle(50.0, 120.0))
    shim = Part(id="shim", name="Shim", outer=Contour.of_rectangle(12.0, 12.0))
    plate = Plate(name="sheet", outer=Contour.of_rectangle(1500.0, 1050.0))
    places = [(link, 10.0 + 56 * (n % 25), 10.0 + 126 * (n // 25)) for n in range(125)]
    places += [(shim, 10.0 + 18 * n, 800.0) for n in range(25)]
    layout = Layout(
        plate=plate,
        clearances=Clearances(kerf_mm=1.5, gap_mm=5.0, margin_mm=8.0),
        demands=(Demand(part=link, quantity=None), Demand(part=shim, quantity=None)),
        placements=tuple(
            Placement(number=n, part_id=part.id, pose=Pose(x_mm=x, y_mm=y)) for n, (part, x, y) in enumerate(places, 1)
        ),
    )

    drawn = scene(layout, balance(layout, SHOP))

    x0, y0, x1, y1 = drawn.bounds
    shapes = {str(p.number): p.shape for p in drawn.pieces}
    numbers = [label for label in drawn.labels if label.text in shapes]
    assert len(numbers) == 150
    for label in drawn.labels:
        wide, high = 0.45 * label.height_mm * len(label.text), label.height_mm / 2
        assert x0 <= label.at[0] - wide and label.at[0] + wide <= x1
        assert y0 <= label.at[1] - high and label.at[1] + high <= y1
    for label in numbers:
        assert label.height_mm >= 0.6 * drawn.text_mm * (1 - 1e-9)
        assert shapes[label.text].distance(shapely.Point(label.at)) <= 10 * drawn.text_mm
    assert all(label.leads_to is None for label in numbers[:125])


def test_scale_bar_is_a_round_length_of_the_unit(drawn: Scene) -> None:
    assert scale_bar_mm(drawn, "mm") == 200.0
    assert scale_bar_mm(drawn, "inch") == 10 * 25.4


def test_picture_has_equal_scales_and_the_same_bytes_every_time(sample: Layout, tmp_path: Path) -> None:
    areas = balance(sample, SHOP)
    for ending in ("png", "svg", "pdf"):
        for name in ("a", "b"):
            draw_layout(sample, areas, tmp_path / f"{name}.{ending}")
        assert (tmp_path / f"a.{ending}").read_bytes() == (tmp_path / f"b.{ending}").read_bytes()

    ElementTree.parse(tmp_path / "a.svg")
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF")
    drawn = scene(sample, areas)
    with Image.open(tmp_path / "a.png") as image:
        assert image.width / image.height == pytest.approx(drawn.width_mm / drawn.height_mm, rel=2e-3)
        assert image.width > 1000


def test_picture_of_another_kind_is_refused(sample: Layout, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"layout\.bmp: a picture ends in one of"):
        draw_layout(sample, balance(sample, SHOP), tmp_path / "layout.bmp")


def test_black_numbers_stand_out_on_every_part_colour() -> None:
    """Contrast of at least 7 to 1, as WCAG 2.1 asks at its highest level (success criterion 1.4.6)."""
    for colour in map(pale, PALETTE):
        levels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in levels]
        luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
        assert (luminance + 0.05) / 0.05 >= 7.0


def test_empty_layout_has_a_page_and_a_picture(sample: Layout, tmp_path: Path) -> None:
    layout = replace(sample, placements=(), left_over=(), search=None)
    areas = balance(layout, Shop(keep_mm=((5000.0, 5000.0),)))

    html = page(figures(layout, SHOP, areas=areas), scene(layout, areas), title="nothing")
    draw_layout(layout, areas, tmp_path / "x.png")

    assert "None: no piece left takes any of the shop" in html
    assert "0.00 %" in html


def test_the_picture_tells_the_area_that_the_table_tells() -> None:
    """What is drawn is made simpler, and would give another figure."""
    areas = balance(ROUND, SHOP)
    report = figures(ROUND, SHOP, areas=areas)
    drawn = scene(ROUND, areas)
    area = measures("mm")["area"]
    (name, shape), *_ = drawn.remnants
    row = next(r for r in report.remnants if r.label == name)
    assert area.full(shape.area) != area.full(row.area_mm2), "the sample shows nothing"

    assert f"kept remnant {name}, {area.full(row.area_mm2)}<" in inline_svg(drawn, "mm", area)


def test_parts_that_stay_where_they_were_are_told_plainly(sample: Layout, drawn: Scene) -> None:
    rest = FreeRest(area_mm2=1e5, circle_diameter_mm=90.0, rectangle_mm=(200.0, 80.0))
    assert sample.search is not None
    told = replace(sample.search, pulled=Pulled(to="nowhere", before=rest, after=rest))
    html = page(figures(replace(sample, search=told), SHOP), drawn, title="Order 1182")
    assert "Free rest; the parts were left where they were, since pulling them together gave no larger one" in html
    assert "nowhere" not in html and "pulled together</th>" not in html
