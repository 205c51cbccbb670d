"""The report pages in a real browser without a network: no complaints, sorting, zoom, names on hover, print."""

import io
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from browser import Opened, browser, opened
from playwright.sync_api import Browser
from pypdf import PdfReader
from report_layouts import sample_layout

from nesting.remnant import balance
from nesting.report.facts import CheckFacts
from nesting.report.figures import figures
from nesting.report.html import page
from nesting.report.scene import scene
from nesting.report.yields.facts import CutFact
from nesting.report.yields.gathered import gathered
from nesting.report.yields.html import yields_page
from nesting.shop import Prices, Shop

SHOP = Shop(amps=65.0, prices=Prices(new_per_kg=2.0, remnant_per_kg=1.0, scrap_per_kg=0.2, currency="EUR"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page of one layout, and one of three on two days."""
    where = tmp_path_factory.mktemp("pages with a blank")
    layout = sample_layout()
    areas = balance(layout, SHOP)
    report = figures(layout, SHOP, areas=areas, check=CheckFacts(passed=True, summary="12 parts"))
    drawn = scene(layout, areas)
    (where / "one.html").write_text(page(report, drawn, title="Order 1182"), encoding="utf-8")
    thick = replace(report, plate=replace(report.plate, thickness_mm=10.0))
    cuts = [
        CutFact(report=r, when=datetime(2026, 11, d, 12, tzinfo=UTC)) for r, d in ((report, 2), (thick, 3), (report, 3))
    ]
    several = gathered(cuts, title="November")
    text = yields_page(several, [("No. 1", drawn), ("No. 2", drawn)], paper="Letter")
    (where / "several.html").write_text(text, encoding="utf-8")
    return where


@pytest.fixture(scope="module")
def within() -> Iterator[Browser]:
    with browser() as started:
        yield started


@pytest.fixture
def one(folder: Path, within: Browser) -> Iterator[Opened]:
    with opened(folder / "one.html", within=within) as seen:
        yield seen


def _column(seen: Opened, table: str, column: int) -> list[str]:
    return seen.page.locator(f"{table} tbody tr td:nth-child({column})").all_inner_texts()


def test_the_page_of_one_layout_is_quiet_and_prints_on_few_sheets(one: Opened) -> None:
    assert one.pages_printed() in (4, 5)
    assert one.complaints == []


def test_tables_sort_by_keyboard_and_tell_so(one: Opened) -> None:
    head = one.page.locator("table.parts thead th", has_text="placed")
    name = one.page.locator("table.parts thead th").nth(1)
    former = _column(one, "table.parts", 2)

    head.get_by_role("button").focus()
    one.page.keyboard.press("Enter")
    assert head.get_attribute("aria-sort") == "ascending"
    assert _column(one, "table.parts", 6) == ["1", "1", "2", "2", "2", "4"]
    one.page.keyboard.press("Enter")
    assert head.get_attribute("aria-sort") == "descending"
    assert _column(one, "table.parts", 6) == ["4", "2", "2", "2", "1", "1"]
    name.get_by_role("button").press("Space")
    assert head.get_attribute("aria-sort") is None
    assert _column(one, "table.parts", 2) == sorted(former, key=str.lower)
    total = one.page.locator("table.parts tfoot td").all_inner_texts()
    assert total[1] == "all parts" and total[5] == "12"
    assert one.complaints == []


def test_pictures_zoom_by_mouse_and_keyboard_and_stay_on_the_plate(one: Opened) -> None:
    svg = one.page.locator("svg.layout")
    whole = [float(v) for v in (svg.get_attribute("viewBox") or "").split()]

    def box() -> list[float]:
        return one.page.evaluate("(() => { const b = document.querySelector('svg.layout').viewBox.baseVal;"
                                 " return [b.x, b.y, b.width, b.height]; })()")  # fmt: skip

    one.page.get_by_role("button", name="closer").click()
    assert box()[2] == pytest.approx(0.7 * whole[2], rel=1e-3)
    svg.focus()
    for _ in range(9):
        one.page.keyboard.press("ArrowRight")
    x, _, width, _ = box()
    assert x + width == pytest.approx(whole[0] + whole[2], rel=1e-3)
    one.page.keyboard.press("0")
    assert box() == pytest.approx(whole, rel=1e-3)
    assert one.complaints == []


def test_the_pointer_on_a_part_tells_its_name_and_size(one: Opened) -> None:
    part = one.page.locator("svg.layout path.part").nth(4)
    # A corner of the bracket's leg: its number covers the middle.
    part.hover(position={"x": 8.0, "y": 8.0}, force=True)
    told = one.page.locator("figure output").inner_text()
    assert told == part.locator("title").text_content()
    assert told.startswith("5: Angle bracket, 180.0 x 200.0 mm")


def test_the_page_of_several_layouts_is_quiet_and_whole(folder: Path, within: Browser) -> None:
    with opened(folder / "several.html", width=1500, within=within) as seen:
        shown = seen.page.evaluate("[...document.images].map(i => i.complete && i.naturalWidth > 100)")
        assert shown == [True, True]
        assert seen.page.locator("figure.zoom .tools:visible").count() == 2
        wide = seen.page.evaluate("[...document.querySelectorAll('section')].map(s => s.scrollWidth - s.clientWidth)")
        assert max(wide) <= 0, "no table is wider than the page"
        assert 5 <= seen.pages_printed() <= 8
        seen.page.locator("table.sortable thead [role=button]", has_text="thick").first.click()
        assert seen.complaints == []


def test_a_table_over_several_sheets_has_its_head_on_each(folder: Path, within: Browser) -> None:
    with opened(folder / "one.html", within=within) as seen:
        seen.page.evaluate(
            "(() => { const b = document.querySelector('table.parts').tBodies[0], r = b.rows[0];"
            " for (let i = 0; i < 150; i++) b.appendChild(r.cloneNode(true)); })()"
        )
        sheets = [page.extract_text() for page in PdfReader(io.BytesIO(seen.pdf())).pages]
    with_rows = [text for text in sheets if text.count("Pump ring") > 3]
    assert len(with_rows) >= 3
    assert all("wanted" in text and "placed" in text for text in with_rows)
