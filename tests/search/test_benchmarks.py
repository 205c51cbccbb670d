"""The open instances are read whole, and the search stays under what is possible on them.

Widths, counts and total areas: the ESICUP data sets (CC0), as tabled for Gardeyn, Vanden Berghe & Wauters 2025,
arXiv:2509.13329.  dighe1 is a jigsaw of a 100 x 100 square: no layout is shorter than 100.
"""

import json
import sys
from pathlib import Path
from typing import Any

import pytest
import shapely

from nesting.search.problem import worst_overlap
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
