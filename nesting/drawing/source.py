"""A drawing of any kind that is read, opened and brought to millimetres."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from ezdxf.lldxf.const import DXFError

from nesting.drawing.counting import count_first
from nesting.drawing.declared_units import ChosenUnit, choose_unit, unknown_units
from nesting.drawing.entities import Drawn, Gathered, gather
from nesting.drawing.findings import Finding
from nesting.drawing.open_dxf import open_dxf, read_bytes
from nesting.drawing.quiet import quiet
from nesting.drawing.svg_file import open_svg
from nesting.drawing.svg_walk import gather_svg
from nesting.errors import DrawingError, UnitsUnknownError
from nesting.geometry.curves import Floats
from nesting.units import DrawnUnit

SUFFIXES = (".dxf", ".svg")

_SIZE_SHARE = 5e-4
"""Chords for the size of a drawing are as fine as this share of it."""

_NOTHING_DRAWN = ChosenUnit(unit="mm", mm_per_unit=1.0, reason="nothing is drawn")


@dataclass(frozen=True, kw_only=True)
class Source:
    """What a file shows, in millimetres; `findings` are of the file, `gathered.findings` of what it holds."""

    sha256: str
    unit: ChosenUnit
    gathered: Gathered
    findings: tuple[Finding, ...]


def read_source(path: Path, units: DrawnUnit | None, most_entities: int) -> Source:
    """Open a file and gather all it shows.

    Raise `DrawingError` for a file that cannot be read or holds more than `most_entities`, `UnitsUnknownError` where
    its unit must be asked for.
    """
    read = _svg if path.suffix.lower() == ".svg" else _dxf
    return read(path, units, most_entities)


def _dxf(path: Path, units: DrawnUnit | None, most_entities: int) -> Source:
    data = read_bytes(path)
    count_first(path, data, most_entities)
    with quiet():
        opened = open_dxf(path, data)
        unit = choose_unit(opened.declared, units)
        try:
            gathered = gather(opened.document, unit.mm_per_unit if unit else 1.0, path.name, most_entities)
        except (KeyError, DXFError) as error:  # a document without model space, or with blocks that are none
            raise DrawingError(
                f"{path.name}: its structure is damaged ({type(error).__name__}: {str(error)[:80]}); open it in the "
                "program that drew it and save it again"
            ) from error
    if unit is None and gathered.drawn:
        raise _with_curves(unknown_units(path, opened.declared, raw_size(gathered.drawn)), gathered)
    unit = unit or _NOTHING_DRAWN
    return Source(sha256=opened.sha256, unit=unit, gathered=gathered, findings=(*opened.findings, *unit.findings))


def _svg(path: Path, units: DrawnUnit | None, most_entities: int) -> Source:
    opened = open_svg(path, most_entities)
    unit = opened.size.unit(units)
    scale = opened.size.to_mm(unit)
    gathered = gather_svg(opened.root, scale, path.name, most_entities)
    if unit is None and gathered.drawn:
        raise _with_curves(opened.size.unknown(path, raw_size(gathered.drawn)), gathered)
    unit = unit or _NOTHING_DRAWN
    return Source(sha256=opened.sha256, unit=unit, gathered=gathered, findings=(*opened.findings, *unit.findings))


def _with_curves(error: UnitsUnknownError, gathered: Gathered) -> UnitsUnknownError:
    error.curves = tuple(d.curve for d in gathered.drawn)
    return error


def raw_size(drawn: Sequence[Drawn]) -> tuple[float, float]:
    """Width and height round all curves."""
    if not drawn:
        return (0.0, 0.0)
    rough = max(_size(drawn, 1.0))
    return _size(drawn, _SIZE_SHARE * rough) if rough > 0.0 else (0.0, 0.0)


def _size(drawn: Sequence[Drawn], chord: float) -> tuple[float, float]:
    points: Floats = np.vstack([d.curve.points(chord) for d in drawn])
    width, height = points.max(axis=0) - points.min(axis=0)
    return (float(width), float(height))
