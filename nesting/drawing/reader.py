"""Read a drawing: from a file to the parts in it, with everything that was noticed on the way."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from nesting.drawing.annotated import refuse_annotated
from nesting.drawing.chain import follow
from nesting.drawing.contours import contours_of
from nesting.drawing.counting import MOST_ENTITIES
from nesting.drawing.doubles import without_marked
from nesting.drawing.ends import TooDenseError
from nesting.drawing.entities import Drawn
from nesting.drawing.findings import Finding, NoPartsError
from nesting.drawing.layers import KEEP_OUT, LABEL, PART_OUTSIDE, PLATE_EDGE
from nesting.drawing.marks import LayerRule, role_of
from nesting.drawing.nest import Nested, Outline, nest
from nesting.drawing.plausible import size_findings
from nesting.drawing.riders import riders_of
from nesting.drawing.same import same_findings
from nesting.drawing.source import Source, read_source
from nesting.geometry.curves import Curve
from nesting.part import Part
from nesting.tolerances import JOIN_WARN_MM
from nesting.units import DrawnUnit


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """A drawing as read; lengths in millimetres whatever the file's unit was; `curves` is all that it shows."""

    path: Path
    name: str
    sha256: str
    unit: DrawnUnit | Literal["custom"]
    mm_per_unit: float
    unit_reason: str
    parts: tuple[Part, ...]
    findings: tuple[Finding, ...]
    curves: tuple[Curve, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Sorted:
    """The content of a drawing in millimetres, curves that are cut apart from those that only mark."""

    source: Source
    cut: tuple[Drawn, ...]
    marked: tuple[Drawn, ...]
    findings: tuple[Finding, ...]


def read_drawing(
    path: Path,
    *,
    units: DrawnUnit | None = None,
    join_mm: float = JOIN_WARN_MM,
    layers: Sequence[str] = (),
    layer_rules: Sequence[LayerRule] = (),
    most_entities: int = MOST_ENTITIES,
) -> Drawing:
    """Read the parts of a DXF or SVG drawing.

    `units` stands above what the file declares.  Gaps up to `join_mm` are bridged between ends that are each other's
    nearest.  `layers` are patterns of layers that are cut; `layer_rules` say what other layers are for, ahead of the
    built-in names.

    Raise `DrawingError` if the file is no drawing or damaged beyond repair, `UnitsUnknownError` if its unit must be
    asked for, `NoPartsError` (with the findings) if nothing in it can be cut.
    """
    path = Path(path)
    content = sort_content(path, units, layers, layer_rules, most_entities=most_entities)
    try:
        return _drawing(path, content, join_mm, layer_rules, sheets=not layers)
    except TooDenseError as error:
        raise NoPartsError(f"{path.name}: {error}", content.findings) from None


def _drawing(
    path: Path, content: "Sorted", join_mm: float, layer_rules: Sequence[LayerRule], *, sheets: bool
) -> Drawing:
    curves = tuple(d.curve for d in content.source.gathered.drawn)
    if sheets:
        content = _without_plate(content, layer_rules)
    chained = contours_of(content.cut, join_mm)
    if sheets:
        refuse_annotated(path, content.cut, content.source.gathered, chained)
    loops, said = without_marked(chained.loops, follow(content.marked).loops)
    nested = nest(loops, chained.chains)
    riders = riders_of(nested.outlines, chained.chains, content.marked, content.source.gathered.written, layer_rules)
    parts = tuple(
        Part(
            id=path.stem if index == 0 else f"{path.stem}-{index + 1}",
            name=_name(path.stem, outline, nested),
            outer=outline.outer.contour,
            holes=tuple(h.contour for h in outline.holes),
            marks=riders.marks[index],
            texts=riders.texts[index],
            source=path.name,
            source_sha256=content.source.sha256,
        )
        for index, outline in enumerate(nested.outlines)
    )
    findings = (*content.findings, *chained.findings, *said, *nested.findings, *riders.findings)
    if not parts:
        raise NoPartsError(_no_parts(path, content, findings), findings, curves)
    return Drawing(
        path=path,
        name=path.name,
        sha256=content.source.sha256,
        unit=content.source.unit.unit,
        mm_per_unit=content.source.unit.mm_per_unit,
        unit_reason=content.source.unit.reason,
        parts=parts,
        findings=(*findings, *size_findings(parts, content.source.unit.mm_per_unit), *same_findings(parts)),
        curves=curves,
    )


def _without_plate(content: "Sorted", rules: Sequence[LayerRule]) -> "Sorted":
    """Leave out plate and labels of a layout of our own writing, unless a rule of the user speaks of it."""

    def of_plate(d: Drawn) -> bool:
        ruled = any(rule.fits(d.layer, d.linetype, d.colour) for rule in rules)
        return d.layer.upper() in (PLATE_EDGE, KEEP_OUT) and not ruled

    left = sorted({d.layer for d in content.cut if of_plate(d)})
    if not left or all(d.layer.upper() != PART_OUTSIDE for d in content.cut):
        return content
    text = f"this is a layout as oddplate writes it: its plate and labels are left out (layers {', '.join(left)})"
    note = Finding(kind="layers left out", severity="note", message=text)
    cut = tuple(d for d in content.cut if not of_plate(d))
    gathered = content.source.gathered
    gathered = replace(gathered, written=tuple(w for w in gathered.written if w.layer.upper() != LABEL))
    source = replace(content.source, gathered=gathered)
    return replace(content, source=source, cut=cut, findings=(*content.findings, note))


def sort_content(
    path: Path,
    units: DrawnUnit | None,
    layers: Sequence[str] = (),
    rules: Sequence[LayerRule] = (),
    *,
    most_entities: int = MOST_ENTITIES,
) -> Sorted:
    """Open a file, settle its unit and tell cut curves from marks by layer, line type and colour."""
    source = read_source(path, units, most_entities)
    drawn = source.gathered.drawn
    kinds = {(d.layer, d.linetype, d.colour) for d in drawn}
    known = {kind: role_of(*kind, layers, rules) for kind in kinds}
    roles = [known[d.layer, d.linetype, d.colour] for d in drawn]
    cut = tuple(d for d, role in zip(drawn, roles, strict=True) if role == "cut")
    marked = tuple(d for d, role in zip(drawn, roles, strict=True) if role not in ("cut", "ignore"))
    ignored = sorted({d.layer for d, role in zip(drawn, roles, strict=True) if role == "ignore"})
    findings = [*source.findings, *source.gathered.findings]
    for unread in source.gathered.unread:
        is_cut = role_of(unread.layer, unread.linetype, unread.colour, layers, rules) == "cut"
        findings.append(unread.finding if is_cut else replace(unread.finding, severity="note"))
    if ignored:
        text = f"layers left out: {', '.join(ignored)}"
        findings.append(Finding(kind="layers left out", severity="note", message=text))
    marks = sorted({(d.layer, role) for d, role in zip(drawn, roles, strict=True) if role not in ("cut", "ignore")})
    if marks:
        told = ", ".join(f"{layer or 'no layer'} ({role})" for layer, role in marks)
        text = f"kept as marks, not cut, by layer: {told}"
        findings.append(Finding(kind="layers of marks", severity="note", message=text))
    return Sorted(source=source, cut=cut, marked=marked, findings=tuple(findings))


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
    if not content.source.gathered.drawn:
        seen_only = content.source.gathered.counts or "empty space"
        return f"{path.name}: nothing to cut in it, only {seen_only}; check the export"
    seen = sorted({d.layer for d in content.source.gathered.drawn})
    curves = "1 curve" if len(content.cut) == 1 else f"{len(content.cut)} curves"
    return (
        f"{path.name}: no closed contour found among {curves} to cut; "
        f"there is something on the layers {', '.join(repr(name) for name in seen)}; "
        "check which layers are to be cut (--layer, --rule), and that outlines close"
    )
