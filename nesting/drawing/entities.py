"""All that a drawing shows, blocks opened, as curves and texts in world millimetres."""

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Final

from ezdxf.document import Drawing as DxfDocument
from ezdxf.math import OCS, Matrix44

from nesting.drawing.affine import Affine
from nesting.drawing.convert import NotFlatError, shape_of
from nesting.drawing.counting import too_many
from nesting.drawing.findings import Finding, Severity, at
from nesting.drawing.texts import texts_of
from nesting.errors import DrawingError
from nesting.geometry.curves import Curve
from nesting.part import TextMark

_MAX_DEPTH: Final = 32
_NEVER_CUT: Final = frozenset(
    [
        "HATCH",
        "MPOLYGON",
        "DIMENSION",
        "ARC_DIMENSION",
        "LARGE_RADIAL_DIMENSION",
        "LEADER",
        "MULTILEADER",
        "MLEADER",
        "POINT",
        "IMAGE",
        "WIPEOUT",
        "OLE2FRAME",
        "OLEFRAME",
        "VIEWPORT",
        "XLINE",
        "RAY",
        "TOLERANCE",
        "ATTDEF",
        "SOLID",
        "TRACE",
        "PDFUNDERLAY",
        "DWFUNDERLAY",
        "DGNUNDERLAY",
        "LIGHT",
        "SEQEND",
        "ACAD_TABLE",
    ]
)

_IS_NEVER_CUT: Final = "never cut"
_NOT_FLAT: Final = "not a flat outline"
_SEVERITY: Final[dict[str, Severity]] = {_IS_NEVER_CUT: "note", _NOT_FLAT: "warning"}
_OUTLINES: Final = frozenset(["REGION", "MLINE"])


@dataclass(frozen=True, slots=True)
class Drawn:
    """One curve as drawn, with its layer, line type, entity (type and handle) and colour, `7` or `#rrggbb`."""

    curve: Curve
    layer: str
    linetype: str
    entity: str
    colour: str = ""


@dataclass(frozen=True, slots=True)
class Written:
    """One line of text as drawn, with its layer."""

    text: TextMark
    layer: str


@dataclass(frozen=True, slots=True)
class Unread:
    """What may be a contour and is not read, on which layer, in which line type and colour: an error if that is cut."""

    layer: str
    linetype: str
    colour: str
    finding: Finding


