"""A job resolved: its drawings read, its clearances derived, every doubt settled or refused."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.drawing.declared_units import with_advice
from nesting.drawing.findings import Finding
from nesting.drawing.plate import read_plate_drawing
from nesting.drawing.plausible import plate_finding
from nesting.drawing.reader import read_drawing
from nesting.drawing.writing import Writing
from nesting.errors import DrawingError, InputError, JobError, UnitsUnknownError
from nesting.files.job import Job, PartEntry, SearchEntry
from nesting.files.plate_file import SUFFIX, read_plate_file
from nesting.files.shop_file import read_shop
from nesting.files.written_plate import completed, written_plate
from nesting.fit.finding import FitFinding
from nesting.leads import part_findings
from nesting.part import Part
from nesting.plate import Plate
from nesting.report.facts import DrawingFacts
from nesting.shop import Paper, Shop
from nesting.steps.fitting import cutting_from, look_at
from nesting.steps.spacing import Derived, derive_clearances
from nesting.units import DrawnUnit, Unit

R = TypeVar("R")
SAME_THICKNESS_MM = 0.01


@dataclass(frozen=True, kw_only=True)
class Questions:
    """Who answers when a job leaves a doubt: each returns None or False where nobody can be asked.

    `unit` gets the refusal of a drawing with both possible sizes.  `accept_unknown_grade` gets the part's
    name and the grade it asks for.
    """

    unit: Callable[[UnitsUnknownError], DrawnUnit | None] = lambda _: None
    accept_unknown_grade: Callable[[str, str], bool] = lambda _part, _grade: False


@dataclass(frozen=True, kw_only=True)
class Order:
    """All that a run needs; `findings` pairs a drawing's name with what was noticed in it.

    `fit` is what may not come out of the cut as drawn, seen before any layout; it stops nothing.
    """

    name: str
    plate: Plate
    demands: tuple[Demand, ...]
    clearances: Clearances
    shop: Shop
    search: SearchEntry
    folder: Path
    writing: Writing
    unit: Unit
    paper: Paper
    drawings: tuple[DrawingFacts, ...] = ()
    findings: tuple[tuple[str, Finding], ...] = ()
    notes: tuple[str, ...] = ()
    fit: tuple[FitFinding, ...] = ()
    mark_leads: bool = False
    svg: bool = False

    @property
    def all_notes(self) -> tuple[str, ...]:
        """What the report has to say of the order: its own notes and every finding with its drawing's name."""
        found = (f.message if name in f.message else f"{name}: {f.message}" for name, f in self.findings)
        return (*self.notes, *found)


def resolve(
    job: Job,
    *,
    questions: Questions | None = None,
    shop: Shop | None = None,
    from_rack: "FromRack | None" = None,
) -> Order:
    """Read all that a job names; `shop` is taken where the job names no shop file, `from_rack` gives a rack's pieces.

    Raises `JobError` or `DrawingError` with every fault found, `UnitsUnknownError` where a drawing's unit is
    not known and nobody can say it.
    """
    asked = questions or Questions()
    own = shop_of(job, shop)
    try:
        bare = plate_of(job, asked, own, from_rack)
    except JobError as error:
        if str(error).startswith(f"{job.source}: "):
            raise
        raise JobError(f"{job.source}: {error}") from None
    plate = bare.plate
    wanted = _wanted(job, plate, asked)
    derived = _derive(job, own, plate)
    output = job.file.output
    return Order(
        name=job.name,
        plate=plate,
        demands=wanted.demands,
        clearances=derived.clearances,
        shop=own,
        search=job.file.search,
        folder=job.folder,
        writing=_writing(job, own),
        unit=output.units or job.file.units or own.unit,
        paper=output.paper or own.paper,
        drawings=(*wanted.drawings, *bare.drawings),
        findings=(*((plate.name, f) for f in bare.findings), *wanted.findings),
        notes=(
            *bare.notes,
            *wanted.notes,
            *derived.notes,
            *_fit_notes(plate),
            *_table_notes(own, plate),
            *_lead_notes(job, wanted, derived),
        ),
        mark_leads=_marks_leads(job),
        svg=output.svg,
        fit=look_at((d.part for d in wanted.demands), cutting_from(own, plate, derived.clearances)),
    )


