"""What a yield report holds, as plain frozen values that turn into JSON; keys carry their units."""

from dataclasses import asdict, dataclass
from typing import Any

from nesting.corner_names import NamedCorner
from nesting.geometry.tape_checks import TapeCheck
from nesting.layout import Pulled
from nesting.report.cautions import Caution
from nesting.shop import MassBy

Inputs = dict[str, float | int | str | None]


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One number with its meaning; `value` None is not known, and `inputs` or `note` say what is missing."""

    key: str
    label: str
    value: float | None
    unit: str
    definition: str
    inputs: Inputs
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class PartRow:
    """A line of the order: a part wanted; area, mass, cut length, pierces are of one piece.

    `wanted` None: as many as fit.  `line` counts from 1; `reference` is the customer's own number for it.
    """

    part_id: str
    name: str
    wanted: int | None
    placed: int
    numbers: tuple[int, ...]
    width_mm: float
    height_mm: float
    area_mm2: float
    mass_kg: float | None
    cut_length_mm: float
    pierces: int
    above_lift_limit: bool | None
    source: str
    source_sha256: str
    line: int = 0
    reference: str | None = None


@dataclass(frozen=True, kw_only=True)
class LeftOverRow:
    """Pieces wanted that found no place, and why."""

    part_id: str
    name: str
    count: int
    reason: str


@dataclass(frozen=True, kw_only=True)
class RemnantRow:
    """A piece of plate to keep; circle and rectangle are the largest that fit inside."""

    label: str
    area_mm2: float
    mass_kg: float | None
    circle_diameter_mm: float
    rectangle_mm: tuple[float, float]
    rectangle_turn_deg: float
    above_lift_limit: bool | None


@dataclass(frozen=True, kw_only=True)
class ClearanceRow:
    """A distance that was kept, and where its value came from."""

    label: str
    value_mm: float
    source: str


@dataclass(frozen=True, kw_only=True)
class CheckFacts:
    """What the check of the written drawing found; gaps are clear distances between finished edges."""

    passed: bool
    summary: str
    smallest_gap_mm: float | None = None
    smallest_margin_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class DrawingFacts:
    """A drawing read or written: `unit` with the reason why it was taken, `sha256` of its bytes."""

    name: str
    role: str
    sha256: str = ""
    unit: str = ""
    unit_reason: str = ""


@dataclass(frozen=True, kw_only=True)
class PlateFacts:
    """The plate as it was known; `checks` are distances to tape before it is cut, `corners` the letters they go by."""

    name: str
    area_mm2: float
    mass_kg: float | None
    thickness_mm: float | None
    grade: str | None
    heat: str | None
    grain_deg: float | None
    captured: str
    uncertainty_mm: float
    parent: str | None
    place: str | None
    source: str
    checks: tuple[TapeCheck, ...] = ()
    corners: tuple[NamedCorner, ...] = ()


@dataclass(frozen=True, kw_only=True)
class FitRow:
    """Something that may not come out of the cut as drawn; places are in the part's own drawing."""

    part_id: str
    name: str
    kind: str
    severity: str
    message: str
    place_mm: tuple[float, float] | None
    value_mm: float | None
    limit_mm: float | None
    source: str


@dataclass(frozen=True, kw_only=True)
class YieldReport:
    """All that the report pages, the tables and the JSON file show."""

    schema: str
    layout_id: str
    shop: str
    plate: PlateFacts
    figures: tuple[Figure, ...]
    parts: tuple[PartRow, ...]
    left_over: tuple[LeftOverRow, ...]
    remnants: tuple[RemnantRow, ...]
    clearances: tuple[ClearanceRow, ...]
    balance_mm2: dict[str, float]
    density_note: str
    lift_limit_kg: float
    cutting_note: str
    search: Inputs
    pulled: Pulled | None
    check: CheckFacts | None
    drawings: tuple[DrawingFacts, ...]
    shop_sources: dict[str, str]
    notes: tuple[str, ...]
    cautions: tuple[Caution, ...]
    fit: tuple[FitRow, ...] = ()
    mass_by: MassBy = "density"

    def figure(self, key: str) -> Figure:
        """Return one figure; KeyError for an unknown key."""
        return {f.key: f for f in self.figures}[key]

    def as_json(self) -> dict[str, Any]:
        """Return the report as plain dicts, lists, numbers and strings."""
        return asdict(self)
