"""The strip problem of the literature: all items on a strip of given width, as short as it gets."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import shapely

from nesting.search.crew import Crew, State
from nesting.search.fill import PULLS, Fill
from nesting.search.problem import Kind, Problem
from nesting.search.shorten import Shorten


def shortest_strip(
    kinds: Sequence[Kind],
    width: float,
    *,
    seed: int = 0,
    time_limit_s: float = 60.0,
    steps: int | None = None,
    threads: int = 2,
    watch: Callable[[Crew], bool] | None = None,
) -> tuple[Problem, State, Crew]:
    """Return the problem, the best state found and the crew that found it; its score is minus the length."""
    area = sum(k.polygon.area * (k.most or 1) for k in kinds)
    length = max(area / width / 0.5, *(2 * shapely.minimum_bounding_radius(k.polygon) for k in kinds))
    crew = Crew(seed=seed, seconds=time_limit_s, steps=steps, threads=threads)
    while True:
        problem = Problem([replace(k, worth=k.polygon.area) for k in kinds], shapely.box(0.0, 0.0, length, width))
        fill = Fill(problem, crew)
        state = fill.greedy_once(PULLS[0], np.random.default_rng(seed))
        if not fill.waiting(state):
            break
        length *= 1.3
        if length > 100 * area / width:
            raise ValueError(f"some item does not fit a strip {width:g} wide at any turn allowed")
    shorten = Shorten(problem, crew, (1.0, 0.0))
    crew.restart(shorten.state(state.poses))
    crew.watch = watch
    crew.run(shorten.work, time_limit_s)
    best = crew.best
    assert best is not None and math.isfinite(best.score[0])
    return problem, best, crew