def shop_of(job: Job, shop: Shop | None = None) -> Shop:
    """Return the shop that a job names, else the one given, with the process and amperage that the job says."""
    return _as_cut(job, read_shop(job.path(job.file.shop)) if job.file.shop else shop or Shop())


def wanted_parts(job: Job, *, questions: Questions | None = None) -> tuple[Demand, ...]:
    """Read the parts that a job names, whatever plate they are for; raises as `resolve` does."""
    return _wanted(job, None, questions or Questions()).demands


def clearances_on(job: Job, shop: Shop, plate: Plate) -> Clearances:
    """Return the clearances of a job on a plate; raises `JobError` where one is not known."""
    return _derive(job, shop, plate).clearances


def same_grade(one: str, other: str) -> bool:
    """True if two texts name one grade: spaces and case aside."""
    return _plain(one) == _plain(other)


def _writing(job: Job, shop: Shop) -> Writing:
    output = job.file.output
    return Writing(
        version=output.version,
        unit=output.units or job.file.units or shop.unit,
        contours=output.contours,
        curves=output.curves,
        blocks=output.blocks,
        outside=shop.outside,
        plate_edge=output.plate_edge,
        labels=output.labels,
        marks=output.marks,
    )


def _marks_leads(job: Job) -> bool:
    """Lead-ins are marked if the job says so; where it does not say, if room is kept for them."""
    said = job.file.output.mark_leads
    return job.file.clearances.keep_lead_room if said is None else said


def _lead_notes(job: Job, wanted: "_Wanted", derived: Derived) -> list[str]:
    """Name the contours that have no room for a lead-in wherever their part lies, if lead-ins matter."""
    if not (job.file.clearances.keep_lead_room or _marks_leads(job)):
        return []
    if derived.clearances.lead_in_mm <= 0.0:
        raise JobError(f"{job.source}: lead-ins are to be marked and lead_in is 0; give their length")
    return [note for d in wanted.demands for note in part_findings(d.part, derived.clearances)]


def _as_cut(job: Job, shop: Shop) -> Shop:
    """Return the shop with the process and amperage that this job says."""
    said = job.file.clearances
    sources = dict(shop.sources) if said.process is None else {**shop.sources, "process": "given in the job"}
    return replace(
        shop,
        process=said.process or shop.process,
        amps=shop.amps if said.amps is None else said.amps,
        sources=sources,
    )


def _derive(job: Job, shop: Shop, plate: Plate) -> Derived:
    try:
        return derive_clearances(job.file.clearances, shop, plate)
    except InputError as error:
        raise JobError(f"{job.source}: clearances: {error}") from None


@dataclass(frozen=True, kw_only=True)
class Bare:
    """The plate as the job has it, the file it came from, if any, and what was noticed in it."""

    plate: Plate
    drawings: tuple[DrawingFacts, ...] = ()
    findings: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()


FromRack = Callable[[Job, Shop, Questions], tuple[Plate, tuple[str, ...]]]
"""Gives the plate that a job takes from the rack, and what to say of it."""


def plate_of(job: Job, asked: Questions, shop: Shop, from_rack: FromRack | None) -> Bare:
    """Return the plate of a job; raises as `resolve` does."""
    entry = job.file.plate
    if entry.rack is not None:
        if from_rack is None:
            raise JobError(f"plate.rack: the plate is piece {entry.rack!r} of the rack, and no rack is open here")
        plate, notes = from_rack(job, shop, asked)
        return Bare(plate=completed(plate, entry), notes=notes)
    if entry.drawing is None:
        return Bare(plate=completed(written_plate(entry), entry))
    path = job.path(entry.drawing)
    if path.suffix.lower() == SUFFIX:
        stored = read_plate_file(path)
        plate = completed(stored.to_lay_out, entry)
        facts = DrawingFacts(
            name=path.name,
            role="plate",
            sha256=hashlib.sha256(path.read_bytes()).hexdigest(),
            unit=stored.unit,
            unit_reason="units of the plate file",
        )
        return Bare(plate=plate, drawings=(facts,))
    said = job.unit_for(path) or entry.units
    reading = job.reading_for().choices
    read = _with_unit(lambda unit: read_plate_drawing(path, units=unit, **reading), said, asked)
    _refuse_errors(entry.drawing, read.findings)
    facts = DrawingFacts(name=path.name, role="plate", sha256=read.sha256, unit=read.unit, unit_reason=read.unit_reason)
    return Bare(plate=completed(read.plate, entry), drawings=(facts,), findings=read.findings)


