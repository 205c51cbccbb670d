"""What is due and has no place when time is up: one greedy layout a piece, which costs next to no search."""

import time
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from nesting.batch.columns import Column, Picked
from nesting.batch.errands import Quick, lay_quickly
from nesting.batch.knowledge import Knowledge
from nesting.batch.stock import StockPiece

REMNANTS_S: Final = 2.0
"""Remnants are tried for so long: each may take nothing.  A sheet takes something every time, so these come to an end
by themselves.
"""


@dataclass(frozen=True, kw_only=True)
class Rest:
    """Layouts beside those of a plan, and lines still left over of which some piece was not tried any more."""

    columns: tuple[Column, ...]
    untried: frozenset[str]


def laid_quickly(known: Knowledge, plan: Picked, *, should_stop: Callable[[], bool]) -> Rest:
    """Lay the lines due that a plan is short of on pieces that it does not use, each by the first greedy layout."""
    begun, pieces, used = time.monotonic(), known.batch.pieces, Counter(plan.pieces)
    later = {line.id for line in known.batch.lines if line.later}
    left = Counter({i: n for i, n in plan.short.items() if i not in later})
    found: list[Column] = []
    untried: set[str] = set()
    for p in _ordered(known, left):
        served = left.keys() & known.pieces[p].fits
        column: Column | None = None
        for _ in range(pieces[p].count - used[p]):
            if not served:
                break
            late = pieces[p].kind == "remnant" and time.monotonic() - begun > REMNANTS_S
            if late or should_stop():
                untried |= served
                break
            # The next sheet is cut like the one before as long as so much is wanted: large orders need hundreds.
            if column is None or not column.counts <= left:
                column = _laid(known, p, {i: left[i] for i in served})
            if not column.counts:
                break
            found.append(column)
            left -= column.counts
            served &= left.keys()
    return Rest(columns=tuple(found), untried=frozenset(untried & left.keys()))


def _laid(known: Knowledge, p: int, wanted: Mapping[str, int]) -> Column:
    piece = known.batch.pieces[p]
    demands = known.demands(Counter(wanted), 1.0)
    return Column(piece=p, layout=lay_quickly(Quick(plate=piece.plate, clearances=piece.clearances, demands=demands)))


def _ordered(known: Knowledge, left: Mapping[str, int]) -> list[int]:
    """Pieces that come in time before others, then the cheapest by area, the largest first."""
    due = {line.id: line.due for line in known.batch.lines}

    def comes_late(p: int, piece: StockPiece) -> bool:
        days = [day for i in left.keys() & known.pieces[p].fits if (day := due[i]) is not None]
        return piece.comes is not None and bool(days) and piece.comes > min(days)

    def key(p: int) -> tuple[bool, float, float]:
        piece = known.batch.pieces[p]
        return (comes_late(p, piece), piece.price / piece.plate.area_mm2, -piece.plate.area_mm2)

    return sorted(range(len(known.batch.pieces)), key=key)
