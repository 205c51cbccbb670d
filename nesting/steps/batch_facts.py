"""From a plan to what is told of it: rows for pieces, lines and what to buy."""

from collections import Counter
from collections.abc import Sequence
from datetime import date
from typing import Any

from nesting.batch.plan import Planned
from nesting.batch.stock import Batch, Line
from nesting.layout import Layout
from nesting.remnant import balance
from nesting.report.facts import RemnantRow
from nesting.report.figures import figures
from nesting.report.plan_facts import BuyRow, LeftRow, LineRow, LineStatus, PieceRow, PlacedRow, PlanFacts
from nesting.steps.batch_former import FormerLine, FormerPiece, shape_sha256
from nesting.steps.batch_order import BatchOrder
from nesting.steps.run import Result


def piece_row(
    order: BatchOrder, stock: str, result: Result, *, number: int, folder: str, notes: tuple[str, ...]
) -> PieceRow:
    """Return the row of a piece that was just written."""
    layout = result.layout
    piece = next(p for p in order.batch.pieces if p.id == stock)
    lines = {line.id: line for line in order.batch.lines}
    due = [d for i in layout.parts if (d := lines[i].due) is not None]
    return PieceRow(
        number=number,
        id=layout.plate.name,
        stock=stock,
        kind=piece.kind,
        state="to cut",
        folder=folder,
        layout_id=layout.id,
        thickness_mm=layout.plate.thickness_mm,
        grade=layout.plate.grade,
        place=layout.plate.place,
        utilisation=_utilisation(layout),
        placed=_placed(order, layout),
        left=tuple(_left(r) for r in result.report.remnants),
        first_due=min(due, default=None),
        comes=piece.comes,
        price=piece.price,
        notes=notes,
    )


def former_row(order: BatchOrder, piece: FormerPiece, *, number: int, folder: str) -> PieceRow:
    """Return the row of a piece that is cut already."""
    layout = piece.layout
    known = next((p for p in order.batch.pieces if p.id == piece.stock), None)
    remnants = figures(layout, order.shop, areas=balance(layout, order.shop)).remnants
    return PieceRow(
        number=number,
        id=piece.id,
        stock=piece.stock,
        kind="remnant" if known is None else known.kind,
        state="cut",
        folder=folder,
        layout_id=layout.id,
        thickness_mm=layout.plate.thickness_mm,
        grade=layout.plate.grade,
        place=layout.plate.place,
        utilisation=_utilisation(layout),
        placed=_placed(order, layout),
        left=tuple(_left(r) for r in remnants),
        price=0.0 if known is None else known.price,
    )


def _utilisation(layout: Layout) -> float:
    return sum(layout.parts[p.part_id].area_mm2 for p in layout.placements) / layout.plate.area_mm2


def _placed(order: BatchOrder, layout: Layout) -> tuple[PlacedRow, ...]:
    former = order.former.lines if order.former is not None else ()
    references = {x.id: x.reference for x in former} | {x.id: x.reference for x in order.batch.lines}
    counts = Counter(p.part_id for p in layout.placements)
    return tuple(
        PlacedRow(line=i, name=layout.parts[i].name, reference=references.get(i, ""), count=n)
        for i, n in counts.items()
    )


def _left(row: RemnantRow) -> LeftRow:
    return LeftRow(label=row.label, rectangle_mm=row.rectangle_mm, area_mm2=row.area_mm2, mass_kg=row.mass_kg)


def plan_facts(order: BatchOrder, batch: Batch, planned: Planned, rows: Sequence[PieceRow]) -> PlanFacts:
    """Return the whole plan; `batch` is what was still to be planned."""
    to_cut = [r for r in rows if r.state == "to cut"]
    weights = {p.id: p for p in order.batch.pieces}
    notes = [*order.notes, *([planned.note] if planned.note else [])]
    return PlanFacts(
        name=order.name,
        made_on=order.today,
        currency=order.shop.prices.currency,
        pieces=tuple(rows),
        lines=tuple(_line_row(order, batch, line, rows, planned) for line in order.batch.lines),
        buy=_buy(order, to_cut),
        price=sum(r.price for r in to_cut),
        least_price=planned.least_price,
        opened_mm2=sum(weights[r.stock].plate.area_mm2 for r in to_cut if r.kind == "remnant"),
        worth=sum(weights[r.stock].worth for r in to_cut),
        least_worth=planned.least_worth,
        seconds=planned.seconds,
        layouts_tried=planned.layouts_tried,
        interrupted=planned.stopped,
        notes=tuple(notes),
    )


def plan_document(order: BatchOrder, facts: PlanFacts) -> dict[str, Any]:
    """Return the plan as it is written: its facts, and what the next plan knows this one's lines and stock by."""
    document = facts.as_json()
    for told, line in zip(document["lines"], order.batch.lines, strict=True):
        part = line.demand.part
        told |= {"shape_sha256": shape_sha256(part), "thickness_mm": part.thickness_mm, "grade": part.grade}
    former, own = order.former, {line.id for line in order.batch.lines}
    unclaimed = [] if former is None else [x for x in former.lines if x.id not in own]
    document["unclaimed"] = [row for x in unclaimed if (row := _unclaimed_json(order, x))["cut"] or row["failed"]]
    document["missing"] = [] if former is None else list(former.not_there)
    return document


