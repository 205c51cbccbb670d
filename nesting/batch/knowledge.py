"""What has been seen of a batch so far: which lines fit where, how much of a piece is used, which lines are hard."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from nesting.batch.columns import Column, Picked
from nesting.batch.errands import Filled
from nesting.batch.master import Guess
from nesting.batch.stock import Batch
from nesting.demand import Demand

USUAL: Final = 0.75
"""Share of a piece that parts are thought to take before any has been filled."""

FIRST_REACH: Final = 0.9
"""Share of what its pieces take when there are plenty of parts that a whole set is thought to take, at first."""

PRICES: Final = (1.0, 1.35)
"""Parts are valued by area to a power between these: large ones are hard to place and go first."""

LEAST_PRICE: Final = 0.1
"""Share of its area that a part counts for even if the master has plenty of layouts with it."""

HARDER, HARDEST = 1.15, 8
"""A line that was left over counts for so much more, again and again up to so often."""


@dataclass(kw_only=True)
class Seen:
    """What is known of a piece: a bound on the part area it takes, which lines fit as far as they were tried there,
    how much of it was used while parts were plenty.
    """

    most: float
    fits: frozenset[str]
    tried: frozenset[str] = frozenset()
    gauged: bool = False
    used: float | None = None


class Knowledge:
    """All that errands have told of one batch."""

    def __init__(self, batch: Batch) -> None:
        self.batch = batch
        self.area = {line.id: line.demand.part.area_mm2 for line in batch.lines}
        self.wanted_mm2 = sum(self.area[line.id] * line.quantity for line in batch.lines)
        ids = [line.id for line in batch.lines]
        self.pieces = [
            Seen(most=piece.plate.area_mm2, fits=frozenset(ids[i] for i in lines))
            for piece, lines in zip(batch.pieces, batch.serves, strict=True)
        ]
        self._hard: Counter[str] = Counter()
        self._took: list[tuple[Counter[int], float]] = []

    def learn(self, pieces: Sequence[int], filled: Filled, columns: Sequence[Column], *, plenty: bool) -> None:
        """Book what a chain told; with `plenty` there were more parts than its pieces took."""
        for p, misfits, tried in zip(pieces, filled.misfits, filled.tried, strict=True):
            self.pieces[p].fits -= misfits
            self.pieces[p].tried |= tried
        for column in columns if plenty else ():
            seen = self.pieces[column.piece]
            seen.used = max(column.used, seen.used or 0.0)

    def left_over(self, short: dict[str, int]) -> None:
        """Lines left over count for more from now on, the others slowly for less again."""
        fading = {i: n - 1 for i, n in self._hard.items() if n > 1}
        self._hard = Counter(fading) + Counter(dict.fromkeys(short, 2))

    def took(self, pieces: Counter[int], picked: Picked) -> None:
        """Remember how much a set of pieces took together."""
        self._took.append((pieces, self.made_mm2(picked)))

    @property
    def reach(self) -> float:
        """Greatest share of what its pieces were seen to take that a set took together, so far."""
        could = self.guess(1.0).potential
        return max((took / sum(could[p] * n for p, n in s.items()) for s, took in self._took), default=FIRST_REACH)

    def guess(self, reach: float) -> Guess:
        """What every piece is thought to take, at a share of what was seen."""
        known = [s.used for s in self.pieces if s.used is not None]
        usual = float(np.mean(known)) if known else USUAL
        areas = [p.plate.area_mm2 for p in self.batch.pieces]
        # With few parts to choose from a quick fill uses little of a small piece: that tells of the parts, not of it.
        potential = tuple(
            min(s.most, reach * max(usual, s.used or 0.0) * a) for s, a in zip(self.pieces, areas, strict=True)
        )
        return Guess(potential=potential, fits=tuple(s.fits for s in self.pieces))

    def caps(self) -> Guess:
        """What every piece takes at most."""
        return Guess(potential=tuple(s.most + 1.0 for s in self.pieces), fits=tuple(s.fits for s in self.pieces))

    def complete(self, picked: Picked) -> bool:
        """True if all lines due that fit anywhere are made."""
        somewhere = frozenset().union(*(s.fits for s in self.pieces))
        later = {line.id for line in self.batch.lines if line.later}
        return not picked.short.keys() & (somewhere - later)

    def made_mm2(self, picked: Picked) -> float:
        """Part area that a plan has a place for."""
        return sum(self.area[i] * n for i, n in picked.made.items())

    def demands(
        self,
        wanted: Counter[str],
        power: float,
        prices: dict[str, float] | None = None,
        shaken: np.ndarray | None = None,
    ) -> tuple[Demand, ...]:
        """Demands in these numbers; the value of each grows with its size and with how often it was left over.

        Where `prices` are given, shares of its own worth, they say what a piece of each line is worth instead;
        `shaken` (lines,) are factors besides.
        """
        most = max(self.area.values())
        found = []
        for n, line in enumerate(self.batch.lines):
            if wanted[line.id] <= 0:
                continue
            size = self.area[line.id] / most
            factor = HARDER ** min(self._hard[line.id], HARDEST) * size**power
            if prices is not None:
                factor = size * max(LEAST_PRICE, prices[line.id])
            if shaken is not None:
                factor *= float(shaken[n])
            base = line.demand.worth if line.demand.value is not None else most
            found.append(replace(line.demand, quantity=wanted[line.id], value=base * factor, priority=line.rank))
        return tuple(found)

    def to_gauge(self) -> int | None:
        """A piece without a bound yet, the cheapest first: those matter most for what is possible."""
        waiting = [p for p, seen in enumerate(self.pieces) if not seen.gauged and seen.fits]
        pieces = self.batch.pieces
        return min(waiting, key=lambda p: (pieces[p].price, pieces[p].worth), default=None)
