"""Cards of the picture sheet: which picture a trouble is shown in."""

from pathlib import Path
from typing import Any

import pytest
from drawings import drawing, square

from nesting.drawing.findings import Finding
from nesting.drawing.reader import read_drawing
from nesting.report.part_sheet import MOST_ON_ONE_PICTURE, Card, cards_of, draw_cards


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

    assert card.subtitle == "refused: x.dxf: no closed contour"
    assert len(card.findings) == 1


def test_more_cards_than_one_picture_takes(tmp_path: Path) -> None:
    cards = [Card(title=str(k)) for k in range(MOST_ON_ONE_PICTURE + 1)]

    assert draw_cards(cards, tmp_path / "a.png", dpi=10) == MOST_ON_ONE_PICTURE
    assert draw_cards(cards[:30], tmp_path / "a.pdf") == 30
    with pytest.raises(ValueError, match="ends in one of"):
        draw_cards(cards, tmp_path / "a.gif")
