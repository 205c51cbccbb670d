"""The order file: lines wanted, pieces and sheets to cut them from; TOML, read as strictly as a job."""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, Field, model_validator

from nesting.files.documents import Entry, not_empty, read_document
from nesting.files.job import ClearancesEntry, Job, JobFile, Number, OutputEntry, PartEntry, PlateEntry, UnitRules
from nesting.files.reading import DrawingsEntry
from nesting.lengths import Thickness, UnitWord

DEFAULT_SECONDS = 300.0
MOST_SHEETS = 1000


def _name(text: str | None) -> str | None:
    """Space around a name is seen by nobody, so that it must not make another name of it."""
    return (text or "").strip() or None


Name = Annotated[str | None, AfterValidator(_name)]


class LineEntry(PartEntry):
    """One line of the order: a part drawing, how many, of what, and by when."""

    thickness: Thickness
    due: date | None = None
    reference: Annotated[str, AfterValidator(str.strip)] = ""

    @model_validator(mode="after")
    def _counted(self) -> "LineEntry":
        if self.quantity is None:
            raise ValueError('quantity: an order says how many; "fill" is for single jobs')
        return self


class PieceEntry(PlateEntry):
    """A leftover: plate file, drawing, corners or size; `weight` says how much it is worth to keep, 1 as a good one."""

    name: Name = None
    added: date | None = None
    weight: Annotated[float | None, Field(gt=0.0, allow_inf_nan=False, strict=False)] = None

    @model_validator(mode="after")
    def _not_chosen(self) -> "PieceEntry":
        if self.rack is not None:
            raise ValueError('pieces of a rack come all at once: write rack = "FILE" at the top of the order')
        return self


class SheetEntry(PlateEntry):
    """A sheet that can be bought; `count` left out: as many as are needed.  `comes`: the day it is there."""

    name: Name = None
    thickness: Thickness
    price: Number
    count: Annotated[int | None, Field(ge=1, le=MOST_SHEETS)] = None
    comes: date | None = None

    @model_validator(mode="after")
    def _plain(self) -> "SheetEntry":
        if self.width is None:
            raise ValueError("a sheet to buy is told by width and height")
        return self


class PlanEntry(Entry):
    """How long to plan, in how many processes (left out: one a core), with what seed."""

    seconds: Annotated[float, Field(gt=0.0, allow_inf_nan=False, strict=False)] = DEFAULT_SECONDS
    seed: Annotated[int, Field(ge=0, lt=2**31)] = 0
    workers: Annotated[int | None, Field(ge=1, le=1024)] = None

    @property
    def processes(self) -> int:
        """How many processes the search runs in."""
        return self.workers or os.cpu_count() or 1


class OrderFile(Entry):
    """An order as written.  Lines due after `due_by` are made only where there is room on what is cut anyway."""

    units: UnitWord | None = None
    name: str | None = None
    shop: str | None = None
    rack: str | None = None
    due_by: date | None = None
    accept_unknown_grade: bool = False
    clearances: ClearancesEntry = ClearancesEntry()
    drawings: DrawingsEntry = DrawingsEntry()
    part: Annotated[tuple[LineEntry, ...], Field(strict=False), AfterValidator(not_empty)]
    piece: Annotated[tuple[PieceEntry, ...], Field(strict=False)] = ()
    sheet: Annotated[tuple[SheetEntry, ...], Field(strict=False)] = ()
    search: PlanEntry = PlanEntry()
    output: OutputEntry = OutputEntry()

    @model_validator(mode="after")
    def _something_to_cut(self) -> "OrderFile":
        if not (self.piece or self.sheet or self.rack):
            raise ValueError("nothing to cut from: give a [[piece]], a [[sheet]] or rack")
        return self


@dataclass(frozen=True, kw_only=True)
class WrittenOrder:
    """An order file and the folder that its paths are relative to."""

    file: OrderFile
    base: Path
    name: str
    source: str
    unit_rules: UnitRules = ()

    @property
    def folder(self) -> Path:
        """Where the plan goes; beside the order file unless said."""
        said = self.file.output.folder
        return self.job(PlateEntry.model_validate({"width": "1 mm", "height": "1 mm"})).path(
            said or f"{self.name}-plan"
        )

    def job(self, plate: PlateEntry, parts: tuple[PartEntry, ...] = ()) -> Job:
        """Return the order's own way of reading and cutting as a job for one plate and some parts."""
        file = JobFile.model_construct(
            units=self.file.units,
            name=self.name,
            shop=self.file.shop,
            plate=plate,
            clearances=self.file.clearances,
            drawings=self.file.drawings,
            part=parts,
            output=self.file.output,
        )
        return Job(file=file, base=self.base, name=self.name, source=self.source, unit_rules=self.unit_rules)


def read_order(
    path: Path, *, overrides: Mapping[str, Any] | None = None, unit_rules: UnitRules = ()
) -> WrittenOrder:  # fmt: skip
    """Read an order file, the command line's `overrides` laid over it; raises `JobError` with all its faults."""
    file = read_document(path, OrderFile, what="order file", overrides=overrides)
    return WrittenOrder(
        file=file, base=path.parent, name=file.name or path.stem, source=str(path), unit_rules=unit_rules
    )
