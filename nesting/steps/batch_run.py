"""The whole way of one order: plan, write every piece's folder with its check, the overview; all appear together."""

import json
import re
import shutil
from collections.abc import Callable, Collection, Iterable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from datetime import date
from itertools import count
from pathlib import Path
from typing import Any, Final

from nesting.batch.columns import Column
from nesting.batch.plan import Planned, PlanProgress, plan
from nesting.batch.stock import Batch
from nesting.errors import InputError
from nesting.files.release import recover, refuse_taken, release, stage
from nesting.layout import Layout
from nesting.report.plan_facts import PieceRow, PlanFacts
from nesting.report.plan_page import plan_page
from nesting.steps.batch_again import remaining
from nesting.steps.batch_facts import former_row, piece_row, plan_document, plan_facts
from nesting.steps.batch_former import PLAN
from nesting.steps.batch_order import BatchOrder
from nesting.steps.fitting import cutting_from, look_at
from nesting.steps.order import Order
from nesting.steps.run import run_job

PAGE: Final = "plan.html"
_FOLDER: Final = re.compile(r"\d\d\d?-.+")


@dataclass(frozen=True, kw_only=True)
class BatchResult:
    """What a batch left behind; `document` is the plan as written."""

    facts: PlanFacts
    document: dict[str, Any]
    folder: Path
    stopped: bool
    recovered: str = ""


@dataclass(frozen=True, kw_only=True)
class Cut:
    """One piece of plate to be cut: what it is called in the plan and in the order, and its layout with the order's
    own demands.
    """

    id: str
    stock: str
    column: Column
    layout: Layout


