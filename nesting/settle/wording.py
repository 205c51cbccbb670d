"""Lengths of a settling as people read them."""

from nesting.units import Unit, from_mm


def shown(length_mm: float, unit: Unit, *, sign: bool = False) -> str:
    """Return a length in a unit, to a tenth of a millimetre or a hundredth of an inch, without the unit."""
    text = f"{from_mm(length_mm, unit):{'+' if sign else ''}.{1 if unit == 'mm' else 2}f}"
    return text[1:] if text.startswith("-") and not float(text) else text


def length(length_mm: float, unit: Unit) -> str:
    """Return a length with its unit."""
    return f"{shown(length_mm, unit)} {unit}"
