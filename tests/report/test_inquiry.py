"""The question list: every drawing by name and hash, every question with its spots, value, limit and source."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from shapes import part, round_contour

from nesting.drawing.findings import Finding
from nesting.fit.finding import Cutting
from nesting.fit.looks import fit_findings
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Line, circle
from nesting.part import Part
from nesting.report.drawing_questions import Stopped, asked_of
from nesting.report.inquiry import Inquiry, inquiry, inquiry_html, inquiry_text
from nesting.report.svg import curves_svg

CUTTING = Cutting(process="plasma", thickness_mm=6.0, kerf_mm=1.6, amps=45.0, material="mild steel")


class Tree(HTMLParser):
    """Checks that tags close in order and gathers the text and what is loaded from elsewhere."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.text: list[str] = []
        self.loaded: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.loaded += [v or "" for k, v in attrs if k in ("src", "href")]
        if tag not in {"meta", "link", "path", "circle", "rect", "br"}:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in {"meta", "link", "path", "circle", "rect", "br"}:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text.append(data)


@pytest.fixture
def parts() -> tuple[Part, ...]:
    frame = Contour.of_rectangle(300, 200)
    plain = part("plain", frame)
    holed = part("holed", frame, *(round_contour((40 + 50 * i, 100), 7) for i in range(5)))
    webbed = part("webbed", frame, round_contour((21, 100), 40))
    return (
        replace(plain, source="plain.dxf", source_sha256="11" * 32),
        replace(holed, name="Cover <b>&", source="cover & lid.dxf", source_sha256="22" * 32),
        replace(webbed, source="web.dxf", source_sha256="33" * 32),
    )


@pytest.fixture
def asked(parts: tuple[Part, ...]) -> Inquiry:
    findings = [f for p in parts for f in fit_findings(p, CUTTING)]
    return inquiry(parts, findings, CUTTING, title="feet <1>", shop="Sample Shop", grade="S235JR")


def test_only_drawings_with_questions_are_named_and_numbers_run_through(asked: Inquiry):
    assert [d.name for d in asked.drawings] == ["cover & lid.dxf", "web.dxf"]
    assert [q.number for d in asked.drawings for p in d.parts for q in p.questions] == [1, 2]
    assert asked.count == 2


def test_the_page_is_whole_escaped_and_loads_nothing(asked: Inquiry):
    html = inquiry_html(asked)
    tree = Tree()
    tree.feed(html)
    assert tree.open == []
    assert set(tree.loaded) == {"data:,"}
    assert "<b>&" not in html and "Cover &lt;b&gt;&amp;" in html and "feet &lt;1&gt;" in html
    text = " ".join(" ".join(tree.text).split())
    for said in ("22" * 32, "33" * 32, "holes of 7 mm", "Limit 9 mm", "newayprecision.com", "Cautions", "gloves"):
        assert said in text
    assert "@page { size: A4 portrait" in html
    assert "@page { size: Letter portrait" in inquiry_html(asked, paper="Letter")


def test_every_spot_has_a_ring_and_its_number(asked: Inquiry):
    picture = asked.drawings[0].parts[0].picture
    assert picture.count("<circle") == 5 == picture.count("<rect")
    assert re.findall(r">(\d+)</text>", picture) == ["1"] * 5
    (ring,) = re.findall(r'<circle cx="([\d.-]+)" cy="([\d.-]+)"', asked.drawings[1].parts[0].picture)
    assert float(ring[0]) == pytest.approx(0.5, abs=0.1) and float(ring[1]) == pytest.approx(-100, abs=1)


def test_questions_of_one_spot_share_its_label(parts: tuple[Part, ...]):
    (first,) = fit_findings(parts[2], CUTTING)
    both = (first, replace(first, question="And this?"))
    picture = inquiry([parts[2]], both, CUTTING, title="t").drawings[0].parts[0].picture
    assert re.findall(r">([\d, ]+)</text>", picture) == ["1, 2"]


def test_the_plain_text_says_the_same(asked: Inquiry):
    text = inquiry_text(asked)
    flat = " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 120
    for drawing in asked.drawings:
        assert drawing.name in text and drawing.sha256 in text
        for question in (q for p in drawing.parts for q in p.questions):
            assert f"{question.number}. {question.text}" in flat
            assert question.source in flat
    assert text.count("[ ] leave as drawn") == asked.count


