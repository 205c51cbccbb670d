"""What every way in ends with: an outline, what else is on the plate, and how far it may be wrong."""

from dataclasses import dataclass, field
from typing import Any, Final

from nesting.geometry.contour import Contour
from nesting.plate import KeepOut, Plate

DRY_RUN: Final = "check by dry run along the outline before the first cut"


@dataclass(frozen=True, kw_only=True)
class Captured:
    """An outline as it came in, millimetres.

    `uncertainty_mm` is a 95 % bound on the largest error over the outline, `basis` says what it is made of.
    `names` are the corners' names where they have any, `set_up_by` the two corners by which the plate is to be laid
    on the table for the bound to hold, None where the outline is in the machine's own place.
    `warnings` are doubts that want a look, `notes` what was assumed; `figures` goes into the JSON document.
    """

    way: str
    outer: Contour
    holes: tuple[Contour, ...] = ()
    keep_outs: tuple[KeepOut, ...] = ()
    uncertainty_mm: float
    basis: str
    names: tuple[str, ...] = ()
    set_up_by: tuple[str, str] | None = None
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    figures: dict[str, Any] = field(default_factory=dict)

    def plate(self, name: str) -> Plate:
        """Return the plate; whatever else is known of it is for others to add."""
        return Plate(
            name=name,
            outer=self.outer,
            holes=self.holes,
            keep_outs=self.keep_outs,
            captured=self.way,
            uncertainty_mm=self.uncertainty_mm,
        )
