"""The engine on one open benchmark instance; prints one JSON line.

    python tests/bench/packing.py strip ../shared/benchmarks/shirts.json --seconds 60
    python tests/bench/packing.py plate ../shared/benchmarks/hides7.json --plate 0 --seconds 60

`strip`: all parts, shortest length of a strip of given width; figure = part area / (width x length).
`plate`: as much part area as possible on one plate; figure = part area / plate area.
No gap and no margin, as in the literature.
"""

import argparse
import json
import math
import time
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely.geometry import Polygon

from nesting.search.crew import Crew, State
from nesting.search.fill import Fill
from nesting.search.problem import Kind, Problem, worst_overlap
from nesting.search.strip import shortest_strip


def read_kinds(data: dict[str, Any]) -> list[Kind]:
    """Return the instance's parts; outlines that cross themselves are cleaned, holes kept."""
    kinds = []
    for part in data["parts"]:
        polygon = Polygon(part["outline"], part.get("holes", []))
        if not polygon.is_valid:
            polygon = max(shapely.get_parts(polygon.buffer(0)), key=lambda p: p.area)
        turns = None if part["rotations"] == "any" else tuple(math.radians(a) for a in part["rotations"])
        kinds.append(Kind(polygon=polygon, turns=turns, most=part["qty"], worth=polygon.area))
    return kinds


MARKS_S = (2, 5, 10, 15, 30, 60, 120, 300)


class Course:
    """Watches a crew and notes its best score at some moments."""

    def __init__(self) -> None:
        self.scores: dict[int, float] = {}

    def __call__(self, crew: Crew) -> bool:
        """Note the score at every mark just passed; never asks to stop."""
        for mark in MARKS_S:
            if crew.best is not None and crew.best.score and mark not in self.scores and crew.elapsed >= mark:
                self.scores[mark] = crew.best.score[0]
        return False


def strip(data: dict[str, Any], seconds: float, seed: int, threads: int, wider: float = 0.0) -> dict[str, Any]:
    """Run the strip problem; the figure is worked out with the width as given."""
    kinds = read_kinds(data)
    warm_up(kinds)
    course = Course()
    problem, best, crew = shortest_strip(
        kinds, data["width"] * (1.0 + wider), seed=seed, time_limit_s=seconds, threads=threads, watch=course
    )
    area = sum(k.polygon.area * (k.most or 0) for k in kinds)
    length = -best.score[0]
    return {
        "figure": 100 * area / data["width"] / length,
        "length": length,
        "figure_at": {mark: round(100 * area / data["width"] / -score, 2) for mark, score in course.scores.items()},
        **facts(problem, best, crew),
    }


def plate(data: dict[str, Any], which: int, seconds: float, seed: int, threads: int) -> dict[str, Any]:
    """Fill one plate."""
    kinds = read_kinds(data)
    board = Polygon(data["plates"][which]["outline"], data["plates"][which].get("holes", []))
    warm_up(kinds)
    problem = Problem(kinds, board if board.is_valid else board.buffer(0))
    crew = Crew(seed=seed, seconds=seconds, steps=None, threads=threads)
    crew.watch = course = Course()
    fill = Fill(problem, crew)
    crew.run(fill.greedy, seconds)
    crew.run(fill.improve, seconds)
    best = crew.best
    assert best is not None
    polygons = problem.placed_polygons(best.poses)
    return {
        "figure": 100 * sum(p.area for p in polygons) / board.area,
        "figure_at": {mark: round(100 * score / board.area, 2) for mark, score in course.scores.items()},
        "of": sum(k.most or 0 for k in kinds),
        "worst_outside": max((p.difference(board).area for p in polygons), default=0.0),
        **facts(problem, best, crew),
    }


def facts(problem: Problem, best: State, crew: Crew) -> dict[str, Any]:
    """What both modes report."""
    return {
        "parts": len(best.poses),
        "worst_overlap": worst_overlap(problem.placed_polygons(best.poses)),
        "poses_per_second": crew.poses_tried / crew.elapsed,
        "seconds_taken": crew.elapsed,
        "threads": crew.threads,
        "seed": crew.seed,
    }


def warm_up(kinds: list[Kind]) -> None:
    """Load or compile the kernels before the clock starts."""
    side = 10 * max(math.sqrt(k.polygon.area) for k in kinds)
    problem = Problem(kinds[:1], shapely.box(0, 0, side, side))
    fill = Fill(problem, Crew(seed=0, seconds=1.0, steps=1, threads=1))
    state = fill.greedy_once((0.0, 1.0, 0.0, 0.1), np.random.default_rng(0))
    fill.separate_once(state.poses)


def main() -> None:
    """Read the arguments and print the line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("mode", choices=["strip", "plate"])
    parser.add_argument("instance")
    parser.add_argument("--plate", type=int, default=0)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--wider", type=float, default=0.0, help="share to widen a strip by: 0.0001 as published")
    o = parser.parse_args()
    data = json.loads(Path(o.instance).read_text(encoding="utf-8"))
    began = time.monotonic()
    if o.mode == "strip":
        found = strip(data, o.seconds, o.seed, o.threads, o.wider)
    else:
        found = plate(data, o.plate, o.seconds, o.seed, o.threads)
    found["seconds_with_loading"] = time.monotonic() - began
    rounded = {k: round(v, 4) if isinstance(v, float) else v for k, v in found.items()}
    print(json.dumps({"instance": data["name"], "mode": o.mode, "seconds": o.seconds, **rounded}))


if __name__ == "__main__":
    main()
