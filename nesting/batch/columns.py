"""Columns: layouts of one piece that a plan may pick, and plans made of them."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from nesting.batch.stock import Batch
from nesting.layout import Layout

MOST_OF_A_PIECE = 60
"""So many columns of one piece are kept; older ones that no plan uses go first."""


@dataclass(frozen=True, kw_only=True)
class Column:
    """A checked layout of one piece (by index in the batch) and how many of each line are on it."""

    piece: int
    layout: Layout

    @cached_property
    def counts(self) -> Counter[str]:
        """Pieces of each line, by id."""
        return Counter(p.part_id for p in self.layout.placements)

    @cached_property
    def part_area_mm2(self) -> float:
        """Net area of the parts on it."""
        parts = self.layout.parts
        return sum(parts[i].area_mm2 * n for i, n in self.counts.items())

    @property
    def used(self) -> float:
        """Share of the piece that its parts are."""
        return self.part_area_mm2 / self.layout.plate.area_mm2

    @property
    def free_mm2(self) -> float:
        """Area of the piece that no part covers."""
        return self.layout.plate.area_mm2 - self.part_area_mm2


@dataclass(frozen=True, kw_only=True)
class Picked:
    """Columns picked for a batch; each sheet bought is a column of its own.  No line is made oftener than wanted."""

    batch: Batch
    columns: tuple[Column, ...] = ()

    @cached_property
    def made(self) -> Counter[str]:
        """Pieces of each line that have a place."""
        return sum((c.counts for c in self.columns), Counter())

    @cached_property
    def short(self) -> dict[str, int]:
        """Lines of which some have no place, and how many."""
        left = {line.id: line.quantity - self.made[line.id] for line in self.batch.lines}
        return {i: n for i, n in left.items() if n > 0}

    @property
    def price(self) -> float:
        """Price of all sheets in it."""
        return sum(self.batch.pieces[c.piece].price for c in self.columns)

    @property
    def worth(self) -> float:
        """Worth of all remnants that are cut into."""
        return sum(self.batch.pieces[c.piece].worth for c in self.columns)

    @property
    def pieces(self) -> tuple[int, ...]:
        """The pieces that are cut, sheets as often as they are bought."""
        return tuple(sorted(c.piece for c in self.columns))

    @cached_property
    def score(self) -> tuple[float, ...]:
        """What a plan is judged by, the first first; smaller is better.

        Area of due parts without a place, rank by rank; pieces that come too late; price; worth of the remnants cut
        into; how many pieces; area of parts not due yet without a place.
        """
        lines = self.batch.lines
        area = {line.id: line.demand.part.area_mm2 for line in lines}
        ranks = sorted({line.rank for line in lines if not line.later})
        missing = [
            sum(area[line.id] * self.short.get(line.id, 0) for line in lines if line.rank == rank) for rank in ranks
        ]
        later = sum(area[line.id] * self.short.get(line.id, 0) for line in lines if line.later)
        return (*missing, self.late, self.price, self.worth, len(self.columns), later)

    @property
    def late(self) -> int:
        """How many parts lie on sheets that come after the part is due."""
        due = {line.id: line.due for line in self.batch.lines}
        late = 0
        for column in self.columns:
            comes = self.batch.pieces[column.piece].comes
            late += sum(n for i, n in column.counts.items() if comes and (day := due[i]) and comes > day)
        return late

    def better_than(self, other: "Picked") -> bool:
        """True if it is judged better, by more than rounding."""
        for mine, its in zip(self.score, other.score, strict=True):
            if abs(mine - its) > 1e-9 * max(abs(mine), abs(its), 1.0):
                return mine < its
        return False


def trimmed(batch: Batch, columns: Iterable[Column]) -> Picked:
    """Take out what is made oftener than wanted, from the least used pieces first, and pieces left without parts."""
    extra = sum((c.counts for c in columns), Counter())
    for line in batch.lines:
        extra[line.id] -= line.quantity
    kept = []
    for column in sorted(columns, key=lambda c: c.used):
        counts = Counter({i: min(n, extra[i]) for i, n in column.counts.items() if extra[i] > 0})
        extra -= counts
        rest = without(column, counts) if counts else column
        if rest.layout.placements:
            kept.append(rest)
    return Picked(batch=batch, columns=tuple(sorted(kept, key=lambda c: c.piece)))


def without(column: Column, counts: Counter[str]) -> Column:
    """Return a column with so many pieces of some lines fewer; the rest is numbered from 1 again."""
    left, kept = Counter(counts), []
    for placement in reversed(column.layout.placements):
        if left[placement.part_id] > 0:
            left[placement.part_id] -= 1
        else:
            kept.append(placement)
    numbered = tuple(replace(p, number=n) for n, p in enumerate(reversed(kept), start=1))
    there = Counter(p.part_id for p in numbered)
    demands = tuple(replace(d, quantity=there[d.part.id]) for d in column.layout.demands if there[d.part.id])
    return Column(piece=column.piece, layout=replace(column.layout, placements=numbered, demands=demands, id=""))


class Pool:
    """All columns found so far."""

    def __init__(self, batch: Batch) -> None:
        self.batch = batch
        self._columns: dict[int, list[Column]] = {}

    def add(self, column: Column) -> bool:
        """Keep a column unless one of the same piece has the same parts and more; tell whether it was kept."""
        mine = self._columns.setdefault(column.piece, [])
        if not column.counts or any(column.counts <= other.counts for other in mine):
            return False
        mine[:] = [other for other in mine if not other.counts <= column.counts]
        mine.append(column)
        return True

    def prune(self, keep: Sequence[Column]) -> None:
        """Drop the oldest columns of pieces that have too many, but for those in use."""
        for piece, mine in self._columns.items():
            excess = len(mine) - MOST_OF_A_PIECE
            for column in list(mine):
                if excess <= 0:
                    break
                if not any(column.counts == k.counts for k in keep if k.piece == piece):
                    mine.remove(column)
                    excess -= 1

    def of(self, pieces: Iterable[int] | None = None) -> list[Column]:
        """All columns, or those of some pieces."""
        chosen = self._columns if pieces is None else {p: self._columns.get(p, []) for p in pieces}
        return [c for mine in chosen.values() for c in mine]
