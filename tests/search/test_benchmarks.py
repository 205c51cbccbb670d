"""The open instances are read whole, and the search stays under what is possible on them.

Widths, counts and total areas: the ESICUP data sets (CC0), as tabled for Gardeyn, Vanden Berghe & Wauters 2025,
arXiv:2509.13329.  dighe1 is a jigsaw of a 100 x 100 square: no layout is shorter than 100.  Hides: the tests with
defects of Baldacci, Boschetti, Ganovelli & Maniezzo 2014 (doi:10.1016/j.dam.2012.03.026), counts of the open data.
"""

import json
import math
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon

from nesting.search.crew import Crew
from nesting.search.fill import Fill
from nesting.search.problem import Problem, worst_overlap
from nesting.search.strip import shortest_strip

REPOSITORY = Path(__file__).resolve().parents[2]
DATA = REPOSITORY.parent / "shared" / "benchmarks"
sys.path.insert(0, str(REPOSITORY / "tests" / "bench"))

from packing import read_kinds  # noqa: E402

pytestmark = pytest.mark.skipif(
    not DATA.is_dir(), reason="the folder of open benchmark data is not beside the checkout"
)

PUBLISHED = {
    "albano": (4900, 24, 42_656_785),
    "dagli": (60, 30, 3_034.5),
    "dighe1": (100, 16, 10_000),
    "fu": (38, 12, 1_083),
    "marques": (104, 24, 7_194),
    "shapes0": (40, 43, 1_596),
    "shirts": (40, 99, 2_160),
    "trousers": (79, 64, 17_206.5),
}

TURNS = {
    "albano": (0, 180),
    "dagli": (0, 180),
    "dighe1": (0,),
    "fu": (0, 90, 180, 270),
    "marques": (0, 90, 180, 270),
    "shapes0": (0,),
    "shirts": (0, 180),
    "trousers": (0, 180),
}
HIDES = {"hides1": (41, 54), "hides4": (14, 42), "hides7": (4, 280), "hides10": (18, 54)}
"""Piece types and pieces."""


def instance(name: str) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((DATA / f"{name}.json").read_text(encoding="utf-8"))
    return data


@pytest.mark.parametrize("name", PUBLISHED)
def test_width_count_and_area_are_the_published_ones(name: str) -> None:
    width, count, area = PUBLISHED[name]
    data = instance(name)

    kinds = read_kinds(data)

    assert data["width"] == width
    assert sum(k.most or 0 for k in kinds) == count
    # The table prints areas to four or five places.
    assert sum(k.polygon.area * (k.most or 0) for k in kinds) == pytest.approx(area, rel=2e-4)
    assert all(k.polygon.is_valid for k in kinds)
    assert {k.turns for k in kinds} == {tuple(math.radians(a) for a in TURNS[name])}


@pytest.mark.parametrize("name", HIDES)
def test_hides_have_as_many_pieces_as_told(name: str) -> None:
    data = instance(name)

    kinds = read_kinds(data)

    assert (len(kinds), sum(k.most or 0 for k in kinds)) == HIDES[name]
    assert all(k.turns is None and k.polygon.is_valid for k in kinds)


def test_a_few_steps_give_a_legal_hide() -> None:
    """Ragged outline, holes, parts of any turn; no more of any part than there are."""
    data = instance("hides1")
    hide = Polygon(data["plates"][0]["outline"], data["plates"][0]["holes"])
    kinds = read_kinds(data)
    problem = Problem(kinds, hide)
    crew = Crew(seed=1, seconds=0.0, steps=6, threads=1)
    fill = Fill(problem, crew)

    crew.run(fill.greedy, math.inf)
    crew.run(fill.improve, math.inf)

    assert crew.best is not None and crew.steps_taken == 6
    polygons = problem.placed_polygons(crew.best.poses)
    assert hide.is_valid and len(hide.interiors) == len(data["plates"][0]["holes"]) > 0
    assert worst_overlap(polygons) < 1e-9 * hide.area
    assert max(p.difference(hide).area for p in polygons) < 1e-9 * hide.area
    placed = np.bincount(fill.kinds_of(crew.best), minlength=len(kinds))
    assert all(n <= (kind.most or 0) for n, kind in zip(placed, kinds, strict=True))
    assert 0.4 < sum(p.area for p in polygons) / hide.area < 1.0


@pytest.mark.parametrize("name", ["fu", "dighe1"])
def test_a_few_steps_give_a_legal_strip(name: str) -> None:
    data = instance(name)
    kinds = read_kinds(data)

    problem, best, crew = shortest_strip(kinds, data["width"], seed=1, steps=6)

    polygons = problem.placed_polygons(best.poses)
    length = -best.score[0]
    area = sum(p.area for p in polygons)
    assert crew.steps_taken <= 7
    assert len(polygons) == PUBLISHED[name][1]
    assert worst_overlap(polygons) < 1e-9 * area
    assert shapely.box(0, 0, length, data["width"]).buffer(1e-9 * length).covers(shapely.union_all(polygons))
    assert 0.5 < area / (length * data["width"]) <= 1.0
