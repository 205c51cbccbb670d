"""All that an SVG drawing shows, groups and uses opened, as curves in millimetres, y up."""

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any, Final
from xml.etree.ElementTree import Element

import svgelements as svg

from nesting.drawing.affine import Affine
from nesting.drawing.counting import too_many
from nesting.drawing.entities import Drawn, Gathered
from nesting.drawing.findings import Finding, Severity
from nesting.drawing.layers import LAYERS
from nesting.drawing.marks import role_by_name
from nesting.drawing.svg_file import fitted, length_px, local, view_box_of
from nesting.drawing.svg_shapes import Strand, outline, strands_of
from nesting.drawing.svg_style import Style, StyleRule, colour, hides, style_of, style_rules
from nesting.errors import DrawingError
from nesting.geometry.pose import Point

_MAX_DEPTH: Final = 64
_WIDE_STROKE_MM: Final = 2.0
_GROUPS: Final = ("g", "a", "svg", "switch")
_MARK_ROLES: Final = ("bend", "etch", "centre", "other")
_SILENT: Final = frozenset(
    ["defs", "title", "desc", "metadata", "style", "script", "symbol", "clipPath", "mask", "marker", "pattern", "view"]
    + ["linearGradient", "radialGradient", "filter", "namedview", "animate", "animateTransform", "set", "cursor"]
)
"""Elements that draw nothing where they stand."""


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where an element stands and what it takes from those around it."""

    affine: Affine
    viewport: tuple[float, float]
    layer: str = ""
    style: Style = field(default_factory=dict)
    uses: tuple[str, ...] = ()
    depth: int = 0


@dataclass(slots=True)
class _Tray:
    """Collects while the tree is walked through."""

    name: str
    most: int
    rules: tuple[StyleRule, ...]
    by_id: dict[str, Element]
    drawn: list[Drawn] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    skipped: Counter[tuple[str, str]] = field(default_factory=Counter)
    counts: Counter[str] = field(default_factory=Counter)
    wide: list[tuple[float, Point]] = field(default_factory=list)
    clipped: int = 0


def gather_svg(root: Element, to_mm: Affine, name: str, most_entities: int) -> Gathered:
    """Collect every shape that is drawn.

    Text, pictures and what is hidden are left out with a finding.  Raise `DrawingError` for drawings over
    `most_entities` curves, uses opened.
    """
    by_id: dict[str, Element] = {}
    for element in root.iter():
        if element.get("id"):
            by_id.setdefault(element.get("id", ""), element)
    tray = _Tray(name=name, most=most_entities, rules=style_rules(root), by_id=by_id)
    box = view_box_of(root)
    viewport = (box[2], box[3]) if box else (_px(root, "width"), _px(root, "height"))
    style = style_of(root, {}, tray.rules)
    _walk(root, _Frame(to_mm, viewport, style=style), tray)
    tray.findings += _summary(tray)
    return Gathered(drawn=tuple(tray.drawn), written=(), findings=tuple(tray.findings), counts=dict(tray.counts))


def _walk(elements: Iterable[Element], frame: _Frame, tray: _Tray) -> None:
    for element in elements:
        tag = local(element.tag)
        if tag in _SILENT or not isinstance(element.tag, str):
            continue
        tray.counts[tag] += 1
        if max(tray.counts.total(), len(tray.drawn)) > tray.most:
            raise too_many(tray.name, "more curves, with its uses opened,", tray.most)
        try:
            _take(element, tag, frame, tray)
        except DrawingError:
            raise
        except (ValueError, ArithmeticError, LookupError, TypeError, AttributeError) as error:
            # What the library raises on broken values is not told beforehand.
            text = f"left out, cannot be read: {' '.join(str(error).split())[:120] or type(error).__name__}"
            _find(tray, element, "unreadable entity", "error", text)


def _take(element: Element, tag: str, frame: _Frame, tray: _Tray) -> None:
    style = style_of(element, frame.style, tray.rules)
    if hides(style):
        tray.skipped[("invisible", tag)] += 1
        return
    inner = replace(
        frame,
        affine=_moved(frame.affine, style.get("transform", "")),
        style=style,
        layer=_layer(element, tag, frame.layer),
        depth=frame.depth + 1,
    )
    if style.get("clip-path", "none") != "none" or style.get("mask", "none") != "none":
        tray.clipped += 1
    if inner.depth > _MAX_DEPTH:
        _find(tray, element, "block in itself", "error", f"left out: it lies over {_MAX_DEPTH} groups deep")
    elif tag == "use":
        _use(element, inner, tray)
    elif tag in _GROUPS:
        _walk(_children(element, tag), _inner_viewport(element, inner) if tag == "svg" else inner, tray)
    else:
        _shape(element, tag, inner, tray)


def _shape(element: Element, tag: str, frame: _Frame, tray: _Tray) -> None:
    strands = strands_of(tag, element, frame.viewport)
    if strands is None:
        tray.skipped[("not an outline", tag)] += 1
        return
    style = frame.style
    stroke, fill = colour(style.get("stroke", "none"), style), colour(style.get("fill", "black"), style)
    if style.get("visibility", "visible") in ("hidden", "collapse"):
        tray.skipped[("invisible", tag)] += 1
        return
    if stroke == "none" and (fill == "none" or tag == "line"):
        tray.skipped[("drawn with neither stroke nor fill", tag)] += 1
        return
    if stroke == "none":
        strands = tuple(outline(strand) for strand in strands)
    label = _label(element, tray)
    dashes = style.get("stroke-dasharray", "none").strip()
    linetype = "" if dashes in ("none", "", "0") or stroke == "none" else "DASHED"
    seen = stroke if stroke != "none" else fill
    for strand in strands:
        for curve in strand.curves:
            tray.drawn += [Drawn(made, frame.layer, linetype, label, seen) for made in frame.affine.curves(curve)]
    if strands and stroke != "none":
        _note_width(frame, strands[0], tray)


def _note_width(frame: _Frame, strand: Strand, tray: _Tray) -> None:
    width = length_px(frame.style.get("stroke-width"), frame.viewport[0], 1.0)
    width_mm = width * math.sqrt(abs(frame.affine.determinant))
    if width_mm > _WIDE_STROKE_MM:
        tray.wide.append((width_mm, frame.affine.point(strand.curves[0].start)))


def _use(element: Element, frame: _Frame, tray: _Tray) -> None:
    link = next((value for key, value in element.attrib.items() if local(key) == "href"), "")
    target = tray.by_id.get(link[1:]) if link.startswith("#") else None
    if target is None:
        _find(tray, element, "missing block", "error", f"left out: it uses {link!r}, which does not exist in the file")
        return
    if link in frame.uses:
        _find(tray, element, "block in itself", "error", f"left out: {link!r} uses itself")
        return
    x, y = length_px(element.get("x"), frame.viewport[0]), length_px(element.get("y"), frame.viewport[1])
    inner = replace(frame, affine=frame.affine.after(Affine(e=x, f=y)), uses=(*frame.uses, link))
    if local(target.tag) != "symbol":
        _walk((target,), inner, tray)
        return
    width = length_px(element.get("width") or target.get("width"), frame.viewport[0], frame.viewport[0])
    height = length_px(element.get("height") or target.get("height"), frame.viewport[1], frame.viewport[1])
    style = style_of(target, inner.style, tray.rules)
    if not hides(style):
        boxed = replace(inner, affine=inner.affine.after(fitted(target, width, height)), style=style)
        _walk(target, boxed, tray)


def _inner_viewport(element: Element, frame: _Frame) -> _Frame:
    x, y = length_px(element.get("x"), frame.viewport[0]), length_px(element.get("y"), frame.viewport[1])
    width = length_px(element.get("width"), frame.viewport[0], frame.viewport[0])
    height = length_px(element.get("height"), frame.viewport[1], frame.viewport[1])
    box = view_box_of(element)
    affine = frame.affine.after(Affine(e=x, f=y)).after(fitted(element, width, height))
    return replace(frame, affine=affine, viewport=(box[2], box[3]) if box else (width, height))


def _children(element: Element, tag: str) -> Iterable[Element]:
    """All that a group holds; of a switch the first that stands under no condition, as readers without features do."""
    if tag != "switch":
        return element
    free = [child for child in element if not {"requiredExtensions", "requiredFeatures"} & set(child.attrib)]
    return free[:1]


def _layer(element: Element, tag: str, above: str) -> str:
    """The layer of an element: its label or class, nearest first, else the id or class of the outermost group.

    What stands in a layer leaves it by a label or class only if that tells a role or is a layer of our own, since
    most classes only say how things look.  The id of a shape counts only if it names a mark: programs number ids by
    kind (`text12`), and outlines of letters may be meant to be cut.
    """
    label = next((v.strip() for k, v in element.attrib.items() if local(k) in ("label", "data-name") and v.strip()), "")
    classes = element.get("class", "").split()
    if label and (tag in _GROUPS or role_by_name(label)):
        return label
    telling = next((c for c in classes if c.upper() in LAYERS or role_by_name(c)), "")
    own = element.get("id", "")
    if telling or tag in _GROUPS:
        return telling or above or own or " ".join(classes)
    if role_by_name(above) is None and role_by_name(own) in _MARK_ROLES:
        return own
    return above or " ".join(classes)


def _moved(affine: Affine, transform: str) -> Affine:
    if not transform or transform == "none":
        return affine
    m = svg.Matrix(transform)
    numbers = [float(v) for v in (m.a, m.c, m.b, m.d, m.e, m.f)]
    if not all(abs(v) < 1e9 for v in numbers):
        raise ValueError(f"its transform {transform[:60]!r} is not usable")
    return affine.after(Affine(*numbers))


def _px(element: Element, key: str) -> float:
    try:
        return length_px(element.get(key), 0.0)
    except ValueError:
        return 0.0


def _summary(tray: _Tray) -> list[Finding]:
    found = []
    for (reason, kind), count in sorted(tray.skipped.items()):
        severity: Severity = "note" if reason == "invisible" else "warning"
        hint = "; convert it to paths if it is to be cut" if kind in ("text", "flowRoot") else ""
        text = f"{count} {kind} left out: {reason}{hint}"
        found.append(Finding(kind="left out", severity=severity, message=text, entity=kind))
    if tray.wide:
        width, place = max(tray.wide)
        text = f"{len(tray.wide)} shapes drawn with strokes up to {width:.1f} mm wide; their centre lines are taken"
        found.append(Finding(kind="decided", severity="warning", message=text, place=place))
    if tray.clipped:
        text = f"{tray.clipped} elements are clipped or masked in the picture; they are read whole"
        found.append(Finding(kind="decided", severity="warning", message=text))
    return found


def _label(element: Element, tray: _Tray) -> str:
    tag = local(element.tag)
    return f"{tag} {element.get('id') or tray.counts[tag]}"


def _find(tray: _Tray, element: Element, kind: str, severity: Any, text: str) -> None:
    label = _label(element, tray)
    tray.findings.append(Finding(kind=kind, severity=severity, message=f"{label}: {text}", entity=label))
