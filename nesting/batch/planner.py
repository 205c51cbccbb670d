"""What to try next for one batch, and what came of it: columns by search, choice by CP-SAT, over and over.

Two quick plans come first: largest piece first, and cheapest piece first.  Then sets of pieces that would be cheaper
are tried, the most daring that what was seen so far makes likely: parts are laid on them, those without a place are
given more value, and two pieces at a time are laid out again with what was left over.  All layouts go into one pool,
from which the master picks; what two trials found apart may come together there.
"""

import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from nesting.batch.columns import Column, Picked, Pool, trimmed
from nesting.batch.errands import Chain, Filled, Gauge, Stage, Tidy, fill_chain, gauge, tidy
from nesting.batch.master import Guess, least_cost, pick, promising
from nesting.batch.stock import Batch, mates
from nesting.demand import Demand
from nesting.layout import Layout

FILL_S: Final = (0.4, 10.0)
"""Shortest and longest that one piece is filled at first."""

GAUGE_EVERY: Final = 3
"""One errand in so many is spent on a bound, until every piece has one."""

USUAL: Final = 0.75
"""Share of a piece that parts are thought to take before any has been filled."""

FIRST_REACH, FIRST_BITE, LEAST_BITE, LARGEST_BITE = 0.9, 0.1, 0.005, 0.1
"""How much of what pieces took when there was plenty a whole set is thought to take, and what a trial asks beyond."""

POLISH_FROM: Final = 0.86
"""Share of the time after which the plan stands and only its leftovers are bettered."""

TIDY_FROM: Final = 0.93

PRICES: Final = (1.0, 1.35)
"""Parts are valued by area to a power between these: large ones are hard to place and go first."""


@dataclass(kw_only=True)
class Trial:
    """A set of pieces that would be better than the plan so far, and the most that was laid on it."""

    pieces: Counter[int]
    best: Picked
    opened: bool = False
    barren: int = 0

    @property
    def kinds(self) -> list[int]:
        """The pieces, each kind once."""
        return sorted(self.pieces)


@dataclass(frozen=True, kw_only=True)
class Task:
    """An errand and what it is for."""

    run: Callable[..., object]
    errand: Chain | Gauge | Tidy
    pieces: tuple[int, ...]
    what: str
    seconds: float
    trial: Trial | None = None
    base: tuple[Column, ...] = ()


@dataclass(kw_only=True)
class _Seen:
    """What is known of a piece: a bound on the part area it takes, which lines fit as far as they were tried there,
    how much of it was used while parts were plenty.
    """

    most: float
    fits: frozenset[str]
    tried: frozenset[str] = frozenset()
    gauged: bool = False
    used: float | None = None


