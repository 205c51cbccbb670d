"""The strip problem of the literature: all items on a strip of given width, as short as it gets.

Where parts fit the width exactly (whole numbers, as drawn) a search in fractions meets that by chance only.  So it
is done on a strip a hair wider, and in the end all items are moved at once into the true width.
"""

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import shapely

from nesting.search.compact import mended
from nesting.search.crew import Crew, State
from nesting.search.fill import PULLS, Fill
from nesting.search.problem import Kind, Poses, Problem
from nesting.search.shorten import EXPLORING, Shorten
from nesting.search.state import Crowd, Effort

PLAINER = 0.0005
"""Share of its size by which a part may be taken larger, to have fewer corners, until the last fifth of the time."""

WIDER = 0.0001
"""Share by which the strip is taken wider until the very end."""

LONGER = (0.001, 0.003, 0.01, 0.03)
"""Shares by which a layout that cannot be moved into the true width at once may get longer to find room there."""

ALONG = (1.0, 0.0)


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
        first = fill.greedy_once(PULLS[0], np.random.default_rng(seed))
        if not fill.waiting(first):
            break
        length *= 1.3
        if length > 10 * area / width:
            plainer = 0.0  # a part may be just as high as the strip is wide
        if length > 100 * area / width:
            raise ValueError(f"some item does not fit a strip {width:g} wide at any turn allowed")
    crew.watch = watch
    strip = shapely.box(0.0, 0.0, length, width * (1.0 + WIDER))
    # True outlines can do no better than plainer ones until little is left to gain.
    poses = first.poses
    for inexact, share in ((plainer, EXPLORING), (0.0, 1.0)):
        shorten = Shorten(Problem(wanted, strip, plainer=inexact), crew, ALONG)
        crew.restart(shorten.state(poses))
        crew.run(shorten.work, share * time_limit_s - shorten.reserved_s, steps_share=share)
        assert crew.best is not None
        poses = crew.best.poses
    exact = Problem(wanted, problem.region_polygon)
    shorten = Shorten(exact, crew, ALONG)
    crew.restart(shorten.state(_in_width(exact, crew.history, shorten.reserved_s, otherwise=first.poses)))
    shorten.tighten()
    best = crew.best
    assert best is not None and math.isfinite(best.score[0])
    return exact, best, crew


def _in_width(exact: Problem, found: Sequence[State], seconds: float, *, otherwise: Poses) -> Poses:
    """Bring the last of the states found to the true width; the one before it if that cannot be done, and so on.

    After `seconds` the last is given a little more length instead, and if that does not do either, `otherwise` it is.
    """
    end = time.monotonic() + seconds
    for state in reversed(found):
        poses = mended(exact, state.poses, ALONG, seconds=end - time.monotonic())
        if poses is not None:
            return poses
    last = found[-1].poses
    crowd = Crowd(exact.shapes, last, seed=0, bounds=exact.region.bounds)
    reach = exact.extent(last, *ALONG)
    for longer in LONGER:
        if crowd.separate(exact.region_within(*ALONG, reach * (1.0 + longer)), Effort()) == 0.0:
            return crowd.poses
    return otherwise
