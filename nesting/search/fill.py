"""Fill: place what must be placed, then as much worth as fits.

A quick greedy layout first, largest items first, each pulled to one side.  Then moves, each a short separation: put in
several items at once while that works, later exchange few items for slightly more worth.
"""

from collections import Counter
from dataclasses import dataclass

import numpy as np

from nesting.search.crew import Crew, Score, State
from nesting.search.problem import Poses, Problem
from nesting.search.state import Effort

MOST_ITEMS = 2000
"""No more pieces than this go on one plate: a search keeps a figure for every pair of them."""

FAR = 1e9
"""Where items wait that have no place yet, out of everybody's way."""

PULLS = (
    (0.0, 1.0, 0.0, 0.05), (0.0, 0.05, 0.0, 1.0), (1.0, 0.0, 0.05, 0.0), (0.05, 0.0, 1.0, 0.0), (0.0, 1.0, 0.0, 1.0),
)  # fmt: skip
"""Directions of pull for greedy layouts: weights of reach to the left, right, down and up."""


@dataclass(frozen=True, kw_only=True)
class Change:
    """Items to take out, by index, and kinds to put in."""

    out: tuple[int, ...]
    into: tuple[int, ...]


class Fill:
    """One fill of one problem; threads of a crew call its methods."""

    def __init__(self, problem: Problem, crew: Crew) -> None:
        self.problem = problem
        self.crew = crew
        self.complete_states: list[State] = []
        self.ranks = sorted({k.rank for k in problem.kinds})

    def greedy(self, thread: int, rng: np.random.Generator) -> None:
        """Offer greedy layouts with this thread's share of the pulls."""
        for pull in PULLS[thread :: self.crew.threads]:
            if not self.crew.take_step():
                return
            state = self.greedy_once(pull, rng)
            if not self.waiting(state):
                self.complete_states.append(state)
            self.crew.offer(state)

    def fits_alone(self, rng: np.random.Generator) -> bool:
        """Tell whether one item of the first kind finds a place on the empty region."""
        if len(self.greedy_once(PULLS[0], rng).poses):
            return True
        nothing = State(poses=np.empty((0, 4)), score=self.score(np.empty(0, dtype=np.int64)))
        return any(self._try(nothing, Change(out=(), into=(0,)), rng, 200) for _ in range(5))

    def separate_once(self, poses: Poses) -> float:
        """Separate a few passes and return the overlap left; loads the kernels before a clock starts."""
        crowd = self.crew.crowd(self.problem, poses, seed=0)
        left = crowd.separate(self.problem.region, Effort(passes=2))
        self.crew.done_with(crowd)
        return left

    def can_complete(self) -> bool:
        """False if some kind is wanted as often as it fits, so that a fill never is complete."""
        return all(kind.most is not None for kind in self.problem.kinds)

    def improve(self, _thread: int, rng: np.random.Generator) -> None:
        """Change the best layout for the better until everything is placed or time is up."""
        batch = 8
        barren = 0
        while not self.complete() and barren < 2000 and self.crew.take_step():
            state = self.crew.best
            assert state is not None, "greedy comes first"
            if self._all_may_fit(state) and rng.random() < 0.3:
                self._all_at_once(state, rng)
                continue
            if len(state.poses) >= MOST_ITEMS - batch:
                return
            change = self._batch(state, batch) if batch else self._exchange(state, rng)
            if change is None:
                batch //= 2
                barren += 1
                continue
            barren = 0
            patience = 40 if batch else int(30 + 20 * rng.exponential())
            if not self._try(state, change, rng, patience):
                batch //= 2

    def complete(self) -> bool:
        """True if nothing that is wanted is left over."""
        state = self.crew.best
        return state is not None and not self.waiting(state)

    def score(self, kinds: np.ndarray) -> Score:
        """Worth placed, rank by rank."""
        worth = [self.problem.kinds[int(k)] for k in kinds]
        return tuple(sum(w.worth for w in worth if w.rank == rank) for rank in self.ranks)

    def kinds_of(self, state: State) -> np.ndarray:
        """The kind of each item."""
        return self._kinds(state.poses)

    def waiting(self, state: State) -> dict[int, int]:
        """Kinds not all placed, and how many of them are left."""
        placed = Counter(int(k) for k in self.kinds_of(state))
        room = {}
        for k, kind in enumerate(self.problem.kinds):
            left = MOST_ITEMS if kind.most is None else kind.most - placed[k]
            if left > 0:
                room[k] = left
        return room

    def greedy_once(self, pull: tuple[float, float, float, float], rng: np.random.Generator) -> State:
        """Place items one by one, largest first, each as far along the pull as it goes."""
        problem = self.problem
        empty = State(poses=np.empty((0, 4)), score=())
        waiting = self.waiting(empty)
        order = [k for k in problem.biggest_first(list(waiting)) for _ in range(waiting[k])]
        room = problem.region_area
        seed = int(rng.integers(1 << 31))
        placed: list[int] = []
        hopeless: set[int] = set()
        crowd = self.crew.crowd(problem, self._waiting_poses(order, room), seed=seed)
        crowd.lay_out()
        slot = 0
        for k in order:
            if k in hopeless or slot >= len(crowd.items.x) or self.crew.stopped:
                continue
            crowd.items.shape[slot] = problem.first_shape[k]
            if crowd.settle(slot, problem.region, pull, 3000):
                placed.append(k)
                slot += 1
            else:
                crowd.items.x[slot] = crowd.items.y[slot] = FAR
                hopeless.add(k)
        poses = crowd.poses[:slot].copy()
        self.crew.done_with(crowd)
        return State(poses=poses, score=self.score(np.array(placed, dtype=np.int64)))

    def _waiting_poses(self, order: list[int], room: float) -> Poses:
        """Poses far away for as many items, largest first, as the region's area could take at all."""
        areas = np.sort(self.problem.area[order])
        count = int(np.searchsorted(np.cumsum(areas), room)) + 1
        poses = np.zeros((min(count, len(order), MOST_ITEMS), 4))
        poses[:, 0] = self.problem.first_shape[order[0]]
        poses[:, 1] = poses[:, 2] = FAR
        return poses

    def _batch(self, state: State, size: int) -> Change | None:
        """Put in the next `size` largest that are waiting, if their area may fit."""
        waiting = self.waiting(state)
        order = [k for k in self.problem.biggest_first(list(waiting)) for _ in range(min(waiting[k], size))]
        into: list[int] = []
        free = self.problem.region_area - self.problem.area[self.kinds_of(state)].sum()
        for k in order:
            if len(into) < size and self.problem.area[k] < free:
                into.append(k)
                free -= self.problem.area[k]
        return Change(out=(), into=tuple(into)) if into else None

    def _all_may_fit(self, state: State) -> bool:
        """True if what is waiting is limited in number and no larger than the room that is left."""
        if not self.can_complete() or sum(k.most or 0 for k in self.problem.kinds) > MOST_ITEMS:
            return False
        waiting = self.waiting(state)
        wanted = sum(self.problem.area[k] * count for k, count in waiting.items())
        return float(self.problem.area[self.kinds_of(state)].sum() + wanted) <= self.problem.region_area

    def _all_at_once(self, state: State, rng: np.random.Generator) -> None:
        """Put in all that is waiting and separate; on failure let two large items change places and try on."""
        into = tuple(k for k, count in self.waiting(state).items() for _ in range(count))
        poses = np.vstack([state.poses, [self._start(k, rng) for k in into]])
        crowd = self.crew.crowd(self.problem, poses, seed=int(rng.integers(1 << 31)))
        size = self.problem.area[self.problem.kind_of_shape[poses[:, 0].astype(np.int64)]]
        big = np.argsort(-size)[: max(4, len(size) // 2)]
        for _ in range(6):
            left = crowd.separate(self.problem.region, Effort(passes=1000, patience=120))
            if left == 0.0:
                self.crew.offer(State(poses=crowd.poses, score=self.score(self._kinds(crowd.poses))))
            if left == 0.0 or self.crew.stopped or self.complete():
                break
            crowd.poses = swapped(crowd.poses, big, rng)
        self.crew.done_with(crowd)

    def _kinds(self, poses: Poses) -> np.ndarray:
        found: np.ndarray = self.problem.kind_of_shape[poses[:, 0].astype(np.int64)]
        return found

    def _exchange(self, state: State, rng: np.random.Generator) -> Change | None:
        """Draw an exchange that betters the score, small gains rather than large ones."""
        kinds = self.kinds_of(state)
        area = self.problem.area
        free = self.problem.region_area - area[kinds].sum()
        waiting = self.waiting(state)
        names = list(waiting)
        options: list[tuple[float, Change]] = []
        for _ in range(60):
            out_count = int(rng.choice(3, p=(0.25, 0.5, 0.25)))
            out = tuple(int(i) for i in rng.permutation(len(kinds))[: min(out_count, len(kinds))])
            into = tuple(int(k) for k in rng.choice(names, size=1 if rng.random() < 0.7 else 2))
            if any(into.count(k) > waiting[k] for k in into):
                continue
            gain = area[list(into)].sum() - area[kinds[list(out)]].sum()
            if gain > free:
                continue
            after = np.concatenate([np.delete(kinds, list(out)), np.array(into)])
            if self.score(after) > state.score:
                options.append((gain, Change(out=out, into=into)))
        if not options:
            return None
        options.sort(key=lambda option: option[0])
        return options[int(rng.random() ** 1.5 * len(options))][1]

    def _try(self, state: State, change: Change, rng: np.random.Generator, patience: int) -> bool:
        """Carry out a change and separate; offer the result if nothing overlaps."""
        problem = self.problem
        kept = np.delete(state.poses, list(change.out), axis=0)
        new = np.array([self._start(k, rng) for k in change.into])
        for q, i in enumerate(change.out[: len(change.into)]):
            new[q, 1:3] = state.poses[i, 1:3]
        poses = np.vstack([kept, new])
        crowd = self.crew.crowd(problem, poses, seed=int(rng.integers(1 << 31)))
        left = crowd.separate(problem.region, Effort(passes=400, patience=patience))
        found = crowd.poses
        self.crew.done_with(crowd)
        if left > 0.0:
            return False
        return self.crew.offer(State(poses=found, score=self.score(self._kinds(found))))

    def _start(self, kind: int, rng: np.random.Generator) -> list[float]:
        k = self.problem.first_shape[kind]
        shapes, b = self.problem.shapes, self.problem.region.bounds
        turns = shapes.turn[shapes.turn_start[k] : shapes.turn_start[k + 1]]
        x = b[0] + rng.random() * (b[2] - b[0])
        y = b[1] + rng.random() * (b[3] - b[1])
        return [k, x, y, float(rng.choice(turns))]


def swapped(poses: Poses, big: np.ndarray, rng: np.random.Generator) -> Poses:
    """Let two of the items `big`, of different shapes if possible, change places."""
    moved = poses.copy()
    if len(big) < 2:
        return moved
    for _ in range(20):
        a, b = rng.choice(big, 2, replace=False)
        if moved[a, 0] != moved[b, 0]:
            break
    moved[[a, b], 1:3] = moved[[b, a], 1:3]
    return moved
