"""What the check tells: every rule broken, and the closest calls even where all is well."""

from dataclasses import dataclass
from typing import Literal

from nesting.geometry.pose import Point
from nesting.tolerances import CHECK_MM
from nesting.units import Unit

Kind = Literal[
    "gap", "overlap", "margin", "outside", "lead",  # clearances
    "pose", "number", "part", "quantity", "turn", "flip", "thickness", "grade",  # the job's rules
    "missing", "extra", "changed", "moved",  # a drawing against its layout
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Piece:
    """One piece: its number in the layout (None where a drawing does not say), its name and where it lies."""

    number: int | None
    name: str
    place: Point

    def __str__(self) -> str:
        if self.number is None:
            return f"the part without a number at ({self.place[0]:.1f}, {self.place[1]:.1f}) mm"
        return f"part {self.number} ({self.name})" if self.name else f"part {self.number}"


@dataclass(frozen=True, kw_only=True)
class CheckFinding:
    """A rule broken.  Lengths are mm; a negative `found_mm` is how deep an overlap goes."""

    kind: Kind
    message: str
    pieces: tuple[Piece, ...] = ()
    place: Point | None = None
    found_mm: float | None = None
    needed_mm: float | None = None
    overlap_mm2: float | None = None


@dataclass(frozen=True, kw_only=True)
class Closest:
    """The closest call of its kind: two pieces, or one and the plate's edge, a plate hole or a keep-out.

    `against` is what the first piece is close to.  No distance of the kind is shorter by more than
    `CHECK_MM`.
    """

    pieces: tuple[Piece, ...]
    against: str
    place: Point
    found_mm: float
    needed_mm: float


@dataclass(frozen=True, kw_only=True)
class CheckReport:
    """The outcome of a check.

    `needed_margin_mm` includes the outline's uncertainty.  `worst_gap` is None for fewer than two parts,
    `worst_margin` for none.  Lengths are mm; `shown_in` tells whether people
    read them in inches too: where the drawing checked is in inches or feet.  `notes` break no rule: what
    was decided in reading a drawing, and marks that are not where the layout has them.
    """

    passed: bool
    findings: tuple[CheckFinding, ...]
    worst_gap: Closest | None
    worst_margin: Closest | None
    parts_checked: int
    needed_gap_mm: float
    needed_margin_mm: float
    tolerance_mm: float = CHECK_MM
    layout_id: str = ""
    shown_in: Unit = "mm"
    notes: tuple[str, ...] = ()

    @property
    def message(self) -> str:
        """All findings, one a line."""
        return "\n".join(f.message for f in self.findings)
