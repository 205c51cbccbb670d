"""Fill: place what must be placed, then as much worth as fits.

A quick greedy layout first, largest items first, each pulled to one side.  Then moves, each a short separation: put in
several items at once while that works, later exchange few items for slightly more worth.
"""

import math
from collections import Counter
from dataclasses import dataclass

import numpy as np

from nesting.search.crew import Crew, Score, State
from nesting.search.kernels.arrays import FAR, Stock
from nesting.search.problem import Poses, Problem
from nesting.search.state import Effort

MOST_ITEMS = 5000
"""No more pieces than this go on one plate: a search keeps a figure for every pair of them."""

LARGEST_BITE, FIRST_BITE, SMALLEST_BITE = 0.03, 0.01, 0.0002
"""Share of the score by which a change has to better it at least, as far as it can; grows with success."""

EMPTY = 2
"""Places without an item that a crowd carries along, so that pieces can come in and go while it separates."""

PULLS = (
    (0.0, 1.0, 0.0, 0.05), (0.0, 0.05, 0.0, 1.0), (1.0, 0.0, 0.05, 0.0), (0.05, 0.0, 1.0, 0.0), (0.0, 1.0, 0.0, 1.0),
)  # fmt: skip
"""Directions of pull for greedy layouts: weights of reach to the left, right, down and up."""


@dataclass(frozen=True, kw_only=True)
class Change:
    """Items to take out, by index, and kinds to put in."""

    out: tuple[int, ...]
    into: tuple[int, ...]


NOTHING = State(poses=np.empty((0, 4)), score=())

LOOSE = 0.85
"""Below this share of the region all that is wanted mostly finds its place when everything is put in at once."""

ROUNDS_AT_ONCE = 30

MANY = 300
"""With more items than this one greedy layout a thread must do: the time is better spent on what follows."""


