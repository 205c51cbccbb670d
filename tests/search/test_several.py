"""What lies on a plate to begin with stays in play, whatever is known of its parts."""

from collections import Counter
from dataclasses import replace

import pytest

from nesting.batch.errands import Chain, Stage, fill_chain
from nesting.check import check_layout
from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.part import Part
from nesting.plate import Plate
from nesting.search import several

PLATE = Plate(name="piece", outer=Contour.of_rectangle(200, 100))
CLEAR = Clearances(kerf_mm=1.0, gap_mm=4.0, margin_mm=5.0)
BAR = Demand(part=Part(id="bar", name="bar", outer=Contour.of_rectangle(120, 30)))
TAB = Demand(part=Part(id="tab", name="tab", outer=Contour.of_rectangle(20, 20)), quantity=2)
LIES_THERE = (Placement(number=1, part_id="bar", pose=Pose(x_mm=6.0, y_mm=6.0)),)


def test_a_part_that_lies_there_fits_though_trying_it_alone_found_no_place(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(several, "fitting_alone", lambda *_: [1])

    found = several.fill_plates([PLATE], [BAR, TAB], CLEAR, time_limit_s=5.0, start=[LIES_THERE])

    assert found.fits == (True, True)
    assert Counter(p.part_id for p in found.layouts[0].placements) == {"bar": 1, "tab": 2}
    assert check_layout(found.layouts[0]).passed


def test_a_part_that_lies_there_may_be_on_a_piece_though_it_is_not_allowed_any_more() -> None:
    stage = Stage(
        plate=PLATE, clearances=CLEAR, serves=frozenset({"bar", "tab"}), allowed=frozenset({"tab"}), start=LIES_THERE
    )

    found = fill_chain(Chain(stages=(stage,), demands=(BAR, TAB), seed=0, seconds=5.0))

    assert Counter(p.part_id for p in found.layouts[0].placements) == {"bar": 1, "tab": 2}


def test_nothing_is_pulled_where_no_time_is_left() -> None:
    there = (Placement(number=1, part_id="bar", pose=Pose(x_mm=40.0, y_mm=40.0)),)
    layout = Layout(plate=PLATE, clearances=CLEAR, demands=(BAR,), placements=there)

    found = several.pull_layout(layout, time_limit_s=0.0)

    assert [p.pose.vector((1.0, 0.0)) for p in found.placements] == [(1.0, 0.0)]
    assert (found.placements[0].pose.x_mm, found.placements[0].pose.y_mm) == pytest.approx((40.0, 40.0))
    assert found.search is not None and found.search.pulled is None


def test_a_part_that_lies_turned_over_stays_itself_though_turning_it_over_adds_nothing() -> None:
    there = (Placement(number=1, part_id="bar", pose=Pose(flipped=True, x_mm=160.0, y_mm=40.0)),)
    layout = Layout(plate=PLATE, clearances=CLEAR, demands=(replace(BAR, may_flip=True), TAB), placements=there)

    found = several.pull_layout(layout, time_limit_s=0.0)

    assert [p.part_id for p in found.placements] == ["bar"]
    assert found.placements[0].pose.flipped
    assert (found.placements[0].pose.x_mm, found.placements[0].pose.y_mm) == pytest.approx((160.0, 40.0))
