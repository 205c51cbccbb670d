"""A plan taken up again: what is cut stays, what is missing or failed is planned for anew."""

from collections import Counter
from dataclasses import replace

from nesting.batch.columns import Column
from nesting.batch.errands import passed
from nesting.batch.stock import Batch, StockPiece
from nesting.demand import Demand
from nesting.layout import Layout
from nesting.steps.batch_former import Former
from nesting.steps.batch_order import BatchOrder


def remaining(order: BatchOrder) -> tuple[Batch, list[Column]]:
    """Return what is still to be planned, and layouts of the former plan that can be kept."""
    former, batch = order.former, order.batch
    if former is None:
        return batch, []
    made = former.made
    lines = [
        replace(line, demand=replace(line.demand, quantity=line.quantity - made[line.id]))
        for line in batch.lines
        if line.quantity > made[line.id]
    ]
    gone = Counter([*(p.stock for p in former.cut), *former.not_there])
    pieces = [left for p in batch.pieces if (left := _less(p, gone[p.id])) is not None]
    rest = Batch(lines=tuple(lines), pieces=tuple(pieces), trusted=batch.trusted)
    return rest, _kept(rest, former)


def _less(piece: StockPiece, gone: int) -> StockPiece | None:
    """What is left of a piece's count; of what is bought as often as needed there is always more."""
    if piece.unlimited or not gone:
        return piece
    return replace(piece, count=piece.count - gone) if piece.count > gone else None


def _kept(batch: Batch, former: Former) -> list[Column]:
    index = {piece.id: n for n, piece in enumerate(batch.pieces)}
    wanted = {line.id: line.demand for line in batch.lines}
    found = []
    for piece in former.pieces:
        n = index.get(piece.stock)
        if n is None or piece.cut or piece.id in former.missing:
            continue
        layout = _as_now(piece.layout, batch.pieces[n])
        if all(d.part.id in wanted and _lies_as_asked(d, wanted[d.part.id]) for d in layout.demands):
            found.append(Column(piece=n, layout=passed(layout)))
    return found


def _lies_as_asked(was: Demand, now: Demand) -> bool:
    return (was.part, was.turns, was.may_flip) == (now.part, now.turns, now.may_flip)


def _as_now(layout: Layout, piece: StockPiece) -> Layout:
    """The layout on the piece as the order has it now, without parts if that is not the same."""
    same = layout.plate.outer == piece.plate.outer and layout.plate.holes == piece.plate.holes
    same = same and layout.plate.keep_outs == piece.plate.keep_outs and layout.clearances == piece.clearances
    if not same:
        return replace(layout, placements=(), demands=())
    return replace(layout, plate=piece.plate, id="")
