"""Shorten: pull all items together toward one side or corner, so that the rest stays one large piece.

On a rectangular sheet this is the strip problem of the literature.  The best layout is cut by a sliver at a random
place, what lies beyond is pushed in, and the overlap that this makes is separated.  A layout that yields no more is
loosened, some items change places, and it is shortened anew from there.  What that leads to is loosened next even if it
lies a little behind: from the best alone a search soon comes back to the same few layouts.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely.geometry import Polygon

from nesting.pull import Pull
from nesting.search.compact import compacted
from nesting.search.crew import Crew, State
from nesting.search.fill import swapped
from nesting.search.problem import Poses, Problem
from nesting.search.state import Crowd, Effort

LARGEST_BITE, FIRST_BITE, SMALLEST_BITE = 0.03, 0.01, 0.001
"""Share of the reach that one attempt takes off; halved by each failure, half as much again after each success."""

QUICK = Effort(passes=1000, patience=100)
THOROUGH = Effort(rounds=20, passes=4000, patience=400)
DEEP_EVERY = 2
"""One attempt in so many tries long; the others are mere throws of the dice, given up soon."""

TIGHTENING, LONGEST_TIGHTENING_S = 0.02, 1.0
"""Share of the time, and seconds at most, that are kept for moving all items at once in the end."""

BARREN = 4
"""Attempts at the smallest bite, without success, after which a layout yields no more."""

LOOSER = (0.005, 0.05)
"""Share of its reach by which a layout is loosened; more each time that does not free it of overlap."""

LOOSENINGS = 10

LOOSENED_SHARE = 0.75
"""Share of the work that goes into loosened layouts at most; the rest goes into the best itself."""

BEHIND = 0.003
"""Share of its reach by which a layout may lie behind the one that it came from, and be the next to be loosened: the
mean of what is drawn anew each time, mostly less and at times much more.
"""

GOING_BACK = 0.1
"""How often the best is loosened next instead."""

EXPLORING = 0.8
"""Share of the search after which only small bites are tried."""


@dataclass(frozen=True, kw_only=True)
class Way:
    """A layout, where to pull it, and the area of region that it leaves free beyond its reach.

    `away` is the unit vector that points from there; along it the reach is measured.
    """

    state: State
    pull: Pull
    away: tuple[float, float]
    free_area: float


@dataclass(kw_only=True)
class _Trail:
    """What one thread works on: a layout, its next bite, failures since the last success, whether it was loosened."""

    state: State
    bite: float = FIRST_BITE
    barren: int = 0
    loosened: bool = False


def ways_to_shorten(problem: Problem, states: Sequence[State], pulls: Sequence[Pull]) -> list[Way]:
    """Return every way to pull every layout, the one that leaves most free first."""
    x0, y0, x1, y1 = problem.region.bounds
    ways = []
    for pull in pulls:
        x, y = pull.direction(x1 - x0, y1 - y0)
        away = (0.0 - x, 0.0 - y)
        for state in states:
            beyond = _beyond(problem, away, problem.extent(state.poses, *away))
            free = problem.region_polygon.intersection(beyond).area
            ways.append(Way(state=state, pull=pull, away=away, free_area=free))
    return sorted(ways, key=lambda way: -way.free_area)


def _beyond(problem: Problem, away: tuple[float, float], reach: float) -> Polygon:
    """A rectangle over all of the region that lies farther along a direction than a reach."""
    x0, y0, x1, y1 = problem.region.bounds
    n, size = np.array(away), math.hypot(x1 - x0, y1 - y0)
    middle = np.array([x0 + x1, y0 + y1]) / 2
    foot, along = middle + n * (reach - float(middle @ n)), np.array([-away[1], away[0]])
    return Polygon(
        [foot - size * along, foot + size * along, foot + size * (along + 2 * n), foot + size * (2 * n - along)]
    )


class Shorten:
    """One shortening along a direction (unit vector): the smallest reach of the items along it."""

    def __init__(self, problem: Problem, crew: Crew, direction: tuple[float, float]) -> None:
        self.problem = problem
        self.crew = crew
        self.nx, self.ny = direction
        bounds = problem.region.bounds
        corners = [(x, y) for x in (bounds[0], bounds[2]) for y in (bounds[1], bounds[3])]
        self.low = float(min(self.nx * x + self.ny * y for x, y in corners))

    def reach(self, poses: Poses) -> float:
        """How far the items reach along the direction, from the region's near side."""
        return self.problem.extent(poses, self.nx, self.ny) - self.low

    def state(self, poses: Poses) -> State:
        """A state scored by its reach."""
        return State(poses=poses, score=(-self.reach(poses),))

    def work(self, _thread: int, rng: np.random.Generator) -> None:
        """Shorten until time is up: each thread a layout of its own at first, in the end all the best."""
        best = self.crew.best
        assert best is not None, "a layout to begin with"
        crowd = self.crew.crowd(self.problem, best.poses, seed=int(rng.integers(1 << 31)))
        size = np.sqrt(self.problem.area[self.problem.kind_of_shape[best.poses[:, 0].astype(np.int64)]])
        big = np.argsort(-size)[: max(4, len(size) // 2)]
        trail = _Trail(state=best)
        tried, spent = 0, {False: 0, True: 0}
        exhausted = None
        home = best
        while self._attempt(crowd, rng, trail):
            tried, before = int(crowd.counters[0]), tried
            spent[trail.loosened] += tried - before
            best = self.crew.best
            assert best is not None
            if self._late >= 0.0:
                trail.state = best
            elif trail.barren >= BARREN:
                if trail.loosened and self._is_next(trail.state, home, rng):
                    home = trail.state
                if trail.state.score >= best.score and exhausted is not best:
                    home = exhausted = best
                # One that is behind gives way to the best, until that yields no more either.
                loosen = exhausted is best and spent[True] * (1.0 - LOOSENED_SHARE) <= spent[False] * LOOSENED_SHARE
                if loosen and rng.random() < GOING_BACK:
                    home = best
                loose = self._loosened(crowd, rng, big, home) if loosen else None
                trail = loose or _Trail(state=best, bite=SMALLEST_BITE)
        self.crew.done_with(crowd)

    @property
    def _late(self) -> float:
        """Negative while exploring; from there to the end it grows from 0 to 1."""
        return (self.crew.progress - EXPLORING) / (1.0 - EXPLORING)

    def _is_next(self, state: State, home: State, rng: np.random.Generator) -> bool:
        """Tell whether what came of loosening `home` takes its place."""
        return bool(state.score[0] >= home.score[0] * (1.0 + rng.exponential(BEHIND)))

    def _loosened(self, crowd: Crowd, rng: np.random.Generator, big: np.ndarray, state: State) -> _Trail | None:
        """Spread a layout, let some of its large items change places, and free it of overlap again, if that goes."""
        reach = -state.score[0]
        for failures in range(LOOSENINGS):
            room = rng.uniform(*LOOSER) * (1.0 + failures / 4) * reach
            poses = state.poses
            for _ in range(3):
                poses = self._squeezed(poses, reach, -room / 3, rng)
            for _ in range(int(rng.integers(1, 4))):
                poses = swapped(poses, big, rng)
            crowd.poses = poses
            if not self.crew.take_step():
                break
            if crowd.separate(self.problem.region_within(self.nx, self.ny, self.low + reach + room), QUICK) == 0.0:
                return _Trail(state=self.state(crowd.poses), loosened=True)
        return None

    @property
    def reserved_s(self) -> float:
        """Seconds to keep for `tighten`; without end where steps are counted."""
        return math.inf if self.crew.steps is not None else min(LONGEST_TIGHTENING_S, TIGHTENING * self.crew.seconds)

    def tighten(self) -> None:
        """Move all items of the best state at once as far as they go."""
        best = self.crew.best
        assert best is not None, "a layout to begin with"
        poses = compacted(
            self.problem,
            best.poses,
            (self.nx, self.ny),
            seconds=self.reserved_s,
            should_stop=self.crew.asked_to_stop,
        )
        self.crew.offer(self.state(poses))

    def _attempt(self, crowd: Crowd, rng: np.random.Generator, trail: _Trail) -> bool:
        """Try one bite; False once there is no step left to take.  One in `DEEP_EVERY` after a failure tries long."""
        late = self._late
        exploring = late < 0.0
        deep = trail.barren % DEEP_EVERY == DEEP_EVERY - 1
        # While the layout is loose large bites pay, since they mostly succeed; near the end only small sure ones.
        bite = trail.bite if exploring else 0.0005 * (1.0 - late) + 0.00002
        begun = trail.state
        reach = -begun.score[0]
        target = reach * (1.0 - bite)
        region = self.problem.region_within(self.nx, self.ny, self.low + target)
        crowd.poses = self._squeezed(begun.poses, reach, reach - target, rng)
        if not self.crew.take_step():
            return False
        left = crowd.separate(region, THOROUGH if deep else QUICK)
        overtaken = crowd.overtaken()
        if left == 0.0:
            trail.state, trail.barren = self.state(crowd.poses), 0
            trail.bite = min(LARGEST_BITE, 1.5 * trail.bite)
            self.crew.offer(trail.state, by=None if exploring else crowd)
        elif exploring and not overtaken and trail.bite > SMALLEST_BITE:
            trail.bite = max(SMALLEST_BITE, trail.bite / 2)
        else:
            trail.barren += 1
        return True

    def _squeezed(self, poses: Poses, reach: float, sliver: float, rng: np.random.Generator) -> Poses:
        """Push everything beyond a random line in by the sliver, or out if that is negative."""
        along = poses[:, 1] * self.nx + poses[:, 2] * self.ny - self.low
        moved = poses.copy()
        beyond = along > rng.random() * reach
        moved[beyond, 1] -= sliver * self.nx
        moved[beyond, 2] -= sliver * self.ny
        return moved
