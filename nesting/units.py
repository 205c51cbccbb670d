"""Length units: millimetres inside, anything at the edges.

The `$INSUNITS` codes are those of the published DXF reference (HEADER section, group 70).
"""

from typing import Final, Literal

from nesting.errors import InputError

Unit = Literal["mm", "cm", "m", "inch", "foot"]

MM_PER: Final[dict[Unit, float]] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4, "foot": 304.8}

DrawnUnit = Unit | Literal["px96", "px90", "px72"]
"""What a unit of a drawing may be: a length, or a pixel at 96, 90 or 72 to the inch, as SVG files have them.

96 is that of the CSS standard; 90 and 72 are those of older and of art programs (common practice, no source).
"""

PIXELS: Final[tuple[DrawnUnit, ...]] = ("px96", "px90", "px72")
DRAWN_MM_PER: Final[dict[DrawnUnit, float]] = {
    "mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4, "foot": 304.8,
    "px96": 25.4 / 96, "px90": 25.4 / 90, "px72": 25.4 / 72,
}  # fmt: skip

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


def parse_drawn_unit(text: str) -> DrawnUnit:
    """Return the unit of a drawing meant by a spelling, `px96`, `px90` and `px72` among them; raise `InputError`."""
    pixel = next((unit for unit in PIXELS if unit == text.strip().lower()), None)
    if pixel is not None:
        return pixel
    try:
        return parse_unit(text)
    except InputError as error:
        raise InputError(f"{error}; of an SVG drawing also {', '.join(PIXELS)}: pixels to the inch") from None


def to_mm(value: float, unit: Unit) -> float:
    """Return a length in millimetres."""
    return value * MM_PER[unit]


def from_mm(value_mm: float, unit: Unit) -> float:
    """Return a length in the given unit."""
    return value_mm / MM_PER[unit]
