"""A plan taken up again: what is cut stays, what is missing or failed is planned for anew."""

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from nesting.batch.columns import Column
from nesting.batch.errands import passed
from nesting.batch.stock import Batch, StockPiece
from nesting.errors import InputError
from nesting.files.layout_file import load_layout
from nesting.files.release import LAYOUT
from nesting.layout import Layout
from nesting.report.plan_facts import SCHEMA
from nesting.steps.batch_order import BatchOrder

PLAN = "plan.json"


@dataclass(frozen=True, kw_only=True)
class FormerPiece:
    """A piece of a former plan: `stock` is what it is called in the order, of which a sheet may be there often."""

    id: str
    stock: str
    cut: bool
    folder: Path
    layout: Layout


@dataclass(frozen=True, kw_only=True)
class Former:
    """A former plan, brought up to date: pieces cut, pieces not to be found, parts that failed, by line."""

    pieces: tuple[FormerPiece, ...]
    missing: frozenset[str] = frozenset()
    failed: Mapping[str, int] = field(default_factory=dict)

    @property
    def cut(self) -> tuple[FormerPiece, ...]:
        """What is cut already."""
        return tuple(p for p in self.pieces if p.cut)

    @property
    def made(self) -> Counter[str]:
        """Good parts that are there, by line."""
        there = Counter(q.part_id for p in self.cut for q in p.layout.placements)
        return there - Counter(self.failed)


def read_former(
    folder: Path, *, cut: Sequence[str] = (), missing: Sequence[str] = (), failed: Mapping[str, int] | None = None
) -> Former:
    """Read a plan's folder, with what has been cut since, what is not there, and how many of which parts failed.

    Raises `InputError` where the folder holds no plan, or a name is none of its.
    """
    data = _read(folder / PLAN)
    pieces = tuple(
        FormerPiece(
            id=entry["id"],
            stock=entry["stock"],
            cut=entry["state"] == "cut" or entry["id"] in cut,
            folder=folder / entry["folder"],
            layout=load_layout(folder / entry["folder"] / LAYOUT),
        )
        for entry in data["pieces"]
    )
    known = [p.id for p in pieces]
    for option, names in (("--cut", cut), ("--missing", missing)):
        strange = [n for n in names if n not in known]
        if strange:
            raise InputError(f"{folder}: {option} {strange[0]}: the plan has no such piece; it has {', '.join(known)}")
    for name in missing:
        if any(p.id == name and p.cut for p in pieces):
            raise InputError(f"{folder}: {name} cannot be cut and missing; take one of the two out")
    before = Counter({line["line"]: line["failed"] for line in data["lines"] if line["failed"]})
    now = _failed(folder, data["lines"], failed or {})
    found = Former(pieces=pieces, missing=frozenset(missing), failed=before + now)
    _refuse_too_many(folder, data["lines"], found)
    return found


def _read(path: Path) -> dict[str, Any]:
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError(f"{path}: no such file; give the folder that 'oddplate batch' wrote") from None
    except (OSError, ValueError) as error:
        raise InputError(f"{path}: cannot be read: {error}") from None
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        raise InputError(f"{path}: is no plan of this version, expected schema {SCHEMA!r}")
    return data


def _failed(folder: Path, lines: Sequence[Mapping[str, Any]], failed: Mapping[str, int]) -> Counter[str]:
    """Parts are told by name or by line."""
    found: Counter[str] = Counter()
    for name, count in failed.items():
        meant = [line["line"] for line in lines if name in (line["line"], line["name"])]
        if not meant:
            names = ", ".join(dict.fromkeys(line["name"] for line in lines))
            raise InputError(f"{folder}: --failed {name}: the plan has no such part; it has {names}")
        if len(meant) > 1:
            raise InputError(f"{folder}: --failed {name}: more than one line has it; say which: {', '.join(meant)}")
        found[meant[0]] += count
    return found


def _refuse_too_many(folder: Path, lines: Sequence[Mapping[str, Any]], former: Former) -> None:
    there = Counter(q.part_id for p in former.cut for q in p.layout.placements)
    names = {line["line"]: line["name"] for line in lines}
    for line, count in former.failed.items():
        if count > there[line]:
            raise InputError(
                f"{folder}: --failed {names.get(line, line)}: {count} failed, but only {there[line]} are on pieces "
                "that are cut; say which piece with --cut"
            )


def remaining(order: BatchOrder, former: Former) -> tuple[Batch, list[Column]]:
    """Return what is still to be planned, and layouts of the former plan that can be kept."""
    made, batch = former.made, order.batch
    lines = [
        replace(line, demand=replace(line.demand, quantity=line.quantity - made[line.id]))
        for line in batch.lines
        if line.quantity > made[line.id]
    ]
    gone = Counter(p.stock for p in former.pieces if p.cut or p.id in former.missing)
    pieces = [
        p if not gone[p.id] else replace(p, count=p.count - gone[p.id]) for p in batch.pieces if p.count > gone[p.id]
    ]
    rest = Batch(lines=tuple(lines), pieces=tuple(pieces), trusted=batch.trusted)
    return rest, _kept(rest, former)


def _kept(batch: Batch, former: Former) -> list[Column]:
    index = {piece.id: n for n, piece in enumerate(batch.pieces)}
    wanted = {line.id: line.demand.part for line in batch.lines}
    found = []
    for piece in former.pieces:
        n = index.get(piece.stock)
        if n is None or piece.cut or piece.id in former.missing:
            continue
        layout = _as_now(piece.layout, batch.pieces[n])
        if all(wanted.get(i) == part for i, part in layout.parts.items()):
            found.append(Column(piece=n, layout=passed(layout)))
    return found


def _as_now(layout: Layout, piece: StockPiece) -> Layout:
    """The layout on the piece as the order has it now, without parts if that is not the same."""
    same = layout.plate.outer == piece.plate.outer and layout.plate.holes == piece.plate.holes
    same = same and layout.plate.keep_outs == piece.plate.keep_outs and layout.clearances == piece.clearances
    if not same:
        return replace(layout, placements=(), demands=())
    return replace(layout, plate=piece.plate, id="")
