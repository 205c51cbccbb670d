"""The job: which parts, on which plate, kept how far apart, written where; `order` resolves it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from nesting.demand import Turns
from nesting.drawing.writing import ContourStyle, CurveStyle, Version
from nesting.files.documents import Entry, make_document, not_empty, read_document
from nesting.files.paths import DrawingPath, PathText
from nesting.files.reading import DrawingsEntry, Patterns, Reading, Rules, reading_of
from nesting.lengths import Coordinate, Distance, DrawnUnitWord, Length, Thickness, UnitWord
from nesting.plate import KeepOutKind
from nesting.pull import BEST, EDGES, PULL_NAMES, Pull
from nesting.shop import Paper
from nesting.tables import Process
from nesting.units import DrawnUnit

UnitRules = tuple[tuple[Path | None, DrawnUnit], ...]
DEFAULT_SECONDS = 60.0
MOST_PIECES = 100_000
_SHAPE_KEYS = frozenset({"drawing", "corners", "width", "rack"})


def _turns(value: object) -> Turns:
    """Read "any", "fixed", "grain", a step in degrees or a list of angles in degrees."""
    if isinstance(value, Turns):
        return value
    if value == "any":
        return Turns()
    if value == "fixed":
        return Turns.fixed()
    if value == "grain":
        return Turns(rule="grain")
    if _is_number(value) and value > 0:  # type: ignore[operator]
        return Turns.steps(float(value))  # type: ignore[arg-type]
    if isinstance(value, list) and value and all(_is_number(v) for v in value):
        return Turns(rule="listed", angles_deg=tuple(float(v) for v in value))
    raise ValueError(f'expected "any", "fixed", "grain", a step in degrees or a list of degrees, got {value!r}')


def _quantity(value: object) -> int | None:
    if value == "fill" or value is None:
        return None
    if isinstance(value, int) and not isinstance(value, bool) and 0 < value <= MOST_PIECES:
        return value
    raise ValueError(f'expected a whole number from 1 to {MOST_PIECES}, or "fill" for as many as fit, got {value!r}')


def _places(value: object) -> object:
    """Read the number of a part in its drawing, or a list of them."""
    numbers = value if isinstance(value, list | tuple) else [value]
    if all(isinstance(n, int) and not isinstance(n, bool) and n > 0 for n in numbers):
        return tuple(numbers)
    raise ValueError(f"expected the number of a part as 'oddplate parts' lists it, or a list of them, got {value!r}")


def _pulls(value: object) -> tuple[Pull, ...]:
    """Read an edge, a corner, an angle in degrees, "best" for the four edges, or a list of these: the best is taken."""
    found: list[Pull] = []
    for one in value if isinstance(value, list | tuple) and value else [value]:
        if isinstance(one, Pull):
            found.append(one)
        elif one == BEST:
            found += EDGES
        elif isinstance(one, str) and one in PULL_NAMES:
            found.append(Pull(name=one))
        elif _is_number(one):
            found.append(Pull(angle_deg=float(one)))  # type: ignore[arg-type]
        else:
            names = ", ".join(f'"{name}"' for name in PULL_NAMES)
            raise ValueError(f'expected {names}, an angle in degrees, "{BEST}" or a list of these, got {one!r}')
    return tuple(found)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _corners(value: object) -> object:
    """Give every corner a third number, the bulge of the edge that leaves it."""
    if not isinstance(value, list) or not all(isinstance(c, list) and len(c) in (2, 3) for c in value):
        raise ValueError(f"expected a list of corners [x, y] or [x, y, bulge], got {value!r}")
    return tuple((c[0], c[1], c[2] if len(c) == 3 else 0.0) for c in value)


Number = Annotated[float, Field(ge=0.0, allow_inf_nan=False, strict=False)]
Bulge = Annotated[float, Field(allow_inf_nan=False)]
Corners = Annotated[tuple[tuple[Coordinate, Coordinate, Bulge], ...], Field(strict=False), BeforeValidator(_corners)]


class KeepOutEntry(Entry):
    """A place that no part may cover."""

    corners: Corners
    kind: KeepOutKind = "no part"
    reason: str = ""


class PlateEntry(Entry):
    """The plate: a drawing, or corners, or a plain rectangle, or a piece of the rack: its id, or "choose"."""

    drawing: DrawingPath | None = None
    rack: str | None = None
    corners: Corners | None = None
    width: Length | None = None
    height: Length | None = None
    holes: tuple[Corners, ...] = Field(default=(), strict=False)
    keep_outs: tuple[KeepOutEntry, ...] = Field(default=(), strict=False)
    units: DrawnUnitWord | None = None
    name: str | None = None
    thickness: Thickness | None = None
    grade: str | None = None
    heat: str | None = None
    certificate: str | None = None
    grain: float | None = Field(default=None, allow_inf_nan=False)
    uncertainty: Distance | None = None
    parent: str | None = None
    place: str | None = None

    @model_validator(mode="after")
    def _one_shape(self) -> "PlateEntry":
        if (self.width is None) != (self.height is None):
            raise ValueError("a plain rectangle needs both width and height")
        ways = [self.drawing, self.corners, self.width, self.rack]
        if sum(way is not None for way in ways) != 1:
            raise ValueError("say the shape once: drawing, or corners, or width and height, or rack")
        if self.rack is not None:
            known = ("name", "heat", "certificate", "grain", "parent", "place", "units", "uncertainty")
            said = [key for key in known if getattr(self, key) is not None] + (["holes"] if self.holes else [])
            if said:
                raise ValueError(f"of a piece of the rack the rack says {', '.join(said)}; take it out here")
        return self


class ClearancesEntry(Entry):
    """Distances between finished edges, or how the plate is cut, from which they follow."""

    kerf: Distance | None = None
    gap: Distance | None = None
    margin: Distance | None = None
    lead_in: Distance | None = None
    merge_cuts: bool = False
    break_edge: bool = False
    keep_lead_room: bool = False
    process: Process | None = None
    amps: Number | None = None


class PartEntry(Entry):
    """A part drawing and what is wanted of it."""

    drawing: DrawingPath
    quantity: Annotated[int | None, BeforeValidator(_quantity)] = 1
    turns: Annotated[Turns, BeforeValidator(_turns)] = Turns()
    flip: bool = False
    priority: Annotated[int, Field(ge=1)] = 1
    value: Number | None = None
    units: DrawnUnitWord | None = None
    layers: Patterns = ()
    join: Distance | None = None
    rules: Rules = ()
    only: Annotated[tuple[int, ...], BeforeValidator(_places)] = ()
    thickness: Thickness | None = None
    grade: str | None = None
    name: str | None = None
    tab_thickness: Thickness | None = None
    tab_over: Distance | None = None
    bend_radius: Distance | None = None
    reference: str | None = None


class SearchEntry(Entry):
    """How long and with what seed to search, and where to pull what is placed."""

    seed: Annotated[int, Field(ge=0, lt=2**31)] = 0
    seconds: Annotated[float, Field(gt=0.0, allow_inf_nan=False, strict=False)] = DEFAULT_SECONDS
    steps: Annotated[int, Field(ge=1)] | None = None
    threads: Annotated[int, Field(ge=1, le=256)] = 2
    pull_to: Annotated[tuple[Pull, ...], BeforeValidator(_pulls)] = EDGES


class OutputEntry(Entry):
    """Where and how the result is written."""

    folder: PathText | None = None
    version: Version = "R2000"
    units: UnitWord | None = None
    contours: ContourStyle = "as drawn"
    curves: CurveStyle = "as drawn"
    blocks: bool = False
    plate_edge: bool = True
    labels: bool = True
    marks: bool = True
    mark_leads: bool | None = None
    svg: bool = False
    paper: Paper | None = None


class JobFile(Entry):
    """A job as written."""

    units: UnitWord | None = None
    name: str | None = None
    shop: PathText | None = None
    plate: PlateEntry
    clearances: ClearancesEntry = ClearancesEntry()
    drawings: DrawingsEntry = DrawingsEntry()
    part: Annotated[tuple[PartEntry, ...], Field(strict=False), AfterValidator(not_empty)]
    search: SearchEntry = SearchEntry()
    output: OutputEntry = OutputEntry()


@dataclass(frozen=True, kw_only=True)
class Job:
    """A job and the folder that its paths are relative to; `source` names it in messages.

    `unit_rules` are units said on the command line: a drawing takes that of the longest path that leads to
    it, None being all drawings; they win over everything else.
    """

    file: JobFile
    base: Path
    name: str
    source: str
    unit_rules: UnitRules = ()

    def path(self, written: str) -> Path:
        """Return a path of the job, relative to the job file unless absolute."""
        return self.base / written.replace("\\", "/") if _foreign(written) else self.base / written

    def unit_for(self, drawing: Path) -> DrawnUnit | None:
        """Return the unit that the command line says for a drawing, or None."""
        return said_unit(drawing, self.unit_rules)

    def reading_for(self, entry: PartEntry | None = None) -> Reading:
        """Return how a part's drawing is read, or the plate's, whose edge no choice of layers touches."""
        general = self.file.drawings
        if entry is None:
            return reading_of(general.model_copy(update={"layers": ()}))
        return reading_of(general, entry.layers, entry.join, entry.rules)

    @property
    def folder(self) -> Path:
        """Where the result goes; beside the job file unless said."""
        return self.path(self.file.output.folder or f"{self.name}-layout")


def read_job(
    path: Path,
    *,
    overrides: Mapping[str, Any] | None = None,
    unit_rules: UnitRules = (),
) -> Job:
    """Read a job file, the command line's `overrides` laid over it; raises `JobError` with all its faults."""
    laid = dict(overrides or {})
    if "rack" in laid.get("plate", {}):
        laid["plate"] = {**_asked_of_plate(path), **laid["plate"]}
    # Another shape is another plate: what the job says of its own must not stick to it.
    another = _SHAPE_KEYS & laid.get("plate", {}).keys()
    file = read_document(path, JobFile, what="job file", overrides=laid, replaced=("plate",) if another else ())
    return Job(file=file, base=path.parent, name=file.name or path.stem, source=str(path), unit_rules=unit_rules)


