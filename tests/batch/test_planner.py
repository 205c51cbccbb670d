"""How long and by which values a planner has pieces filled."""

from collections import Counter

import numpy as np
import pytest
from batch_orders import batch, line, remnant

from nesting.batch.errands import Chain
from nesting.batch.knowledge import Knowledge
from nesting.batch.planner import LEAD_PAIR_S, LEAD_SHARE, Planner
from nesting.batch.stock import Batch

SECONDS, WORKERS = 600.0, 2


def order(parts: int) -> Batch:
    """So many equal parts that all go on one piece, and another piece of that size."""
    return batch([line("a", 10, 10, parts)], [remnant("r0", 200, 200), remnant("r1", 200, 200)])


@pytest.mark.parametrize("parts", [6, 200])
def test_the_careful_fill_takes_its_share_of_the_time_but_less_for_few_parts(parts: int) -> None:
    planner = Planner(order(parts), seconds=SECONDS, workers=WORKERS, seed=0, progress=lambda: 0.0)

    tasks = [planner.next() for _ in range(3)]

    (lead,) = (t.errand for t in tasks if t is not None and isinstance(t.errand, Chain) and t.errand.threads == WORKERS)
    assert isinstance(lead, Chain)
    assert lead.seconds == pytest.approx(min(LEAD_SHARE * SECONDS, LEAD_PAIR_S * parts * (parts - 1) / 2))


def test_values_are_moved_by_the_factors_given() -> None:
    known = Knowledge(batch([line("a", 10, 10, 1), line("b", 20, 10, 1)], [remnant("r", 100, 100)]))
    wanted = Counter(a=1, b=1)

    plain, shaken = (known.demands(wanted, 1.0, shaken=s) for s in (None, np.array([3.0, 0.5])))

    assert [d.worth for d in plain] == pytest.approx([known.area["a"], known.area["b"]])
    assert [d.worth for d in shaken] == pytest.approx([3.0 * known.area["a"], 0.5 * known.area["b"]])


def test_a_piece_is_thought_to_take_what_pieces_take_in_the_mean_if_it_was_seen_to_take_less() -> None:
    of = batch([line("a", 10, 10, 1)], [remnant(name, 100, 100) for name in "pqr"])
    known = Knowledge(of)
    known.pieces[0].used, known.pieces[1].used = 0.9, 0.5

    assert known.guess(0.8).potential == pytest.approx([0.8 * u * 1e4 for u in (0.9, 0.7, 0.7)])
