"""Which unit a drawing is in: what its own header says, what the user says, and when to ask.

A library that fills in absent header variables hides what the file says, so the header is read from the bytes.
"""

import re
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from nesting.drawing.findings import Finding
from nesting.errors import UnitsUnknownError
from nesting.units import DRAWN_MM_PER, INSUNITS_CODE, INSUNITS_METRE, INSUNITS_MM, MM_PER, DrawnUnit, Unit

BINARY_SENTINEL: Final = b"AutoCAD Binary DXF\r\n\x1a\x00"

_ADVICE: Final = "; give --units"

_TEXT_VARIABLE = rb"^[ \t]*9[ \t]*\r?\n[ \t]*\$%s[ \t]*\r?\n[ \t]*70[ \t]*\r?\n[ \t]*(-?\d+)"


@dataclass(frozen=True, kw_only=True)
class DeclaredUnits:
    """`$INSUNITS` and `$MEASUREMENT` as the file has them; None where it has not."""

    insunits: int | None
    measurement: int | None


@dataclass(frozen=True, kw_only=True)
class ChosenUnit:
    """The unit taken and why; `unit` is "custom" for the rarer codes of the published table, such as mils."""

    unit: DrawnUnit | Literal["custom"]
    mm_per_unit: float
    reason: str
    findings: tuple[Finding, ...] = ()


def declared_units(data: bytes) -> DeclaredUnits:
    """Read both header variables from the bytes of a text or binary DXF file."""
    read = _binary_variable if data.startswith(BINARY_SENTINEL) else _text_variable
    return DeclaredUnits(insunits=read(data, b"INSUNITS"), measurement=read(data, b"MEASUREMENT"))


def choose_unit(declared: DeclaredUnits, asked: DrawnUnit | None) -> ChosenUnit | None:
    """Return the unit to take, or None where only the user can tell.

    The user's word stands above all; then a declared unit other than none and metre.  Metre counts as not declared:
    nearly every drawing that says so got it from a template.
    """
    code = declared.insunits
    silent = code is None or code == INSUNITS_METRE or code not in INSUNITS_MM
    if asked is not None:
        size = DRAWN_MM_PER[asked]
        text = f"read in {asked} as asked for, though the file says $INSUNITS {code}"
        differs = () if silent or code is None or INSUNITS_MM[code] == size else (text,)
        said = tuple(Finding(kind="unit", severity="warning", message=text) for text in differs)
        return ChosenUnit(unit=asked, mm_per_unit=size, reason=f"{asked}, as asked for", findings=said)
    if silent or code is None:
        return None
    by_code: dict[int, Unit] = {c: u for u, c in INSUNITS_CODE.items()}
    size = INSUNITS_MM[code]
    unit = by_code.get(code)
    reason = f"$INSUNITS {code} in the file: {unit or f'{size:g} mm'}"
    return ChosenUnit(unit=unit or "custom", mm_per_unit=size, reason=reason)


def unknown_units(path: Path, declared: DeclaredUnits, raw_size: tuple[float, float]) -> UnitsUnknownError:
    """Build the error that asks for the unit, with the drawing's size in both likely units."""
    units: tuple[Unit, Unit] = ("mm", "inch")
    sizes: dict[Unit, tuple[float, float]] = {
        unit: (raw_size[0] * MM_PER[unit], raw_size[1] * MM_PER[unit]) for unit in units
    }
    said = "nothing" if declared.insunits is None else f"$INSUNITS {declared.insunits}, which settles nothing"
    proposals = {
        0: "$MEASUREMENT 0 proposes inch, but is often wrong",
        1: "$MEASUREMENT 1 proposes mm, but is often wrong",
    }
    hint = proposals.get(-1 if declared.measurement is None else declared.measurement, "nothing in it proposes a unit")
    in_mm, in_inch = ("{:.4g} x {:.4g} mm".format(*sizes[unit]) for unit in units)
    message = (
        f"{path.name}: the drawing does not say its unit (it declares {said}; {hint}); read as mm it is {in_mm}, "
        f"read as inch {in_inch}{_ADVICE} mm or --units inch"
    )
    return UnitsUnknownError(message, path=path, sizes=sizes, hint=hint)


def with_advice(error: UnitsUnknownError, advice: str) -> UnitsUnknownError:
    """Return the same error with other words on where to say the unit: not every command has the option."""
    told = f"{str(error).partition(_ADVICE)[0]}; {advice}"
    other = UnitsUnknownError(told, path=error.path, sizes=error.sizes, hint=error.hint)
    other.curves = error.curves
    return other


def _text_variable(data: bytes, name: bytes) -> int | None:
    end = data.find(b"ENDSEC")
    found = re.search(_TEXT_VARIABLE % name, data[: end if end > 0 else None], re.MULTILINE)
    return int(found.group(1)) if found else None


def _binary_variable(data: bytes, name: bytes) -> int | None:
    """Group codes take one byte up to R12 and two from R13 on; both are followed by a 16 bit integer."""
    place = data.find(b"$" + name + b"\x00")
    if place < 0:
        return None
    rest = data[place + len(name) + 2 :][:4]
    if rest[:2] == b"\x46\x00" and len(rest) == 4:
        return int(struct.unpack_from("<h", rest, 2)[0])
    if rest[:1] == b"\x46" and len(rest) >= 3:
        return int(struct.unpack_from("<h", rest, 1)[0])
    return None
