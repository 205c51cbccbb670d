"""What a yield report over several cuts holds, as plain frozen values that turn into JSON; keys carry their units."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any, Literal

from nesting.report.facts import Figure, YieldReport

Basis = Literal["made", "planned"]
By = Literal["day", "week", "month"]


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of a layout's parts, as somebody told: pieces of each part by id, and the areas that came of it.

    `failed` were cut and are no use; `not_reached` were not cut.  `kept_mm2` is what came back to the rack, kerf and
    scrap are those of what was cut, in mm2.
    """

    made: Mapping[str, int]
    failed: Mapping[str, int] = field(default_factory=dict)
    not_reached: Mapping[str, int] = field(default_factory=dict)
    kerf_mm2: float
    kept_mm2: float
    scrap_mm2: float


@dataclass(frozen=True, kw_only=True)
class CutFact:
    """One layout cut, or planned to be: its report, when, from which piece, and what came of it.

    `outcome` None: nobody said what was made, and the layout counts as planned.  `source` says where it was read.
    """

    report: YieldReport
    when: datetime | None = None
    piece_id: str | None = None
    outcome: Outcome | None = None
    source: str = ""


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """A line of an order over several layouts, and how many pieces it asks for."""

    part_id: str
    name: str
    reference: str | None
    quantity: int


@dataclass(frozen=True, kw_only=True)
class Amounts:
    """What can be added up over cuts; None is not known.

    Areas are mm2: plate = parts + failed + kerf + kept + scrap.  Costs are in the shop's currency.
    """

    placed: float | None
    made: float | None
    failed: float | None
    plate_mm2: float | None
    parts_mm2: float | None
    failed_mm2: float | None
    kerf_mm2: float | None
    kept_mm2: float | None
    scrap_mm2: float | None
    plate_kg: float | None
    parts_kg: float | None
    failed_kg: float | None
    kerf_kg: float | None
    kept_kg: float | None
    scrap_kg: float | None
    cut_length_mm: float | None
    pierces: float | None
    cut_time_s: float | None
    plate_cost: float | None
    kept_value: float | None
    scrap_value: float | None
    material_cost: float | None
    saved_by_leftover: float | None

    @property
    def each(self) -> dict[str, float | None]:
        """All of them by name."""
        return asdict(self)


@dataclass(frozen=True, kw_only=True)
class CutPartRow:
    """What became of one line of the order in one cut; area, mass and cut length are of one piece."""

    part_id: str
    name: str
    placed: int
    made: int
    failed: int
    not_reached: int
    area_mm2: float
    mass_kg: float | None
    cut_length_mm: float


@dataclass(frozen=True, kw_only=True)
class CutRow:
    """One cut of the report; `number` counts from 1 in order of time.

    `basis` says whether its amounts are what was made or what was planned.
    """

    number: int
    when: str | None
    layout_id: str
    plate: str
    piece_id: str | None
    parent: str | None
    grade: str | None
    thickness_mm: float | None
    leftover: bool
    basis: Basis
    mass_by: str
    parts: tuple[CutPartRow, ...]
    amounts: Amounts
    utilisation_percent: float | None
    utilisation_with_leftover_credit_percent: float | None
    source: str


@dataclass(frozen=True, kw_only=True)
class SumRow:
    """Sums over some cuts: all of a grade and thickness, of a day, week or month, or all.

    An amount that only some cuts know is the sum over those, and `not_known` says for how many it is missing.  `cuts`
    are the numbers of those summed up.
    """

    label: str
    cuts: tuple[int, ...]
    amounts: Amounts
    not_known: dict[str, int]
    utilisation_percent: float | None
    utilisation_with_leftover_credit_percent: float | None
    grade: str | None = None
    thickness_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class LineRow:
    """One line of the order over all cuts; area and mass are of what was made.  `wanted` None: nobody said.

    `cuts` are the numbers of those it was laid out in.
    """

    part_id: str
    name: str
    reference: str | None
    source: str
    source_sha256: str
    wanted: int | None
    placed: int
    made: int
    failed: int
    not_reached: int
    area_mm2: float
    mass_kg: float | None
    cuts: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class YieldsReport:
    """All that the pages, tables and the JSON file over several cuts show; `since` is included, `until` is not."""

    schema: str
    title: str
    shop: str
    since: str | None
    until: str | None
    currency: str
    figures: tuple[Figure, ...]
    cuts: tuple[CutRow, ...]
    total: SumRow
    by_material: tuple[SumRow, ...]
    by: By
    by_time: tuple[SumRow, ...]
    lines: tuple[LineRow, ...]
    mass_notes: tuple[str, ...]
    notes: tuple[str, ...]

    def figure(self, key: str) -> Figure:
        """Return one figure; KeyError for an unknown key."""
        return {f.key: f for f in self.figures}[key]

    def as_json(self) -> dict[str, Any]:
        """Return the report as plain dicts, lists, numbers and strings."""
        return asdict(self)