def _with_unit(read: Callable[[DrawnUnit | None], R], said: DrawnUnit | None, asked: Questions) -> R:
    """Read with the unit that was said, or ask for it where the drawing does not tell."""
    try:
        return read(said)
    except UnitsUnknownError as error:
        answer = asked.unit(error)
        if answer is None:
            raise with_advice(error, _where_units_are_said(error)) from None
        return read(answer)


def _where_units_are_said(error: UnitsUnknownError) -> str:
    """Name the place that every command which reads a job knows; the option is not everywhere."""
    words = " or ".join(f'"{unit}"' for unit in error.sizes)
    return (
        f"say units = {words} in its [[part]] entry, or in [plate] if it is the plate's; nest and batch also take "
        f"--units {error.path}={list(error.sizes)[-1]}"
    )


@dataclass(frozen=True, kw_only=True)
class _Wanted:
    """What one entry of the job, or all of them, came to."""

    demands: tuple[Demand, ...] = ()
    drawings: tuple[DrawingFacts, ...] = ()
    findings: tuple[tuple[str, Finding], ...] = ()
    notes: tuple[str, ...] = ()


def _wanted(job: Job, plate: Plate | None, asked: Questions) -> _Wanted:
    """Read all part drawings, so that the faults of all are told at once."""
    found: list[_Wanted] = []
    faults: list[InputError] = []
    for entry in job.file.part:
        try:
            found.append(_wanted_of(job, entry, plate, asked))
        except InputError as error:
            faults.append(error)
    if len(faults) == 1:
        raise faults[0]
    if faults:
        raise JobError("\n".join(map(str, faults)))
    return _Wanted(
        demands=_unique([d for w in found for d in w.demands]),
        drawings=tuple(dict.fromkeys(d for w in found for d in w.drawings)),
        findings=tuple(dict.fromkeys(f for w in found for f in w.findings)),
        notes=tuple(dict.fromkeys(n for w in found for n in w.notes)),
    )


def _wanted_of(job: Job, entry: PartEntry, plate: Plate | None, asked: Questions) -> _Wanted:
    path = job.path(entry.drawing)
    said = job.unit_for(path) or entry.units
    reading = job.reading_for(entry)
    drawing = _with_unit(lambda unit: read_drawing(path, units=unit, **reading.choices), said, asked)
    _refuse_errors(
        entry.drawing,
        drawing.findings,
        then="to ask the designer, 'oddplate parts' with --thickness and --questions FILE writes it down",
    )
    if plate is not None:
        _match_grain(entry, plate)
    chosen = _chosen(entry, drawing.parts)
    parts = [_named(part, entry, i, len(chosen)) for i, part in chosen]
    notes = [f"{entry.drawing}: read with {reading.told}"] if reading.told else []
    notes += [f"{entry.drawing}: only part {i} of {len(drawing.parts)} is laid out" for i, _ in chosen if entry.only]
    facts = DrawingFacts(
        name=drawing.name,
        role="part",
        sha256=drawing.sha256,
        unit=drawing.unit,
        unit_reason=drawing.unit_reason,
    )
    doubt = plate_finding(parts, _size_mm(plate)) if plate else None
    return _Wanted(
        demands=tuple(_demand(part, entry) for part in parts),
        drawings=(facts,),
        findings=tuple((entry.drawing, f) for f in (*drawing.findings, *([doubt] if doubt else []))),
        notes=(*notes, *(note for part in parts for note in (_match(part, plate, asked) if plate else ()))),
    )


def _size_mm(plate: Plate) -> tuple[float, float]:
    x0, y0, x1, y1 = plate.fine_polygon.bounds
    return (x1 - x0, y1 - y0)


def _chosen(entry: PartEntry, parts: tuple[Part, ...]) -> list[tuple[int, Part]]:
    """Return the parts of a drawing that the entry asks for, with their numbers from 1."""
    numbered = list(enumerate(parts, start=1))
    absent = [n for n in entry.only if n > len(parts)]
    if absent:
        raise JobError(
            f"{entry.drawing}: only asks for part {absent[0]}, and the drawing holds {len(parts)}; "
            "'oddplate parts' lists them with their numbers"
        )
    return [(n, part) for n, part in numbered if not entry.only or n in entry.only]


