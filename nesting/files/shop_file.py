"""The shop file: read strictly, and a first one to fill in."""

import math
from datetime import date
from pathlib import Path
from typing import Annotated, Final

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from nesting.files.documents import Entry, not_empty, read_document
from nesting.lengths import Distance, Length, Thickness, UnitWord
from nesting.shop import DEFAULT_SOURCES, Direction, InchFractions, MassBy, MeasuredKerf, Paper, Prices, Shop
from nesting.tables import CutRow, Process

Number = Annotated[float, Field(ge=0.0, allow_inf_nan=False, strict=False)]


class PricesEntry(Entry):
    """Prices per kilogram."""

    new: Number | None = None
    remnant: Number | None = None
    scrap: Number | None = None
    currency: str = ""


class KeepEntry(Entry):
    """The rectangles worth keeping, and the narrowest strip of use; a rectangle is never narrower than that."""

    rectangles: Annotated[
        tuple[Annotated[tuple[Length, Length], Field(strict=False)], ...],
        Field(strict=False),
        AfterValidator(not_empty),
    ] = Shop().keep_mm
    narrowest: Length | None = None

    @field_validator("narrowest")
    @classmethod
    def _no_wider_than_a_rectangle(cls, value: float | None, info: ValidationInfo) -> float | None:
        rectangles = info.data.get("rectangles") or ()
        least = min((min(sides) for sides in rectangles), default=math.inf)
        if value is not None and value > least:
            raise ValueError(
                f"{value:g} mm is wider than the narrowest keep rectangle, {least:g} mm, which could never be kept; "
                "expected no more than that"
            )
        return value


class KerfEntry(Entry):
    """One measured kerf."""

    kerf: Distance
    measured: date
    process: Process = "plasma"
    amps: Number | None = None
    thickness: Thickness | None = None


class CutEntry(Entry):
    """One cut-chart row of the shop's own."""

    thickness: Thickness
    speed_mm_min: Number
    process: Process = "plasma"
    amps: Number | None = None
    material: str = "mild steel"
    pierce_delay_s: Number | None = None
    edge_start: bool = False
    kerf: Distance | None = None
    source: str = ""


class CuttingEntry(Entry):
    """How the shop usually cuts."""

    process: Process | None = None
    amps: Number | None = None
    material: str | None = None
    gap: Distance | None = None
    margin: Distance | None = None
    outside: Direction | None = None
    table: tuple[Length, Length] | None = Field(default=None, strict=False)
    slat_pitch: Length | None = None
    least_hole: Number | None = None
    cut_tolerance: Distance | None = None
    pierce_limit: Length | None = None


class ShopFile(Entry):
    """A shop file as written."""

    units: UnitWord
    name: str = ""
    paper: Paper | None = None
    inch_fractions: InchFractions | None = None
    lift_limit_kg: Number | None = None
    mass_by: MassBy | None = None
    rack: Annotated[str, Field(min_length=1)] | None = None
    prices: PricesEntry | None = None
    keep: KeepEntry | None = None
    cutting: CuttingEntry = CuttingEntry()
    measured_kerf: tuple[KerfEntry, ...] = Field(default=(), strict=False)
    cut_row: tuple[CutEntry, ...] = Field(default=(), strict=False)


def read_shop(path: Path) -> Shop:
    """Read a shop file; raises `JobError` with all its faults."""
    file = read_document(path, ShopFile, what="shop file")
    cutting, prices = file.cutting, file.prices
    said = {
        "keep": file.keep if file.keep is not None and "rectangles" in file.keep.model_fields_set else None,
        "narrowest": None if file.keep is None else file.keep.narrowest,
        "process": cutting.process,
        "material": cutting.material,
        "mass_by": file.mass_by,
        "lift_limit": file.lift_limit_kg,
        "paper": file.paper,
        "units": file.units,
        "inch_fractions": file.inch_fractions,
        "prices": prices,
        "table": cutting.table,
        "direction": cutting.outside,
        "kerf": file.measured_kerf or None,
        "slats": cutting.slat_pitch,
        "least_hole": cutting.least_hole,
        "cut_tolerance": cutting.cut_tolerance,
        "pierce_limit": cutting.pierce_limit,
    }
    standard = Shop()
    return Shop(
        name=file.name or path.stem,
        prices=standard.prices if prices is None else _prices(prices),
        keep_mm=standard.keep_mm if file.keep is None else file.keep.rectangles,
        narrowest_mm=None if file.keep is None else file.keep.narrowest,
        process=cutting.process or standard.process,
        amps=cutting.amps,
        material=cutting.material or standard.material,
        mass_by=file.mass_by or standard.mass_by,
        measured_kerfs=tuple(_measured(k) for k in file.measured_kerf),
        cut_rows=tuple(_cut_row(c, path.name) for c in file.cut_row),
        table_mm=cutting.table,
        lift_limit_kg=standard.lift_limit_kg if file.lift_limit_kg is None else file.lift_limit_kg,
        paper=file.paper or standard.paper,
        unit=file.units,
        inch_fractions=standard.inch_fractions if file.inch_fractions is None else file.inch_fractions,
        gap_mm=cutting.gap,
        margin_mm=cutting.margin,
        outside=cutting.outside or standard.outside,
        slat_pitch_mm=cutting.slat_pitch,
        least_hole_thicknesses=cutting.least_hole,
        cut_tolerance_mm=cutting.cut_tolerance,
        pierce_limit_mm=cutting.pierce_limit,
        rack=file.rack if file.rack is None or "://" in file.rack else str(path.parent / file.rack),
        sources={key: text if said[key] is None else f"shop file {path.name}" for key, text in DEFAULT_SOURCES.items()},
    )


