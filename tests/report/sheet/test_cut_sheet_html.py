"""The cut sheet as HTML: the same words as the PDF, without errors in a browser without a network, on as many pages."""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from browser import opened
from printed import sizes_mm, words

from nesting.drawing.cut_order import cut_order
from nesting.layout import Layout
from nesting.remnant import balance
from nesting.report.figures import figures
from nesting.report.sheet.files import Sheets, sheets
from nesting.report.sheet.words import Lengths
from nesting.shop import Shop

SHOP = Shop(name="Sample <shop>", amps=45.0)


@pytest.fixture
def made(sample: Layout) -> Sheets:
    """Cut sheet of the sample, its plate under a name that HTML must escape."""
    layout = replace(sample, plate=replace(sample.plate, name='R-1 <b>"&'))
    areas, order = balance(layout, SHOP), cut_order(layout)
    report = figures(layout, SHOP, areas=areas)
    return sheets(layout, report, areas=areas, order=order, title="Job & Co", lengths=Lengths(), paper="A4")


def test_a_browser_shows_it_without_complaint_and_prints_two_pages(made: Sheets, tmp_path: Path):
    page = tmp_path / "cut sheet.html"
    page.write_text(made.html, encoding="utf-8")
    with opened(page) as seen:
        printed = seen.pdf()
        said = re.sub(r"\s+", " ", seen.page.inner_text("body"))
        wide = seen.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert seen.complaints == []
    assert wide, "nothing runs out of a usual window"
    assert [tuple(map(round, size)) for size in sizes_mm(printed)] == [(210, 297)] * 2
    assert 'Plate R-1 <b>"&' in said and "Sample <shop>" in said and "Base <foot> & cap" in said
    assert words(printed, 1).count("is _________") == 3
    assert "Cautions" in words(printed, 2)


def test_it_says_what_the_pdf_says_and_needs_nothing_from_elsewhere(made: Sheets):
    assert not re.search(r"""(?:src|href)\s*=|url\(|@import|<script""", made.html)
    pdf = words(made.pdf)
    text = re.sub(r"<style>.*?</style>|<title>.*?</title>", "", made.html, flags=re.DOTALL)
    for found in re.findall(r">([^<>]+)<", text):
        plain = re.sub(r"\s+", " ", found.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&"))
        plain = plain.replace("&#34;", '"').replace("&#39;", "'").replace("&nbsp;", " ").strip()
        if plain and "____" not in plain:
            assert plain in pdf, plain
