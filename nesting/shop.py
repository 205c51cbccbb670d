"""The shop: prices, what it keeps, how it cuts.  Every value has a default that is printed when used."""

from dataclasses import dataclass, field
from datetime import date
from typing import Final, Literal

from nesting.tables import SAME_THICKNESS_MM, CutRow, Process
from nesting.units import Unit

Paper = Literal["A4", "Letter"]
Direction = Literal["clockwise", "counter-clockwise"]
InchFractions = Literal[0, 16, 32]
"""The least part of an inch that the shop's tapes are read to; 0 means decimals."""
MassBy = Literal["density", "gauge table"]

DEFAULT_SOURCES: Final[dict[str, str]] = {
    "keep": "keep what a 300 x 300 mm or 100 x 1000 mm rectangle fits in: common practice, no source",
    "narrowest": "strips on a kept remnant narrower than half the short side of the smallest keep rectangle are "
    "scrap: our own rule, no source",
    "process": "plasma: assumed where nobody says",
    "material": "mild steel: assumed for cut chart and mass where the grade is unknown or not in the table",
    "mass_by": "density: assumed where nobody says; gauge-weight tables are 2.4 % heavier for sheet",
    "lift_limit": "23 kg: load constant of the NIOSH lifting equation (NIOSH 94-110) in ideal conditions, "
    "lower otherwise",
    "paper": "A4: assumed where nobody says",
    "units": "mm: assumed where nobody says",
    "inch_fractions": "lengths for a tape to 1/16 in on an inch sheet: assumed where nobody says",
    "prices": "none known: no cost is worked out",
    "table": "travel not known: plate size is not compared with it",
    "direction": "outside cuts clockwise, inside cuts counter-clockwise: the right side of a usual plasma cut is the "
    "squarer one; some torches swirl the other way",
    "kerf": "none measured: cut-chart value taken",
    "slats": "pitch not known: parts are not looked at for tipping",
    "least_hole": "by the table for process and thickness",
    "cut_tolerance": "by the table for process and thickness",
    "pierce_limit": "by the table for process and amperage",
}
"""What is taken where the shop file is silent, and why."""


@dataclass(frozen=True, kw_only=True)
class Prices:
    """Prices per kilogram; None is not known."""

    new_per_kg: float | None = None
    remnant_per_kg: float | None = None
    scrap_per_kg: float | None = None
    currency: str = ""


@dataclass(frozen=True, kw_only=True)
class MeasuredKerf:
    """A kerf measured in the shop; `amps` or `thickness_mm` None means for all of them."""

    kerf_mm: float
    measured_on: date
    process: Process = "plasma"
    amps: float | None = None
    thickness_mm: float | None = None

    def fits(self, process: str, amps: float | None, thickness_mm: float | None) -> bool:
        """True if it was measured for this way of cutting; an unknown is no match for a stated value."""
        same_thickness = self.thickness_mm is None or (
            thickness_mm is not None and abs(thickness_mm - self.thickness_mm) <= SAME_THICKNESS_MM
        )
        return self.process == process and self.amps in (None, amps) and same_thickness


@dataclass(frozen=True, kw_only=True)
class Shop:
    """One shop.  `sources` says for each key of `DEFAULT_SOURCES` where its value came from.

    `rack` is where it keeps its rack: a file, or the URL of a database.
    """

    name: str = ""
    prices: Prices = Prices()
    keep_mm: tuple[tuple[float, float], ...] = ((300.0, 300.0), (100.0, 1000.0))
    narrowest_mm: float | None = None
    process: Process = "plasma"
    amps: float | None = None
    material: str = "mild steel"
    mass_by: MassBy = "density"
    measured_kerfs: tuple[MeasuredKerf, ...] = ()
    cut_rows: tuple[CutRow, ...] = ()
    table_mm: tuple[float, float] | None = None
    lift_limit_kg: float = 23.0
    paper: Paper = "A4"
    unit: Unit = "mm"
    inch_fractions: InchFractions = 16
    gap_mm: float | None = None
    margin_mm: float | None = None
    outside: Direction = "clockwise"
    slat_pitch_mm: float | None = None
    least_hole_thicknesses: float | None = None
    cut_tolerance_mm: float | None = None
    pierce_limit_mm: float | None = None
    rack: str | None = None
    sources: dict[str, str] = field(default_factory=lambda: dict(DEFAULT_SOURCES))

    @property
    def keep_width_mm(self) -> float:
        """Strips narrower than this are of no use; half the short side of the smallest keep rectangle unless said."""
        if self.narrowest_mm is not None:
            return self.narrowest_mm
        return min(min(sides) for sides in self.keep_mm) / 2

    def measured_kerf(self, process: str, amps: float | None, thickness_mm: float | None) -> MeasuredKerf | None:
        """Return the measured kerf that fits best: the one that says most, then the newest."""
        fitting = [k for k in self.measured_kerfs if k.fits(process, amps, thickness_mm)]
        return max(
            fitting,
            key=lambda k: (k.thickness_mm is not None, k.amps is not None, k.measured_on),
            default=None,
        )
