"""A former plan as its folder tells it, brought up to date: what is cut, what is missing, what failed."""

import json
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import Final, Literal

from pydantic import BaseModel, Field, ValidationError

from nesting.demand import Demand
from nesting.errors import InputError
from nesting.files.layout_file import load_layout
from nesting.files.release import LAYOUT, recover
from nesting.layout import Layout
from nesting.part import Part
from nesting.report.plan_facts import SCHEMA

PLAN: Final = "plan.json"
_SHAPE_DIGITS: Final = 6


@dataclass(frozen=True, kw_only=True)
class FormerPiece:
    """A piece of a former plan: `stock` is what it is called in the order, of which a sheet may be there often."""

    id: str
    stock: str
    cut: bool
    folder: Path
    layout: Layout


@dataclass(frozen=True, kw_only=True)
class FormerLine:
    """A line of a former plan, and what it is known by; an `unclaimed` one was in the order of an earlier plan only.

    `shape` is None for a line that lay on no piece in a plan of an older version: nothing of it is cut.
    """

    id: str
    name: str
    reference: str
    due: date | None
    wanted: int
    shape: str | None
    thickness_mm: float | None
    grade: str | None
    unclaimed: bool = False


@dataclass(frozen=True, kw_only=True)
class Former:
    """A former plan: its pieces, those of them not to be found, its lines, parts that failed by line.

    `gone` names the stock that was missing in plans before it, `unused` what is not there and lay aside in this plan:
    the order must have it.  `recovered` says what a run that was cut off left.
    """

    pieces: tuple[FormerPiece, ...]
    lines: tuple[FormerLine, ...]
    missing: frozenset[str] = frozenset()
    gone: tuple[str, ...] = ()
    unused: tuple[str, ...] = ()
    failed: Mapping[str, int] = field(default_factory=dict)
    recovered: str = ""

    @property
    def cut(self) -> tuple[FormerPiece, ...]:
        """What is cut already."""
        return tuple(p for p in self.pieces if p.cut)

    @property
    def made(self) -> Counter[str]:
        """Good parts that are there, by line."""
        there = Counter(q.part_id for p in self.cut for q in p.layout.placements)
        return there - Counter(self.failed)

    @property
    def not_there(self) -> tuple[str, ...]:
        """What stock was missing, in this plan or before it, each as often as it was."""
        return (*self.gone, *(p.stock for p in self.pieces if p.id in self.missing), *self.unused)


class _Piece(BaseModel):
    id: str
    stock: str
    state: Literal["to cut", "cut"]
    folder: str


class _Line(BaseModel):
    line: str
    name: str
    reference: str
    due: date | None
    wanted: int
    failed: int = Field(ge=0)
    shape_sha256: str | None = None
    thickness_mm: float | None = None
    grade: str | None = None


class _Plan(BaseModel):
    """What is read of a plan; the keys with a default are not in plans of older versions."""

    pieces: tuple[_Piece, ...]
    lines: tuple[_Line, ...]
    unclaimed: tuple[_Line, ...] = ()
    missing: tuple[str, ...] = ()


def shape_sha256(part: Part) -> str:
    """Return a hash of what is cut and marked, wherever the drawing is kept and whatever it is called."""
    shape = [_plain(x) for x in (part.outer, part.holes, part.marks, part.texts)]
    return sha256(json.dumps(shape).encode()).hexdigest()


def _plain(value: object) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        return [_plain(getattr(value, f.name)) for f in fields(value)]
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if isinstance(value, float | int) and not isinstance(value, bool):
        # A whole number comes back from the file as a float, and adding 0 makes -0 one with 0.
        return round(float(value), _SHAPE_DIGITS) + 0.0
    return value


def read_former(
    folder: Path, *, cut: Sequence[str] = (), missing: Sequence[str] = (), failed: Mapping[str, int] | None = None
) -> Former:
    """Read a plan's folder, with what has been cut since, what is not there, and how many of which parts failed.

    What is not there may be a piece that the plan does not use; whether the order has it is for who reads that.  Raises
    `InputError` where the folder holds no plan, or another name is none of its.
    """
    recovered = recover(folder.resolve())
    plan = _read(folder / PLAN)
    used = {name for p in plan.pieces for name in (p.id, p.stock)}
    away = frozenset(_meant(folder, "--missing", name, plan.pieces) for name in missing if name in used)
    pieces = _pieces(folder, plan, {_meant(folder, "--cut", name, plan.pieces) for name in cut})
    for piece in pieces:
        if piece.cut and piece.id in away:
            raise InputError(f"{folder}: {piece.id} cannot be cut and missing; take one of the two out")
    told = (*plan.lines, *plan.unclaimed)
    there = Counter(q.part_id for p in pieces if p.cut for q in p.layout.placements)
    before = Counter({line.line: line.failed for line in told if line.failed})
    found = Former(
        pieces=pieces,
        lines=_lines(plan, pieces),
        missing=away,
        gone=plan.missing,
        unused=tuple(name for name in dict.fromkeys(missing) if name not in used and name not in plan.missing),
        failed=before + _failed(folder, told, failed or {}, there),
        recovered=recovered,
    )
    _refuse_strangers(folder, found)
    _refuse_too_many(folder, found, there)
    return found


