"""Length units: millimetres inside, anything at the edges.

The `$INSUNITS` codes are those of the published DXF reference (HEADER section, group 70).
"""

from typing import Final, Literal

from nesting.errors import InputError

Unit = Literal["mm", "cm", "m", "inch", "foot"]

MM_PER: Final[dict[Unit, float]] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4, "foot": 304.8}

_SPELLINGS: Final[dict[str, Unit]] = {
    "mm": "mm", "millimetre": "mm", "millimeter": "mm", "millimetres": "mm", "millimeters": "mm",
    "cm": "cm", "centimetre": "cm", "centimeter": "cm",
    "m": "m", "metre": "m", "meter": "m",
    "in": "inch", "inch": "inch", "inches": "inch", '"': "inch",
    "ft": "foot", "foot": "foot", "feet": "foot",
}  # fmt: skip

# The codes of the published table that have a fixed length; 0 is "unitless" and is not here.
INSUNITS_MM: Final[dict[int, float]] = {
    1: 25.4, 2: 304.8, 3: 1_609_344.0, 4: 1.0, 5: 10.0, 6: 1000.0, 7: 1_000_000.0, 8: 25.4e-6, 9: 0.0254,
    10: 914.4, 11: 1e-7, 12: 1e-6, 13: 1e-3, 14: 100.0, 15: 10_000.0, 16: 100_000.0,
}  # fmt: skip

INSUNITS_CODE: Final[dict[Unit, int]] = {"inch": 1, "foot": 2, "mm": 4, "cm": 5, "m": 6}
INSUNITS_METRE: Final = 6


def parse_unit(text: str) -> Unit:
    """Return the unit meant by a spelling such as `in`, `inch` or `mm`; raise `InputError` for any other."""
    unit = _SPELLINGS.get(text.strip().lower())
    if unit is None:
        raise InputError(f"unit {text!r} is not known; use one of mm, cm, m, inch, foot")
    return unit


def to_mm(value: float, unit: Unit) -> float:
    """Return a length in millimetres."""
    return value * MM_PER[unit]


def from_mm(value_mm: float, unit: Unit) -> float:
    """Return a length in the given unit."""
    return value_mm / MM_PER[unit]