def _unclaimed_json(order: BatchOrder, line: FormerLine) -> dict[str, Any]:
    assert order.former is not None
    return {
        "line": line.id,
        "name": line.name,
        "reference": line.reference,
        "due": None if line.due is None else line.due.isoformat(),
        "wanted": line.wanted,
        "cut": order.former.made[line.id],
        "failed": order.former.failed.get(line.id, 0),
        "shape_sha256": line.shape,
        "thickness_mm": line.thickness_mm,
        "grade": line.grade,
    }


def _buy(order: BatchOrder, rows: Sequence[PieceRow]) -> tuple[BuyRow, ...]:
    counts = Counter(r.stock for r in rows if r.kind == "sheet")
    found = []
    for piece in order.batch.pieces:
        if counts[piece.id]:
            x0, y0, x1, y1 = piece.plate.fine_polygon.bounds
            found.append(
                BuyRow(
                    name=piece.id,
                    size_mm=(x1 - x0, y1 - y0),
                    thickness_mm=piece.plate.thickness_mm,
                    grade=piece.plate.grade,
                    count=counts[piece.id],
                    price_each=piece.price,
                    comes=piece.comes,
                )
            )
    return tuple(found)


def _line_row(order: BatchOrder, batch: Batch, line: Line, rows: Sequence[PieceRow], found: Planned) -> LineRow:
    on = [(r, p.count) for r in rows for p in r.placed if p.line == line.id]
    planned = sum(n for r, n in on if r.state == "to cut")
    failed = order.former.failed.get(line.id, 0) if order.former is not None else 0
    cut = sum(n for r, n in on if r.state == "cut") - failed
    short = max(0, line.quantity - planned - cut)
    status, reason = _status(order, batch, line, [r for r, _ in on if r.state == "to cut"], short, found)
    return LineRow(
        line=line.id,
        name=line.demand.part.name,
        reference=line.reference,
        due=line.due,
        wanted=line.quantity,
        planned=planned,
        cut=cut,
        failed=failed,
        on=tuple((r.id, n) for r, n in on),
        status="cut" if status == "planned" and planned == 0 and cut >= line.quantity else status,
        reason=reason,
    )


def _status(
    order: BatchOrder, batch: Batch, line: Line, rows: Sequence[PieceRow], short: int, found: Planned
) -> tuple[LineStatus, str]:
    if short and line.later:
        return "not due yet", f"{short} of {line.quantity} wait; there was no room for them on what is cut anyway"
    if short:
        return _why_short(batch, line, short, found)
    late = [r for r in rows if line.due is not None and r.comes is not None and r.comes > line.due]
    if late:
        return "late", f"{late[0].stock} is there on {_day(late[0].comes)}, and the line is due on {_day(line.due)}"
    if line.due is not None and line.due < order.today and rows:
        return "late", f"it was due on {_day(line.due)}"
    return "planned", ""


def _why_short(batch: Batch, line: Line, short: int, found: Planned) -> tuple[LineStatus, str]:
    part = line.demand.part
    reasons = {piece.id: batch.why_not(line, piece.plate) for piece in batch.pieces}
    serving = [p for p in batch.pieces if not reasons[p.id]]
    asked = f"{part.thickness_mm:g} mm" if part.thickness_mm is not None else "any thickness"
    asked += f", {part.grade}" if part.grade is not None else ""
    if not serving:
        told = "; ".join(f"{name}: {why}" for name, why in list(reasons.items())[:5])
        return "impossible", f"no piece may serve it ({asked}): {told or 'nothing is left to cut from'}"
    width, height = part.size_mm
    sizes = f"it measures {width:.0f} x {height:.0f} mm"
    if short == line.quantity and all(p.plate.area_mm2 < part.area_mm2 for p in serving):
        return "impossible", f"{sizes} and is larger than every piece that may serve it ({asked})"
    if found.stopped:
        return "left over", (
            f"{short} of {line.quantity} had no place yet when the planning was interrupted; take it up again with "
            "--again, and let it run"
        )
    if line.id in found.untried:
        return "left over", (
            f"{short} of {line.quantity} have no place yet: time ran out before all that may serve it was tried ("
            f"{', '.join(p.id for p in serving[:5])}{' and more' if len(serving) > 5 else ''}); give more time, with "
            "--seconds"
        )
    return "left over", (
        f"{short} of {line.quantity} found no place on {', '.join(p.id for p in serving[:5])}"
        f"{' and more' if len(serving) > 5 else ''}: {sizes}; give more stock or a sheet to buy, or more time"
    )


def _day(day: date | None) -> str:
    return day.isoformat() if day is not None else "a day not said"
