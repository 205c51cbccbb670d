"""The last part of the time: the pieces stand, and what stays of them is bettered.

The emptiest piece is the one with the largest area free: the best leftover is to come of it.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from nesting.batch.columns import Column, Picked
from nesting.batch.stock import Batch, mates

TIDY_FROM: Final = 0.91
"""Until this share of the time parts are moved from the emptiest piece to others, then each is pulled together."""

MOVES: Final = 4
"""How often every other piece is filled up with parts of the emptiest, at most."""

EMPTIEST_SHARE: Final = 0.75
"""Share of the time for pulling together that the emptiest piece gets; the others share the rest."""


@dataclass(frozen=True, kw_only=True)
class Move:
    """A piece to fill up with parts of another: as it lies, which makes it fuller, or anew, which may get beyond."""

    onto: Column
    off: Column
    anew: bool


class Leftovers:
    """Chooses what to do for the leftovers of a plan."""

    def __init__(self, batch: Batch) -> None:
        self.batch = batch
        self.finished = False
        self._moved = 0
        self._added: set[int] = set()
        self._waiting: list[tuple[Column, float]] | None = None

    @property
    def tidying(self) -> bool:
        """True once pieces are pulled together: the plan's layouts must stand before."""
        return self._waiting is not None

    def add(self, plan: Picked, progress: float) -> Column | None:
        """Return a piece on which there may be room for what is not due yet, the emptiest first; each comes once."""
        left = [c for c in plan.columns if c.piece not in self._added]
        if not left or self.tidying or progress >= TIDY_FROM:
            return None
        found = max(left, key=lambda c: c.free_mm2)
        self._added.add(found.piece)
        return found

    def move(self, plan: Picked, progress: float) -> Move | None:
        """Return what to move off the emptiest piece, each other piece in turn; None once it is time to tidy."""
        emptiest = max(plan.columns, key=lambda c: c.free_mm2)
        others = [c for c in plan.columns if c is not emptiest and mates(self.batch.pieces, c.piece, emptiest.piece)]
        if self.tidying or not others or self._moved >= MOVES * len(others) or progress >= TIDY_FROM:
            return None
        turn, self._moved = self._moved, self._moved + 1
        return Move(onto=others[turn % len(others)], off=emptiest, anew=turn // len(others) % 2 == 1)

    def tidy(self, plan: Picked, seconds: float) -> tuple[Column, float]:
        """Return a column to pull together, and how long; the emptiest, where most is to be won, first and longest."""
        if self._waiting is None:
            columns = sorted(plan.columns, key=lambda c: c.free_mm2)
            emptiest = columns.pop()
            first = EMPTIEST_SHARE * seconds if columns else seconds
            free = sum(c.free_mm2 for c in columns) or 1.0
            self._waiting = [(c, (seconds - first) * c.free_mm2 / free) for c in columns]
            self._waiting.append((emptiest, first))
        found = self._waiting.pop()
        self.finished = not self._waiting
        return found


def unevenness(picked: Picked) -> float:
    """Larger if what is free lies on few pieces, a large one of those rather than a small one."""
    return sum(c.free_mm2**2 for c in picked.columns)


def replaced(picked: Picked, old: Column, new: Column) -> Picked:
    """The plan with one column in the place of another, as it was if that is not in it."""
    columns: Sequence[Column] = [new if c is old else c for c in picked.columns]
    return Picked(batch=picked.batch, columns=tuple(columns))


def possible(picked: Picked) -> bool:
    """True if no piece is cut oftener than it is there."""
    return all(n <= picked.batch.pieces[p].count for p, n in Counter(picked.pieces).items())
