"""The reports as PDF: the same figures as the page, every sheet used and numbered, names of any alphabet."""

import io
from dataclasses import replace

import pytest
from pypdf import PdfReader
from report_layouts import sample_layout

from nesting.layout import Layout
from nesting.remnant import balance
from nesting.report.content import content
from nesting.report.facts import CheckFacts, YieldReport
from nesting.report.figures import figures
from nesting.report.pictures import draw_layout
from nesting.report.report_pdf import report_pdf
from nesting.report.yields.facts import CutFact
from nesting.report.yields.gathered import gathered
from nesting.report.yields.pdf import yields_pdf
from nesting.report.yields.words import words
from nesting.shop import Prices, Shop
from nesting.units import Unit

SHOP = Shop(amps=65.0, prices=Prices(new_per_kg=2.0, remnant_per_kg=1.0, scrap_per_kg=0.2, currency="EUR"))


@pytest.fixture(scope="module")
def one() -> YieldReport:
    return figures(sample_layout(), SHOP, check=CheckFacts(passed=True, summary="12 parts"))


@pytest.fixture(scope="module")
def png(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("picture") / "layout.png"
    layout = sample_layout()
    draw_layout(layout, balance(layout, SHOP), path, dpi=60)
    return path.read_bytes()


def _sheets(pdf: bytes) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


@pytest.mark.parametrize("unit", ["mm", "inch"])
def test_the_pdf_says_what_the_page_says(one: YieldReport, png: bytes, unit: Unit) -> None:
    text = " ".join(_sheets(report_pdf(one, png, title="Order 1182", unit=unit)))

    c = content(one, unit)
    for told in (*(f.value for f in c.figures), *c.parts.total[6:], *(row[1] for row in c.balance.rows)):
        assert told in text
    for told in ("The drawing is finished size.", "every clearance holds", "NFPA 51B", "Base <foot> & cap", "no free"):
        assert told in text


def test_sheets_are_numbered_and_none_is_blank(one: YieldReport, png: bytes) -> None:
    pdf = report_pdf(one, png, title="Order 1182", paper="Letter")

    sheets = _sheets(pdf)
    assert 3 <= len(sheets) <= 5
    for number, text in enumerate(sheets, start=1):
        assert f"sheet {number} of {len(sheets)}" in text
        assert len(text) > 300
    box = PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    assert (round(float(box.width)), round(float(box.height))) == (612, 792)


def test_the_same_report_gives_the_same_bytes(one: YieldReport, png: bytes) -> None:
    several = gathered([CutFact(report=one)], title="t")

    assert report_pdf(one, png, title="t") == report_pdf(one, png, title="t")
    assert yields_pdf(several) == yields_pdf(several)


def test_a_long_list_has_its_head_on_every_sheet_and_any_name_is_printed(one: YieldReport, png: bytes) -> None:
    names = ["Фланец", "Ø 120 ring", "a<b>&c", "tab\tand\x07bell", "N" * 60]
    rows = tuple(replace(one.parts[4], name=names[i % 5], line=i + 1) for i in range(150))

    sheets = _sheets(report_pdf(replace(one, parts=rows), png, title="t"))

    heads = [text for text in sheets if "wanted placed" in text]
    assert len(heads) >= 4
    text = " ".join(sheets)
    for told in ("Фланец", "Ø 120 ring", "a<b>&c", "tab and bell"):
        assert text.count(told) == 30


@pytest.mark.parametrize("unit", ["mm", "inch"])
def test_the_pdf_of_several_layouts_says_what_its_page_says(one: YieldReport, unit: Unit) -> None:
    thick = replace(one, plate=replace(one.plate, thickness_mm=10.0, grade="S355JR"))
    report = gathered([CutFact(report=one), CutFact(report=thick)], title="Two")

    text = " ".join(_sheets(yields_pdf(report, unit=unit)))

    w = words(report, unit)
    for table in (w.where, w.work, w.materials, w.lines):
        assert all(cell in text for cell in table.total)
    assert all(f.value in text for f in w.figures)


def test_a_failed_check_is_told_first(one: YieldReport, png: bytes) -> None:
    failed = replace(one, check=CheckFacts(passed=False, summary="part 3 and part 4 are too near"))

    assert "The check failed: do not cut." in _sheets(report_pdf(failed, png, title="t"))[0]


def test_an_empty_layout_has_a_pdf(png: bytes) -> None:
    layout: Layout = replace(sample_layout(), placements=(), left_over=(), search=None)

    text = " ".join(_sheets(report_pdf(figures(layout, Shop()), png, title="nothing")))

    assert "This layout was not checked." in text and "0.00 %" in text
