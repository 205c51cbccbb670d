"""What a batch is made of: lines wanted, pieces to cut them from, and what may be cut from what."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Final, Literal

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.errors import JobError
from nesting.plate import Plate

SAME_THICKNESS_MM: Final = 0.01
"""Thicknesses this near are the same nominal one, written in inches or millimetres."""

LATER: Final = 1_000_000
"""Added to the rank of lines that are not due within the batch."""


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line of the order: so many pieces of one part; the part's id names the line.

    `later` lines are not due yet: they are made where there is room on what is cut anyway.
    """

    demand: Demand
    due: date | None = None
    reference: str = ""
    later: bool = False

    def __post_init__(self) -> None:
        if self.demand.quantity is None:
            raise JobError(f"{self.demand.part.name}: a batch needs a quantity; as many as fit is not planned for")

    @property
    def id(self) -> str:
        """The id of the line and of its part."""
        return self.demand.part.id

    @property
    def quantity(self) -> int:
        """How many pieces are wanted."""
        return self.demand.quantity or 0

    @property
    def rank(self) -> int:
        """Lower ranks are made first."""
        return self.demand.priority + (LATER if self.later else 0)


@dataclass(frozen=True, kw_only=True)
class StockPiece:
    """A remnant of which there is one, or a sheet that can be bought `count` times, each at a `price`.

    Of an `unlimited` sheet there are as many as are needed, whatever was bought before; its `count` is no less.
    `weight` says how much an area of it is worth to keep, 1 for a good piece: old ones weigh less and go first.
    `comes` is the day a bought sheet is there.
    """

    id: str
    plate: Plate
    clearances: Clearances
    kind: Literal["remnant", "sheet"] = "remnant"
    price: float = 0.0
    count: int = 1
    unlimited: bool = False
    weight: float = 1.0
    comes: date | None = None

    def __post_init__(self) -> None:
        if self.count < 1 or self.price < 0.0 or not self.weight > 0.0:
            raise ValueError(f"{self.id}: count {self.count}, price {self.price}, weight {self.weight}")
        if self.kind == "remnant" and (self.count != 1 or self.unlimited):
            raise ValueError(
                f"{self.id}: there is one of a remnant, not {'any number' if self.unlimited else self.count}"
            )

    @property
    def worth(self) -> float:
        """What is given up by cutting into it: nothing for a sheet, whose price says it all."""
        return self.plate.area_mm2 * self.weight if self.kind == "remnant" else 0.0


@dataclass(frozen=True, kw_only=True)
class Batch:
    """Lines and stock.  `trusted` are lines that may be cut from plate of unknown grade although they ask for one."""

    lines: tuple[Line, ...]
    pieces: tuple[StockPiece, ...]
    trusted: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        for what, names in (("line", [n.id for n in self.lines]), ("piece", [p.id for p in self.pieces])):
            twice = sorted({n for n in names if names.count(n) > 1})
            if twice:
                raise JobError(f"{', '.join(twice)}: more than one {what} of this name; give each its own")

    @cached_property
    def serves(self) -> tuple[tuple[int, ...], ...]:
        """For each piece the lines, by index, that may be cut from it by thickness, grade and grain."""
        return tuple(
            tuple(i for i, line in enumerate(self.lines) if not self.why_not(line, piece.plate))
            for piece in self.pieces
        )

    def why_not(self, line: Line, plate: Plate) -> str:
        """Return why a line may not be cut from a plate whatever its shape; empty if it may."""
        part = line.demand.part
        if part.thickness_mm is not None:
            if plate.thickness_mm is None:
                return "its thickness is not known"
            if abs(part.thickness_mm - plate.thickness_mm) > SAME_THICKNESS_MM:
                return f"it is {plate.thickness_mm:g} mm thick"
        if part.grade is not None and plate.grade is None and line.id not in self.trusted:
            return "its grade is not known"
        if part.grade is not None and plate.grade is not None and _plain(part.grade) != _plain(plate.grade):
            return f"it is {plate.grade}"
        if line.demand.turns.rule == "grain" and plate.grain_deg is None:
            return "its grain is not known"
        return ""

    def parts(self) -> tuple["Batch", ...]:
        """Split into batches that share no piece that serves both and no line; lines without a piece are left out."""
        groups: list[tuple[set[int], set[int]]] = []
        for p, lines in enumerate(self.serves):
            if not lines:
                continue
            mine, others = ({p}, set(lines)), []
            for pieces, served in groups:
                if served & mine[1]:
                    mine = (mine[0] | pieces, mine[1] | served)
                else:
                    others.append((pieces, served))
            groups = [*others, mine]
        return tuple(
            Batch(
                lines=tuple(self.lines[i] for i in sorted(lines)),
                pieces=tuple(self.pieces[p] for p in sorted(pieces)),
                trusted=self.trusted,
            )
            for pieces, lines in sorted(groups, key=lambda g: min(g[1]))
        )


def mates(pieces: Sequence[StockPiece], a: int, b: int) -> bool:
    """True if two pieces can be laid out together: the same clearances and grain."""
    return pieces[a].clearances == pieces[b].clearances and pieces[a].plate.grain_deg == pieces[b].plate.grain_deg


def _plain(grade: str) -> str:
    return "".join(grade.split()).casefold()
