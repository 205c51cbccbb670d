"""The strip problem of the literature: all items on a strip of given width, as short as it gets."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import shapely

from nesting.search.crew import Crew, State
from nesting.search.fill import PULLS, Fill
from nesting.search.problem import Kind, Problem
from nesting.search.shorten import EXPLORING, Shorten

PLAINER = 0.0005
"""Share of its size by which a part may be taken larger, to have fewer corners, until the last fifth of the time."""


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
    wanted = [replace(k, worth=k.polygon.area) for k in kinds]
    plainer = PLAINER
    while True:
        problem = Problem(wanted, shapely.box(0.0, 0.0, length, width), plainer=plainer)
        fill = Fill(problem, crew)
        state = fill.greedy_once(PULLS[0], np.random.default_rng(seed))
        if not fill.waiting(state):
            break
        length *= 1.3
        if length > 10 * area / width:
            plainer = 0.0  # a part may be just as high as the strip is wide
        if length > 100 * area / width:
            raise ValueError(f"some item does not fit a strip {width:g} wide at any turn allowed")
    crew.watch = watch
    # True outlines can do no better than plainer ones until little is left to gain.
    exact = Problem(wanted, problem.region_polygon)
    for stage, share in ((problem, EXPLORING), (exact, 1.0)):
        shorten = Shorten(stage, crew, (1.0, 0.0))
        crew.restart(shorten.state(state.poses))
        crew.run(shorten.work, share * time_limit_s - shorten.reserved_s, steps_share=share)
        assert crew.best is not None
        state = crew.best
    shorten.tighten()
    best = crew.best
    assert best is not None and math.isfinite(best.score[0])
    return exact, best, crew
