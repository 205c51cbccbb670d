"""Which parts find a place on the empty plate at all."""

import numpy as np

from nesting.search.crew import Crew
from nesting.search.fill import PULLS
from nesting.search.kernels.arrays import FAR
from nesting.search.problem import Problem
from nesting.search.state import Effort

STARTS = 5
"""Random starts from which a part that settles nowhere is separated from the region's edge."""


def fitting_alone(problem: Problem, crew: Crew) -> list[int]:
    """Return the kinds of which one finds a place on the empty region.

    A failure after many tries counts as not fitting; what there was no time to try counts as fitting.
    """
    hopeless: set[int] = set()

    def work(thread: int, _rng: np.random.Generator) -> None:
        for kind in range(thread, len(problem.kinds), crew.threads):
            if not crew.stopped and not _fits_alone(problem, kind, crew) and not crew.stopped:
                hopeless.add(kind)

    crew.phase = "trying each part alone"
    crew.run(work, crew.seconds)
    return [kind for kind in range(len(problem.kinds)) if kind not in hopeless]


def _fits_alone(problem: Problem, kind: int, crew: Crew) -> bool:
    if problem.area[kind] > problem.region_area:
        return False
    rng = np.random.default_rng([crew.seed, kind])
    shape, bounds = problem.first_shape[kind], problem.region.bounds
    crowd = crew.crowd(problem, np.array([[shape, FAR, FAR, 0.0]]), seed=int(rng.integers(1 << 31)))
    crowd.lay_out()
    found = crowd.settle(0, problem.region, PULLS[0], 3000)
    turns = problem.shapes.turn[problem.shapes.turn_start[shape] : problem.shapes.turn_start[shape + 1]]
    for _ in range(STARTS):
        if found or crew.stopped:
            break
        x, y = rng.uniform(bounds[:2], bounds[2:])
        crowd.poses = np.array([[shape, x, y, rng.choice(turns)]])
        found = crowd.separate(problem.region, Effort(passes=400, patience=200)) == 0.0
    crew.done_with(crowd)
    return found
