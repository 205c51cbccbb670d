"""The solver's bound against every choice there is."""

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nesting.search.knapsack import Sack, most_value

NUMBERS = st.integers(1, 40).map(lambda n: n / 8)


@settings(max_examples=60)
@given(st.data())
def test_no_choice_of_pieces_is_worth_more(data: st.DataObject) -> None:
    """Two sacks, three kinds, all rules at once; and the bound is a choice's value but for its own tolerance."""
    values, weights = (data.draw(st.lists(NUMBERS, min_size=3, max_size=3)) for _ in range(2))
    counts = data.draw(st.lists(st.integers(1, 2), min_size=3, max_size=3))
    pairs = list(itertools.combinations_with_replacement(range(3), 2))
    sacks = [
        Sack(
            capacity=data.draw(NUMBERS) * 2,
            takes=(0, 1, 2),
            apart=tuple(data.draw(st.lists(st.sampled_from(pairs), max_size=2, unique=True))),
            crowds=(((0, 1, 2), data.draw(st.integers(1, 4))),),
        )
        for _ in range(2)
    ]
    capacity = sum(s.capacity for s in sacks) * data.draw(st.sampled_from([0.6, 1.0]))

    most = most_value(values, weights, counts, sacks, capacity)

    best = exhaustive(values, weights, counts, sacks, capacity)
    assert best * (1 - 1e-9) <= most
    assert most == pytest.approx(best, rel=2e-4, abs=1e-6)


def exhaustive(
    values: list[float], weights: list[float], counts: list[int], sacks: list[Sack], capacity: float
) -> float:
    best = 0.0
    for chosen in itertools.product(*(range(c + 1) for c in counts * 2)):
        inside = (chosen[:3], chosen[3:])
        heavy = [sum(n * w for n, w in zip(row, weights, strict=True)) for row in inside]
        if any(a + b > c for a, b, c in zip(*inside, counts, strict=True)) or sum(heavy) > capacity * (1 + 1e-12):
            continue
        if all(holds(sack, row, own) for sack, row, own in zip(sacks, inside, heavy, strict=True)):
            total = (n * v for row in inside for n, v in zip(row, values, strict=True))
            best = max(best, math.fsum(total))
    return best


def holds(sack: Sack, row: tuple[int, ...], heavy: float) -> bool:
    together = all(row[i] <= 1 if i == j else not (row[i] and row[j]) for i, j in sack.apart)
    crowded = all(sum(row[i] for i in members) <= most for members, most in sack.crowds)
    return together and crowded and heavy <= sack.capacity * (1 + 1e-12)


def test_any_number_of_a_kind_is_as_many_as_weigh_no_more() -> None:
    assert most_value([2.0], [3.0], [None], [Sack(capacity=10.0, takes=(0,))], 10.0) == pytest.approx(6.0, rel=1e-4)
