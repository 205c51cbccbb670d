"""Cards of the picture sheet: which picture a trouble is shown in."""

from pathlib import Path
from typing import Any

import pytest
from drawings import drawing, square

from nesting.drawing.findings import Finding
from nesting.drawing.reader import read_drawing
from nesting.report.part_sheet import MOST_ON_ONE_PICTURE, Card, _head, _listed, cards_of, draw_cards


def two(space: Any) -> None:
    square(space, 100)
    square(space, 50, 300)


def finding(severity: Any, place: tuple[float, float] | None) -> Finding:
    return Finding(kind="test", severity=severity, message=f"{severity} at {place}", place=place)


def test_troubles_go_to_the_part_they_lie_in(tmp_path: Path) -> None:
    read = read_drawing(drawing(tmp_path / "two.dxf", two))
    found = [finding("warning", (50, 50)), finding("error", (320, 10)), finding("warning", (900, 900))]
    found += [finding("note", None), finding("warning", None)]

    cards = cards_of("two.dxf", read.parts, ["a", "b"], read.curves, found)

    assert [[f.place for f in card.findings] for card in cards] == [[(50, 50)], [(320, 10)], [(900, 900), None]]
    assert (cards[2].part, len(cards[2].curves)) == (None, 8)


def test_a_refused_drawing_has_one_card_with_all_its_troubles() -> None:
    (card,) = cards_of("x.dxf", (), (), (), [finding("error", (1, 2))], "x.dxf: no closed contour")

    assert _head(card) == ["refused: x.dxf: no closed contour"]
    assert len(card.findings) == 1


def test_an_error_marks_every_part_of_its_drawing_as_refused(tmp_path: Path) -> None:
    read = read_drawing(drawing(tmp_path / "two.dxf", two))

    bad = cards_of("two.dxf", read.parts, ["a", "b"], read.curves, [finding("error", (50, 50))])
    good = cards_of("two.dxf", read.parts, ["a", "b"], read.curves, [finding("warning", (50, 50))])

    assert [_head(card) for card in bad] == [["a", "refused: test"], ["b", "refused: test"]]
    assert [card.refused for card in good] == ["", ""]


def test_a_long_reason_is_wrapped_below_the_picture_to_its_end() -> None:
    reason = (
        "pad.dxf: the drawing does not say its unit ($INSUNITS 0; $MEASUREMENT 1 proposes mm, but is often wrong); "
    )
    reason += (
        "read as mm it is 6 x 4 mm, read as inch 152.4 x 101.6 mm; give --units pad.dxf=mm or --units pad.dxf=inch"
    )
    (card,) = cards_of("pad.dxf", (), (), (), [], reason)

    assert _head(card) == ["refused: see below"]
    assert " ".join(line.strip() for line in _listed(card)) == f"refused: {reason}"


def test_few_findings_are_told_whole_and_many_keep_to_the_room() -> None:
    long = "CIRCLE 90 (24.0 mm across) and CIRCLE 8F (14.0 mm) have one centre: only one of them can be cut through; "
    long += "delete the other, or move it to a layer named MARK"
    errors = [Finding(kind="circle in circle", severity="error", message=long)] * 9

    two = " ".join(line.strip() for line in _listed(Card(title="x", findings=tuple(errors[:2]))))
    assert two == f"1 error: {long} 2 error: {long}"
    assert len(_listed(Card(title="x", findings=tuple(errors)))) <= 12


def test_signs_of_a_drawing_are_no_formula(tmp_path: Path) -> None:
    """`$INSUNITS 0 ... $MEASUREMENT 1` was once set as mathematics; half of one stopped the whole sheet."""
    draw_cards([Card(title="a $x^ b$", refused="$\\frac{ and $")], tmp_path / "a.svg")


def test_more_cards_than_one_picture_takes(tmp_path: Path) -> None:
    cards = [Card(title=str(k)) for k in range(MOST_ON_ONE_PICTURE + 1)]

    assert draw_cards(cards, tmp_path / "a.png", dpi=10) == MOST_ON_ONE_PICTURE
    assert draw_cards(cards[:30], tmp_path / "a.pdf") == 30
    with pytest.raises(ValueError, match="ends in one of"):
        draw_cards(cards, tmp_path / "a.gif")
