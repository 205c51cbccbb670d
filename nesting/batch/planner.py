"""What to try next for one batch, and what came of it: columns by search, choice by CP-SAT, over and over.

Two quick plans come first: largest piece first, and cheapest piece first.  Then the largest pieces are filled with
care, one after the other, as one would by hand: no plan should be worse than that.  Then sets of pieces that would be
cheaper are tried, the most daring that what was seen so far makes likely: parts are laid on them, those without a
place are given more value, and two pieces at a time are laid out again with what was left over.  All layouts go into
one pool, from which the master picks; what two trials found apart may come together there.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from nesting.batch.columns import Column, Picked, Pool, trimmed
from nesting.batch.errands import Chain, Filled, Gauge, Stage, Tidy, fill_chain, gauge, tidy
from nesting.batch.knowledge import PRICES, USUAL, Knowledge
from nesting.batch.leftovers import Leftovers, possible, replaced, unevenness
from nesting.batch.master import least_cost, pick, short_prices
from nesting.batch.rest import laid_quickly
from nesting.batch.stock import Batch, mates
from nesting.batch.trials import Trial, Trials
from nesting.layout import Layout

FILL_S: Final = (0.4, 30.0)
"""Shortest and longest that one piece is filled at first."""

FIRST_SHARE, LONGER, LONGEST = 0.5, 1.15, 5.0
"""A trial begins with fills that take so much of that, longer after every barren repair: easy ones are over soon."""

START_SHARE: Final = 0.35
"""The first plans take only so much of it for a piece."""

LEAD_SHARE, LEAD_PAIR_S = 0.5, 0.1
"""Share of the whole time in which the largest pieces are filled with care, with all workers on one piece, and how long
at most for each pair of parts of the order: where there are few, which go together is soon seen.
"""

A_PART_S: Final = 0.4
"""A piece is filled for no longer than so much for each part that goes on one: with few parts, other choices of them
are the better use of the time.
"""

FILLS: Final = 14.0
"""How often each piece that is needed may be filled in the time, about."""

TIDY_FILLS: Final = 8.0
"""A piece is pulled together for as long as it was filled, so many times over, at most."""

GAUGE_EVERY: Final = 3
"""One errand in so many is spent on a bound, until every piece has one."""

POLISH_FROM: Final = 0.86
"""Share of the time after which the plan stands and only its leftovers are bettered."""

WAYS: Final = {
    True: {"on": 0.1, "anew": 0.35, "as one": 0.3, "by price": 0.25},
    False: {"on": 0.15, "anew": 0.55, "as one": 0.0, "by price": 0.3},
}
"""How often one piece is bettered from what lies on it, two are filled anew with what is theirs and what is left over,
two are searched as one, or one is filled with anything, by what the master lacks; with little left over, and with more,
when there is hardly room for all of it at once.
"""

SHAKEN: Final = 0.2
"""How far the values of parts are moved at random where pieces are filled anew (deviation of the logarithm)."""


@dataclass(kw_only=True)
class Lane:
    """Pieces to be filled one after the other, and what is left for them; `found` lies on those before.

    One errand for each piece, so that something is there after the first, and other work goes on beside.
    """

    order: list[int]
    wanted: Counter[str]
    power: float
    share: float
    threads: int = 1
    trial: Trial | None = None
    found: list[Column] = field(default_factory=list)
    busy: bool = False

    @property
    def over(self) -> bool:
        """Nothing is left to lay out, or to lay it out on."""
        return not self.busy and (not self.order or not +self.wanted)


@dataclass(frozen=True, kw_only=True)
class Task:
    """An errand and what it is for; `base` are columns that stay beside what it finds."""

    run: Callable[..., object]
    errand: Chain | Gauge | Tidy
    pieces: tuple[int, ...]
    what: str
    seconds: float
    trial: Trial | None = None
    lane: Lane | None = None
    base: tuple[Column, ...] = ()


class Planner:
    """The search for a plan of one batch; `progress` gives the share of the time that has gone."""

    def __init__(
        self, batch: Batch, *, seconds: float, workers: int, seed: int, progress: Callable[[], float]
    ) -> None:  # fmt: skip
        self.batch, self.seconds, self.workers, self.progress = batch, seconds, workers, progress
        self.plan = Picked(batch=batch)
        self.spent = 0.0
        # What is not due yet opens no piece: where nothing else is wanted there is nothing to plan.
        self._due = frozenset(line.id for line in batch.lines if not line.later)
        self.done = not self._due
        self.untried: frozenset[str] = frozenset()
        self._pool = Pool(batch)
        self._known = Knowledge(batch)
        self._trials = Trials(self._known, self._pool)
        self._leftovers = Leftovers(batch)
        self._random = np.random.default_rng(seed)
        self._trial: Trial | None = None
        self._flying = 0
        self._emptiest_at_work = False
        self._turn = 0
        mean = float(np.mean([p.plate.area_mm2 for p in batch.pieces]))
        needed = max(1.0, self._known.wanted_mm2 / (USUAL * mean))
        each = sum(line.quantity for line in batch.lines) / needed
        self._fill_s = max(FILL_S[0], min(FILL_S[1], A_PART_S * each, seconds * workers / (FILLS * needed)))
        self._lanes = [self._start(by_size=True), self._start(by_size=False), self._lead()]

    @property
    def phase(self) -> str:
        """What is being done."""
        if self._lanes and not self._known.complete(self.plan):
            return "first plans"
        if not self._known.complete(self.plan):
            return "finding places"
        return "trying cheaper sets of pieces" if self._before(POLISH_FROM) and not self._trials.proven else "leftovers"

    def least_cost(self) -> tuple[float, float]:
        """A price, and a worth at that price, that no plan which makes all due lines stays below."""
        caps = self._known.caps()
        return least_cost(self.batch, caps.potential, caps.fits)

    def begin_with(self, columns: Iterable[Column]) -> None:
        """Begin with columns of an earlier plan."""
        for column in columns:
            self._pool.add(column)
        self.plan = pick(self.batch, self._pool.of())

    # What to do next

    def next(self) -> Task | None:
        """Return something to do, or None if there is nothing now; `done` tells whether there will be."""
        task = None if self.done else self._next()
        if task is not None:
            self._flying += 1
            self.spent += task.seconds
        elif self._flying == 0:
            self.done = True
        return task

    def _next(self) -> Task | None:
        # Leftovers do not matter while something that is due has no place.
        until = POLISH_FROM if self._known.complete(self.plan) else 1.0
        self._lanes = [lane for lane in self._lanes if self._goes_on(lane)]
        # Where no better set is possible the first plans still may leave more in one piece.
        if self._before(until) and (self._lanes or not self._trials.proven):
            free = next((lane for lane in self._lanes if not lane.busy), None)
            if free is not None:
                return self._along(free)
            self._turn += 1
            task = self._gauge() if self._turn % GAUGE_EVERY == 0 or self._starting else None
            task = task or (None if self._starting else self._try_on())
            if task is not None or self._flying:
                return task
        return self._polish() if self.plan.columns else None

    @property
    def _starting(self) -> bool:
        """True while nothing is known yet that a trial could begin with, or all workers are on one piece."""
        return any(lane.trial is None and (lane.threads > 1 or lane.share == START_SHARE) for lane in self._lanes)

    def _before(self, share: float) -> bool:
        return self.progress() < share

    def _cut_s(self, seconds: float) -> float:
        """No longer than there is time."""
        return max(0.1, min(seconds, (1.0 - self.progress()) * self.seconds))

    def _start(self, *, by_size: bool) -> Lane:
        """A quick plan: pieces in order until everything has a place."""
        power = 1.0 if by_size else float(np.mean(PRICES))
        return Lane(order=self._ordered(by_size), wanted=self._wanted(), power=power, share=START_SHARE)

    def _lead(self) -> Lane:
        """The largest pieces one after the other, with care."""
        order, room, needed = self._ordered(by_size=True), 0.0, 0
        while needed < len(order) and USUAL * room < self._known.wanted_mm2:
            room += self.batch.pieces[order[needed]].plate.area_mm2
            needed += 1
        parts = sum(line.quantity for line in self.batch.lines)
        seconds = min(LEAD_SHARE * self.seconds / max(1, needed), LEAD_PAIR_S * parts * (parts - 1) / 2)
        share = max(FIRST_SHARE, seconds / self._fill_s)
        return Lane(order=order, wanted=self._wanted(), power=1.0, share=share, threads=self.workers)

    def _goes_on(self, lane: Lane) -> bool:
        """Pass over pieces that serve nothing due that is left; tell whether there is something to do."""
        left = self._due & (+lane.wanted).keys()
        lane.order = [p for p in lane.order if self._known.pieces[p].fits & left]
        return not lane.over

    def _along(self, lane: Lane) -> Task:
        """Fill the next piece of a lane."""
        lane.busy = True
        piece = lane.order.pop(0)
        return self._chain(
            [piece], +lane.wanted, what="lane", lane=lane, power=lane.power, share=lane.share, threads=lane.threads
        )

    def _ordered(self, by_size: bool) -> list[int]:
        """Pieces to fill one after the other, sheets after all remnants; for each line three times as much as the whole
        order needs at most, so that cheaper pieces do not crowd out the only ones that serve it.
        """
        pieces = self.batch.pieces
        ranked = sorted(
            (p for p in range(len(pieces)) if self._known.pieces[p].fits),
            key=lambda p: (pieces[p].price, -pieces[p].plate.area_mm2 if by_size else pieces[p].worth),
        )
        found: list[int] = []
        room: dict[str, float] = defaultdict(float)
        for p in [r for r in ranked for _ in range(pieces[r].count)]:
            fits = self._known.pieces[p].fits
            if any(room[i] < 3.0 * self._known.wanted_mm2 for i in fits):
                found.append(p)
                for i in fits:
                    room[i] += pieces[p].plate.area_mm2
        return found

    def _wanted(self) -> Counter[str]:
        return Counter({line.id: line.quantity for line in self.batch.lines})

    def _gauge(self) -> Task | None:
        """Find a bound for a piece that has none yet."""
        p = self._known.to_gauge()
        if p is None:
            return None
        seen, piece = self._known.pieces[p], self.batch.pieces[p]
        seen.gauged = True
        demands = tuple(line.demand for line in self.batch.lines if line.id in seen.fits)
        errand = Gauge(plate=piece.plate, clearances=piece.clearances, demands=demands)
        return Task(run=gauge, errand=errand, pieces=(p,), what="gauge", seconds=1.0)

    def _try_on(self) -> Task | None:
        """Go on with the trial at hand, or begin another."""
        if self._trial is None:
            self._trial = self._trials.next(self.plan)
        if self._trial is None:
            return None
        if self._trial.opened:
            return self._repair(self._trial)
        self._trial.opened = True
        lane = self._opening(self._trial)
        if not self._goes_on(lane):
            return self._repair(self._trial)
        self._lanes.append(lane)
        return self._along(lane)

    def _opening(self, trial: Trial) -> Lane:
        """Keep what the plan has on pieces that stay; fill the others with the rest."""
        kept: list[Column] = []
        for column in self.plan.columns:
            if sum(k.piece == column.piece for k in kept) < trial.pieces[column.piece]:
                kept.append(column)
        fresh = trial.pieces - Counter(c.piece for c in kept)
        if len(kept) < trial.pieces.total() / 2 or not fresh:
            kept, fresh = [], trial.pieces
        order = sorted(fresh.elements(), key=lambda p: -self.batch.pieces[p].plate.area_mm2)
        wanted = self._wanted()
        wanted.subtract(sum((c.counts for c in kept), Counter()))
        return Lane(order=order, wanted=+wanted, power=self._power(), share=FIRST_SHARE, trial=trial, found=kept)

    def _repair(self, trial: Trial) -> Task:
        """Lay one or two pieces of a trial out again: better from there, anew, as one, or by what the master lacks."""
        columns = list(trial.best.columns)
        unused = trial.pieces - Counter(c.piece for c in columns)
        slots: list[tuple[int, Column | None]] = [(c.piece, c) for c in columns]
        slots += [(p, None) for p in unused.elements()]
        chosen = [slots[int(self._random.integers(len(slots)))]]
        others = [s for s in slots if s is not chosen[0] and mates(self.batch.pieces, chosen[0][0], s[0])]
        ways = WAYS[self._trials.is_near(trial)]
        way = str(self._random.choice(list(ways), p=list(ways.values()))) if others else "on"
        share = FIRST_SHARE * min(LONGEST, LONGER ** (trial.barren + trial.visits))
        if way == "by price":
            prices = short_prices(self.batch, self._pool.of(trial.pieces), trial.pieces)
            return self._chain(
                [chosen[0][0]], self._wanted(), what="repair by price", trial=trial, share=share, prices=prices
            )
        if way != "on":
            chosen.append(others[int(self._random.integers(len(others)))])
        wanted = Counter(trial.best.short)
        wanted.update(sum((c.counts for _, c in chosen if c is not None), Counter()))
        # By area alone the first of two pieces would take the same parts each time.
        shaken = np.exp(self._random.normal(0.0, SHAKEN, len(self.batch.lines))) if way == "anew" else None
        return self._chain(
            [p for p, _ in chosen],
            wanted,
            what=f"repair {way}",
            shaken=shaken,
            trial=trial,
            base=tuple(c for c in columns if not any(c is mine for _, mine in chosen)),
            starts=[None if way == "anew" else c for _, c in chosen],
            together=way == "as one",
            share=share,
        )

    def _chain(
        self,
        order: Sequence[int],
        wanted: Counter[str],
        *,
        what: str,
        trial: Trial | None = None,
        lane: Lane | None = None,
        base: tuple[Column, ...] = (),
        starts: Sequence[Column | None] = (),
        together: bool = False,
        power: float | None = None,
        share: float = 1.0,
        prices: dict[str, float] | None = None,
        shaken: np.ndarray | None = None,
        threads: int = 1,
    ) -> Task:
        starts = starts or [None] * len(order)
        seconds = self._cut_s(share * self._fill_s * (1.0 + 0.5 * math.log2(self._trials.patience)))
        together_s = self._cut_s(1.5 * seconds) if together else 0.0
        seconds = 0.0 if together else seconds
        chain = Chain(
            stages=tuple(self._stage(p, s) for p, s in zip(order, starts, strict=True)),
            demands=self._known.demands(wanted, self._power() if power is None else power, prices, shaken),
            seed=self._seed(),
            seconds=seconds,
            together_s=together_s,
            threads=threads,
        )
        cost = len(order) * seconds + together_s
        return Task(
            run=fill_chain,
            errand=chain,
            pieces=tuple(order),
            what=what,
            seconds=cost,
            trial=trial,
            lane=lane,
            base=base,
        )

    def _stage(self, piece: int, start: Column | None) -> Stage:
        stock, seen = self.batch.pieces[piece], self._known.pieces[piece]
        return Stage(
            plate=stock.plate,
            clearances=stock.clearances,
            serves=frozenset(self.batch.lines[i].id for i in self.batch.serves[piece]),
            allowed=seen.fits,
            start=() if start is None else start.layout.placements,
            doubtful=not seen.fits <= seen.tried,
        )

    def _power(self) -> float:
        return float(self._random.uniform(*PRICES))

    def _seed(self) -> int:
        return int(self._random.integers(1 << 31))

    def _polish(self) -> Task | None:
        if self._leftovers.finished:
            return None
        room = self._leftovers.add(self.plan, self.progress()) if self.plan.short else None
        if room is not None:
            wanted = room.counts + Counter(self.plan.short)
            base = tuple(c for c in self.plan.columns if c is not room)
            return self._chain([room.piece], wanted, what="add", base=base, starts=[room])
        move = self._leftovers.move(self.plan, self.progress())
        if move is not None:
            wanted = move.onto.counts + move.off.counts
            base = tuple(c for c in self.plan.columns if c is not move.onto and c is not move.off)
            order = [move.onto.piece, move.off.piece]
            starts = [None if move.anew else move.onto, None]
            return self._chain(order, wanted, what="move", base=base, power=1.0, starts=starts)
        # The emptiest piece is pulled together by all workers at once, then each of the others by one.
        threads = 1 if self._leftovers.tidying else self.workers
        if self._flying and (self._emptiest_at_work or not self._leftovers.tidying):
            return None
        self._emptiest_at_work = not self._leftovers.tidying
        left = max(0.5, (1.0 - self.progress()) * self.seconds)
        column, seconds = self._leftovers.tidy(self.plan, 0.9 * left * self.workers)
        seconds = self._cut_s(min(seconds / threads, TIDY_FILLS * self._fill_s))
        errand = Tidy(layout=column.layout, seed=self._seed(), seconds=seconds, threads=threads)
        return Task(
            run=tidy, errand=errand, pieces=(column.piece,), what="tidy", seconds=threads * seconds, base=(column,)
        )

    def finish(self, should_stop: Callable[[], bool]) -> None:
        """Time is up: lay what is due and has no place yet on other pieces, with hardly any search."""
        if self._known.complete(self.plan):
            return
        rest = laid_quickly(self._known, self.plan, should_stop=should_stop)
        self.untried = rest.untried
        for column in rest.columns:
            self._pool.add(column)
        if rest.columns:
            self._better_plan(trimmed(self.batch, [*self.plan.columns, *rest.columns]))

    # What came of it

    def take(self, task: Task, result: object) -> None:
        """Book what an errand found."""
        self._flying -= 1
        if isinstance(result, float):
            self._known.pieces[task.pieces[0]].most = result
        elif isinstance(result, Layout):
            self._emptiest_at_work = False
            self.plan = replaced(self.plan, task.base[0], Column(piece=task.pieces[0], layout=result))
        elif isinstance(result, Filled):
            found = [Column(piece=p, layout=x) for p, x in zip(task.pieces, result.layouts, strict=True)]
            self._known.learn(task.pieces, result, found, plenty=self._plenty(task, found))
            self._book(task, found)

    def _plenty(self, task: Task, found: Sequence[Column]) -> bool:
        """True if there were more parts than the piece took."""
        return task.lane is not None and bool(task.lane.wanted - found[0].counts)

    def _book(self, task: Task, found: Sequence[Column]) -> None:
        for column in found:
            self._pool.add(column)
        self._pool.prune(self.plan.columns)
        base = task.base
        if task.lane is not None:
            task.lane.busy = False
            task.lane.wanted -= found[0].counts
            base = tuple(task.lane.found)
            task.lane.found += found
        straight = trimmed(self.batch, [*base, *found])
        if task.what == "move":
            self._move(straight)
            return
        better = self._better_plan(straight)
        trial = task.trial if task.lane is None else task.lane.trial
        if trial is not None and trial is self._trial:
            self._go_on(trial, straight, better)

    def _better_plan(self, straight: Picked) -> bool:
        """Let the master choose anew; tell whether the plan is better than before."""
        hint = straight if possible(straight) and straight.better_than(self.plan) else self.plan
        found = pick(self.batch, self._pool.of(), hint=hint)
        found = found if found.better_than(hint) else hint
        better = found.better_than(self.plan)
        if better or not self.plan.columns:
            self.plan = found
        elif (
            possible(straight) and not self.plan.better_than(straight) and unevenness(straight) > unevenness(self.plan)
        ):
            # As good by every aim; what is free lies on fewer pieces.
            self.plan = straight
        return better

    def _go_on(self, trial: Trial, straight: Picked, better: bool) -> None:
        before = trial.best
        hint = straight if straight.better_than(before) else before
        found = pick(self.batch, self._pool.of(trial.pieces), pieces=trial.pieces, hint=hint)
        trial.best = found if found.better_than(hint) else hint
        self._known.left_over(trial.best.short)
        if self._known.complete(self.plan) and (better or self._known.complete(trial.best)):
            self._trials.succeeded(trial)
            self._lanes = [lane for lane in self._lanes if lane.trial is not trial]
            self._trial = None
            return
        if any(lane.trial is trial for lane in self._lanes if not lane.over):
            return
        trial.barren = 0 if trial.best.better_than(before) else trial.barren + 1
        if self._trials.gives_up(trial):
            self._trial = None

    def _move(self, after: Picked) -> None:
        """Take what leaves the emptiest piece emptier, all else the same."""
        if not possible(after) or self.plan.better_than(after):
            return
        if after.better_than(self.plan) or unevenness(after) > unevenness(self.plan):
            self.plan = after