def _prices(entry: PricesEntry) -> Prices:
    return Prices(
        new_per_kg=entry.new,
        remnant_per_kg=entry.remnant,
        scrap_per_kg=entry.scrap,
        currency=entry.currency,
    )


def _measured(entry: KerfEntry) -> MeasuredKerf:
    return MeasuredKerf(
        kerf_mm=entry.kerf,
        measured_on=entry.measured,
        process=entry.process,
        amps=entry.amps,
        thickness_mm=entry.thickness,
    )


def _cut_row(entry: CutEntry, file_name: str) -> CutRow:
    return CutRow(
        process=entry.process,
        amps=entry.amps,
        thickness_mm=entry.thickness,
        speed_mm_min=entry.speed_mm_min,
        pierce_delay_s=entry.pierce_delay_s,
        edge_start=entry.edge_start,
        kerf_mm=entry.kerf,
        material=entry.material,
        chart=file_name,
        source=entry.source or f"shop file {file_name}",
    )


FIRST_SHOP: Final = """\
# The shop: what oddplate should know about this place.  Take the # from a line to use it.
# Lengths are in `units` unless a unit is written, as in "1/2 in".
# What is left out takes the default written beside it, and the report says so.

units = "mm"                    # or "inch"
name = "My shop"
# paper = "A4"                  # or "Letter"; default A4
# inch_fractions = 16           # tapes are read to 1/16 in, or 32, or 0 for decimals; inch sheets only; default 16
# lift_limit_kg = 23            # pieces above this are flagged; default 23 kg, the load constant of the
                                # NIOSH lifting equation (NIOSH 94-110) in ideal conditions, lower otherwise
# mass_by = "density"           # or "gauge table": steel sheet of gauge thickness at 41.82 lb/ft2 per inch, as mills
                                # sell it, 2.4 % above density; default density
# rack = "rack.db"              # where the rack is kept, beside this file, or "postgresql://user@server/rack";
                                # default: a file in your own settings, 'oddplate rack --help' tells where

# [prices]                      # per kilogram; default: not known, no cost is worked out
# new = 1.20
# remnant = 0.60
# scrap = 0.15
# currency = "EUR"

# [keep]                        # a leftover is kept if one of these fits in it at any turn
# rectangles = [["300 mm", "300 mm"], ["100 mm", "1000 mm"]]   # default, common practice, no source
# narrowest = "50 mm"           # strips on it that are narrower count as scrap; default: half the short side
                                # of the smallest rectangle above

# [cutting]
# process = "plasma"            # plasma, oxy-fuel, laser or waterjet; default plasma
# amps = 45                     # default: not known, so the job must say it, or give the kerf
# material = "mild steel"       # for the cut chart and the mass where the plate's grade is not in the table
# gap = "8 mm"                  # between parts; default: usual for process and thickness, common practice
# margin = "12 mm"              # to the plate's edge; default: likewise
# outside = "clockwise"         # direction of outside cuts, or "counter-clockwise"; inside cuts go the other way
# table = ["1500 mm", "3000 mm"]   # how far the machine travels, x and y; default: not compared
# slat_pitch = "100 mm"         # from slat to slat; default: not known, parts are not looked at for tipping
# least_hole = 1.5              # your smallest good hole, in thicknesses; default: usual for the process
# cut_tolerance = "0.5 mm"      # how far your cuts are off, either way; default: ISO 9013 class 2 for plasma
# pierce_limit = "12 mm"        # thickest plate you pierce; default: usual for process and amperage

# Measure your kerf: cut a square without offset; kerf = nominal size minus measured size.
# A measured kerf wins over every table.
# [[measured_kerf]]
# kerf = "1.6 mm"
# measured = 2026-01-31
# process = "plasma"
# amps = 45                     # leave out: holds for all
# thickness = "6 mm"            # leave out: holds for all

# Rows of your own cut chart; they come before the published ones.
# [[cut_row]]
# thickness = "6 mm"
# process = "plasma"
# amps = 45
# material = "mild steel"
# speed_mm_min = 1400
# pierce_delay_s = 0.6
# kerf = "1.6 mm"
# source = "own trial"
"""