@dataclass(frozen=True, kw_only=True)
class Gathered:
    """Everything a drawing shows; `counts` by entity type as they stand in the file."""

    drawn: tuple[Drawn, ...]
    written: tuple[Written, ...]
    findings: tuple[Finding, ...]
    counts: dict[str, int]
    unread: tuple[Unread, ...] = ()


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where a block stands: its matrix to world millimetres, its largest scale, and what its content inherits."""

    matrix: Matrix44
    affine: Affine | None
    mm: float
    layer: str | None = None
    linetype: str = ""
    colour: str = ""
    blocks: tuple[str, ...] = ()


@dataclass(slots=True)
class _Tray:
    """Collects while a drawing is walked through."""

    layers: dict[str, Any]
    most: int
    drawn: list[Drawn] = field(default_factory=list)
    written: list[Written] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    unread: list[Unread] = field(default_factory=list)
    skipped: Counter[tuple[str, str]] = field(default_factory=Counter)
    counts: Counter[str] = field(default_factory=Counter)


def gather(document: DxfDocument, mm_per_unit: float, name: str, most_entities: int) -> Gathered:
    """Collect model space, or the one sheet that holds all of the geometry if model space is empty.

    Raise `DrawingError` for drawings over `most_entities` entities, blocks opened.
    """
    layers = {layer.dxf.name.lower(): layer for layer in document.layers}
    tray = _Tray(layers=layers, most=most_entities)
    matrix = Matrix44.scale(mm_per_unit)
    top = _Frame(matrix, _plane(matrix, None, 0.0), mm_per_unit)
    _refuse_many(document, name, most_entities)
    _walk(document.modelspace(), top, tray, name)
    _paper_space(document, top, tray, name)
    _report_skipped(tray)
    return Gathered(
        drawn=tuple(tray.drawn),
        written=tuple(tray.written),
        findings=tuple(tray.findings),
        counts=dict(tray.counts),
        unread=tuple(tray.unread),
    )


def _refuse_many(document: DxfDocument, name: str, most: int) -> None:
    """Count with all blocks opened before anything is opened: blocks that double at every depth run to millions."""
    counts: dict[str, int] = {}

    def count(entities: Iterable[Any], above: frozenset[str]) -> int:
        total = 0
        for entity in entities:
            total += 1
            if entity.dxftype() != "INSERT":
                continue
            block_name = str(entity.dxf.get("name", ""))
            block = document.blocks.get(block_name) if block_name not in above and len(above) < _MAX_DEPTH else None
            if block is None:
                continue
            if block_name not in counts:
                counts[block_name] = count(block, above | {block_name})
            total += counts[block_name] * _copies(entity)
        return total

    whole = count(document.modelspace(), frozenset())
    if whole > most:
        found = f"{whole:,}" if whole < 10**9 else "over a thousand million"
        raise too_many(name, f"{found} entities with its blocks opened", most)


def _copies(insert: Any) -> int:
    columns, rows = insert.dxf.get("column_count", 1), insert.dxf.get("row_count", 1)
    return max(1, int(columns)) * max(1, int(rows))


def _paper_space(document: DxfDocument, top: _Frame, tray: _Tray, name: str) -> None:
    sheets = [(layout.name, [e for e in layout if e.dxftype() != "VIEWPORT"]) for layout in document.layouts]
    sheets = [(title, entities) for title, entities in sheets if title != "Model" and entities]
    if not tray.drawn and len(sheets) == 1:
        title, entities = sheets[0]
        _walk(entities, top, tray, name)
        text = f"model space is empty; the sheet {title!r} was read instead, at the sheet's own scale"
        tray.findings.append(Finding(kind="paper space", severity="warning", message=text))
    elif sheets:
        total = sum(len(entities) for _, entities in sheets)
        text = f"{total} entities on {len(sheets)} sheets (paper space) left out"
        tray.findings.append(
            Finding(kind="paper space", severity="warning" if not tray.drawn else "note", message=text)
        )


def _walk(entities: Iterable[Any], frame: _Frame, tray: _Tray, name: str) -> None:
    for entity in entities:
        kind = entity.dxftype()
        tray.counts[kind] += 1
        if tray.counts.total() > tray.most:
            raise too_many(name, "more entities, with its blocks opened,", tray.most)
        try:
            _take(entity, kind, frame, tray, name)
        except NotFlatError as error:
            text = f"left out, not flat: {error}; project it to the drawing plane"
            tray.findings.append(_about(entity, "not flat", "warning", text))
        except DrawingError:
            raise
        except Exception as error:  # the library may raise anything on broken entities
            text = f"left out, cannot be read: {' '.join(str(error).split())[:120] or type(error).__name__}"
            tray.findings.append(_about(entity, "unreadable entity", "error", text))


def _take(entity: Any, kind: str, frame: _Frame, tray: _Tray, name: str) -> None:
    dxf = entity.dxf
    layer = dxf.get("layer", "0")
    if layer == "0" and frame.layer is not None:
        layer = frame.layer
    hidden = _hidden(dxf, layer, tray)
    # Switching off the layer of an insert does not hide its content on other layers; freezing it does.
    if hidden and not (kind == "INSERT" and hidden == "off"):
        tray.skipped[(f"on a layer that is {hidden}" if hidden != "invisible" else hidden, kind)] += 1
        return
    if kind == "INSERT":
        _insert(entity, frame, layer, tray, name)
        return
    if kind in ("TEXT", "MTEXT", "ATTRIB"):
        if frame.affine is not None:
            tray.written += [Written(text, layer) for text in texts_of(entity, frame.affine)]
        return
    shape = shape_of(entity, frame.mm)
    if shape is None and kind in _OUTLINES:
        text = f"left out: {_NOT_FLAT}; it may be a contour: explode it into lines and arcs"
        finding = _about(entity, "left out", "error", text)
        tray.unread.append(Unread(layer, _linetype(dxf, layer, frame, tray), _colour(dxf, layer, frame, tray), finding))
        return
    if shape is None:
        reason = _IS_NEVER_CUT if kind in _NEVER_CUT else _NOT_FLAT
        tray.skipped[(reason, kind)] += 1
        return
    affine = frame.affine
    if shape.extrusion not in (None, (0.0, 0.0, 1.0)):
        affine = _plane(frame.matrix, shape.extrusion, shape.elevation)
    if affine is None:
        raise NotFlatError("it is tilted against the drawing plane")
    linetype = _linetype(dxf, layer, frame, tray)
    label, colour = _label(entity), _colour(dxf, layer, frame, tray)
    for curve in shape.curves:
        tray.drawn += [Drawn(made, layer, linetype, label, colour) for made in affine.curves(curve)]
    if shape.note:
        place = tray.drawn[-1].curve.end
        tray.findings.append(_about(entity, "decided", "warning", shape.note, place))


def _insert(entity: Any, frame: _Frame, layer: str, tray: _Tray, name: str) -> None:
    block_name = entity.dxf.name
    block = entity.block()
    stands = frame.matrix.transform(entity.ocs().to_wcs(entity.dxf.insert))
    place = (float(stands.x), float(stands.y))
    if block is None:
        text = f"left out at {at(place)}: block {block_name!r} does not exist"
        tray.findings.append(_about(entity, "missing block", "error", text, place))
        return
    if block.block is not None and block.block.is_xref:
        text = (
            f"left out: {block_name!r} is another drawing ({block.block.dxf.get('xref_path', '')}); bind it into this"
        )
        finding = _about(entity, "drawing elsewhere", "error", text, place)
        linetype, colour = _linetype(entity.dxf, layer, frame, tray), _colour(entity.dxf, layer, frame, tray)
        tray.unread.append(Unread(layer, linetype, colour, finding))
        return
    if block_name in frame.blocks or len(frame.blocks) >= _MAX_DEPTH:
        text = f"left out at {at(place)}: block {block_name!r} holds itself or lies over {_MAX_DEPTH} deep"
        tray.findings.append(_about(entity, "block in itself", "error", text, place))
        return
    base = entity.matrix44()
    linetype = _linetype(entity.dxf, layer, frame, tray)
    colour = _colour(entity.dxf, layer, frame, tray)
    for offset in _array(entity, tray.most):
        matrix = base * Matrix44.translate(*offset) * frame.matrix
        blocks = (*frame.blocks, block_name)
        inner = _Frame(matrix, _plane(matrix, None, 0.0), _size_of(matrix), layer, linetype, colour, blocks)
        _walk(block, inner, tray, name)
    _walk(entity.attribs, frame, tray, name)


def _array(insert: Any, most: int) -> list[tuple[float, float, float]]:
    dxf = insert.dxf
    columns, rows = max(1, dxf.get("column_count", 1)), max(1, dxf.get("row_count", 1))
    if columns * rows > most:
        raise ValueError(f"an array of {columns} x {rows} copies")
    if columns * rows == 1:
        return [(0.0, 0.0, 0.0)]
    turn = math.radians(dxf.get("rotation", 0.0))
    c, s = math.cos(turn), math.sin(turn)
    ocs = insert.ocs()
    found = []
    for row in range(rows):
        for column in range(columns):
            x, y = column * dxf.get("column_spacing", 0.0), row * dxf.get("row_spacing", 0.0)
            moved = ocs.to_wcs((c * x - s * y, s * x + c * y, 0.0))
            found.append((float(moved[0]), float(moved[1]), float(moved[2])))
    return found


def _plane(matrix: Matrix44, extrusion: tuple[float, float, float] | None, elevation: float) -> Affine | None:
    """Return the map from an entity's plane to the drawing plane, or None if that plane stands tilted."""
    if extrusion is not None:
        matrix = OCS(extrusion).matrix * matrix
    origin = matrix.transform((0.0, 0.0, elevation))
    ux = matrix.transform((1.0, 0.0, elevation)) - origin
    uy = matrix.transform((0.0, 1.0, elevation)) - origin
    if abs(ux.z) + abs(uy.z) > 1e-6 * (ux.magnitude + uy.magnitude):
        return None
    return Affine(ux.x, uy.x, ux.y, uy.y, origin.x, origin.y)