def run_batch(
    order: BatchOrder,
    *,
    force: bool = False,
    executor: Executor | None = None,
    on_progress: Callable[[PlanProgress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> BatchResult:
    """Plan an order and write its folder; where it is a plan taken up again, what is cut already stays as it is.

    When `should_stop` turns true the best plan so far goes the same way.  Raises `InputError` before the search where
    the folder may not be written, `CheckFailed` where a written drawing breaks a clearance: then nothing is written.
    """
    folder = order.folder.resolve()
    recovered = recover(folder)
    _refuse_taken(folder, force=force)
    batch, known = remaining(order)
    planned = plan(
        batch,
        seconds=order.seconds,
        seed=order.seed,
        workers=order.workers,
        executor=executor,
        known=known,
        on_progress=on_progress,
        should_stop=should_stop,
    )
    staged = stage(folder)
    try:
        facts, document = _write(order, batch, planned, staged)
        _refuse_taken(folder, force=force)
        release(staged, folder)
    finally:
        shutil.rmtree(staged, ignore_errors=True)
    return BatchResult(
        facts=facts, document=document, folder=order.folder, stopped=planned.stopped, recovered=recovered
    )


def _refuse_taken(folder: Path, *, force: bool) -> None:
    """Only what an earlier plan wrote is ever replaced."""
    there = [p.name for p in folder.iterdir()] if folder.is_dir() else []
    if there and PLAN not in there:
        raise InputError(f"{folder}: holds files that no plan wrote; choose another output folder")
    refuse_taken(folder, force=force, ours=[PLAN, PAGE, *(name for name in there if _FOLDER.fullmatch(name))])


def _write(order: BatchOrder, batch: Batch, planned: Planned, staged: Path) -> tuple[PlanFacts, dict[str, Any]]:
    rows: list[PieceRow] = []
    for piece in order.former.cut if order.former is not None else ():
        name = _folder_name(len(rows) + 1, piece.id)
        shutil.copytree(piece.folder, staged / name)
        rows.append(former_row(order, piece, number=len(rows) + 1, folder=name))
    for cut in in_order(order, cuts(order, planned)):
        name = _folder_name(len(rows) + 1, cut.id)
        rows.append(_write_piece(order, cut, staged / name, number=len(rows) + 1))
    facts = plan_facts(order, batch, planned, rows)
    document = plan_document(order, facts)
    text = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False)
    (staged / PLAN).write_text(text + "\n", encoding="utf-8", newline="\n")
    page = plan_page(facts, paper=order.any_order.paper, unit=order.any_order.unit)
    (staged / PAGE).write_text(page, encoding="utf-8", newline="\n")
    return facts, document


def cuts(order: BatchOrder, planned: Planned) -> list[Cut]:
    """Return what is to be cut; sheets are numbered, by names that nothing in the order or the former plan has."""
    demands = {line.id: line.demand for line in order.batch.lines}
    taken = {piece.id for piece in order.batch.pieces}
    if order.former is not None:
        taken |= {p.id for p in order.former.pieces if p.cut or p.id in order.former.missing}
    found = []
    for group in planned.groups:
        for column in group.columns:
            piece = group.batch.pieces[column.piece]
            name = piece.id if piece.kind == "remnant" else _running(piece.id, taken)
            taken.add(name)
            counts = column.counts
            own = tuple(replace(d, quantity=counts[i]) for i, d in demands.items() if counts[i])
            layout = replace(column.layout, demands=own, plate=replace(piece.plate, name=name), left_over=(), id="")
            found.append(Cut(id=name, stock=piece.id, column=column, layout=layout))
    return found


def _running(name: str, taken: Collection[str]) -> str:
    """The name with the first number that is free."""
    return next(text for n in count(1) if (text := f"{name} {n}") not in taken)


def in_order(order: BatchOrder, found: Iterable[Cut]) -> list[Cut]:
    """Bought sheets wait until they are there; else what is due first is cut first, then what matters most."""
    lines = {line.id: line for line in order.batch.lines}
    comes = {piece.id: piece.comes for piece in order.batch.pieces}

    def key(cut: Cut) -> tuple[date, date, int, str]:
        due = [d for i in cut.column.counts if (d := lines[i].due) is not None]
        waits = comes.get(cut.stock) or date.min
        return (waits, min(due, default=date.max), min(lines[i].rank for i in cut.column.counts), cut.id)

    return sorted(found, key=key)


def _folder_name(number: int, name: str) -> str:
    """A name that every system takes for a folder."""
    plain = re.sub(r"[^\w.+-]+", "-", name, flags=re.ASCII).strip("-. ") or "piece"
    return f"{number:02d}-{plain[:60]}"


def _write_piece(order: BatchOrder, cut: Cut, folder: Path, *, number: int) -> PieceRow:
    """Write one piece's folder by the same way as a job of its own, and return what the plan says of it."""
    own = [order.orders[i] for i in cut.column.counts]
    parts = [d.part for d in cut.layout.demands]
    cutting = cutting_from(order.shop, cut.layout.plate, cut.layout.clearances)
    job: Order = replace(
        own[0],
        name=f"{order.name}, {cut.id}",
        plate=cut.layout.plate,
        demands=cut.layout.demands,
        clearances=cut.layout.clearances,
        folder=folder,
        drawings=tuple(dict.fromkeys([d for o in own for d in o.drawings] + list(order.plates.get(cut.stock, ())))),
        findings=tuple(dict.fromkeys(f for o in own for f in o.findings)),
        notes=tuple(dict.fromkeys([*(n for o in own for n in o.notes), *_unknown_grade(cut)])),
        fit=look_at(parts, cutting),
    )
    result = run_job(job, place=lambda _order, _progress, _stop: cut.layout)
    return piece_row(order, cut.stock, result, number=number, folder=folder.name, notes=_unknown_grade(cut))


def _unknown_grade(cut: Cut) -> tuple[str, ...]:
    """Say in plain words which parts ask for a grade that nobody knows this piece to have."""
    if cut.layout.plate.grade is not None:
        return ()
    asking = [d.part for d in cut.layout.demands if d.part.grade is not None]
    return tuple(
        f"{part.name} asks for grade {part.grade}; it was accepted on {cut.id}, whose grade is not known"
        for part in asking
    )
