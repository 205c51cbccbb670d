"""Lengths as people write them: numbers in a document's unit, or texts such as `12 mm` or `1/2 in`."""

import math
import re
from decimal import Decimal
from fractions import Fraction
from typing import Annotated, Any, Final

from pydantic import BeforeValidator, ValidationInfo

from nesting.errors import InputError
from nesting.tables import gauge_mm
from nesting.units import DrawnUnit, Unit, parse_drawn_unit, parse_unit, to_mm

LONGEST_MM: Final = 1e6
"""No plate is longer than a kilometre; a longer one is a slip of unit or keyboard."""

_NUMBER: Final = r"(?:\d+\s+\d+/\d+|\d+/\d+|\d+(?:\.\d*)?|\.\d+)"
_LENGTH: Final = re.compile(rf"([+-]?)\s*({_NUMBER})\s*([A-Za-z\"]*)")
_GAUGE: Final = re.compile(r"(\d+)\s*(?:ga|gauge)\b\.?\s*(.*)", re.IGNORECASE)


def parse_length(text: str, unit: Unit | None) -> float:
    """Return a length such as `12 mm`, `1/2 in` or `12 3/8 in`, millimetres.

    A number without a unit takes `unit`; raises `InputError` where that is None or the text is no length.
    """
    match = _LENGTH.fullmatch(text.strip())
    if match is None:
        raise InputError(f'{text!r} is not a length; write a number with a unit, such as "12 mm" or "1/2 in"')
    sign, number, spelled = match.groups()
    taken = parse_unit(spelled) if spelled else unit
    if taken is None:
        raise InputError(f'{text} has no unit: say units = "mm" or "inch" at the top, or write "{text} mm"')
    try:
        value = float(sum(Fraction(piece) for piece in number.split()))
    except ZeroDivisionError:
        raise InputError(f"{text!r} divides by zero") from None
    except OverflowError:
        value = math.inf
    return _sane(to_mm(-value if sign == "-" else value, taken), text)


def _sane(length_mm: float, written: object) -> float:
    if not abs(length_mm) <= LONGEST_MM:
        raise InputError(f"{written!s:.40} is longer than {LONGEST_MM / 1e6:g} km; check the number and its unit")
    return length_mm


def parse_thickness(text: str, unit: Unit | None) -> float:
    """Return a thickness, millimetres: a length, or a gauge with its metal such as `16 ga mild steel`.

    Raises `InputError` for what is none, or not above 0.
    """
    gauge = _GAUGE.fullmatch(text.strip())
    if gauge:
        return gauge_mm(int(gauge[1]), gauge[2] or None)
    found = parse_length(text, unit)
    if not found > 0.0:
        raise InputError(f"expected a thickness above 0, got {text}")
    return found


def _unit_of(info: ValidationInfo) -> Unit | None:
    return (info.context or {}).get("unit")


def _length(value: object, info: ValidationInfo) -> float:
    if isinstance(value, str):
        return _as_fault(parse_length, value, _unit_of(info))
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f'expected a length, a number or a text such as "12 mm", got {kind_of(value)}')
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f"expected a length, got {value}")
    # In plain digits a number goes the same way as a text.
    return _as_fault(parse_length, format(Decimal(repr(value)), "f"), _unit_of(info))


def _thickness(value: object, info: ValidationInfo) -> float:
    found = _as_fault(parse_thickness, value, _unit_of(info)) if isinstance(value, str) else _length(value, info)
    if not found > 0.0:
        raise ValueError(f"expected a thickness above 0, got {value}")
    return found


def _positive(value: float) -> float:
    if not value > 0.0:
        raise ValueError(f"expected more than 0, got {value:g} mm")
    return value


def _not_negative(value: float) -> float:
    if not value >= 0.0:
        raise ValueError(f"expected 0 or more, got {value:g} mm")
    return value


def _as_fault(parse: Any, text: str, unit: Unit | None) -> float:
    try:
        return float(parse(text, unit))
    except InputError as error:
        raise ValueError(str(error)) from None


def _unit(value: object) -> Unit:
    if not isinstance(value, str):
        raise ValueError(f'expected a unit such as "mm" or "inch", got {kind_of(value)}')
    try:
        return parse_unit(value)
    except InputError as error:
        raise ValueError(str(error)) from None


def _drawn_unit(value: object) -> DrawnUnit:
    if not isinstance(value, str):
        raise ValueError(f'expected a unit such as "mm" or "inch", got {kind_of(value)}')
    try:
        return parse_drawn_unit(value)
    except InputError as error:
        raise ValueError(str(error)) from None


def kind_of(value: object) -> str:
    names = {bool: "true or false", int: "a number", float: "a number", str: "a text", list: "a list"}
    name = names.get(type(value), "a table of keys" if isinstance(value, dict) else type(value).__name__)
    return f"{name} ({value!r})" if isinstance(value, bool | int | float | str) else name


Coordinate = Annotated[float, BeforeValidator(_length)]
Length = Annotated[float, BeforeValidator(lambda v, info: _positive(_length(v, info)))]
Distance = Annotated[float, BeforeValidator(lambda v, info: _not_negative(_length(v, info)))]
Thickness = Annotated[float, BeforeValidator(_thickness)]
UnitWord = Annotated[Unit, BeforeValidator(_unit)]
DrawnUnitWord = Annotated[DrawnUnit, BeforeValidator(_drawn_unit)]
