"""Mass and value, against printed weights."""

from dataclasses import replace
from typing import Any

import pytest
from racks import new_piece

from nesting.rack.piece import Listed
from nesting.rack.store import open_rack
from nesting.rack.worth import total, totals, worth
from nesting.shop import Prices, Shop

SHOP = Shop(prices=Prices(new_per_kg=1.5, remnant_per_kg=0.5, scrap_per_kg=0.1, currency="EUR"))


def listed(width: float, height: float, **facts: Any) -> Listed:
    with open_rack("sqlite://", create=True) as rack:
        rack.add([new_piece(width, height, **facts)], who="me")
        return rack.listed()[0]


def test_a_plate_weighs_what_is_printed():
    """A plate of 2 m x 1 m x 10 mm: 157 kg (civiltutorials.com, calculation of steel plate weight)."""
    found = worth(listed(2000, 1000, thickness_mm=10.0, grade="A36", valued="as new"), SHOP)
    assert found.mass_kg == pytest.approx(157.0, abs=0.01) and not found.assumed
    assert found.value == pytest.approx(157.0 * 1.5) and found.value_from == "as new, 1.5 per kg"


def test_what_is_not_known_is_said():
    unknown = listed(2000, 1000, thickness_mm=10.0, grade=None)
    assert worth(unknown, SHOP).assumed and "grade unknown, mild steel is assumed" in worth(unknown, SHOP).mass_from
    assert worth(unknown, Shop(material="aluminium")).mass_kg == pytest.approx(54.0)
    no_thickness = worth(listed(10, 10, thickness_mm=None), SHOP)
    assert (no_thickness.mass_kg, no_thickness.mass_from) == (None, "thickness not known")
    assert (no_thickness.value, no_thickness.value_from) == (None, "as remnant: mass not known")
    assert worth(listed(10, 10), Shop()).value_from == "as remnant: the shop file says no price"


def test_a_scale_and_the_shop_win():
    found = worth(listed(2000, 1000, thickness_mm=None, weighed_kg=150.0, valued="own", own_value=99.0), SHOP)
    assert (found.mass_kg, found.mass_from, found.value) == (150.0, "weighed", 99.0)


def test_sums_are_by_grade_and_thickness_and_say_what_they_leave_out():
    one = listed(2000, 1000, thickness_mm=10.0, grade="S235JR")
    same = replace(one, facts=replace(one.facts, grade="s235 jr"))
    unknown = listed(1000, 1000, thickness_mm=None, grade=None)
    found = totals([unknown, one, same], SHOP)
    assert [(t.grade, t.thickness_mm, t.pieces, t.no_mass) for t in found] == [
        ("S235JR", 10.0, 2, 0),
        (None, None, 1, 1),
    ]
    assert found[0].mass_kg == pytest.approx(314.0) and found[0].value == pytest.approx(157.0)
    assert total([unknown, one, same], SHOP).area_mm2 == pytest.approx(5e6)
    assert total([], SHOP).pieces == 0
