"""Read a drawing: from a DXF file to the parts in it, with everything that was noticed on the way."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from nesting.drawing.annotated import refuse_annotated
from nesting.drawing.chain import follow
from nesting.drawing.contours import contours_of
from nesting.drawing.declared_units import ChosenUnit, choose_unit, unknown_units
from nesting.drawing.doubles import without_marked
from nesting.drawing.entities import Drawn, Gathered, gather
from nesting.drawing.findings import Finding, NoPartsError
from nesting.drawing.marks import LayerRule, role_of
from nesting.drawing.nest import Nested, Outline, nest
from nesting.drawing.open_dxf import OpenedDxf, open_dxf
from nesting.drawing.quiet import quiet
from nesting.drawing.riders import riders_of
from nesting.geometry.curves import Floats
from nesting.part import Part
from nesting.tolerances import JOIN_WARN_MM
from nesting.units import Unit

LARGEST_PART_MM = 6000.0
SMALLEST_PART_MM = 5.0
"""Beyond these a unit is likely wrong: widths met in a survey of 245 real drawings."""


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """A drawing as read; lengths in millimetres whatever the file's unit was."""

    path: Path
    name: str
    sha256: str
    unit: Unit | Literal["custom"]
    mm_per_unit: float
    unit_reason: str
    parts: tuple[Part, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, kw_only=True)
class Sorted:
    """The content of a drawing in millimetres, curves that are cut apart from those that only mark."""

    opened: OpenedDxf
    unit: ChosenUnit
    gathered: Gathered
    cut: tuple[Drawn, ...]
    marked: tuple[Drawn, ...]
    findings: tuple[Finding, ...]


def read_drawing(
    path: Path,
    *,
    units: Unit | None = None,
    join_mm: float = JOIN_WARN_MM,
    layers: Sequence[str] = (),
    layer_rules: Sequence[LayerRule] = (),
) -> Drawing:
    """Read the parts of a DXF drawing.

    `units` stands above what the file declares.  Gaps up to `join_mm` are bridged between ends that are each other's
    nearest.  `layers` are patterns of layers that are cut; `layer_rules` say what other layers are for, ahead of the
    built-in names.

    Raise `DrawingError` if the file is no DXF or damaged beyond repair, `UnitsUnknownError` if its unit must be asked
    for, `NoPartsError` (with the findings) if nothing in it can be cut.
    """
    path = Path(path)
    content = sort_content(path, units, layers, layer_rules)
    chained = contours_of(content.cut, join_mm)
    if not layers:
        refuse_annotated(path, content.cut, content.gathered, chained)
    loops, said = without_marked(chained.loops, follow(content.marked).loops)
    nested = nest(loops, chained.chains)
    riders = riders_of(nested.outlines, chained.chains, content.marked, content.gathered.written, layer_rules)
    parts = tuple(
        Part(
            id=path.stem if index == 0 else f"{path.stem}-{index + 1}",
            name=_name(path.stem, outline, nested),
            outer=outline.outer.contour,
            holes=tuple(h.contour for h in outline.holes),
            marks=riders.marks[index],
            texts=riders.texts[index],
            source=path.name,
            source_sha256=content.opened.sha256,
        )
        for index, outline in enumerate(nested.outlines)
    )
    findings = (*content.findings, *chained.findings, *said, *nested.findings, *riders.findings)
    if not parts:
        raise NoPartsError(_no_parts(path, content, findings), findings)
    return Drawing(
        path=path,
        name=path.name,
        sha256=content.opened.sha256,
        unit=content.unit.unit,
        mm_per_unit=content.unit.mm_per_unit,
        unit_reason=content.unit.reason,
        parts=parts,
        findings=(*findings, *_size_findings(nested.outlines)),
    )


def sort_content(path: Path, units: Unit | None, layers: Sequence[str], rules: Sequence[LayerRule]) -> Sorted:
    """Open a file, settle its unit and tell cut curves from marks by layer and line type."""
    with quiet():
        opened = open_dxf(path)
        unit = choose_unit(opened.declared, units)
        gathered = gather(opened.document, unit.mm_per_unit if unit else 1.0, path.name)
    if unit is None:
        raise unknown_units(path, opened.declared, raw_size(gathered.drawn))
    kinds = {(d.layer, d.linetype) for d in gathered.drawn}
    known = {kind: role_of(*kind, layers, rules) for kind in kinds}
    roles = [known[d.layer, d.linetype] for d in gathered.drawn]
    cut = tuple(d for d, role in zip(gathered.drawn, roles, strict=True) if role == "cut")
    marked = tuple(d for d, role in zip(gathered.drawn, roles, strict=True) if role not in ("cut", "ignore"))
    ignored = sorted({d.layer for d, role in zip(gathered.drawn, roles, strict=True) if role == "ignore"})
    findings = [*opened.findings, *gathered.findings]
    if ignored:
        text = f"layers left out: {', '.join(ignored)}"
        findings.append(Finding(kind="layers left out", severity="note", message=text))
    return Sorted(opened=opened, unit=unit, gathered=gathered, cut=cut, marked=marked, findings=tuple(findings))


def raw_size(drawn: Sequence[Drawn]) -> tuple[float, float]:
    """Width and height round all curves."""
    if not drawn:
        return (0.0, 0.0)
    points: Floats = np.vstack([d.curve.points(1.0) for d in drawn])
    width, height = points.max(axis=0) - points.min(axis=0)
    return (float(width), float(height))


def _name(stem: str, outline: Outline, nested: Nested) -> str:
    if len(nested.outlines) == 1:
        return stem
    x0, y0, x1, y1 = outline.polygon.bounds
    return f"{stem} at ({(x0 + x1) / 2:.0f}, {(y0 + y1) / 2:.0f})"


def _no_parts(path: Path, content: Sorted, findings: Sequence[Finding]) -> str:
    errors = [f.message for f in findings if f.severity == "error"]
    if errors:
        more = f" (and {len(errors) - 3} more)" if len(errors) > 3 else ""
        return f"{path.name}: no part can be made of it: {'; '.join(errors[:3])}{more}"
    if not content.gathered.drawn:
        return f"{path.name}: nothing to cut in it, only {content.gathered.counts or 'empty space'}; check the export"
    seen = sorted({d.layer for d in content.gathered.drawn})
    return (
        f"{path.name}: no closed contour found among {len(content.cut)} curves; layers with curves: {', '.join(seen)}; "
        "check which layers are to be cut, and that outlines close"
    )


def _size_findings(outlines: Sequence[Outline]) -> list[Finding]:
    found = []
    for outline in outlines:
        x0, y0, x1, y1 = outline.polygon.bounds
        size = max(x1 - x0, y1 - y0)
        if not SMALLEST_PART_MM <= size <= LARGEST_PART_MM:
            text = f"a part is {x1 - x0:.4g} x {y1 - y0:.4g} mm; is the unit right? --units sets it"
            found.append(Finding(kind="size", severity="warning", message=text, place=(x0, y0)))
    return found