@dataclass(kw_only=True)
class Planner:
    """The search for a plan of one batch; `progress` gives the share of the time that has gone."""

    batch: Batch
    seconds: float
    workers: int
    seed: int
    progress: Callable[[], float]
    pool: Pool = field(init=False)
    plan: Picked = field(init=False)
    spent: float = 0.0
    done: bool = False

    def __post_init__(self) -> None:
        self.pool = Pool(self.batch)
        self.plan = Picked(batch=self.batch)
        ids = [line.id for line in self.batch.lines]
        self._seen = [
            _Seen(most=piece.plate.area_mm2, fits=frozenset(ids[i] for i in lines))
            for piece, lines in zip(self.batch.pieces, self.batch.serves, strict=True)
        ]
        self._random = np.random.default_rng(self.seed)
        self._waiting: list[Task] = []
        self._starts = ["largest", "cheapest"]
        self._flying = 0
        self._turn = 0
        self._trial: Trial | None = None
        self._failed: list[Counter[int]] = []
        self._bite = FIRST_BITE
        self._took: list[tuple[Counter[int], float]] = []
        self._hard: Counter[str] = Counter()
        self._concentrated, self._tidied = 0, False
        self._patience = 1.0
        self._proven = False
        self.fill_s = self._fill_s()

    @property
    def phase(self) -> str:
        """What is being done."""
        if self._starts:
            return "first plans"
        if self._proven or not self._before(POLISH_FROM):
            return "leftovers"
        return "trying cheaper sets of pieces" if self._complete(self.plan) else "finding places"

    def least_cost(self) -> tuple[float, float]:
        """A price, and a worth at that price, that no plan which makes all due lines stays below."""
        return least_cost(self.batch, [s.most for s in self._seen], [s.fits for s in self._seen])

    # What to do next

    def next(self) -> Task | None:
        """Return something to do, or None if there is nothing now; `done` tells whether there will be."""
        task = self._next()
        if task is not None:
            self._flying += 1
            self.spent += task.seconds
        elif self._flying == 0:
            self.done = self.done or self._tidied
        return task

    def _next(self) -> Task | None:
        if self.done:
            return None
        if self._starts and self._before(POLISH_FROM):
            return self._start()
        if self._before(POLISH_FROM) and not self._proven and (self.plan.columns or not self._flying):
            self._turn += 1
            return (self._gauge() if self._turn % GAUGE_EVERY == 0 else None) or self._try_on()
        if self.plan.columns:
            return self._polish()
        self.done = self._flying == 0
        return None

    def _before(self, share: float) -> bool:
        return self.progress() < share

    def _fill_s(self) -> float:
        """So that the time is enough to fill every piece that is needed about a dozen times."""
        wanted = sum(line.demand.part.area_mm2 * line.quantity for line in self.batch.lines)
        mean = float(np.mean([p.plate.area_mm2 for p in self.batch.pieces]))
        needed = max(1.0, wanted / (USUAL * mean))
        return min(FILL_S[1], max(FILL_S[0], self.seconds * self.workers / (14.0 * needed)))

    def _cut_s(self, seconds: float) -> float:
        """No longer than there is time."""
        return max(0.1, min(seconds, (1.0 - self.progress()) * self.seconds))

    def _start(self) -> Task | None:
        """A quick plan: pieces in order until everything has a place."""
        by_size = self._starts[0] == "largest"
        self._starts.pop(0)
        order = self._ordered(by_size)
        return self._chain(order, self._wanted(), what="start", power=1.0 if by_size else 1.15)

    def _ordered(self, by_size: bool) -> list[int]:
        """Pieces to fill one after the other, three times as much as is needed at most; sheets after all remnants."""
        pieces = self.batch.pieces
        wanted = sum(line.demand.part.area_mm2 * line.quantity for line in self.batch.lines)
        ranked = sorted(
            (p for p in range(len(pieces)) if self._seen[p].fits),
            key=lambda p: (pieces[p].price, -pieces[p].plate.area_mm2 if by_size else pieces[p].worth),
        )
        found: list[int] = []
        room = 0.0
        for p in ranked:
            for _ in range(pieces[p].count):
                if room < 3.0 * wanted:
                    found.append(p)
                    room += pieces[p].plate.area_mm2
        return found

    def _gauge(self) -> Task | None:
        """Find a bound for a piece that has none yet, the cheapest first: those matter most for what is possible."""
        waiting = [p for p, seen in enumerate(self._seen) if not seen.gauged and seen.fits]
        if not waiting:
            return None
        p = min(waiting, key=lambda p: (self.batch.pieces[p].price, self.batch.pieces[p].worth))
        self._seen[p].gauged = True
        piece = self.batch.pieces[p]
        demands = tuple(line.demand for line in self.batch.lines if line.id in self._seen[p].fits)
        errand = Gauge(plate=piece.plate, clearances=piece.clearances, demands=demands)
        return Task(run=gauge, errand=errand, pieces=(p,), what="gauge", seconds=1.0)

    def _try_on(self) -> Task | None:
        """Go on with the trial at hand, or begin another."""
        if self._trial is None:
            self._trial = self._next_trial()
            if self._trial is None:
                return None if self._flying else self._polish()
        trial = self._trial
        if not trial.opened:
            trial.opened = True
            return self._opening(trial)
        return self._repair(trial)

    def _next_trial(self) -> Trial | None:
        """Choose the cheapest set that may do; the roomiest of the better ones where none seems to."""
        if self.plan.columns and not self.plan.short and self._cannot_be_better():
            self._proven = True
            return None
        below = self.plan if self._complete(self.plan) else None
        chosen = promising(self.batch, self._guess(self._reach + self._bite), below=below, tried=self._failed)
        if chosen is None and below is not None:
            chosen = promising(self.batch, self._guess(1.0), below=below, tried=self._failed, roomiest=True)
        if chosen is None and below is None:
            chosen = Counter({p: piece.count for p, piece in enumerate(self.batch.pieces) if self._seen[p].fits})
            chosen = self._enough(chosen)
        if chosen is None:
            if not self._failed:
                self._proven = True
                return None
            # All have been tried: once more, longer.
            self._failed.clear()
            self._patience *= 2.0
            return self._next_trial()
        known = pick(self.batch, self.pool.of(chosen), pieces=chosen)
        return Trial(pieces=chosen, best=known)

    def _enough(self, pieces: Counter[int]) -> Counter[int]:
        """Of sheets no more than all lines could ever need."""
        wanted = sum(line.demand.part.area_mm2 * line.quantity for line in self.batch.lines)
        capped: Counter[int] = Counter()
        for p, n in pieces.items():
            area = self.batch.pieces[p].plate.area_mm2
            capped[p] = min(n, math.ceil(2.0 * wanted / area) + 1)
        return capped

    def _cannot_be_better(self) -> bool:
        """True if the bounds leave no cheaper set of pieces."""
        caps = Guess(
            potential=tuple(s.most + 1.0 for s in self._seen),
            fits=tuple(s.fits for s in self._seen),
        )
        return promising(self.batch, caps, below=self.plan, tried=()) is None

    def _guess(self, reach: float) -> Guess:
        known = [s.used for s in self._seen if s.used is not None]
        usual = float(np.mean(known)) if known else USUAL
        areas = [p.plate.area_mm2 for p in self.batch.pieces]
        potential = tuple(
            min(s.most, reach * (usual if s.used is None else s.used) * a)
            for s, a in zip(self._seen, areas, strict=True)
        )
        return Guess(potential=potential, fits=tuple(s.fits for s in self._seen))

    def _complete(self, picked: Picked) -> bool:
        """True if all lines due that fit anywhere are made."""
        somewhere = frozenset().union(*(s.fits for s in self._seen))
        later = {line.id for line in self.batch.lines if line.later}
        return bool(picked.columns) and not (picked.short.keys() & somewhere - later)

    def _opening(self, trial: Trial) -> Task:
        """Keep what the plan has on pieces that stay; fill the others with the rest."""
        kept = [c for c in self.plan.columns if trial.pieces[c.piece]]
        kept = [c for n, c in enumerate(kept) if sum(k.piece == c.piece for k in kept[:n]) < trial.pieces[c.piece]]
        fresh = trial.pieces - Counter(c.piece for c in kept)
        if len(kept) < sum(trial.pieces.values()) / 2 or not fresh:
            kept, fresh = [], trial.pieces
        order = sorted(fresh.elements(), key=lambda p: -self.batch.pieces[p].plate.area_mm2)
        wanted = self._wanted()
        wanted.subtract(sum((c.counts for c in kept), Counter()))
        return self._chain(order, +wanted, what="opening", trial=trial, base=tuple(kept))

    def _repair(self, trial: Trial) -> Task:
        """Lay two pieces of a trial out again, with what found no place."""
        columns = list(trial.best.columns)
        unused = trial.pieces - Counter(c.piece for c in columns)
        slots: list[tuple[int, Column | None]] = [(c.piece, c) for c in columns] + [
            (p, None) for p in unused.elements()
        ]
        first = slots[int(self._random.integers(len(slots)))]
        others = [s for s in slots if s is not first and mates(self.batch.pieces, first[0], s[0])]
        chosen = [first] + ([others[int(self._random.integers(len(others)))]] if others else [])
        wanted = Counter(trial.best.short)
        wanted.update(sum((c.counts for _, c in chosen if c is not None), Counter()))
        base = tuple(c for c in columns if not any(c is mine for _, mine in chosen))
        warm = [c if self._random.random() < 0.4 else None for _, c in chosen]
        return self._chain(
            [p for p, _ in chosen], wanted, what="repair", trial=trial, base=base, starts=warm,
            together=float(self._random.random() < 0.4),
        )  # fmt: skip

    def _chain(
        self, order: Sequence[int], wanted: Counter[str], *, what: str, trial: Trial | None = None,
        base: tuple[Column, ...] = (), starts: Sequence[Column | None] = (), together: float = 0.0,
        power: float | None = None,
    ) -> Task:  # fmt: skip
        starts = starts or [None] * len(order)
        seconds = self._cut_s(self.fill_s * (1.0 + 0.5 * math.log2(self._patience)))
        stages = tuple(self._stage(p, s) for p, s in zip(order, starts, strict=True))
        chain = Chain(
            stages=stages,
            demands=self._demands(wanted, power),
            seed=self._new_seed(),
            seconds=seconds,
            together_s=together * self._cut_s(2.0 * seconds),
        )
        cost = len(order) * seconds + chain.together_s
        return Task(run=fill_chain, errand=chain, pieces=tuple(order), what=what, seconds=cost, trial=trial, base=base)

    def _stage(self, piece: int, start: Column | None) -> Stage:
        stock = self.batch.pieces[piece]
        placements = () if start is None else start.layout.placements
        seen = self._seen[piece]
        return Stage(
            plate=stock.plate,
            clearances=stock.clearances,
            allowed=seen.fits,
            start=placements,
            doubtful=not seen.fits <= seen.tried,
        )

    def _demands(self, wanted: Counter[str], power: float | None) -> tuple[Demand, ...]:
        """Demands in these numbers; the value of each grows with its size and with how often it was left over."""
        p = float(self._random.uniform(*PRICES)) if power is None else power
        most = max(line.demand.part.area_mm2 for line in self.batch.lines)
        found = []
        for line in self.batch.lines:
            if wanted[line.id] <= 0:
                continue
            base = line.demand.worth if line.demand.value is not None else most
            size = line.demand.part.area_mm2 / most
            value = base * size**p * 1.15 ** min(self._hard[line.id], 8)
            found.append(replace(line.demand, quantity=wanted[line.id], value=value, priority=line.rank))
        return tuple(found)

    def _wanted(self) -> Counter[str]:
        return Counter({line.id: line.quantity for line in self.batch.lines})

    def _new_seed(self) -> int:
        return int(self._random.integers(1 << 31))

    # What came of it

    def take(self, task: Task, result: object) -> None:
        """Book what an errand found."""
        self._flying -= 1
        if isinstance(result, float):
            self._seen[task.pieces[0]].most = result
        elif isinstance(result, Layout):
            self._put(task, result)
        elif isinstance(result, Filled):
            for p, misfits, tried in zip(task.pieces, result.misfits, result.tried, strict=True):
                self._seen[p].fits -= misfits
                self._seen[p].tried |= tried
            self._book(task, [Column(piece=p, layout=x) for p, x in zip(task.pieces, result.layouts, strict=True)])

    def learn(self, columns: Iterable[Column]) -> None:
        """Begin with columns of an earlier plan."""
        for column in columns:
            self.pool.add(column)
        self.plan = pick(self.batch, self.pool.of(), hint=self.plan)

    def _put(self, task: Task, layout: Layout) -> None:
        """Take a tidied layout into the plan."""
        columns = tuple(Column(piece=c.piece, layout=layout) if c is task.base[0] else c for c in self.plan.columns)
        self.plan = Picked(batch=self.batch, columns=columns)

    def _book(self, task: Task, found: Sequence[Column]) -> None:
        self._learn_use(task, found)
        for column in found:
            self.pool.add(column)
        self.pool.prune(self.plan.columns)
        if task.what == "concentrate":
            self._concentrate(task, found)
            return
        better = self._better_plan([*task.base, *found])
        trial = task.trial
        if trial is None or trial is not self._trial:
            return
        before = trial.best
        hint = min((trial.best, trimmed(self.batch, [*task.base, *found])), key=lambda p: p.score)
        trial.best = pick(self.batch, self.pool.of(trial.pieces), pieces=trial.pieces, hint=hint)
        self._hard = Counter({i: n - 1 for i, n in self._hard.items() if n > 1}) + Counter(
            dict.fromkeys(trial.best.short, 2)
        )
        if better or self._complete(trial.best):
            self._reached(trial)
            self._bite = min(LARGEST_BITE, 1.5 * self._bite)
            self._trial = None
            return
        improved = trial.best.score < before.score
        trial.barren = 0 if improved else trial.barren + 1
        if trial.barren >= self._most_barren(trial):
            self._give_up(trial)

    def _most_barren(self, trial: Trial) -> float:
        """How long to try on: longer where little is left over."""
        area = {line.id: line.demand.part.area_mm2 for line in self.batch.lines}
        left = sum(area[i] * n for i, n in trial.best.short.items())
        wanted = sum(area[line.id] * line.quantity for line in self.batch.lines)
        near = 1.0 if left < 0.03 * wanted else 0.5
        return self._patience * near * (4 + len(trial.kinds))

    def _give_up(self, trial: Trial) -> None:
        self._reached(trial)
        self._failed.append(trial.pieces)
        self._bite = max(LEAST_BITE, self._bite / 2)
        self._trial = None

    def _reached(self, trial: Trial) -> None:
        """Remember how much a set took together."""
        area = {line.id: line.demand.part.area_mm2 for line in self.batch.lines}
        self._took.append((trial.pieces, sum(area[i] * n for i, n in trial.best.made.items())))

    @property
    def _reach(self) -> float:
        """Greatest share of what its pieces were seen to take that a set took together, so far."""
        could = self._guess(1.0).potential
        return max((took / sum(could[p] * n for p, n in s.items()) for s, took in self._took), default=FIRST_REACH)

    def _learn_use(self, task: Task, found: Sequence[Column]) -> None:
        """How much of a piece is used while there are plenty of parts; the last of a chain may lack them."""
        if task.what == "repair":
            return
        for column, after in zip(found, found[1:], strict=False):
            if after.layout.placements:
                seen = self._seen[column.piece]
                seen.used = max(column.used, seen.used or 0.0)

    def _better_plan(self, columns: Sequence[Column]) -> bool:
        hint = trimmed(self.batch, [*columns])
        hint = hint if self._possible(hint) and hint.better_than(self.plan) else self.plan
        found = pick(self.batch, self.pool.of(), hint=hint)
        found = found if found.better_than(hint) else hint
        if not self.plan.columns or found.better_than(self.plan):
            self.plan = found
            return True
        return False

    def _possible(self, picked: Picked) -> bool:
        return all(n <= self.batch.pieces[p].count for p, n in Counter(picked.pieces).items())

    # The leftovers

    def _polish(self) -> Task | None:
        if self._tidied:
            return None
        emptiest = min(self.plan.columns, key=lambda c: c.used)
        others = [
            c for c in self.plan.columns if c is not emptiest and mates(self.batch.pieces, c.piece, emptiest.piece)
        ]
        if others and self._concentrated < 2 * len(others) and self._before(TIDY_FROM):
            self._concentrated += 1
            other = others[self._concentrated % len(others)]
            wanted = other.counts + emptiest.counts
            base = tuple(c for c in self.plan.columns if c is not other and c is not emptiest)
            return self._chain([other.piece, emptiest.piece], wanted, what="concentrate", base=base, power=1.0)
        if not self._waiting:
            if self._flying:
                return None
            self._waiting = self._tidies()
        task = self._waiting.pop()
        self._tidied = not self._waiting
        return task

    def _concentrate(self, task: Task, found: Sequence[Column]) -> None:
        """Take what leaves the emptiest piece emptier, all else the same."""
        after = trimmed(self.batch, [*task.base, *found])
        if not self._possible(after) or self.plan.better_than(after):
            return
        if after.better_than(self.plan) or _unevenness(after) > _unevenness(self.plan):
            self.plan = after

    def _tidies(self) -> list[Task]:
        """One for each piece; the emptiest, where most is to be won, comes first and takes longest."""
        columns = sorted(self.plan.columns, key=lambda c: -c.used)
        left = max(0.5, (1.0 - self.progress()) * self.seconds) * self.workers
        weights = [2.0 - c.used for c in columns]
        found = []
        for column, weight in zip(columns, weights, strict=True):
            seconds = self._cut_s(0.9 * left * weight / sum(weights))
            errand = Tidy(layout=column.layout, seed=self._new_seed(), seconds=seconds)
            found.append(
                Task(run=tidy, errand=errand, pieces=(column.piece,), what="tidy", seconds=seconds, base=(column,))
            )
        return found


def _unevenness(picked: Picked) -> float:
    return sum(c.used**2 for c in picked.columns)