def _size_of(matrix: Matrix44) -> float:
    axes = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    return max(float(matrix.transform_direction(axis).magnitude) for axis in axes)


def _hidden(dxf: Any, layer: str, tray: _Tray) -> str:
    if dxf.get("invisible", 0):
        return "invisible"
    found = tray.layers.get(layer.lower())
    if found is None:
        return ""
    return "frozen" if found.is_frozen() else "off" if found.is_off() else ""


def _linetype(dxf: Any, layer: str, frame: _Frame, tray: _Tray) -> str:
    name: str = dxf.get("linetype", "BYLAYER")
    if name.upper() == "BYBLOCK":
        return frame.linetype
    if name.upper() != "BYLAYER":
        return name
    found = tray.layers.get(layer.lower())
    return str(found.dxf.get("linetype", "")) if found is not None else ""


def _colour(dxf: Any, layer: str, frame: _Frame, tray: _Tray) -> str:
    """Number of the colour index, `1` to `255`, or `#rrggbb` for a true colour (group codes 62 and 420)."""
    if dxf.hasattr("true_color"):
        return f"#{int(dxf.true_color) & 0xFFFFFF:06x}"
    number = int(dxf.get("color", 256))
    if number == 0:
        return frame.colour
    if number != 256:
        return str(abs(number))
    found = tray.layers.get(layer.lower())
    return str(abs(int(found.dxf.get("color", 7)))) if found is not None else "7"


def _report_skipped(tray: _Tray) -> None:
    for (reason, kind), count in sorted(tray.skipped.items()):
        text, about = f"{count} {kind} left out: {reason}", "left out" if reason in _SEVERITY else "hidden"
        tray.findings.append(Finding(kind=about, severity=_SEVERITY.get(reason, "note"), message=text, entity=kind))


def _label(entity: Any) -> str:
    handle = entity.dxf.get("handle")
    return f"{entity.dxftype()} {handle}" if handle else str(entity.dxftype())


def _about(entity: Any, kind: str, severity: Any, text: str, place: tuple[float, float] | None = None) -> Finding:
    return Finding(
        kind=kind, severity=severity, message=f"{_label(entity)}: {text}", place=place, entity=_label(entity)
    )