def _asked_of_plate(path: Path) -> dict[str, Any]:
    """Return what a job asks of its plate whichever that is: thickness and grade, where it says them."""
    said = read_document(path, JobFile, what="job file").plate
    thickness = None if said.thickness is None else f"{said.thickness!r} mm"
    return {key: value for key, value in (("thickness", thickness), ("grade", said.grade)) if value is not None}


def make_job(data: Mapping[str, Any], *, unit_rules: UnitRules = ()) -> Job:
    """Make a job from the command line alone, named by its result folder unless said.

    Its paths are relative to the folder one stands in.
    """
    file = make_document(data, JobFile)
    folder = file.output.folder
    name = file.name or (Path(folder).name if folder else "") or "oddplate"
    return Job(file=file, base=Path(), name=name, source="command line", unit_rules=unit_rules)


def said_unit(drawing: Path, rules: UnitRules) -> DrawnUnit | None:
    """Return the unit that rules say for a drawing, None if they are silent: the longest path wins."""
    whole = drawing.resolve()
    fitting = [
        (-1 if path is None else len(path.resolve().parts), unit)
        for path, unit in rules
        if path is None or whole.is_relative_to(path.resolve())
    ]
    return max(fitting, default=(0, None), key=lambda f: f[0])[1]


def _foreign(written: str) -> bool:
    r"""True for a relative path written as `parts\bracket.dxf`, so that a job travels between systems."""
    return "\\" in written and "/" not in written and ":" not in written and not Path(written).is_absolute()