def _named(part: Part, entry: PartEntry, index: int, count: int) -> Part:
    """Return a part with what the entry says of it; several parts of one drawing are numbered."""
    name = part.name if entry.name is None else entry.name if count == 1 else f"{entry.name} {index}"
    return replace(
        part,
        name=name,
        thickness_mm=entry.thickness or part.thickness_mm,
        grade=entry.grade or part.grade,
        tab_thickness_mm=entry.tab_thickness,
        tab_over_mm=entry.tab_over,
        bend_radius_mm=entry.bend_radius,
    )


def _refuse_errors(name: str, findings: tuple[Finding, ...], *, then: str = "") -> None:
    """A drawing that was not read whole is not cut: what is missing may be a hole."""
    errors = [f.message for f in findings if f.severity == "error"]
    if errors:
        told = [m if name in m else f"{name}: {m}" for m in errors]
        raise DrawingError("\n".join([*told, *([f"{name}: {then}"] if then else [])]))


def _match(part: Part, plate: Plate, asked: Questions) -> list[str]:
    """Refuse a part that asks for another plate; return notes on what was accepted."""
    if part.thickness_mm is not None:
        if plate.thickness_mm is None:
            raise JobError(
                f"{part.name} asks for {part.thickness_mm:g} mm and the plate's thickness is not known; "
                "measure it and give it"
            )
        if abs(part.thickness_mm - plate.thickness_mm) > SAME_THICKNESS_MM:
            raise JobError(
                f"{part.name} asks for {part.thickness_mm:g} mm, but plate {plate.name} is "
                f"{plate.thickness_mm:g} mm; choose another plate or take the part out"
            )
    if part.grade is None or same_grade(part.grade, plate.grade or ""):
        return []
    if plate.grade is not None:
        raise JobError(
            f"{part.name} asks for grade {part.grade}, but plate {plate.name} is {plate.grade}; "
            "choose another plate or take the part out"
        )
    if not asked.accept_unknown_grade(part.name, part.grade):
        raise JobError(
            f"{part.name} asks for grade {part.grade} and the plate's grade is not known; give the plate's "
            "grade if you know it, or accept the unknown grade"
        )
    return [f"{part.name} asks for grade {part.grade}; it was accepted on a plate of unknown grade"]


def _match_grain(entry: PartEntry, plate: Plate) -> None:
    if entry.turns.rule == "grain" and plate.grain_deg is None:
        raise JobError(
            f"{entry.drawing} is to lie along the grain and the plate's grain is not known; "
            "give the plate's grain in degrees, or other turns"
        )


def _plain(grade: str) -> str:
    return "".join(grade.split()).casefold()


def _demand(part: Part, entry: PartEntry) -> Demand:
    return Demand(
        part=part,
        quantity=entry.quantity,
        turns=entry.turns,
        may_flip=entry.flip,
        priority=entry.priority,
        value=entry.value,
        reference=entry.reference,
    )


def _unique(demands: list[Demand]) -> tuple[Demand, ...]:
    """Number the ids that a job uses twice, such as one drawing listed with two turn rules."""
    used: set[str] = set()
    result = []
    for demand in demands:
        name, count = demand.part.id, 1
        while name in used:
            count += 1
            name = f"{demand.part.id}-{count}"
        used.add(name)
        result.append(demand if name == demand.part.id else replace(demand, part=replace(demand.part, id=name)))
    return tuple(result)


def _fit_notes(plate: Plate) -> list[str]:
    if plate.thickness_mm is not None:
        return []
    return ["the plate's thickness is not known: holes, slots, bends and pierces were not looked at for fitness to cut"]


def _table_notes(shop: Shop, plate: Plate) -> list[str]:
    if shop.table_mm is None:
        return []
    x0, y0, x1, y1 = plate.fine_polygon.bounds
    size, travel = sorted((x1 - x0, y1 - y0)), sorted(shop.table_mm)
    if size[0] <= travel[0] and size[1] <= travel[1]:
        return []
    return [
        f"the plate as drawn, {x1 - x0:.0f} x {y1 - y0:.0f} mm, is larger than the table's travel "
        f"{shop.table_mm[0]:g} x {shop.table_mm[1]:g} mm"
    ]
