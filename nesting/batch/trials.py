"""Which set of pieces to try: the most daring that what was seen makes likely, and when to give one up."""

import math
from collections import Counter
from dataclasses import dataclass

from nesting.batch.columns import Picked, Pool
from nesting.batch.knowledge import Knowledge
from nesting.batch.master import pick, promising
from nesting.batch.stock import Batch

FIRST_BITE, LEAST_BITE, LARGEST_BITE = 0.1, 0.005, 0.1
"""How much more a trial asks of a set than one has taken yet; halved by failure, half as much again after success."""

NEAR, NEAR_PIECES = 0.03, 2
"""With no more than this share of all part area left over, or so few pieces, a trial is near its end and gets twice the
time.
"""


@dataclass(kw_only=True)
class Trial:
    """A set of pieces that would be better than the plan so far, and the most that was laid on it.

    `barren` repairs in a row brought nothing; `visits` times it has been given up for a while.
    """

    pieces: Counter[int]
    best: Picked
    opened: bool = False
    barren: int = 0
    visits: int = 0

    @property
    def kinds(self) -> list[int]:
        """The pieces, each kind once."""
        return sorted(self.pieces)


class Trials:
    """Chooses trials one after the other; `proven` once no better set of pieces is left."""

    def __init__(self, known: Knowledge, pool: Pool) -> None:
        self.known, self.pool, self.batch = known, pool, known.batch
        self.proven = False
        self.patience = 1.0
        self._failed: list[Counter[int]] = []
        self._resting: list[Trial] = []
        self._resumes = False
        self._bite = FIRST_BITE

    def next(self, plan: Picked) -> Trial | None:
        """Choose the cheapest set that may do; the roomiest of the better ones where none seems to."""
        below = plan if self.known.complete(plan) else None
        if below is not None and promising(self.batch, self.known.caps(), below=below, tried=()) is None:
            self.proven = True
            return None
        chosen = self._chosen(below)
        if chosen is None and self._failed and below is None:
            # Everything there is has been tried: once more, longer.
            self._failed.clear()
            self.patience *= 2.0
            chosen = self._chosen(below)
        resting = self._rested(below)
        self._resumes = not self._resumes
        if resting is not None and (self._resumes or chosen is None):
            return resting
        if chosen is None:
            self.proven = True
            return None
        return Trial(pieces=chosen, best=self._best_of(chosen))

    def _best_of(self, pieces: Counter[int]) -> Picked:
        return pick(self.batch, self.pool.of(pieces), pieces=pieces)

    def _rested(self, below: Picked | None) -> Trial | None:
        """The trial given up before that left least over, for the number of its visits, and would be better still."""
        if below is not None:
            most = _cost(self.batch, Counter(below.pieces))
            self._resting = [t for t in self._resting if _cost(self.batch, t.pieces) < most]
        if not self._resting:
            return None
        found = min(self._resting, key=lambda t: self._left(t) * (1 + t.visits))
        self._resting.remove(found)
        found.barren, found.best = 0, self._best_of(found.pieces)
        return found

    def _chosen(self, below: Picked | None) -> Counter[int] | None:
        likely = self.known.guess(self.known.reach + self._bite)
        chosen = promising(self.batch, likely, below=below, tried=self._failed)
        if chosen is None and below is not None:
            chosen = promising(self.batch, self.known.guess(1.0), below=below, tried=self._failed, roomiest=True)
        if chosen is None and below is None:
            chosen = self._everything()
            chosen = None if chosen in self._failed else chosen
        return chosen

    def _everything(self) -> Counter[int]:
        """All pieces; of sheets no more than all lines could ever need."""
        found: Counter[int] = Counter()
        for p, (piece, seen) in enumerate(zip(self.batch.pieces, self.known.pieces, strict=True)):
            if seen.fits:
                found[p] = min(piece.count, math.ceil(2.0 * self.known.wanted_mm2 / piece.plate.area_mm2) + 1)
        return found

    def succeeded(self, trial: Trial) -> None:
        """A better plan came of it."""
        self.known.took(trial.pieces, trial.best)
        self._bite = min(LARGEST_BITE, 1.5 * self._bite)

    def _left(self, trial: Trial) -> float:
        """Share of all part area that has no place."""
        return 1.0 - self.known.made_mm2(trial.best) / self.known.wanted_mm2

    def is_near(self, trial: Trial) -> bool:
        """True if little is left over."""
        return self._left(trial) < NEAR or sum(trial.best.short.values()) <= NEAR_PIECES

    def gives_up(self, trial: Trial) -> bool:
        """Tell whether a trial has been barren for long enough, and if so remember it."""
        near = 1.0 if self.is_near(trial) else 0.5
        if trial.barren < self.patience * near * (4 + len(trial.kinds)):
            return False
        self.known.took(trial.pieces, trial.best)
        if trial.pieces not in self._failed:
            self._failed.append(trial.pieces)
        trial.visits += 1
        self._resting.append(trial)
        self._bite = max(LEAST_BITE, self._bite / 2)
        return True


def _cost(batch: Batch, pieces: Counter[int]) -> tuple[float, float, int]:
    """Price, worth and number of a set of pieces."""
    each = [(batch.pieces[p], n) for p, n in pieces.items()]
    return (
        round(sum(piece.price * n for piece, n in each), 3),
        round(sum(piece.worth * n for piece, n in each), 3),
        pieces.total(),
    )
