"""Short ways: a published optimum, and never worse than nearest next."""

import math
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nesting.geometry.tour import nearest_next, short_way, way_length

BERLIN = """565 575 25 185 345 750 945 685 845 655 880 660 25 230 525 1000 580 1175 650 1130 1605 620 1220 580 1465 200
1530 5 845 680 725 370 145 665 415 635 510 875 560 365 300 465 520 585 480 415 835 625 975 580 1215 245 1320 315
1250 400 660 180 410 250 420 555 575 665 1150 1160 700 580 685 595 685 610 770 610 795 645 720 635 760 650 475 960
95 260 875 920 700 500 555 815 830 485 1170 65 830 610 605 625 595 360 1340 725 1740 245"""
"""Problem berlin52 of TSPLIB (Reinelt, ORSA Journal on Computing 3, 1991); coordinates and optimum from memory."""

coordinates = st.tuples(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3))


def test_berlin52_to_its_published_optimum():
    """7542 with every distance rounded to a whole number, as TSPLIB counts."""
    places = np.array(BERLIN.split(), dtype=float).reshape(-1, 2)
    start = tuple(places[0])

    order = short_way(places[1:], places[1:], start, start)

    tour = places[[0, *(i + 1 for i in order), 0]]
    assert sorted(order) == list(range(51))
    assert sum(round(math.dist(a, b)) for a, b in zip(tour[:-1], tour[1:], strict=True)) == 7542


@given(st.lists(st.tuples(coordinates, coordinates), max_size=11), coordinates, st.none() | coordinates)
def test_every_place_once_and_no_longer_than_nearest_next(places, start, end):
    """Entries and exits apart, as pierces and the contacts of their lead-ins are."""
    entries, exits = [p[0] for p in places], [p[1] for p in places]

    order, plain = short_way(entries, exits, start, end), nearest_next(entries, exits, start)

    assert sorted(order) == sorted(plain) == list(range(len(places)))
    limit = way_length(plain, entries, exits, start, end)
    assert way_length(order, entries, exits, start, end) <= limit + 1e-6
    assert order == short_way(entries, exits, start, end)


@pytest.mark.parametrize("end", [None, (50.0, -20.0)])
def test_small_ways_are_the_shortest_there_are(end):
    """Against all orders of six places."""
    rng = np.random.default_rng(3)
    for _ in range(4):
        places = rng.random((6, 2)) * 100
        outs = places + rng.random((6, 2)) * 5
        best = min(way_length(list(o), places, outs, (0, 0), end) for o in permutations(range(6)))
        assert way_length(short_way(places, outs, (0, 0), end), places, outs, (0, 0), end) <= best * 1.05


def test_nearest_next_takes_the_first_of_equals():
    assert nearest_next([(1, 0), (0, 1), (2, 0)], [(1, 0), (0, 1), (2, 0)], (0, 0)) == [0, 2, 1]