def _pieces(folder: Path, plan: _Plan, cut: Collection[str]) -> tuple[FormerPiece, ...]:
    return tuple(
        FormerPiece(
            id=entry.id,
            stock=entry.stock.strip(),
            cut=entry.state == "cut" or entry.id in cut,
            folder=folder / entry.folder,
            layout=load_layout(folder / entry.folder / LAYOUT),
        )
        for entry in plan.pieces
    )


def _read(path: Path) -> _Plan:
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError(f"{path}: no such file; give the folder that 'oddplate batch' wrote") from None
    except (OSError, ValueError) as error:
        raise InputError(f"{path}: cannot be read: {error}") from None
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        raise InputError(f"{path}: is no plan of this version, expected schema {SCHEMA!r}")
    try:
        return _Plan.model_validate(data)
    except ValidationError as error:
        faults = (f"{'.'.join(map(str, x['loc']))}: {x['msg']}" for x in error.errors(include_url=False))
        raise InputError(f"{path}: {'; '.join(faults)}; mend the file, or plan the order anew") from None


def _meant(folder: Path, option: str, name: str, pieces: Sequence[_Piece]) -> str:
    """A piece is told by its name in the plan; the order's own name will do where only one piece of it is to be cut."""
    if any(p.id == name for p in pieces):
        return name
    open_ones = [p.id for p in pieces if p.stock == name and p.state == "to cut"]
    if len(open_ones) == 1:
        return open_ones[0]
    known = ", ".join(p.id for p in pieces) or "none"
    raise InputError(
        f"{folder}: {option} {name}: the plan has no such piece; it takes the names that the plan shows: {known}"
    )


def _lines(plan: _Plan, pieces: Sequence[FormerPiece]) -> tuple[FormerLine, ...]:
    """A layout says itself what part it has; the plan says it of lines that lie on none."""
    demands = {d.part.id: d for p in pieces for d in p.layout.demands}
    told = [(x, False) for x in plan.lines] + [(x, True) for x in plan.unclaimed]
    found = [_line(x, demands.get(x.line), unclaimed=unclaimed) for x, unclaimed in told]
    # Older versions forgot the lines that an order had lost.
    lost = demands.keys() - {line.id for line in found}
    return (*found, *(_lost(demands[i]) for i in sorted(lost)))


def _line(line: _Line, demand: Demand | None, *, unclaimed: bool) -> FormerLine:
    part = None if demand is None else demand.part
    return FormerLine(
        id=line.line,
        name=line.name,
        reference=line.reference.strip(),
        due=line.due,
        wanted=line.wanted,
        shape=line.shape_sha256 if part is None else shape_sha256(part),
        thickness_mm=line.thickness_mm if part is None else part.thickness_mm,
        grade=line.grade if part is None else part.grade,
        unclaimed=unclaimed,
    )


def _lost(demand: Demand) -> FormerLine:
    part = demand.part
    return FormerLine(
        id=part.id,
        name=part.name,
        reference=(demand.reference or "").strip(),
        due=None,
        wanted=0,
        shape=shape_sha256(part),
        thickness_mm=part.thickness_mm,
        grade=part.grade,
        unclaimed=True,
    )


def _failed(
    folder: Path, lines: Sequence[_Line], failed: Mapping[str, int], there: Mapping[str, int]
) -> Counter[str]:  # fmt: skip
    """Parts are told by name or by line; of lines of one name those count that are cut."""
    found: Counter[str] = Counter()
    for name, count in failed.items():
        meant = [x for x in lines if name in (x.line, x.name)] or [x for x in lines if name == f"{x.line}-1"]
        if not meant:
            names = ", ".join(dict.fromkeys(x.name for x in lines))
            raise InputError(f"{folder}: --failed {name}: the plan has no such part; it has {names}")
        cut = [x for x in meant if there[x.line]] or meant[:1]
        if len(cut) > 1:
            which = ", ".join(_which(x, name) for x in cut)
            raise InputError(f"{folder}: --failed {name}: more than one line has it; say which: {which}")
        found[cut[0].line] += count
    return found


def _which(line: _Line, name: str) -> str:
    """What tells a line from others of its name; the first one's id is that name."""
    told = f"{line.line}-1" if line.line == name else line.line
    return f"{told} (reference {line.reference})" if line.reference else told


def _refuse_strangers(folder: Path, former: Former) -> None:
    """Older versions numbered the lines anew in every plan, so that a piece cut before may name another line."""
    lines = {line.id: line for line in former.lines}
    for piece in former.cut:
        for demand in piece.layout.demands:
            line, reference = lines[demand.part.id], (demand.reference or "").strip()
            if (line.reference, line.shape) != (reference, shape_sha256(demand.part)):
                raise InputError(
                    f"{folder}: {demand.part.name} on {piece.id}, which is cut, is not what {PLAN} takes it for: an "
                    "older version took the plan up after the order had changed; take what is cut out of the order, "
                    "and plan it without --again"
                )


def _refuse_too_many(folder: Path, former: Former, there: Mapping[str, int]) -> None:
    names = {line.id: line.name for line in former.lines}
    for line, count in former.failed.items():
        if count > there[line]:
            raise InputError(
                f"{folder}: --failed {names.get(line, line)}: {count} failed, but only {there[line]} are on pieces "
                "that are cut; say which piece with --cut"
            )