class Fill:
    """One fill of one problem; threads of a crew call its methods."""

    def __init__(self, problem: Problem, crew: Crew) -> None:
        self.problem = problem
        self.crew = crew
        self.greedy_states: list[State] = []
        self.bite = FIRST_BITE
        self.ranks = sorted({k.rank for k in problem.kinds})

    def greedy(self, thread: int, rng: np.random.Generator) -> None:
        """Offer greedy layouts with this thread's share of the pulls."""
        pulls = PULLS if self._most_at_all() <= MANY else PULLS[: self.crew.threads]
        for pull in pulls[thread :: self.crew.threads]:
            if not self.crew.take_step():
                return
            state = self.greedy_once(pull, rng)
            self.greedy_states.append(state)
            self.crew.offer(state)

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
        """Change the best layout for the better until everything is placed, the plate is full or time is up."""
        batch = 8
        barren = 0
        all_share = 1.0
        while barren < 2000:
            # Looked at once: another thread may complete it at any moment.
            state = self.crew.best
            assert state is not None, "greedy comes first"
            if len(state.poses) >= MOST_ITEMS or not self.waiting(state) or not self.crew.take_step():
                return
            if self._crowding(state) < 1.0 and rng.random() < all_share:
                starts = [state, *self.greedy_states]
                self._all_at_once(starts[int(rng.integers(len(starts)))], rng)
                all_share = 0.6 if self._crowding(state) < LOOSE else 0.3
                continue
            batch = min(batch, MOST_ITEMS - len(state.poses))
            change = self._batch(state, batch) if batch else self._exchange(state, rng)
            if change is None:
                batch //= 2
                barren += 1
                continue
            barren = 0
            patience = 40 if batch else int(30 + 20 * rng.exponential())
            if self._try(state, change, rng, patience):
                self.bite = min(LARGEST_BITE, 1.5 * self.bite)
            else:
                self.bite = max(SMALLEST_BITE, 0.85 * self.bite)
                batch //= 2

    def complete(self) -> bool:
        """True if nothing that is wanted is left over."""
        state = self.crew.best
        return state is not None and not self.waiting(state)

    def score(self, kinds: np.ndarray) -> Score:
        """Worth placed, rank by rank."""
        worth = [self.problem.kinds[int(k)] for k in kinds]
        return tuple(sum(w.worth for w in worth if w.rank == rank) for rank in self.ranks)

    @property
    def complete_states(self) -> list[State]:
        """Greedy layouts in which everything has a place."""
        return [state for state in self.greedy_states if not self.waiting(state)]

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
        waiting = self.waiting(NOTHING)
        order = [k for k in problem.biggest_first(list(waiting)) for _ in range(waiting[k])]
        seed = int(rng.integers(1 << 31))
        placed: list[int] = []
        hopeless: set[int] = set()
        crowd = self.crew.crowd(problem, self._waiting_poses(), seed=seed)
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

    def _most_at_all(self) -> int:
        """How many items the region's area could take, smallest first."""
        waiting = self.waiting(NOTHING)
        areas = np.sort(np.repeat(self.problem.area[list(waiting)], list(waiting.values())))
        count = int(np.searchsorted(np.cumsum(areas), self.problem.region_area)) + 1
        return min(count, len(areas), MOST_ITEMS)

    def _waiting_poses(self) -> Poses:
        """Poses far away for as many items as may be placed at all."""
        poses = np.zeros((self._most_at_all(), 4))
        poses[:, 0] = self.problem.first_shape[int(np.argmax(self.problem.area))]
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

    def _crowding(self, state: State) -> float:
        """Area of all that is placed and waiting, as a share of the region; infinite if no end of it is wanted."""
        if not self.can_complete() or sum(k.most or 0 for k in self.problem.kinds) > MOST_ITEMS:
            return math.inf
        wanted = sum(self.problem.area[k] * count for k, count in self.waiting(state).items())
        return float(self.problem.area[self.kinds_of(state)].sum() + wanted) / self.problem.region_area

    def _all_at_once(self, state: State, rng: np.random.Generator) -> None:
        """Put in all that is waiting and separate; on failure let two large items change places and try on."""
        into = tuple(k for k, count in self.waiting(state).items() for _ in range(count))
        poses = np.vstack([state.poses, [self._start(k, rng) for k in into]])
        crowd = self.crew.crowd(self.problem, poses, seed=int(rng.integers(1 << 31)))
        size = self.problem.area[self.problem.kind_of_shape[poses[:, 0].astype(np.int64)]]
        big = np.argsort(-size)[: max(4, len(size) // 2)]
        least, barren = math.inf, 0
        for _ in range(ROUNDS_AT_ONCE):
            left = crowd.separate(self.problem.region, Effort(passes=1000, patience=120))
            if left == 0.0:
                self.crew.offer(State(poses=crowd.poses, score=self.score(self._kinds(crowd.poses))))
            if left == 0.0 or self.crew.stopped or self.complete():
                break
            barren = 0 if left < 0.98 * least else barren + 1
            least = min(least, left)
            if barren == 3:
                crowd.poses = swapped(crowd.poses, big, rng)
                least, barren = math.inf, 0
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
            if any(into.count(k) > waiting[k] for k in into) or len(kinds) - len(out) + len(into) > MOST_ITEMS:
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
        """Carry out a change and separate; offer the result if nothing overlaps.

        Meanwhile waiting pieces may take the places of others, or places left empty, as long as the score stays better.
        """
        problem = self.problem
        kept = np.delete(state.poses, list(change.out), axis=0)
        new = np.array([self._start(k, rng) for k in change.into])
        for q, i in enumerate(change.out[: len(change.into)]):
            new[q, 1:3] = state.poses[i, 1:3]
        stock = self._stock(np.vstack([kept, new]), state.score)
        nothing = problem.shapes.nothing
        empty = np.tile([nothing, FAR, FAR, 0.0], (min(EMPTY, MOST_ITEMS - len(kept) - len(new)), 1))
        crowd = self.crew.crowd(problem, np.vstack([kept, new, empty]), seed=int(rng.integers(1 << 31)))
        left = crowd.separate(problem.region, Effort(rounds=3, passes=400, patience=patience), stock=stock)
        found = crowd.poses[crowd.items.shape != nothing]
        self.crew.done_with(crowd)
        return left == 0.0 and self.crew.offer(State(poses=found, score=self.score(self._kinds(found))))

    def _stock(self, poses: Poses, score: Score) -> Stock:
        """What waits beside these items, and how much worth they may lose and still be better than a score.

        Only pieces of the rank that makes them better change places: what goes before it stays, what comes after it
        does not count.
        """
        kinds = self.problem.kinds
        placed = np.bincount(self._kinds(poses), minlength=len(kinds))
        most = np.array([MOST_ITEMS if k.most is None else k.most for k in kinds])
        gains = np.subtract(self.score(self._kinds(poses)), score)
        better = int(np.argmax(gains != 0.0))
        asked = self.bite * abs(score[better]) if better < len(score) else 0.0
        swaps = np.array([k.rank == self.ranks[better] for k in kinds])
        return Stock(
            kind=np.append(self.problem.kind_of_shape, len(kinds)),
            first_shape=np.array([*self.problem.first_shape, self.problem.shapes.nothing], dtype=np.int64),
            waiting=np.append(np.where(swaps, most - placed, 0), MOST_ITEMS).astype(np.int64),
            swaps=np.append(swaps, True),
            worth=np.array([*(k.worth for k in kinds), 0.0], dtype=np.float64),
            slack=np.array([gains[better] - min(asked, gains[better] * (1.0 - 1e-6))]),
        )

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
