"""Label sheets: what stands on them, that nothing leaves its label, and codes that a reader reads."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from printed import pictures, sizes_mm, words

from nesting.errors import InputError
from nesting.report.labels import GRIDS, Label, labels_pdf, write_labels
from nesting.report.printing import BOLD, PAPER_MM, PLAIN, fitted, one_line, text_width, wrapped
from nesting.shop import Paper

SHORT = Label(title="12 · bracket", lines=("order 4711/3", "heat H 4711"), code="part bracket\nno. 12")


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_labels_lie_on_the_paper_and_not_on_one_another(paper: Paper):
    grid, (width, height) = GRIDS[paper], PAPER_MM[paper]
    places = [grid.place(k) for k in range(grid.per_sheet)]
    for k, (left, top) in enumerate(places):
        assert left >= 3.0 and top >= 3.0, "no printer reaches the very edge"
        assert left + grid.width_mm <= width - 3.0 and top + grid.height_mm <= height - 3.0
        for x, y in places[:k]:
            assert abs(x - left) >= grid.width_mm or abs(y - top) >= grid.height_mm - 1e-9


@pytest.mark.parametrize(("count", "pages"), [(1, 1), (14, 1), (15, 2), (150, 11)])
def test_fourteen_labels_fill_a_sheet(count: int, pages: int):
    labels = [Label(title=f"part {n}") for n in range(count)]
    sheet = labels_pdf(labels, paper="Letter")
    assert sizes_mm(sheet) == [(215.9, 279.4)] * pages
    found = words(sheet)
    assert all(f"part {n}" in found for n in range(count))


def test_no_labels_is_one_page_that_says_so():
    sheet = labels_pdf([], paper="A4")
    assert sizes_mm(sheet) == [(210.0, 297.0)]
    assert "no labels: nothing is placed" in words(sheet)


def test_letters_of_other_languages_are_printed():
    """The standard fonts of PDF have none of these."""
    sheet = labels_pdf([Label(title="Łódź příruba", lines=("Фланец", "Πλάκα ½ × ▲"))], paper="A4")
    assert all(word in words(sheet) for word in ("Łódź příruba", "Фланец", "Πλάκα ½ × ▲"))


def test_codes_are_read_from_the_printed_page():
    """OpenCV reads the printed page, as any phone would."""
    codes = [f"part bracket\nno. {n}\nheat H 4711\ncertificate 3.1/2026\nplate Żółw" for n in range(3)]
    page = pictures(labels_pdf([Label(title="x", code=code) for code in codes], paper="A4"), dots_per_mm=8.0)[0]
    read, found, _, _ = cv2.QRCodeDetector().detectAndDecodeMulti(page)
    assert read and sorted(found) == codes


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_nothing_leaves_its_label(paper: Paper):
    """The longest texts: all ink lies within the labels, their padding left white."""
    long = Label(title="Grundplatte_" * 12, lines=("heat 4711 certificate 3.1 " * 9,) * 5, code="x" * 900)
    grid, dots = GRIDS[paper], 4.0
    page = pictures(labels_pdf([long] * grid.per_sheet, paper=paper), dots_per_mm=dots)[0]
    inked = page < 128
    for k in range(grid.per_sheet):
        left, top = grid.place(k)
        pad = 2.2
        rows = slice(int((top + pad) * dots), int((top + grid.height_mm - pad) * dots))
        columns = slice(int((left + pad) * dots), int((left + grid.width_mm - pad) * dots))
        assert inked[rows, columns].sum() > 1000
        inked[rows, columns] = False
        corners = [(x, y) for x in (left, left + grid.width_mm) for y in (top, top + grid.height_mm)]
        for x, y in corners:  # the strokes to cut by
            reach = 2.0 * dots
            inked[int(y * dots - reach) : int(y * dots + reach), int(x * dots - reach) : int(x * dots + reach)] = False
    assert not inked.any()


def test_a_code_too_long_is_refused(tmp_path: Path):
    with pytest.raises(InputError, match="label code of 5000 letters is longer than a QR code holds"):
        write_labels([Label(title="x", code="y" * 5000)], tmp_path / "l.pdf", paper="A4")
    assert list(tmp_path.iterdir()) == []


def test_the_same_labels_give_the_same_bytes(tmp_path: Path):
    write_labels([SHORT], tmp_path / "a.pdf", paper="A4")
    assert (tmp_path / "a.pdf").read_bytes() == labels_pdf([SHORT], paper="A4")


@given(st.lists(st.text(max_size=60), max_size=5), st.floats(40.0, 300.0), st.floats(14.0, 90.0))
def test_fitted_texts_stay_in_their_room_and_lose_nothing_unsaid(texts: list[str], width: float, height: float):
    size, lines = fitted(texts, PLAIN, width, height, largest=12.0, smallest=5.0)
    assert 5.0 <= size <= 12.0
    assert all(text_width(line, PLAIN, size) <= width + 1e-6 for line in lines)
    assert len(lines) * 1.2 * size <= max(height, 1.2 * size) + 1e-6
    if not any("…" in line for line in lines):
        printed = "".join("".join(t for t in text if t.isprintable()) for text in texts)
        assert "".join("".join(lines).split()) == "".join(printed.split())


@given(st.text(max_size=80), st.floats(30.0, 200.0))
def test_one_line_is_one_line(text: str, width: float):
    size, shown = one_line(text, BOLD, width, largest=20.0, smallest=6.0)
    assert 6.0 <= size <= 20.0 and "\n" not in shown
    assert text_width(shown, BOLD, size) <= width + 1e-6 or len(shown) <= 1


def test_words_wider_than_the_room_are_broken():
    assert wrapped("ab " + "W" * 30, PLAIN, 10.0, 60.0)[0] == "ab"
    assert "".join(wrapped("W" * 30, PLAIN, 10.0, 60.0)) == "W" * 30
    assert np.all([text_width(line, PLAIN, 10.0) <= 60.0 for line in wrapped("W" * 30, PLAIN, 10.0, 60.0)])
