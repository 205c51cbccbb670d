"""What `oddplate batch` says of leftovers and of bounds, on the terminal and on the page."""

import re
from dataclasses import replace
from datetime import date

import pytest

from cli.batch import _show_bound, _show_pieces
from nesting.report.plan_facts import LeftRow, LineRow, PieceRow, PlanFacts
from nesting.report.plan_page import plan_page
from nesting.report.sheet.words import Lengths
from nesting.shop import Paper

PIECE = PieceRow(
    number=1, id="P", stock="P", kind="remnant", state="to cut", folder="01-P", layout_id="x", thickness_mm=8.0,
    grade=None, place=None, utilisation=0.5, placed=(),
    left=(LeftRow(label="R1", rectangle_mm=(1000.0, 527.57), area_mm2=527_570.0, mass_kg=None),),
)  # fmt: skip
LINE = LineRow(
    line="a", name="a", reference="", due=date(2026, 12, 1), wanted=1, planned=1, cut=0, failed=0, on=(("P", 1),),
    status="planned",
)  # fmt: skip
FACTS = PlanFacts(
    name="week", made_on=date(2026, 11, 27), currency="EUR", pieces=(PIECE,), lines=(LINE,), buy=(), price=0.0,
    least_price=0.0, opened_mm2=1e6, worth=8e5, least_worth=0.0, seconds=5.0, layouts_tried=9,
)  # fmt: skip
PAPER: Paper = "A4"


def test_what_a_leftover_takes_is_rounded_down(capsys: pytest.CaptureFixture[str]) -> None:
    """As on the piece's own cut sheet."""
    _show_pieces(FACTS, Lengths(unit="mm"))
    assert re.search(r"1000 x 527\.5$", capsys.readouterr().out, re.MULTILINE)

    _show_pieces(FACTS, Lengths(unit="inch"))
    assert re.search(r"39 5/16 x 20 3/4$", capsys.readouterr().out, re.MULTILINE)

    assert "R1 takes 1000 x 527.5 mm" in plan_page(FACTS, paper=PAPER)


def test_a_bound_of_nothing_is_left_out(capsys: pytest.CaptureFixture[str]) -> None:
    _show_bound(FACTS, Lengths(unit="mm"))
    page = plan_page(FACTS, paper=PAPER)

    assert capsys.readouterr().out == "remnants cut into: 1.0000 m²; 9 layouts tried\n"
    assert not re.search(r"No plan|less than|better plan|The bound", page)
    assert "9 layouts were tried in 5 s." in page


@pytest.mark.parametrize(
    ("bounds", "told"),
    [
        ({"least_worth": 4e5}, "all lines due and buys nothing cuts into remnants worth less than 0.4"),
        ({"price": 9.0, "least_price": 5.0}, "costs less than 5.00 EUR for sheets. The bound knows"),
        (
            {"price": 5.0, "least_price": 5.0, "least_worth": 4e5},
            "costs less than 5.00 EUR for sheets; at that price none cuts into remnants worth less than 0.4",
        ),
    ],
)  # fmt: skip
def test_a_bound_that_says_something_is_told(bounds: dict[str, float], told: str) -> None:
    assert told in " ".join(plan_page(replace(FACTS, **bounds), paper=PAPER).split())