def test_an_inch_page_has_inches_beside_every_length(parts: tuple[Part, ...]):
    findings = fit_findings(parts[1], CUTTING)
    question = inquiry(parts, findings, CUTTING, title="t", unit="inch").drawings[0].parts[0].questions[0]
    assert question.limit == "9 mm (0.354 in)"
    assert "from 9 mm (0.354 in) on" in question.text


def error(kind: str, message: str, place: tuple[float, float] | None = None) -> Finding:
    return Finding(kind=kind, severity="error", message=message, place=place)


STOPPED = (
    Stopped(
        name="lug.dxf",
        sha256="44" * 32,
        findings=(
            error("broken outline", "1 contour lies in the outline of LINE 8E, which does not close", (90, 60)),
            error("open contour", "LINE 92: contour is open by 3 mm at (0.00, 3.00); close it in the drawing", (0, 3)),
        ),
        curves=(Line(start=(0, 3), end=(0, 80)), Line(start=(0, 80), end=(150, 0)), Line(start=(150, 0), end=(0, 0))),
        refused="lug.dxf: no part can be made of it",
    ),
    Stopped(name="pad.dxf", refused="pad.dxf: ...", sizes={"mm": (6.0, 4.0), "inch": (152.4, 101.6)}),
    Stopped(name="torn.dxf", refused="torn.dxf: no DXF file; export it again"),
)


def test_what_stops_a_drawing_is_asked_first_with_its_place_and_picture(parts: tuple[Part, ...]):
    findings = [f for p in parts for f in fit_findings(p, CUTTING)]
    asked = inquiry(parts, findings, CUTTING, title="t", stopped=STOPPED)
    assert [d.name for d in asked.drawings] == ["lug.dxf", "pad.dxf", "torn.dxf", "cover & lid.dxf", "web.dxf"]
    questions = [q for d in asked.drawings for p in d.parts for q in p.questions]
    assert [q.number for q in questions] == [1, 2, 3, 4, 5] and asked.count == 5
    lug, pad, torn = questions[:3]
    assert (lug.kind, lug.where) == ("open contour", "(0.0, 3.0)")
    assert lug.text.startswith("LINE 92: contour is open by 3 mm at (0.00, 3.00). We cannot cut")
    assert re.findall(r">(\d+)</text>", asked.drawings[0].parts[0].picture) == ["1"]
    assert "read as mm it is 6 mm x 4 mm, read as inch it is 152.4 mm x 101.6 mm" in pad.text
    assert pad.answers == ("mm", "inch", "another one, written below")
    assert torn.text == "No DXF file; export it again. What is to be cut?"
    for text in (inquiry_html(asked), inquiry_text(asked)):
        assert text.count("(stops the job)") == 3
        assert "At ." not in text and "source: ;" not in text
    tree = Tree()
    tree.feed(inquiry_html(asked))
    assert tree.open == []


def test_errors_and_doubts_of_one_drawing_stand_together(parts: tuple[Part, ...]):
    two = error("circle in circle", "CIRCLE 1 and CIRCLE 2 have one centre: a thread?", (40, 100))
    stopped = Stopped(name="cover & lid.dxf", sha256="22" * 32, findings=(two,))
    asked = inquiry(parts, fit_findings(parts[1], CUTTING), CUTTING, title="t", stopped=[stopped])
    (drawing,) = asked.drawings
    assert [[q.number for q in p.questions] for p in drawing.parts] == [[1], [2]]


@pytest.mark.parametrize("scale", [0.001, 1.0, 1e4])
def test_the_picture_of_a_drawing_does_not_hang_on_its_unit(scale: float):
    curves = (circle((0.0, 0.0), 3 * scale), Line(start=(0.0, 0.0), end=(6 * scale, 2 * scale)))
    rounded = set(re.findall(r"[\d.-]+ [\d.-]+", curves_svg("x", curves, [("1", (0.0, 0.0))])))
    assert len(rounded) > 40


def test_very_many_errors_of_a_kind_share_a_question():
    many = tuple(error("open contour", f"LINE {k}: contour is open", (k, 0)) for k in range(40))
    asked = asked_of(Stopped(name="x.dxf", findings=many))
    assert len(asked) == 13 and len(asked[-1].places) == 28
