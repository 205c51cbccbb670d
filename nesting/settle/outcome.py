"""What one settling is asked for and what comes of it, as plain values."""

from dataclasses import dataclass, field
from typing import Protocol

from nesting.checking.findings import CheckReport
from nesting.demand import Demand
from nesting.drawing.writing import Writing
from nesting.layout import Layout
from nesting.leads import Leads
from nesting.plate import Plate
from nesting.settle.margin import Better, MarginUse
from nesting.settle.settling import Settled
from nesting.settle.table import Beyond, Box, DryRun, Travel
from nesting.units import Unit


class NestAgain(Protocol):
    """Whatever lays demands out on a plate: the search, for the command line."""

    def __call__(self, plate: Plate, demands: tuple[Demand, ...], layout: Layout) -> Layout:
        """Return a layout of the demands on the plate with the clearances of `layout`."""


@dataclass(frozen=True, kw_only=True)
class Choices:
    """What is asked of one settling besides the readouts.

    `again` lays the parts out anew on the plate as it lies.
    """

    sigma_mm: float
    limit_mm: float | None = None
    travel: Travel | None = None
    travel_source: str = ""
    writing: Writing = field(default_factory=Writing)
    mark_leads: bool = False
    unit: Unit = "mm"
    again: NestAgain | None = None


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What came of it; `layout` is in table coordinates, None where the readouts do not fit.

    `use` tells of the margin, None where the parts were laid out anew and `added_mm` went to it.  `better` are corners
    that would serve better.  `beyond` is what of the cuts lies outside the travel, `plate_beyond` what of the plate
    does, which alone is no fault.
    """

    source: Layout
    settled: Settled
    choices: Choices
    use: MarginUse | None = None
    added_mm: float = 0.0
    better: Better | None = None
    layout: Layout | None = None
    check: CheckReport | None = None
    leads: Leads = field(default_factory=Leads)
    dry_run: DryRun | None = None
    cuts: Box | None = None
    beyond: tuple[Beyond, ...] = ()
    plate_beyond: tuple[Beyond, ...] = ()
    laid_by: tuple[str, ...] = ()

    @property
    def nested_again(self) -> bool:
        """True if the parts were laid out anew."""
        return self.choices.again is not None

    @property
    def released(self) -> bool:
        """True if nothing speaks against writing it."""
        return self.layout is not None and not self.beyond and (self.use is None or self.use.parts_stay)
