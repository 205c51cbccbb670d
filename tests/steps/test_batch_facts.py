"""What is told of a line that is left over."""

import pytest
from batch_orders import batch, line, sheet

from nesting.batch.plan import Planned
from nesting.steps.batch_facts import _why_short


@pytest.mark.parametrize(
    ("untried", "told"),
    [
        (frozenset({"a"}), "2 of 3 have no place yet: time ran out before all that may serve it was tried (s)"),
        (frozenset(), "2 of 3 found no place on s: it measures 60 x 60 mm"),
    ],
)
def test_time_that_ran_out_is_named_as_the_reason_only_where_it_is(untried: frozenset[str], told: str) -> None:
    of = batch([line("a", 60, 60, 3)], [sheet("s", 100, 100, 5.0)])
    found = Planned(groups=(), least_price=0.0, least_worth=0.0, seconds=1.0, layouts_tried=1, untried=untried)

    status, reason = _why_short(of, of.lines[0], 2, found)

    assert status == "left over"
    assert reason.startswith(told)
